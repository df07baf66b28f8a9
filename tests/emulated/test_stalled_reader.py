"""A sweep whose output nobody reads: the real controller's dead-man never trips for it.

The whole sweep passes while the output stands still, more than 60 s in real time; the controller
gives a silent host 3 s.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest
from emulated_rig import PADSWEEP, Board, EmulatedRig
from emulator import HANGS_S

from rig.events import ControllerRestarted, GuardCut, SweepDone
from rig.log import SweepLog, read_events, verify

sys.path.append(str(Path(__file__).parents[1] / "unit"))
from stalled_pipe import StalledPipe

BOARD = Board(seed=9, leads=("A", "B"), baseline_takes=16)
"""Little to touch: the presses that get to know the toy last longer than the output stands still."""
STALLED_S = 60


@pytest.fixture
def rig(sound_server, tmp_path):
    with EmulatedRig(tmp_path, sound_server, BOARD) as rig:
        yield rig


def test_a_sweep_goes_on_to_its_end_though_nobody_reads_what_it_says(rig):
    folder = rig.folder / "sweeps" / "main"
    with StalledPipe() as pipe:
        host = subprocess.Popen(
            [*PADSWEEP, "sweep", "--no-survey", "--project", str(rig.folder)], env=rig.server.env,
            stdout=pipe.write, stderr=subprocess.PIPE, text=True,
        )
        try:
            pipe.read_upto("come first.\n")
            filled = pipe.fill()
            begun_s, last = time.monotonic(), None
            while not isinstance(last, SweepDone):
                assert host.poll() is None, host.stderr.read()
                assert time.monotonic() < begun_s + HANGS_S, f"no end; the last was {last}"
                time.sleep(0.5)
                if (folder / "log.db").exists():
                    last = next(reversed(read_events(folder)), None)
            stalled_s = time.monotonic() - begun_s
            rig.wait_for_record(lambda line: not line["supply"])
            assert host.poll() is None  # it waits with what there is still to say
            said = pipe.read_rest()
            assert host.wait(HANGS_S) == 0
        finally:
            host.kill()
            host.wait()
            host.stderr.close()
    lines = said[filled:].splitlines()
    assert stalled_s > STALLED_S
    assert any(" touches of " in line for line in lines)
    with SweepLog.open(folder, read_only=True) as log:
        assert verify(log) == []
        events = log.events()
        assert not any(one.timeline.guarded for one in log.records())
    assert not any(isinstance(one, (GuardCut, ControllerRestarted)) for one in events)
    assert sum(isinstance(one, SweepDone) for one in events) == 1
