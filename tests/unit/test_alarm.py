"""A toy that may still be supplied is what the program says last, however it ends."""

import pytest
from rig_peer import Clock, RigPeer, bench_at
from running import run_main, small_project

from rig.bench.simulated.bench import SimulatedBench
from rig.cli import benches
from rig.cli.progress import SweepView
from rig.cli.sweep import run_sweep
from rig.errors import ToyLost
from rig.events import StillSupplied, SweepStarted
from rig.log import SweepLog
from rig.project import load_project, new_project

STILL = "the toy is STILL SUPPLIED (4.48 V on its rail): pull the cells now"
LAST = f"padsweep: {STILL}\n"


@pytest.fixture
def folder(tmp_path):
    return small_project(tmp_path / "toy")


@pytest.fixture
def fed(monkeypatch):
    """A bench that can't switch its toy off."""
    safe = SimulatedBench.safe
    monkeypatch.setattr(SimulatedBench, "safe", lambda bench: safe(bench) or STILL)


def ending(monkeypatch, error=None):
    """Let the sweep end with its first event."""

    def show(view, events):
        assert isinstance(next(events), SweepStarted)
        if error is not None:
            raise error

    monkeypatch.setattr(SweepView, "show", show)


def test_after_a_sweep_that_went_well(folder, monkeypatch, fed):
    ending(monkeypatch)
    done = run_main("sweep", "--project", folder)
    assert (done.code, done.err) == (5, LAST)
    assert "touches of" in done.out
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        assert [e.why for e in log.events() if isinstance(e, StillSupplied)] == [STILL]


def test_after_ctrl_c(folder, monkeypatch, fed):
    ending(monkeypatch, KeyboardInterrupt())
    done = run_main("sweep", "--project", folder)
    assert done.code == 130
    assert done.err == (
        f"padsweep: stopped: the log is whole; `padsweep sweep --project {folder}` continues\n{LAST}"
    )


def test_after_an_error(folder, monkeypatch, fed):
    ending(monkeypatch, ToyLost("the toy doesn't answer"))
    done = run_main("sweep", "--project", folder)
    assert (done.code, done.err) == (6, f"padsweep: the toy doesn't answer\n{LAST}")


def test_after_an_error_that_nobody_foresaw(folder, monkeypatch, fed):
    ending(monkeypatch, ZeroDivisionError())
    done = run_main("sweep", "--project", folder)
    assert done.code == 70
    assert done.err.endswith(LAST) and done.err.count("\n") == 2
    assert "ZeroDivisionError" in done.err and "switched the toy off" not in done.err


@pytest.mark.parametrize("error", [None, KeyboardInterrupt()])
def test_a_toy_that_is_off_is_no_alarm(folder, monkeypatch, error):
    ending(monkeypatch, error)
    done = run_main("sweep", "--project", folder)
    assert done.code == (130 if error else 0)
    assert "SUPPLIED" not in done.err
    assert ("the toy is off, all pads are open" in done.err) == bool(error)


def test_a_bench_that_tells_of_it_only_as_it_is_closed(folder, monkeypatch):
    monkeypatch.setattr(SimulatedBench, "close", lambda bench: STILL)
    ending(monkeypatch)
    done = run_main("sweep", "--project", folder)
    assert (done.code, done.err) == (5, LAST)


def test_what_was_told_is_kept_though_the_closing_is_interrupted(folder, monkeypatch, fed):
    def interrupted(bench):
        raise KeyboardInterrupt

    monkeypatch.setattr(SimulatedBench, "close", interrupted)
    ending(monkeypatch)
    done = run_main("sweep", "--project", folder)
    assert done.code == 130
    assert done.err.endswith(LAST)


def test_outside_the_program_it_is_told_at_once(folder, monkeypatch, fed, capsys):
    ending(monkeypatch)
    project = load_project(folder)
    run_sweep(project, "main", SweepView(None, project.toy))
    assert LAST in capsys.readouterr().err


def test_the_whole_way_from_the_controller_after_ctrl_c(tmp_path, monkeypatch):
    new_project(tmp_path / "toy", 8)
    peer = RigPeer(load_project(tmp_path / "toy"), Clock())
    monkeypatch.setattr(benches, "open_bench", lambda project: bench_at(peer, monkeypatch))

    def show(view, events):
        next(events)
        peer.rail_v = lambda: 4.48
        raise KeyboardInterrupt

    monkeypatch.setattr(SweepView, "show", show)
    done = run_main("sweep", "--project", tmp_path / "toy", "--no-survey")
    peer.close()
    assert done.code == 130
    assert done.err.endswith(LAST)
    assert "toy is off" not in done.err
