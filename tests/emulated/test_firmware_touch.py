"""The timed touch: its timeline against the outputs' own record, and ending it early."""

from __future__ import annotations

import pytest
from emulator import CYCLES_PER_US, Emulator, Port, build_firmware

TOUCH = "TOUCh:CONNections (@1!3,2!5);SERies 4;KEYS 2;TIMing 20,30,50,60,40"


def edges(states, of):
    """The cycles at which `of(state)` became true, and false again."""
    rises, falls = [], []
    was = False
    for state in states:
        if of(state) != was:
            was = not was
            (rises if was else falls).append(state.cycle)
    return rises, falls


def assert_timeline_is_what_the_outputs_did(timeline, states):
    marks, _ = edges(states, lambda state: state.marker)
    down, up = edges(states, lambda state: state.keys == {2})
    closed, opened = edges(
        states, lambda state: state.closures == {(1, 3), (2, 5)} and state.series == {4}
    )
    assert [len(moves) for moves in (marks, down, up, closed, opened)] == [2, 1, 1, 1, 1]
    moves = [marks[0], down[0], closed[0], up[0], opened[0], marks[1]]
    since_start_us = [(cycle - moves[0]) / CYCLES_PER_US for cycle in moves]
    stamps_us = [(us - timeline[0]) % 2**32 for us in timeline]
    assert stamps_us == pytest.approx(since_start_us, abs=25)


def test_every_step_of_the_timeline_is_where_the_outputs_moved(fresh_bench):
    emulator, port = fresh_bench
    port.write(TOUCH)
    timeline = port.touch()
    assert_timeline_is_what_the_outputs_did(timeline, emulator.events())
    assert port.errors() == []
    assert emulator.state.is_open_and_off


def test_a_lead_is_closed_alone_with_the_value_between_the_buses(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOUCh:CONNections (@1!3);SERies 4;KEYS 2;TIMing 20,30,50,60,40")
    port.touch()
    closed = [(state.closures, state.series) for state in emulator.events() if state.closures]
    assert closed and all(one == ({(1, 3)}, {4}) for one in closed)
    assert port.errors() == [] and emulator.state.is_open_and_off


def test_steps_last_as_long_as_was_set(fresh_bench):
    _, port = fresh_bench
    port.write(TOUCH)
    start, press, close, release, open_, end = port.touch()
    spans_ms = [
        us / 1000
        for us in (press - start, close - press, release - press, open_ - close, end - open_)
    ]
    # Each step waits for the look at what may be closed and for the chain, both before its stamp.
    assert spans_ms == pytest.approx([20, 50, 30, 60, 40], abs=0.7)


def test_marker_pulses_last_5_ms_at_start_and_end(fresh_bench):
    emulator, port = fresh_bench
    port.write(TOUCH)
    port.touch()
    rises, falls = edges(emulator.events(), lambda state: state.marker)
    lengths_us = [(f - r) / CYCLES_PER_US for r, f in zip(rises, falls, strict=True)]
    assert lengths_us == pytest.approx([5000, 5000], abs=100)


def test_two_touches_in_a_row_keep_their_markers_apart(fresh_bench):
    emulator, port = fresh_bench
    port.write(TOUCH)
    port.touch()
    port.touch()
    rises, falls = edges(emulator.events(), lambda state: state.marker)
    assert len(rises) == 4
    assert (rises[2] - falls[1]) / CYCLES_PER_US >= 4_900


def test_keys_may_be_held_into_the_tail(fresh_bench):
    _, port = fresh_bench
    port.write("TOUCh:CONNections (@1!1,2!2);SERies 1;KEYS 1,3;TIMing 10,80,20,30,60")
    start, press, close, release, open_, end = port.touch()
    assert start < press < close < open_ < release < end
    assert (release - press) / 1000 == pytest.approx(80, abs=0.5)


def test_without_connections_the_steps_are_stamped_and_nothing_closes(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOUCh:CONNections NONE;SERies 4;KEYS 2;TIMing 20,30,50,60,40")
    timeline = port.touch()
    assert -1 not in timeline
    assert (timeline[4] - timeline[2]) / 1000 == pytest.approx(60, abs=0.5)
    events = emulator.events()
    assert any(state.marker for state in events)
    assert not any(state.closures or state.series for state in events)


def test_without_keys_press_and_release_never_happen(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOUCh:CONNections (@1!3,2!5);SERies 4;KEYS NONE;TIMing 20,30,50,60,40")
    start, press, close, release, _, _ = port.touch()
    assert (press, release) == (-1, -1)
    assert (close - start) / 1000 == pytest.approx(70, abs=0.8)
    assert not any(state.keys for state in emulator.events())


def test_end_in_the_dwell_opens_at_once_and_keeps_the_tail(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOUCh:CONNections (@1!3,2!5);SERies 4;KEYS 2;TIMing 20,30,50,5000,40")
    port.write("TOUCh:INITiate")
    emulator.wait_for(lambda state: state.closures, 5)
    assert port.ask("TOUCh:STATe?") == "DWELL"
    port.write("TOUCh:END")
    _, _, close, _, open_, end = port.timeline()
    assert 0 < open_ - close < 1_000_000
    assert (end - open_) / 1000 == pytest.approx(40, abs=0.5)


def test_end_in_the_lead_in_closes_nothing_and_goes_to_the_end(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOUCh:CONNections (@1!3,2!5);SERies 4;KEYS 2;TIMing 20,3000,5000,60,4000")
    port.write("TOUCh:INITiate")
    emulator.wait_for(lambda state: state.keys, 5)
    assert port.ask("TOUCh:STATe?") == "LEAD"
    port.write("TOUCh:END")
    start, press, close, release, open_, end = port.timeline()
    assert (close, open_) == (-1, -1)
    assert start < press < release <= end
    assert end - start < 2_000_000
    assert not any(state.closures for state in emulator.events())
    assert emulator.state.is_open_and_off


def test_abort_opens_everything_at_once_and_leaves_no_timeline(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOUCh:CONNections (@1!3,2!5);SERies 4;KEYS 2;TIMing 0,3000,1,5000,40")
    port.write("TOUCh:INITiate")
    emulator.wait_for(lambda state: state.closures, 5)
    port.write("TOUCh:ABORt")
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    assert port.ask("TOUCh:STATe?") == "IDLE"
    port.write("TOUCh:TIMeline?")
    assert port.errors() == [-221]


def test_opc_is_set_when_the_touch_is_over_and_not_before(fresh_bench):
    _, port = fresh_bench
    port.write("*CLS;" + TOUCH)
    port.write("TOUCh:INITiate;*OPC")
    assert int(port.ask("*ESR?")) & 1 == 0
    port.timeline()
    assert int(port.ask("*ESR?")) & 1 == 1


def test_opc_query_answers_after_the_touch(fresh_bench):
    _, port = fresh_bench
    port.write(TOUCH)
    assert port.ask("TOUCh:INITiate;*OPC?;STATe?") == "1;DONE"


def test_wai_holds_the_rest_of_the_message(fresh_bench):
    _, port = fresh_bench
    port.write(TOUCH)
    assert port.ask("TOUCh:INITiate;*WAI;STATe?") == "DONE"


@pytest.mark.parametrize(
    ("message", "error"),
    [
        ("TOUCh:INITiate", -213),
        ("ROUTe:CLOSe (@1!1)", -221),
        ("ROUTe:SERies 2", -221),
        ("TOY:KEY:PRESs 1", -221),
        ("TOUCh:CONNections NONE", -221),
        ("TOUCh:TIMing 1,2,3,4,5", -221),
    ],
)
def test_what_would_disturb_a_running_touch_is_refused(fresh_bench, message, error):
    emulator, port = fresh_bench
    port.write(TOUCH)
    port.write("TOUCh:INITiate")
    port.write(message)
    assert port.errors() == [error]
    assert_timeline_is_what_the_outputs_did(port.timeline(), emulator.events())


def test_a_touch_does_not_start_over_something_closed(fresh_bench):
    emulator, port = fresh_bench
    port.write(TOUCH + ";:ROUTe:CLOSe (@1!9)")
    port.write("TOUCh:INITiate")
    assert port.errors() == [-221]
    assert port.ask("TOUCh:STATe?") == "IDLE"
    assert emulator.state.closures == {(1, 9)}


def test_a_touch_across_both_buses_needs_a_series_channel(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOUCh:CONNections (@1!3,2!5);SERies 0;INITiate")
    assert port.errors() == [-221]
    assert not any(state.marker for state in emulator.events())


def test_switching_the_supply_off_ends_a_touch(fresh_bench):
    emulator, port = fresh_bench
    port.write("OUTPut ON;:" + TOUCH.replace(",60,40", ",5000,40") + ";INITiate")
    emulator.wait_for(lambda state: state.closures and state.supply, 5)
    port.write("OUTPut OFF")
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    assert port.ask("TOUCh:STATe?") == "IDLE"


def test_a_touch_runs_right_across_the_wrap_of_the_clock(tmp_path):
    before_wrap_us = 1_000_000
    elf = build_firmware(tmp_path / "near-wrap", clock_start_us=2**32 - before_wrap_us)
    with Emulator(elf=elf) as emulator:
        port = Port(emulator)
        port.write("*CLS;TOUCh:CONNections (@1!3,2!5);SERies 4;KEYS 2;TIMing 20,30,50,1500,40")
        timeline = port.touch()
        assert timeline[0] > 2**31 > timeline[5]  # it did cross
        assert_timeline_is_what_the_outputs_did(timeline, emulator.events())
        assert port.errors() == []


def test_the_clock_keeps_step_with_the_cycles_for_seconds():
    with Emulator() as emulator:
        port = Port(emulator)
        port.write("*CLS;SYSTem:DMAN 10000")
        port.write("TOUCh:CONNections NONE;KEYS 1;TIMing 0,5000,0,9000,0;INITiate")
        timeline = port.timeline()
        marks, _ = edges(emulator.events(), lambda state: state.marker)
        span_us = (marks[1] - marks[0]) / CYCLES_PER_US
        assert timeline[5] - timeline[0] == pytest.approx(span_us, abs=25)
        assert span_us == pytest.approx(9_000_000, abs=1_000)
