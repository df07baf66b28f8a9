"""Pads held by the hardware bench: what goes over the wire, and what it makes of the answers."""

from types import SimpleNamespace

import numpy as np
import pytest
from rig_peer import Clock, RigPeer, bench_at, hardware_project

from rig.bench import Chunk, Connection
from rig.errors import BenchError, GuardTripped, HeldTooLong, Restarted

PAIR = (Connection(("C",), ("D",), 6800.0),)
OTHER = (Connection(("C",), ("G",), 6800.0),)
PIECE = 480


@pytest.fixture
def peer():
    peer = RigPeer(hardware_project(), Clock())
    yield peer
    peer.close()


@pytest.fixture
def bench(peer, monkeypatch):
    """Give a bench whose sound input gives 10 ms at a time, as its clock goes."""
    bench = bench_at(peer, monkeypatch)
    at = 0

    def read():
        nonlocal at
        peer.clock.sleep(0.01)
        at += PIECE
        return Chunk(at - PIECE, np.full(PIECE, 0.1, np.float32), np.zeros(PIECE, np.float32))

    skipped = []
    bench.capture = SimpleNamespace(
        device="none", read=read, skip=lambda: skipped.append(at), close=lambda: None
    )
    bench.skipped = skipped
    yield bench
    bench.controller.close()


def said(peer, act) -> list[str]:
    """Give the commands that something sends."""
    before = len(peer.heard)
    act()
    return [one for one in peer.heard[before:] if not one.endswith("?")]


def test_a_pair_is_closed_over_its_channel_and_kept(peer, bench):
    assert said(peer, lambda: bench.hold(PAIR)) == [
        "ROUTe:OPEN:ALL", "TOY:KEY:RELease ALL", "ROUTe:SERies 2", "ROUTe:CLOSe (@1!3,2!4)",
        "ROUTe:CLOSe:KEEP",
    ]
    over = (Connection(("C",), ("D",), 150_000.0),)
    assert said(peer, lambda: bench.hold(over)) == ["ROUTe:SERies 3", "ROUTe:CLOSe:KEEP"]
    assert said(peer, lambda: bench.hold(OTHER))[0] == "ROUTe:OPEN:ALL"
    assert said(peer, bench.stay) == ["ROUTe:CLOSe:KEEP"]
    assert said(peer, bench.let_go) == ["ROUTe:OPEN:ALL", "TOY:KEY:RELease ALL"]
    assert said(peer, bench.stay) == [], "nothing is kept that nobody holds"


def test_values_side_by_side_are_made_of_their_channels(peer, bench):
    between = (Connection(("C",), ("D",), 6_504.0),)
    assert "ROUTe:SERies 2,3" in said(peer, lambda: bench.hold(between))


def test_a_key_is_down_alone(peer, bench):
    assert said(peer, lambda: bench.press_keys(("red",))) == ["TOY:KEY:RELease ALL", "TOY:KEY:PRESs 1"]
    assert said(peer, lambda: bench.press_keys(())) == ["TOY:KEY:RELease ALL"]


def test_nothing_is_kept_by_listening_and_the_dead_man_is_fed(peer, bench):
    bench.hold(PAIR)
    before = len(peer.heard)
    chunk = bench.listen(20.0)
    assert len(chunk.sound) == pytest.approx(20.0 * 48_000, abs=2 * PIECE)
    heard = peer.heard[before:]
    assert "ROUTe:CLOSe:KEEP" not in heard
    assert 20 / 0.3 < heard.count("SYSTem:ERRor?") < 20 / 0.2


def test_what_nobody_listened_to_isn_t_heard_later(peer, bench):
    bench.listen(1.0)
    assert len(bench.skipped) <= 1
    skipped = len(bench.skipped)
    bench.listen(1.0)
    assert len(bench.skipped) == skipped
    peer.clock.sleep(5.0)
    bench.listen(1.0)
    assert len(bench.skipped) == skipped + 1


@pytest.mark.parametrize("act", ["listen", "stay"])
def test_what_the_controller_opened_by_itself_is_told(peer, bench, act):
    bench.hold(PAIR)
    peer.queue += ['102,"Closure held too long"']
    if act == "stay":
        peer.queue += ['-221,"Settings conflict"']
    peer.clock.sleep(1.0)
    with pytest.raises(HeldTooLong):
        bench.listen(0.1) if act == "listen" else bench.stay()
    assert said(peer, bench.stay) == []
    assert "ROUTe:CLOSe (@1!3,2!4)" in said(peer, lambda: bench.hold(PAIR))


def test_a_trip_is_told_and_the_next_switching_on_lets_go_of_the_guard(peer, bench):
    bench.supply(True)
    bench.hold(PAIR)
    peer.queue += ['106,"Supply current over peak limit"']
    peer.is_latched = True
    peer.clock.sleep(1.0)
    with pytest.raises(GuardTripped):
        bench.listen(0.1)
    bench.supply(False)
    peer.clock.sleep(5.0)
    bench.supply(True)
    assert peer.is_on


@pytest.mark.parametrize("error", ['101,"Dead-man time ran out"', '-240,"Hardware error"'])
def test_other_errors_end_it(peer, bench, error):
    bench.hold(PAIR)
    peer.queue += [error]
    peer.clock.sleep(1.0)
    with pytest.raises(BenchError, match=error.split(",")[0]) as caught:
        bench.listen(0.1)
    assert type(caught.value) is BenchError


def test_a_restart_while_pads_are_held_is_told_as_such(peer, bench):
    bench.hold(PAIR)
    peer.replies["SYSTem:BOOTs?"] = "8"
    peer.queue += ['-500,"Power on"']
    peer.clock.sleep(1.0)
    with pytest.raises(Restarted):
        bench.listen(0.1)


@pytest.mark.parametrize(("connections", "why"), [
    ((Connection(("C",), ("E",), 6800.0),), "pad E is forbidden"),
    ((Connection(("A",), ("B",), 0.0),), "are rails"),
    ((*PAIR, Connection(("G",), ("H",), 6800.0)), "this bench has one"),
])
def test_what_a_touch_may_not_close_isn_t_held(peer, bench, connections, why):
    def refused():
        with pytest.raises(BenchError, match=why):
            bench.hold(connections)

    assert said(peer, refused) == []


def test_firmware_that_keeps_nothing_is_told_before_anything_closes(peer, bench):
    bench.controller.firmware = (0, 3, 0)

    def refused():
        with pytest.raises(BenchError, match=r"has firmware 0\.3\.0, holding pads needs 0\.4"):
            bench.hold(PAIR)

    assert said(peer, refused) == []
