"""The timed touch: its timeline against the outputs' own record, and ending it early."""

from __future__ import annotations

import pytest
from emulator import CYCLES_PER_MS, CYCLES_PER_US, Emulator, Port, build_firmware

PULSE_MS = 5


@pytest.fixture
def bench():
    with Emulator() as emulator, Port(emulator.pty) as port:
        assert port.errors() == [-500]
        yield emulator, port


def setting(keys="2", connections="(@1!3,2!5)", timing="20,30,50,60,40"):
    return (
        f"TOUCh:CONNections {connections};SERies 4;KEYS {keys};TIMing {timing}"
    )


def edges(states, of):
    """The cycles at which `of(state)` became true and false again."""
    rises, falls = [], []
    was = False
    for state in states:
        if of(state) != was:
            was = not was
            (rises if was else falls).append(state.cycle)
    return rises, falls


def test_every_step_of_the_timeline_is_where_the_outputs_moved(bench):
    emulator, port = bench
    port.write(setting())
    start, press, close, release, open_, end = port.touch()
    states = emulator.events()
    assert port.errors() == []

    marks, _ = edges(states, lambda state: state.marker)
    down, up = edges(states, lambda state: state.keys == {2})
    closed, opened = edges(states, lambda state: state.closures == {(1, 3), (2, 5)})
    assert [len(moves) for moves in (marks, down, up, closed, opened)] == [2, 1, 1, 1, 1]
    moves = [marks[0], down[0], closed[0], up[0], opened[0], marks[1]]
    for stamp_us, cycle in zip((press, close, release, open_, end), moves[1:], strict=True):
        since_start_us = (cycle - moves[0]) / CYCLES_PER_US
        assert stamp_us - start == pytest.approx(since_start_us, abs=25)


def test_steps_last_as_long_as_was_set(bench):
    emulator, port = bench
    port.write(setting(timing="20,30,50,60,40"))
    start, press, close, release, open_, end = port.touch()
    spans_ms = [us / 1000 for us in
                (press - start, close - press, release - press, open_ - close, end - open_)]
    assert spans_ms == pytest.approx([20, 50, 30, 60, 40], abs=0.5)
