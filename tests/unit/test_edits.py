"""Random edits of folders and command lines end well or in one line; what doesn't is found."""

import subprocess
import sys
import time
from pathlib import Path

import pytest
from running import Done

FUZZ = Path(__file__).parents[1] / "fuzz"
sys.path.insert(0, str(FUZZ))
import edits

COUNT, SEED = 320, 1


def test_each_edit_ends_well_or_in_one_line():
    done = subprocess.run(
        [sys.executable, FUZZ / "edits.py", "--edits", str(COUNT), "--seed", str(SEED)],
        check=False, capture_output=True, text=True, timeout=600,
    )
    assert (done.returncode, done.stderr) == (0, ""), done.stdout + done.stderr
    assert f"{COUNT} edits, 0 failures; exit codes 0: " in done.stdout


@pytest.mark.parametrize(("done", "is_well"), [
    (Done(0, "ready", ""), True),
    (Done(0, "ready", "a library's warning\n"), False),
    (Done(2, "", "padsweep: one line\n"), True),
    (Done(2, "", "padsweep: two\nlines\n"), False),
    (Done(2, "", "Error: in another style\n"), False),
    (Done(2, "", ""), False),
    (Done(None, "", ""), False),
    (Done(2, "Traceback (most recent call last):", "padsweep: one line\n"), False),
])
def test_what_counts_as_a_breach(tmp_path, done, is_well):
    assert (edits.breach(done, tmp_path) == "") is is_well


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    edits.small_project(tmp_path / "toy")
    return tmp_path


@pytest.mark.parametrize("limit", ["BUSY_S", "BLOCKED_S"])
def test_a_run_without_an_end_is_a_breach(folder, monkeypatch, limit):
    def endless(*_):
        while True:
            time.sleep(0 if limit == "BUSY_S" else 60)

    monkeypatch.setattr("rig.cli.project.report", endless)
    monkeypatch.setattr(edits, "STOP_S", 0.05)
    monkeypatch.setattr(edits, limit, 0.2)
    done = edits.run_guarded(["check", "--project", "toy"])
    assert edits.breach(done, folder) == "code -1 without one line"


def test_a_report_is_a_breach(folder, monkeypatch):
    monkeypatch.setattr("rig.cli.project.report", lambda *_: 1 / 0)
    done = edits.run_guarded(["check", "--project", "toy"])
    assert edits.breach(done, folder) == "a report of what nobody foresaw"
