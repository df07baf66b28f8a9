"""kill -9 in the middle of a migration, at each of its steps: the old log or the new one, whole."""

import os
import shutil
import signal
import sys
from pathlib import Path

import pytest
from killing import run_and_kill

from rig.events import Migrated
from rig.log import SweepLog, verify

sys.path.append(str(Path(__file__).parents[1] / "unit"))
from old_logs import TOLD, TOUCHES, copied, told, version

STEPS = ("_fold", "read_bytes", "write_whole", "rename", "flush_folder", "insert", "execute", "close")
"""Behind each of these it is killed; see `killed_behind`."""


def killed_behind(step, folder):
    """Open a log for writing, and be killed as soon as this step of its migration is done."""
    from rig.log import migration

    def dying(does):
        def do(*words, **more):
            does(*words, **more)
            os.kill(os.getpid(), signal.SIGKILL)

        return do

    class Connection:
        """Dies behind the last statement before COMMIT, or behind the last of all."""

        def __init__(self, db):
            self.db = db

        def execute(self, text, *more):
            done = self.db.execute(text, *more)
            if step == "execute" and "user_version =" in text:
                os.kill(os.getpid(), signal.SIGKILL)
            return done

        def close(self):
            if step == "close":
                os.kill(os.getpid(), signal.SIGKILL)

    if step in ("read_bytes", "rename"):
        setattr(Path, step, dying(getattr(Path, step)))
    elif step in ("execute", "close"):
        opened = migration.open_writing
        migration.open_writing = lambda path: Connection(opened(path))
    else:
        setattr(migration, step, dying(getattr(migration, step)))
    SweepLog.open(folder)


@pytest.mark.parametrize("step", STEPS)
def test_a_migration_that_is_killed(tmp_path, step):
    sweep = copied(tmp_path / "toy")
    before = (sweep / "log.db").read_bytes()
    assert run_and_kill(killed_behind, step, sweep, when=None) is None
    is_new = step == "close"
    migrated = [(Migrated, None)] if is_new else []
    for copy in (tmp_path / "read", tmp_path / "written"):
        shutil.copytree(sweep, copy)
    with SweepLog.open(tmp_path / "read", read_only=True) as log:
        assert verify(log) == []
        assert told(log.events()) == TOLD + migrated
        assert len(log.records()) == TOUCHES
    with SweepLog.open(tmp_path / "written") as log:
        assert told(log.events()) == [*TOLD, (Migrated, None)]
        assert verify(log) == []
    assert version(tmp_path / "written" / "log.db") == 2
    assert (tmp_path / "written" / "log.db.v1").read_bytes() == before
    assert not list((tmp_path / "written").glob("log.db.v1-*"))
