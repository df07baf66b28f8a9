"""The simulated bench: the stream, markers and timeline that every bench gives."""


import numpy as np
import pytest
from simulated_benches import heard, make, pulses, ready

from rig.bench import Bench, Connection, Stimulus, Touch
from rig.bench.base import MARKER_PULSE_MS
from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.board import make_board
from rig.errors import BenchError


def pad_on(bench, role):
    return next(p.letter for p in bench.board.pads if p.net == bench.board.roles[role])


def test_it_is_a_bench():
    bench = make()
    assert isinstance(bench, Bench)
    state = bench.state()
    assert state.kind == "simulated"
    assert "16 pads" in state.identity
    assert not {"net", "role"} & set(state.facts)


def test_two_markers_a_touch_with_the_timelines_time_between():
    bench = ready()
    key = bench.board.keys[0]
    sound, marker, _, timeline = heard(bench, Touch(stimulus=Stimulus((key,))))
    found = pulses(marker)
    assert [stop - start for start, stop in found] == [48 * MARKER_PULSE_MS] * 2
    assert found[0][0] > 0, "the stream begins before the start marker"
    assert found[1][1] < len(marker), "and ends behind the end marker"
    apart_us = (found[1][0] - found[0][0]) / bench.rate_hz * 1e6
    assert apart_us == pytest.approx(timeline.end_us, rel=1.1e-3)
    assert timeline.press_us == pytest.approx(60_000, abs=30)
    assert timeline.release_us == pytest.approx(180_000, abs=30)
    assert timeline.close_us == pytest.approx(360_000, abs=30)
    assert timeline.open_us == pytest.approx(1_560_000, abs=30)
    assert timeline.end_us == pytest.approx(2_060_000, abs=30)
    press = found[0][0] + round(0.06 * bench.rate_hz)
    room = np.sqrt(np.mean(sound[:press] ** 2))
    after = np.sqrt(np.mean(sound[press + 4800 : press + 24000] ** 2))
    assert after > 20 * room


def test_the_controllers_clock_is_its_own():
    ratios = {make(seed)._clock_ratio for seed in range(6)}
    assert len(ratios) == 6
    assert all(abs(ratio - 1) <= 1e-3 for ratio in ratios)


def test_ended_early_in_the_dwell_it_opens_then_and_keeps_its_tail():
    bench = ready()
    touch = Touch(stimulus=Stimulus((bench.board.keys[0],)))
    _, marker, _, timeline = heard(bench, touch, end_after_s=0.6)
    assert 600_000 <= timeline.open_us < 800_000
    assert timeline.end_us - timeline.open_us == pytest.approx(500_000, abs=50)
    assert len(pulses(marker)) == 2


def test_ended_early_in_the_lead_in_it_closes_nothing():
    bench = ready()
    plus, clock = pad_on(bench, "vcc"), pad_on(bench, "osc")
    touch = Touch((Connection((plus,), (clock,), 0.0),), Stimulus((bench.board.keys[0],)))
    bench.begin(touch)
    chunks = bench.stream()
    next(chunks)
    bench.end_early()
    rest = list(chunks)
    timeline = bench.timeline()
    assert timeline.close_us is None and timeline.open_us is None
    assert timeline.press_us is not None
    assert timeline.release_us <= timeline.end_us < 360_000
    assert sum(len(c.sound) for c in rest) < bench.rate_hz / 4
    # this bridge crashes the clock: had it closed, the toy would be dead
    bench.wait(3.0)
    sound, *_ = heard(bench, Touch(stimulus=Stimulus((bench.board.keys[0],))))
    assert np.sqrt(np.mean(sound**2)) > 0.02


def test_without_keys_nothing_is_pressed_and_it_stays_still():
    bench = ready()
    sound, _, _, timeline = heard(bench, Touch(stimulus=Stimulus(())))
    assert timeline.press_us is None and timeline.release_us is None
    assert timeline.close_us is not None
    assert np.sqrt(np.mean(sound**2)) == pytest.approx(1e-3, rel=0.05)


def test_the_room_is_as_far_below_the_toy_as_asked():
    for room_db in (30.0, 60.0):
        sound, *_ = heard(ready(room_db=room_db), Touch(stimulus=Stimulus(())))
        level = 20 * np.log10(np.sqrt(np.mean(sound.astype(float) ** 2)) / 0.1)
        assert level == pytest.approx(-room_db, abs=0.3)


def test_a_power_cycle_revives_a_frozen_toy_and_takes_its_time():
    bench = ready()
    key = bench.board.keys[0]
    plus, clock = pad_on(bench, "vcc"), pad_on(bench, "osc")
    heard(bench, Touch((Connection((plus,), (clock,), 0.0),), Stimulus((key,))))
    bench.wait(3.0)
    one, *_ = heard(bench, Touch(stimulus=Stimulus((key,))))
    two, *_ = heard(bench, Touch(stimulus=Stimulus(())))
    assert np.sqrt(np.mean(one**2)) == pytest.approx(np.sqrt(np.mean(two**2)), rel=0.1)

    begun = bench.now_s()
    bench.supply(False)
    assert bench.rail_v() > 0.2
    while bench.rail_v() > 0.2:
        bench.wait(0.05)
    bench.wait(0.5)
    bench.supply(True)
    bench.wait(bench.board.boot_ms / 1000 + 0.1)
    for name in bench.board.on:
        heard(bench, Touch(stimulus=Stimulus((name,))))
    assert 0.5 < bench.now_s() - begun < 5
    assert bench.rail_v() == pytest.approx(bench.board.volts, rel=0.01)
    sound, *_ = heard(bench, Touch(stimulus=Stimulus((key,))))
    assert np.sqrt(np.mean(sound**2)) > 0.02


def test_the_same_calls_give_the_same_stream():
    streams = []
    for _ in range(2):
        bench = ready(seed=3)
        touch = Touch((Connection(("A",), ("C",), 6800.0),), Stimulus((bench.board.keys[0],)))
        streams.append([heard(bench, touch)[0] for _ in range(3)])
    for one, two in zip(*streams, strict=True):
        assert np.array_equal(one, two)


def test_what_cannot_be_done_is_said():
    bench = ready()
    with pytest.raises(BenchError, match="no pad 'ZZ'"):
        bench.begin(Touch((Connection(("A",), ("ZZ",), 0.0),)))
    with pytest.raises(BenchError, match="no key 'doorbell'"):
        bench.begin(Touch(stimulus=Stimulus(("doorbell",))))
    with pytest.raises(BenchError, match="a pad on bus 1"):
        bench.begin(Touch((Connection((), ("A",), 0.0),)))
    with pytest.raises(BenchError, match="begin one first"):
        next(bench.stream())
    with pytest.raises(BenchError, match="no finished touch"):
        make().timeline()
    bench.begin(Touch())
    with pytest.raises(BenchError, match="still running"):
        bench.begin(Touch())
    bench.close()
    assert bench.rail_v() > 0.2
    bench.wait(1.0)
    assert bench.rail_v() < 0.2


def test_a_tripped_guard_shows_in_the_timeline_and_lets_go_when_supplied_again():
    bench = tripping()
    key = bench.board.keys[0]
    touch = Touch((Connection((pad_on(bench, "amp"),), (pad_on(bench, "vcc"),), 0.0),),
                  Stimulus((key,)))  # fmt: skip
    sound, marker, _, timeline = heard(bench, touch)
    assert timeline.guarded
    assert timeline.close_us < timeline.open_us < timeline.close_us + 600_000
    assert timeline.end_us == pytest.approx(2_060_000, abs=50), "the touch goes on without the toy"
    assert len(pulses(marker)) == 2
    assert np.sqrt(np.mean(sound[-10_000:] ** 2)) == pytest.approx(1e-3, rel=0.1)
    assert bench.rail_v() < 1.0
    bench.supply(True)
    bench.wait(1.0)
    for name in bench.board.on:
        heard(bench, Touch(stimulus=Stimulus((name,))))
    sound, _, _, timeline = heard(bench, Touch(stimulus=Stimulus((key,))))
    assert not timeline.guarded
    assert np.sqrt(np.mean(sound**2)) > 0.02


def tripping() -> SimulatedBench:
    """Give a bench with a toy whose speaker hangs on its amplifier without a capacitor."""
    for seed in range(100):
        board = make_board(seed, 24)
        leads = {board.nets[pad.net].role for pad in board.pads}
        if board.power.direct and board.volts >= 4.5 and "amp" in leads:
            return ready(seed, pads=24)
    raise AssertionError("no such toy")
