"""Whatever is broken in a log's folder is found, named, and nothing of it is trusted."""

import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from making_logs import RATE_HZ, add, bridge, new_log

from rig.errors import LogError
from rig.events import Noticed
from rig.log import SweepLog, takes, verify
from rig.log.database import SEALED


@pytest.fixture
def swept(tmp_path):
    """A closed log of five touches with one event."""
    folder = tmp_path / "main"
    with new_log(folder) as log:
        log.intend("killed", bridge())
        for _ in range(5):
            add(log)
        log.tell(Noticed(text="five"))
        log.withdraw("killed", "stopped")
    return folder


def problems(folder):
    return verify(SweepLog.open(folder, read_only=True))


def edit(folder, sql):
    with closing(sqlite3.connect(folder / "log.db")) as db:
        db.execute("PRAGMA foreign_keys=OFF")
        db.execute(sql)
        db.commit()


def test_a_whole_log_has_no_problems(swept):
    assert problems(swept) == []


CHANGES = {
    "setup": "UPDATE setup SET hash = 'b'",
    "intent": "UPDATE intent SET plan_key = 'other' WHERE id = 2",
    "withdrawal": "UPDATE withdrawal SET reason = 'other'",
    "touch": "UPDATE touch SET path_ohm = path_ohm + 1 WHERE number = 3",
    "completion": "UPDATE completion SET after = 'freeze' WHERE touch = 2",
    "judgement": "UPDATE judgement SET score = 9 WHERE touch = 2",
    "event": "UPDATE event SET detail_json = '{}'",
}


@pytest.mark.parametrize("table", CHANGES)
def test_one_changed_value_in_any_table_is_found(swept, table):
    assert set(CHANGES) | {"dropped"} == set(SEALED)
    edit(swept, CHANGES[table])
    for read_only in (True, False):
        with pytest.raises(LogError, match=f"damaged.*{table} .* not as it was written"):
            SweepLog.open(swept, read_only=read_only)


@pytest.mark.parametrize("column", SEALED["touch"])
def test_every_column_of_a_touch_is_sealed(swept, column):
    if column in ("number", "kind", "take"):  # the schema itself refuses a nonsense value here
        value = {"number": "77", "kind": "'check'", "take": "'takes/000009.flac'"}[column]
    else:
        value = "NULL" if column == "intent" else "12345"
    edit(swept, f"UPDATE touch SET {column} = {value} WHERE number = 3")
    with pytest.raises(LogError, match="damaged"):
        SweepLog.open(swept)


def test_a_row_taken_out_of_the_middle_is_found(swept):
    edit(swept, "DELETE FROM touch WHERE number = 3")
    with pytest.raises(LogError, match="touch 3 is missing"):
        SweepLog.open(swept)


def test_a_row_taken_out_and_the_rest_renumbered_is_found(swept):
    edit(swept, "DELETE FROM touch WHERE number = 3")
    edit(swept, "UPDATE touch SET number = 3 WHERE number = 4")
    edit(swept, "UPDATE touch SET number = 4 WHERE number = 5")
    with pytest.raises(LogError, match="touch 3 is not as it was written"):
        SweepLog.open(swept)


def test_a_lost_end_of_the_log_shows_by_its_takes(swept):
    edit(swept, "DELETE FROM touch WHERE number > 2")
    for table in ("completion", "judgement"):
        edit(swept, f"DELETE FROM {table} WHERE touch > 2")
    with pytest.raises(LogError, match="ends at touch 2 but 3 later takes"):
        SweepLog.open(swept)
    assert len(os.listdir(swept / "takes")) == 5
    assert "takes/000003.flac belongs to no touch" in problems(swept)


@pytest.mark.parametrize("spoil", [
    lambda path: path.write_bytes(b"this was never a database, " * 400),
    lambda path: path.write_bytes(b""),
    lambda path: path.write_bytes(path.read_bytes()[:6000]),
    lambda path: path.write_bytes(path.read_bytes()[:4096] + b"\xff" * 8192),
])
def test_a_database_that_is_none_is_one_clear_line(swept, spoil):
    spoil(swept / "log.db")
    for read_only in (True, False):
        with pytest.raises(LogError) as caught:
            SweepLog.open(swept, read_only=read_only)
        assert "log.db" in str(caught.value)
        assert "restore" in str(caught.value)
        assert "\n" not in str(caught.value)


def test_single_flipped_bits_over_the_whole_file_never_pass_for_other_facts(swept, tmp_path):
    """Each flip is refused, named by verify, or lies where no fact is (free space)."""
    whole = (swept / "log.db").read_bytes()
    with SweepLog.open(swept) as log:
        truth = log.records()
    caught = 0
    for place in range(40, len(whole), 211):
        flipped = bytearray(whole)
        flipped[place] ^= 1 << (place % 8)
        copy = tmp_path / "copy"
        shutil.copytree(swept, copy)
        (copy / "log.db").write_bytes(flipped)
        try:
            assert SweepLog.open(copy, read_only=True).records() == truth
        except LogError:
            caught += 1
        shutil.rmtree(copy)
    assert caught > 20


def test_missing_cut_and_changed_takes_are_each_named(swept):
    folder = swept / "takes"
    (folder / "000001.flac").unlink()
    cut = folder / "000002.flac"
    cut.write_bytes(cut.read_bytes()[:-40])
    changed = folder / "000003.flac"
    changed.write_bytes(bytes([changed.read_bytes()[0] ^ 1]) + changed.read_bytes()[1:])
    (folder / "stray.flac").write_bytes(b"")
    assert problems(swept) == [
        "touch 1: takes/000001.flac is missing",
        "touch 2: takes/000002.flac is not as it was written",
        "touch 3: takes/000003.flac is not as it was written",
        "takes/stray.flac belongs to no touch",
    ]


def test_what_a_kill_leaves_is_cleaned_when_writing_goes_on(swept):
    folder = swept / "takes"
    (folder / "000006.part").write_bytes(b"half a ta")
    takes.write_take(swept, 6, np.zeros(99, np.float32), RATE_HZ)
    assert len(problems(swept)) == 1  # its row was never committed
    with SweepLog.open(swept) as log:
        assert log.next_number() == 6
        assert sorted(os.listdir(folder)) == [f"00000{n}.flac" for n in range(1, 6)]
        add(log)
        assert verify(log) == []


def test_a_half_made_database_is_no_sweep(tmp_path):
    (tmp_path / "log.db.new").write_bytes(b"half")
    with new_log(tmp_path) as log:
        add(log)
    assert sorted(os.listdir(tmp_path)) == ["lock", "log.db", "setup", "takes"]


def test_a_log_is_read_though_its_wal_goes_away_just_then(swept, monkeypatch):
    wal = swept / "log.db-wal"
    wal.write_bytes(b"")
    looked_at = Path.stat

    def stat(self, **how):
        seen = looked_at(self, **how)
        if self == wal:
            os.unlink(self)  # whoever had the log open closes it once it was looked at
            wal_is_gone.append(self)
        return seen

    wal_is_gone = []
    monkeypatch.setattr(Path, "stat", stat)
    assert len(SweepLog.open(swept, read_only=True).records()) == 5
    assert wal_is_gone
