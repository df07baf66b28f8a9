"""A toy that answers after 0.6 s, give or take 0.1 s, on the emulated rig: each touch waits for it.

The controller starts each touch armed, and closes it on the host's word, once the toy is heard.
"""

from __future__ import annotations

import numpy as np
import pytest
from emulated_rig import Board, EmulatedRig, export, padsweep

from rig.events import HabitsLearnt, RungTried, SweepDone
from rig.listen import HOP_S, first_begins
from rig.log import SweepLog, read_events, verify

BOARD = Board(
    seed=9, leads=("A", "B", "C"), baseline_takes=12, dwell_ms=600, habits="late 500-700"
)
LEAD_IN_S = 0.4


@pytest.fixture(scope="module")
def rig(sound_server, tmp_path_factory):
    with EmulatedRig(tmp_path_factory.mktemp("late"), sound_server, BOARD) as rig:
        done = rig.sweep()
        assert done.returncode == 0, done.stderr
        yield rig


@pytest.fixture(scope="module")
def records(rig):
    with SweepLog.open(rig.folder / "sweeps" / "main", read_only=True) as log:
        assert verify(log) == []
        yield [(one, *log.read_take(one.number)) for one in log.records() if one.take]


def test_the_sweep_ends_and_says_how_late_the_toy_is(rig):
    events = read_events(rig.folder / "sweeps" / "main")
    assert isinstance(events[-1], SweepDone)
    learnt = next(one for one in events if isinstance(one, HabitsLearnt))
    assert 0.45 <= learnt.soonest_s < learnt.latest_s <= 0.8
    assert not learnt.steady
    # Only what the bridges froze was brought back by cutting its supply.
    cut = sum(isinstance(one, RungTried) and one.rung == "supply" for one in events)
    assert cut == events[-1].freezes


def test_pads_close_a_constant_time_after_the_toy_began(records):
    bridged = [(one, take, rate_hz) for one, take, rate_hz in records if one.pads_1]
    assert len(bridged) >= 6
    after_press_s, after_onset_s = [], []
    for one, take, rate_hz in bridged:
        press = one.offsets["press"]
        begins = first_begins(take, round(press / rate_hz / HOP_S), rate_hz) * HOP_S
        after_press_s.append((one.offsets["close"] - press) / rate_hz)
        after_onset_s.append(one.offsets["close"] / rate_hz - begins)
    assert np.ptp(after_press_s) > 0.05
    assert np.ptp(after_onset_s) < 0.06
    assert np.median(after_onset_s) == pytest.approx(LEAD_IN_S, abs=0.04)


def test_it_finds_what_the_simulated_bench_finds_of_the_same_toy(rig, tmp_path):
    simulated = BOARD.write_project(tmp_path / "simulated", None)
    done = padsweep("sweep", "--project", str(simulated))
    assert done.returncode == 0, done.stderr
    found = [
        {(row["pads_1"], row["pads_2"]): (row["sound"] == "none", row["after"]) for row in
         export(folder, "--finds")} for folder in (rig.folder, simulated)
    ]  # fmt: skip
    assert found[0] == found[1]
    assert found[0]
