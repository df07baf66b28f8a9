"""The toy's supply through a controller that is played by a script, on a virtual clock."""

import pytest
from rig_peer import Clock, RigPeer, bench_at, hardware_project

from rig.errors import BenchError, GuardTripped
from rig.project.electrical import rail_range_v


@pytest.fixture
def make(monkeypatch):
    """Give what opens a bench at a peer of its own, for a toy of that supply."""
    made = []

    def open_one(volts=4.5, source="cells", **rig):
        peer = RigPeer(hardware_project(volts, source, **rig), Clock())
        made.append((peer, bench_at(peer, monkeypatch)))
        return made[-1]

    yield open_one
    for peer, bench in made:
        bench.controller.close()
        peer.close()


def refused(bench, kind=BenchError) -> str:
    with pytest.raises(BenchError) as caught:
        bench.supply(True)
    assert type(caught.value) is kind
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize(("source", "lowest", "highest"), [("cells", 0.6, 1.2), ("bench", 0.9, 1.1)])
def test_the_rail_is_compared_with_toy_yaml(make, source, lowest, highest):
    peer, bench = make(6.0, source)
    for share in (0.0, lowest - 0.01, lowest, 1.0, highest - 0.01, highest + 0.01, 2.0):
        peer.rail_v = lambda share=share: 6.0 * share * peer.is_on
        if lowest <= share <= highest:
            bench.supply(True)
            assert peer.is_on
            bench.supply(False)
        else:
            said = refused(bench)
            assert f"the toy's rail is at {6 * share:.2f} V, where {6 * lowest:.2f} to " in said
            assert f"(toy.yaml: 6 V from {source}): look at the {source}" in said
        assert not peer.is_on
    assert rail_range_v(peer.project.toy) == (6.0 * lowest, 6.0 * highest)


def test_it_looks_when_the_controller_has_let_the_toy_draw_what_it_likes(make):
    peer, bench = make(guard={"inrush_ms": 450})
    # it takes to the blanking's end until it is up
    peer.rail_v = lambda: 4.5 if peer.is_on and peer.clock() >= 0.45 else 0.0
    bench.supply(True)
    assert peer.clock() == pytest.approx(0.5)
    after = peer.heard[peer.heard.index("OUTPut ON") :]
    assert after.count("SYSTem:DMAN?") >= 2  # the dead-man is fed meanwhile
    assert after.index("SYSTem:DMAN?") < after.index("MEASure:VOLTage?")


def test_a_rail_that_is_still_up_is_waited_for(make):
    peer, bench = make()
    up_s = 4.0
    peer.rail_v = lambda: 4.5 if peer.is_on or peer.clock() < up_s else 0.1
    bench.supply(True)
    assert peer.clock() == pytest.approx(up_s + 0.15, abs=0.11)
    measured = peer.heard.index("MEASure:VOLTage?")
    assert peer.heard.index("OUTPut ON") > measured
    assert peer.heard[measured:].count("SYSTem:DMAN?") > 20


def test_a_rail_that_never_falls_is_not_switched_on(make):
    peer, bench = make()
    peer.rail_v = lambda: 4.48
    said = refused(bench)
    assert said.startswith("the toy's rail is at 4.48 V though its supply is off: look for what")
    assert peer.clock() == pytest.approx(6.0, abs=0.2)
    assert "OUTPut ON" not in peer.heard


def test_a_supply_that_is_on_already_is_only_looked_at(make):
    peer, bench = make()
    bench.supply(True)
    bench.supply(True)
    assert peer.heard.count("OUTPut ON") == 1
    assert peer.is_on


def test_what_the_controller_found_out_of_range_is_no_trip_and_the_toy_is_off(make):
    peer, bench = make()
    peer.latches = ['110,"Toy supply out of range"', '105,"Guard latched"']
    peer.replies["STATus:QUEStionable:CONDition?"] = "513"
    peer.rail_v = lambda: 0.03
    assert refused(bench) == (
        "the toy's rail is at 0.03 V, where 2.70 to 5.40 V are to be expected (toy.yaml: 4.5 V "
        "from cells): look at the cells (flat, missing, the wrong way round), their clips, and "
        'supply in toy.yaml; the controller reports 110 "Toy supply out of range"; 105 "Guard '
        'latched"; questionable: rail voltage, guard latched'
    )
    assert not peer.is_on


@pytest.mark.parametrize(
    ("condition", "words"),
    [(1, "rail voltage"), (2, "supply current"), (512, "guard latched"),
     (515, "rail voltage, supply current, guard latched")],
)  # fmt: skip
def test_what_is_questionable_is_said_in_words(make, condition, words):
    peer, bench = make()
    peer.replies["STATus:QUEStionable:CONDition?"] = str(condition)
    assert refused(bench).endswith(f"; the controller reports questionable: {words}")
    assert not peer.is_on


def test_a_short_is_a_trip(make):
    peer, bench = make()
    peer.latches = ['106,"Supply current over peak limit"']
    peer.replies["STATus:QUEStionable:CONDition?"] = "514"
    assert "106" in refused(bench, GuardTripped)
    assert not peer.is_on


@pytest.mark.parametrize("number", [110, 111, 112])
def test_a_refusal_to_switch_on_is_told(make, number):
    peer, bench = make()
    peer.refuses = [f'{number},"Text"']
    assert f'reports {number} "Text" after \'OUTPut ON\'' in refused(bench)


def test_a_toy_whose_supply_fails_in_a_touch_stops_it_with_the_reason(make):
    peer, bench = make()
    bench.supply(True)
    peer.queue = ['110,"Toy supply out of range"']
    with pytest.raises(BenchError, match='110 "Toy supply out of range" during the touch') as caught:
        bench.timeline()
    assert not isinstance(caught.value, GuardTripped)


def test_a_guard_that_latched_is_let_go_by_starting_again_alone(make, monkeypatch):
    peer, bench = make()
    peer.latches = ['110,"Toy supply out of range"']
    refused(bench)
    peer.latches = []  # new cells are in
    assert '105 "Guard latched"' in refused(bench, GuardTripped)
    bench.controller.close()
    again = bench_at(peer, monkeypatch)
    again.supply(True)
    assert peer.is_on
    again.close()


# Off, and told loudly where it isn't

CELLS = "the toy is STILL SUPPLIED (4.48 V on its rail): pull the cells now"
UNKNOWN = "the toy may STILL BE SUPPLIED, its rail can't be measured: pull the cells now"


def test_a_toy_that_is_off_is_nothing_to_tell(make):
    peer, bench = make()
    bench.supply(True)
    begun_s = peer.clock()
    assert bench.safe() is None
    assert 0 < peer.clock() - begun_s <= 0.7  # as long as the rail took, and one look
    assert bench.close() is None


@pytest.mark.parametrize(("source", "told"), [
    ("cells", CELLS),
    ("bench", "the toy is STILL SUPPLIED (4.48 V on its rail): unplug its bench supply now"),
])
def test_a_rail_that_does_not_fall_is_told_each_time_but_waited_for_once(make, source, told):
    peer, bench = make(source=source)
    bench.supply(True)
    begun_s, heard = peer.clock(), len(peer.heard)
    peer.rail_v = lambda: 4.48
    assert bench.safe() == told
    assert peer.clock() - begun_s == pytest.approx(6.0, abs=0.2)
    assert peer.heard[heard:].count("SYSTem:DMAN?") > 40
    assert bench.safe() == told
    assert bench.close() == told
    assert peer.clock() - begun_s == pytest.approx(6.0, abs=0.2)
    assert peer.heard.count("OUTPut OFF") == 3


def test_a_rail_that_falls_late_is_waited_for(make):
    peer, bench = make()
    peer.rail_v = lambda: 4.5 if peer.is_on or peer.clock() - peer.off_s < 5.0 else 0.19
    for _ in range(2):  # counted anew once it was on again
        bench.supply(True)
        begun_s = peer.clock()
        assert bench.safe() is None
        assert peer.clock() - begun_s == pytest.approx(5.0, abs=0.2)


@pytest.mark.parametrize("reply", [b"", b"4.4x\n"])
def test_a_rail_that_can_not_be_measured_is_told(make, reply):
    peer, bench = make()
    bench.supply(True)
    peer.raw["MEASure:VOLTage?"] = reply
    bench.controller._link.timeout = 0.05
    assert bench.safe() == UNKNOWN
    assert not peer.is_on


def test_a_controller_that_is_gone_is_told(make):
    _, bench = make()
    bench.supply(True)
    bench.controller._link.close()
    assert bench.safe() == UNKNOWN
    assert bench.close() == UNKNOWN


def test_ctrl_c_ends_the_wait_and_not_the_telling(make):
    peer, bench = make()
    bench.supply(True)
    peer.rail_v = lambda: 4.48
    waited = []

    def impatient(seconds):
        peer.clock.sleep(seconds)
        waited.append(seconds)
        if len(waited) == 3:
            raise KeyboardInterrupt

    bench._sleep = impatient
    assert bench.safe() == CELLS
    assert len(waited) == 3
    assert not peer.is_on


def test_old_errors_in_the_queue_keep_nobody_from_being_told(make):
    peer, bench = make()
    bench.supply(True)
    peer.queue = ['101,"Dead-man time ran out"']
    peer.rail_v = lambda: 4.48
    assert bench.safe() == CELLS
    assert peer.heard.count("OUTPut OFF") == 1
