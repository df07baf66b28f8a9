"""A log of version 1: read as it lies, made one of version 2 for writing, and gone on with."""

import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest
from old_logs import TOLD, TOUCHES, copied, told, version
from running import run_main

from rig.bench.simulated.bench import SimulatedBench
from rig.choose import finds
from rig.errors import LogError
from rig.events import Migrated, SweepDone
from rig.log import SweepLog, database, verify
from rig.log.opening import open_log
from rig.project import load_project
from rig.sweep import Sweep


@pytest.fixture
def sweep(tmp_path):
    return copied(tmp_path / "toy")


def rows(path):
    """Give every row of a log, by table."""
    with closing(sqlite3.connect(path)) as db:
        return {name: db.execute(f"SELECT * FROM {name}").fetchall() for name in database.SEALED}


def test_it_is_read_as_it_lies(sweep):
    before = (sweep / "log.db").read_bytes()
    with SweepLog.open(sweep, read_only=True) as log:
        assert len(log.records()) == TOUCHES
        assert told(log.events()) == TOLD
        assert log.events()[0].facts["seed"] == 2
        assert told(log.events(after_id=8)) == TOLD[8:]
        assert verify(log) == []
    assert (sweep / "log.db").read_bytes() == before
    assert sorted(one.name for one in sweep.iterdir()) == ["log.db", "setup", "takes"]


def test_for_writing_it_is_migrated_behind_a_copy(sweep):
    before = (sweep / "log.db").read_bytes()
    old = rows(sweep / "log.db")
    with SweepLog.open(sweep) as log:
        assert verify(log) == []
        assert len(log.records()) == TOUCHES
        *events, last = log.events()
        assert told(events) == TOLD
        assert last == Migrated(id=len(TOLD) + 1, at=last.at, from_version=1)
    assert version(sweep / "log.db") == 2
    assert (sweep / "log.db.v1").read_bytes() == before
    # Not a row was touched, so that every seal is the one that was written.
    new = rows(sweep / "log.db")
    assert new["event"].pop()[2] == "migrated"
    assert new == old
    with SweepLog.open(sweep) as log:  # once
        assert told(log.events()) == [*TOLD, (Migrated, None)]
    assert [one.name for one in sweep.glob("log.db*")].count("log.db.v1") == 1


def test_it_is_gone_on_with_to_the_end_of_a_sweep_that_was_never_interrupted(sweep):
    project = load_project(sweep.parents[1])
    shown = []
    for name in ("main", "whole"):
        with open_log(project, name) as log:
            assert isinstance(Sweep(project, SimulatedBench(project), log).run(), SweepDone)
            assert verify(log) == []
            records = log.records()
        shown.append({
            "pairs": {(r.pads_1, r.pads_2, r.path_ohm, r.after == "freeze") for r in records
                      if r.kind == "sweep" and r.complete and not r.fault},
            "finds": {(f.pair, f.stop) for f in finds(records)},
        })  # fmt: skip
    assert shown[0] == shown[1]
    assert shown[0]["finds"]


def test_the_copy_is_a_log_that_can_be_gone_back_to(sweep):
    SweepLog.open(sweep).close()
    (sweep / "log.db.v1").replace(sweep / "log.db")
    with SweepLog.open(sweep, read_only=True) as log:
        assert told(log.events()) == TOLD
    assert version(sweep / "log.db") == 1


def test_a_copy_is_never_written_over(sweep):
    before = (sweep / "log.db").read_bytes()
    (sweep / "log.db.v1").write_bytes(b"mine")
    (sweep / "log.db.v1-2").write_bytes(b"mine too")
    SweepLog.open(sweep).close()
    assert (sweep / "log.db.v1").read_bytes() == b"mine"
    assert (sweep / "log.db.v1-2").read_bytes() == b"mine too"
    assert (sweep / "log.db.v1-3").read_bytes() == before


def test_a_copy_that_is_there_already_is_not_made_again(sweep):
    shutil.copy(sweep / "log.db", sweep / "log.db.v1")
    SweepLog.open(sweep).close()
    assert version(sweep / "log.db") == 2
    assert not (sweep / "log.db.v1-2").exists()


def test_what_a_kill_left_beside_the_file_is_in_the_copy(sweep):
    """Rows that are committed, but still stand in log.db-wal."""
    subprocess.run([sys.executable, "-c", (
        "import os, sys; from pathlib import Path\n"
        "from rig.log.database import insert, open_writing\n"
        "db = open_writing(Path(sys.argv[1]))\n"
        "insert(db, 'event', 10, 'then', 'left', None, '{\"touches\":21}')\n"
        "os._exit(0)"), sweep / "log.db"], check=True)  # fmt: skip
    assert (sweep / "log.db-wal").stat().st_size
    SweepLog.open(sweep).close()
    copy = sweep.parent / "copy"
    copy.mkdir()
    shutil.copy(sweep / "log.db.v1", copy / "log.db")
    with SweepLog.open(copy, read_only=True) as log:
        assert log.events()[-1].touches == 21
    assert version(copy / "log.db") == 1


def test_a_damaged_log_is_not_migrated(sweep):
    with closing(sqlite3.connect(sweep / "log.db")) as db:
        db.execute("UPDATE event SET detail_json = '{}' WHERE id = 1")
        db.commit()
    with pytest.raises(LogError, match="damaged"):
        SweepLog.open(sweep)
    assert version(sweep / "log.db") == 1
    assert not list(sweep.glob("log.db.v1*"))


def test_a_log_of_a_later_version_is_refused_in_a_line(sweep):
    with closing(sqlite3.connect(sweep / "log.db")) as db:
        db.execute("PRAGMA user_version = 3")
    for read_only in (True, False):
        with pytest.raises(LogError, match="log of version 3, .*; use the padsweep it was") as caught:
            SweepLog.open(sweep, read_only=read_only)
        assert "\n" not in str(caught.value)
    assert version(sweep / "log.db") == 3


def test_another_program_that_is_in_the_way_is_told(sweep, monkeypatch):
    monkeypatch.setattr(database, "BUSY_S", 0.05)
    with closing(database.open_writing(sweep / "log.db")) as other:
        database.insert(other, "event", 10, "then", "left", None, '{"touches":21}')
        with closing(sqlite3.connect(sweep / "log.db")) as reader:
            reader.execute("BEGIN")
            reader.execute("SELECT * FROM event").fetchone()
            with pytest.raises(LogError, match="another program") as caught:
                SweepLog.open(sweep)
    assert "\n" not in str(caught.value)
    assert version(sweep / "log.db") == 1
    SweepLog.open(sweep).close()
    assert version(sweep / "log.db") == 2


def test_replay_and_export_read_it_without_changing_it(sweep):
    before = (sweep / "log.db").read_bytes()
    project = sweep.parents[1]
    for words in (["replay", "--list"], ["export"], ["export", "--finds"]):
        done = run_main(*words, "--project", project)
        assert done.code == 0, done.err
    assert (sweep / "log.db").read_bytes() == before
