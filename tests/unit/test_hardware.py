"""The hardware bench: what it sends to the controller, and what it makes of the replies."""

import select

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from rig_peer import PADS, Clock, RigPeer, bench_at, hardware_project
from serial_peer import REPLY_S

from rig.bench import Connection, Stimulus, Touch
from rig.bench.hardware import WRAP_US, since_start
from rig.errors import BenchError, LinkLost, Restarted
from rig.project import touchable

SILENCE_S = 1.0
"""No reply within this long is a lost one; even a busy machine answers sooner."""


@pytest.fixture
def peer():
    peer = RigPeer(hardware_project(), Clock())
    yield peer
    peer.close()


@pytest.fixture
def bench(peer, monkeypatch):
    bench = bench_at(peer, monkeypatch)
    yield bench
    bench.controller.close()


@given(start=st.integers(0, WRAP_US - 1), elapsed=st.integers(0, WRAP_US - 1))
def test_times_are_right_across_the_clock_s_wrap(start, elapsed):
    assert since_start(start, (start + elapsed) % WRAP_US) == elapsed


def test_a_step_that_never_happened_has_no_time():
    assert since_start(4_000_000_000, -1) is None


def test_a_wrap_between_start_and_close():
    # 0xFFFFFF00 + 300,000 us is 299,744 on a 32-bit clock.
    assert since_start(0xFFFFFF00, 299_744) == 300_000


def sent_since(controller, before):
    """Give what was sent after so many exchanges, as it went over the wire."""
    return [one.data for one in list(controller.log)[before:] if one.sent]


def test_a_reply_that_a_restart_swallowed_is_told_as_the_restart(peer, bench):
    bench.controller._link.timeout = SILENCE_S
    peer.deaf_lines = 2
    peer.replies["SYSTem:BOOTs?"] = "8"
    before = len(bench.controller.log)
    with pytest.raises(Restarted, match="restarted by itself"):
        bench.supply_ma()
    # What is in force there is made sure of before anything is closed again.
    assert b"SYSTem:CONFigure:CRC?\n" in sent_since(bench.controller, before)


def test_a_reply_that_was_swallowed_without_a_restart_is_a_lost_link(peer, bench):
    bench.controller._link.timeout = SILENCE_S
    peer.deaf_lines = 2
    with pytest.raises(LinkLost, match="no whole reply to 'MEASure:CURRent"):
        bench.supply_ma()


@pytest.mark.parametrize("leave", ["supply", "safe"])
def test_switching_off_is_the_first_that_is_sent(peer, bench, leave):
    bench.supply(True)
    assert peer.is_on
    peer.queue = ['-222,"Data out of range"']  # an old one, of which nobody knows
    peer.say(b"nobody asked\n")
    select.select([bench.controller._link.fileno()], [], [], REPLY_S)
    before = len(bench.controller.log)
    if leave == "supply":
        with pytest.raises(BenchError, match="-222"):  # told of, but only then
            bench.supply(False)
    else:
        bench.safe()
    assert sent_since(bench.controller, before)[0] == b"\nOUTPut OFF\n"
    assert not peer.is_on


def test_a_controller_that_does_not_switch_off_is_no_success(peer, bench):
    peer.raw["OUTPut?"] = b"1\n"
    with pytest.raises(BenchError, match="doesn't switch the toy off: pull the cells"):
        bench.supply(False)
    peer.raw["OUTPut?"] = b""  # and one that doesn't reply is told to in another way
    bench.controller._link.timeout = 0.05
    bench.safe()
    assert "*RST" in peer.heard[peer.heard.index("OUTPut OFF") :]


def test_no_touch_that_is_refused_is_sent_to_the_controller(peer, bench):
    """Groups of pads of any kind, one pad twice, none that there is, over any path."""
    outcomes = set()
    some = st.lists(st.sampled_from([*PADS, "Z"]), max_size=3).map(tuple)

    @example(("C",), ("D",), 6800.0)
    @example(("C",), ("E",), 6800.0)
    @given(some, some, st.sampled_from([0.0, 6800.0, 150_000.0]))
    def check(pads_1, pads_2, series_ohm):
        reason = touchable(peer.project, pads_1, pads_2, series_ohm)
        touch = Touch((Connection(pads_1, pads_2, series_ohm),), Stimulus(("red",)))
        before = len(peer.heard)
        outcomes.add(reason is None)
        if reason is None:
            bench.begin(touch)
            assert "TOUCh:INITiate" in peer.heard[before:]
            return
        with pytest.raises(BenchError) as caught:
            bench.begin(touch)
        assert str(caught.value) == f"a touch is refused before it is begun: {reason}"
        assert len(peer.heard) == before

    check()
    assert outcomes == {True, False}


def test_a_lead_alone_is_closed_onto_bus_1_with_the_value_between_the_buses(peer, bench):
    before = len(peer.heard)
    bench.begin(Touch((Connection(("D",), (), 6800.0),), Stimulus(("red",))))
    sent = " ".join(peer.heard[before:])
    number = list(PADS).index("D") + 1
    assert f"(@1!{number})" in sent and "2!" not in sent
    channel = list(peer.project.rig.series_ohm).index(6800.0) + 1
    assert f"TOUCh:SERies {channel}" in sent


def test_a_pad_in_two_connections_is_refused(peer, bench):
    before = len(peer.heard)
    pairs = tuple(Connection(("C",), (other,), 6800.0) for other in "DG")
    with pytest.raises(BenchError, match="can't be closed twice"):
        bench.begin(Touch(pairs, Stimulus(("red",))))
    assert len(peer.heard) == before
