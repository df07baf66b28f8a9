"""A log of an older version becomes one of the present version, after a copy beside it.

Version 2 gave events a form of their own (`rig.events`). Rows of version 1 stay as they are, with
their seals; they are translated as they are read, so that such a log is also read where nothing
can be written. What changes in the file is its version number, and a sealed row that says up to
where the old form stands.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from rig.errors import LogError
from rig.events import Migrated, to_row
from rig.files import flush_folder, write_whole
from rig.log.database import SCHEMA_VERSION, database_error, insert, next_id, open_writing, version
from rig.log.records import to_json


def migrate(path: Path, at: str) -> None:
    """Bring a log of an older version to the present one; nothing is done to one that has it.

    However it ends, the log is whole, of the one version or of the other, and there is a copy
    of it beside it before anything is changed: `log.db.v1`.

    Parameters
    ----------
    path : Path
        The database, found whole and without another writer.
    at : str
        The time of now, UTC, ISO 8601.

    Raises
    ------
    LogError, DiskFull
        The log is as it was.
    """
    try:
        with closing(open_writing(path)) as db:
            before = version(db)
            if before == SCHEMA_VERSION:
                return
            _fold(db, path)
            _copy(path, path.with_name(f"{path.name}.v{before}"))
            word, detail = to_row(Migrated(from_version=before))
            db.execute("BEGIN IMMEDIATE")
            insert(db, "event", next_id(db, "event"), at, word, None, to_json(detail))
            db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
            db.execute("COMMIT")
    except (sqlite3.Error, OSError) as trouble:
        raise database_error(trouble, path) from trouble


def _fold(db: sqlite3.Connection, path: Path) -> None:
    """Have everything in the one file that is copied."""
    is_busy, *_ = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    if is_busy:
        raise LogError(f"{path}: another program reads the log; close it and sweep again")


def _copy(path: Path, copy: Path) -> None:
    """Copy a file, flushed, without ever writing over another one."""
    content, whole = path.read_bytes(), copy
    for again in range(2, 1000):
        if not whole.exists():
            break
        if whole.read_bytes() == content:
            return
        whole = copy.with_name(f"{copy.name}-{again}")
    new = copy.with_name(f"{copy.name}.new")
    try:
        write_whole(new, content)
        new.rename(whole)
        flush_folder(path.parent)
    except OSError:
        new.unlink(missing_ok=True)
        raise
