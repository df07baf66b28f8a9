"""The log's database: how it is made, opened, read and checked, and its errors in words."""

from __future__ import annotations

import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from importlib import resources
from pathlib import Path

from rig.errors import LogError
from rig.files import flush_folder, flush_handle
from rig.log.records import seal
from rig.log.takes import disk_error, disk_full, need_room
from rig.outcomes import AFTERS, SOUNDS

DATABASE = "log.db"
APPLICATION_ID = 1885430899
SCHEMA_VERSION = 2
READABLE = (1, 2)
"""Versions that are read as they lie; `migration` makes the present one of them for writing."""
BUSY_S = 10.0

SEALED = {
    "setup": ("id", "at", "program", "hash", "facts_json"),
    "intent": ("id", "at", "plan_key", "touch_json"),
    "withdrawal": ("intent", "at", "reason"),
    "touch": ("number", "intent", "setup", "plan_key", "kind", "touch_json", "path_ohm",
              "started_at", "timeline_json", "offsets_json", "fault", "facts_json", "rate_hz",
              "take", "take_samples", "take_sha256"),
    "completion": ("touch", "at", "after", "evidence_json"),
    "dropped": ("touch", "at"),
    "judgement": ("id", "touch", "at", "judge", "sound", "amount", "unit", "score", "p_value",
                  "measures_json"),
    "event": ("id", "at", "kind", "touch", "detail_json"),
}
"""The columns that each table's seal covers, in their order."""

_SELECT = {name: f"SELECT {', '.join(columns)}, seal FROM {name} ORDER BY 1"
           for name, columns in SEALED.items()}
_INSERT = {name: f"INSERT INTO {name} ({', '.join(columns)}, seal) "
                 f"VALUES ({', '.join('?' * (len(columns) + 1))})"
           for name, columns in SEALED.items()}

RECORDS_SQL = """
SELECT touch.*, completion.after, completion.evidence_json, dropped.at AS dropped_at,
       judgement.sound, judgement.amount, judgement.unit, judgement.score,
       judgement.p_value, judgement.measures_json, judgement.judge
FROM touch
LEFT JOIN completion ON completion.touch = touch.number
LEFT JOIN dropped ON dropped.touch = touch.number
LEFT JOIN judgement ON judgement.id =
    (SELECT max(id) FROM judgement AS latest WHERE latest.touch = touch.number)
WHERE touch.number > ?
ORDER BY touch.number
"""


def _schema() -> str:
    """Give the tables' SQL, with the words of `rig.outcomes` in its checks."""
    text = resources.files("rig.log").joinpath("schema.sql").read_text("utf-8")
    words = {"SOUNDS": tuple(SOUNDS), "AFTERS": tuple(AFTERS)}
    return text.format(**{name: ", ".join(map(repr, rows)) for name, rows in words.items()})


def insert(db: sqlite3.Connection, table: str, *columns: object, previous: str = "") -> str:
    """Insert one sealed row; gives its seal. Columns as in `SEALED`."""
    row_seal = seal(*columns, previous=previous)
    db.execute(_INSERT[table], (*columns, row_seal))
    return row_seal


def make_database(path: Path, setup_row: tuple) -> None:
    """Make a new database with its first set-up row, whole under its name or not there.

    Parameters
    ----------
    path : Path
    setup_row : tuple
        Columns of `setup` as in `SEALED`.

    Raises
    ------
    LogError, DiskFull
    """
    new = path.with_name(path.name + ".new")
    schema = _schema()
    try:
        new.unlink(missing_ok=True)
        with closing(sqlite3.connect(new, isolation_level=None)) as db:
            db.execute("PRAGMA journal_mode=MEMORY")  # the rename is what makes it whole
            db.executescript(f"BEGIN; {schema}")
            insert(db, "setup", *setup_row)
            db.execute("COMMIT")
            db.execute("PRAGMA journal_mode=WAL")
        handle = os.open(new, os.O_RDWR)
        try:
            flush_handle(handle)
        finally:
            os.close(handle)
        os.replace(new, path)
        flush_folder(path.parent)
    except (sqlite3.Error, OSError) as trouble:
        for left in path.parent.glob(new.name + "*"):
            left.unlink(missing_ok=True)
        raise database_error(trouble, path) from trouble


def open_writing(path: Path) -> sqlite3.Connection:
    """Open the database for its one writer: WAL, every commit on the disk."""
    db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=BUSY_S,
                         isolation_level=None, check_same_thread=False)
    try:
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")
        db.execute("PRAGMA foreign_keys=ON")
        if sys.platform == "darwin":
            db.execute("PRAGMA fullfsync=ON")
            db.execute("PRAGMA checkpoint_fullfsync=ON")
    except sqlite3.Error:
        db.close()
        raise
    return db


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """Open the database for reading only; every trouble of it comes out as a `LogError`.

    A folder that can't be written (a copy on a read-only disk, a full one) is read too.
    """
    try:
        if not path.exists():
            raise LogError(f"{path}: there is no sweep here; run `padsweep sweep` first")
        db = _connect_reading(path)
        try:
            yield db
        finally:
            db.close()
    except (sqlite3.Error, OSError, ValueError) as trouble:  # ValueError: text or JSON that is none
        raise database_error(trouble, path) from trouble


def _connect_reading(path: Path) -> sqlite3.Connection:
    uri = path.absolute().as_uri()
    wal = path.with_name(path.name + "-wal")
    # Opened for writing but told not to: the last to close then leaves no -wal and -shm
    # behind. Without the right or room for that, a folded log is read as it lies.
    ways, is_folded = ["?mode=rw", "?mode=ro"], True
    with suppress(FileNotFoundError):  # whoever closes the log may take it away just now
        is_folded = wal.stat().st_size == 0
    if is_folded:
        ways.append("?mode=ro&immutable=1")
    for way in ways:
        db = sqlite3.connect(uri + way, uri=True, timeout=BUSY_S, isolation_level=None)
        db.row_factory = sqlite3.Row
        try:
            db.execute("PRAGMA query_only=ON")
            db.execute("SELECT 1 FROM sqlite_schema").fetchone()
        except sqlite3.OperationalError:
            db.close()
            if way == ways[-1]:
                raise
        except sqlite3.Error:
            db.close()
            raise
        else:
            return db
    raise AssertionError("unreachable")


def check_database(db: sqlite3.Connection, path: Path) -> None:
    """Raise `LogError` unless it is one of our logs, of this schema, and sound in itself."""
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise LogError(f"{path}: not the log of a sweep; restore it from a copy of the folder")
    if version(db) not in READABLE:
        raise LogError(f"{path}: log of version {version(db)}, this padsweep reads versions up to "
                       f"{SCHEMA_VERSION}; use the padsweep it was written with")
    answer = db.execute("PRAGMA quick_check(1)").fetchone()[0]
    if answer != "ok":
        raise damaged(path, answer)
    problems = row_problems(db)
    if problems:
        raise damaged(path, problems[0])


def version(db: sqlite3.Connection) -> int:
    """Give the version of a log's schema."""
    return db.execute("PRAGMA user_version").fetchone()[0]


def next_id(db: sqlite3.Connection, table: str) -> int:
    """Give the number of a table's next row."""
    return db.execute(f"SELECT ifnull(max(id), 0) + 1 FROM {table}").fetchone()[0]


def row_problems(db: sqlite3.Connection) -> list[str]:
    """Check numbering, chain and seals of every row; one line for each thing wrong."""
    problems = []
    for table in SEALED:
        previous, expected = "", 1
        for row in db.execute(_SELECT[table]):
            *values, stored = tuple(row)
            if table == "touch" and values[0] != expected:
                problems.append(f"touch {expected} is missing")
            chained = previous if table == "touch" else ""
            if seal(*values, previous=chained) != stored:
                problems.append(f"{table} {values[0]} is not as it was written")
            previous, expected = stored, values[0] + 1
    return problems


def damaged(path: Path, what: str) -> LogError:
    """Give the one line about a log that isn't what was written."""
    return LogError(f"{path}: the log is damaged ({' '.join(str(what).split())}); "
                    "restore the folder from a copy, with log.db-wal if there is one")


def database_error(trouble: Exception, path: Path) -> LogError:
    """Turn an error of SQLite or the system into the one that the person reads."""
    if isinstance(trouble, LogError):
        return trouble
    if isinstance(trouble, OSError):
        if isinstance(trouble, PermissionError):
            return LogError(f"{path}: can't be read or written: no permission; check the "
                            "folder's owner and rights")
        return disk_error(trouble, path)
    name = getattr(trouble, "sqlite_errorname", None) or ""
    if isinstance(trouble, ValueError) or "decode" in str(trouble):
        return damaged(path, "text that can't be read")
    if name == "SQLITE_FULL" or (name.startswith("SQLITE_IOERR") and _no_room(path)):
        return disk_full(path)
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return damaged(path, str(trouble))
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return LogError(f"{path}: another program holds the log; close it and sweep again")
    return LogError(f"{path}: the log can't be used ({trouble}); check the disk and the "
                    "folder's permissions")


def _no_room(path: Path) -> bool:
    try:
        need_room(path.parent, 1 << 16)
    except OSError:
        return True
    return False
