"""An error that nobody foresaw is one line and a report; the bench is safe and the log whole."""

import errno
import threading
import time

import pytest
from running import run_main, small_project

from rig.bench.simulated.bench import SimulatedBench
from rig.cli import project as project_commands
from rig.cli.called import Call
from rig.cli.progress import SweepView
from rig.cli.unforeseen import EXIT_CODE, unforeseen
from rig.log import SweepLog, verify
from rig.sweep import engine


@pytest.fixture
def folder(tmp_path):
    return small_project(tmp_path / "my toy")


def break_check(monkeypatch, error):
    def broken(*_):
        raise error

    monkeypatch.setattr(project_commands, "report", broken)


def test_it_is_one_line_and_a_report_in_the_project(folder, monkeypatch):
    break_check(monkeypatch, ValueError("too\n many"))
    for count in (1, 2):  # none takes another's place
        done = run_main("check", "--project", folder)
        assert done.code == EXIT_CODE
        assert done.err.count("\n") == 1
        assert done.err.startswith("padsweep: check met an error that nobody foresaw "
                                   "(ValueError: too many, test_unforeseen.py line ")
        assert "Traceback" not in done.err
        reports = sorted(folder.glob("padsweep-report-*.txt"))
        assert len(reports) == count
        assert any(str(one) in done.err for one in reports)
    text = reports[0].read_text("utf-8")
    assert "Traceback" in text and "ValueError: too" in text
    assert f"padsweep check --project '{folder}'" in text
    assert "  toy.yaml (" in text
    assert "leg" in (folder / "toy.yaml").read_text("utf-8") and "leg" not in text  # names alone
    assert "cut what you would rather keep" in text


def test_without_a_project_it_lies_in_the_current_folder_or_the_temporary_one(
    tmp_path, folder, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    error = RuntimeError()
    assert "please look through padsweep-report-" in unforeseen(error, Call(command="check"))
    assert len(list(tmp_path.glob("padsweep-report-*.txt"))) == 1
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    (tmp_path / "temporary").mkdir()
    # a folder that takes no file, as one that is not ours; root may write anywhere else
    assert "no report could be written" not in unforeseen(error, Call(project="/proc"))
    monkeypatch.chdir("/proc")
    assert str(tmp_path / "temporary") in unforeseen(error, Call())
    monkeypatch.setattr("tempfile.tempdir", "/proc")
    assert "no report could be written; please send this line" in unforeseen(error, Call())


def test_a_sweep_is_safe_its_log_whole_and_the_person_told(folder, monkeypatch):
    closed = []
    monkeypatch.setattr(SimulatedBench, "close", lambda bench: closed.append(bench) or bench.safe())
    made = engine.hear
    monkeypatch.setattr(engine, "hear", lambda *a, **k: made(*a, **k) if next(left) else 1 / 0)
    left = iter([1] * 12 + [0] * 100)
    done = run_main("sweep", "--project", folder)
    assert done.code == EXIT_CODE
    assert "sweep met an error that nobody foresaw (ZeroDivisionError" in done.err
    assert "a rig has opened all pads and switched the toy off" in done.err
    assert len(closed) == 1
    with SweepLog.open(folder / "sweeps" / "main") as log:  # no lock is left
        assert verify(log) == []
        assert len(log.records()) > 6
    assert "takes/ (" in next(folder.glob("padsweep-report-*.txt")).read_text("utf-8")


def test_the_bench_is_given_back_even_if_it_refuses_to_be_made_safe(folder, monkeypatch):
    closed = []

    def stopped(view, events):
        next(events)
        raise KeyboardInterrupt

    monkeypatch.setattr(SweepView, "show", stopped)
    monkeypatch.setattr(SimulatedBench, "safe", lambda bench: [].pop())
    monkeypatch.setattr(SimulatedBench, "close", lambda bench: closed.append(1))
    assert run_main("sweep", "--project", folder).code == EXIT_CODE
    assert len(closed) == 1


def test_a_thread_that_ends_unforeseen_stops_the_command(folder, monkeypatch):
    def start_one(*_):
        thread = threading.Thread(target=[].pop)
        thread.start()
        thread.join()
        time.sleep(10)  # is interrupted
        raise AssertionError("the command went on")

    monkeypatch.setattr(project_commands, "report", start_one)
    before = threading.excepthook
    done = run_main("check", "--project", folder)
    assert done.code == EXIT_CODE
    assert "(IndexError: pop from empty list" in done.err
    assert done.err.count("\n") == 1
    assert threading.excepthook is before


@pytest.mark.parametrize(("error", "code", "told"), [
    (KeyboardInterrupt(), 130, "padsweep: stopped\n"),
    (BrokenPipeError(), 141, ""),
    (PermissionError(errno.EACCES, "Permission denied", "a/toy.yaml"), 1,
     "padsweep: a/toy.yaml: Permission denied: look at this file or folder, and who may use it\n"),
    (OSError(errno.ENOSPC, "No space left on device"), 1,
     "padsweep: the output can't be written: No space left on device\n"),
])
def test_what_the_system_or_the_person_does_needs_no_report(folder, monkeypatch, error, code, told):
    break_check(monkeypatch, error)
    done = run_main("check", "--project", folder)
    assert (done.code, done.err) == (code, told)
    assert not list(folder.glob("padsweep-report-*.txt"))

