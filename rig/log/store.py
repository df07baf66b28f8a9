"""The log of one sweep: what the engine calls, row by row, and what everyone else reads."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self, TypeVar

import numpy as np

import rig
from rig.bench.base import Timeline, Touch
from rig.errors import LogError
from rig.events import Event, to_row
from rig.files import FileLock, flush_folder, make_folder, write_whole
from rig.listen.judgement import Judgement
from rig.log import takes
from rig.log.database import (
    DATABASE,
    RECORDS_SQL,
    check_database,
    insert,
    make_database,
    next_id,
    reading,
)
from rig.log.leftovers import remove_leftovers
from rig.log.lock import lock_sweep
from rig.log.migration import migrate
from rig.log.records import (
    KINDS,
    PURPOSE,
    STORED_AS,
    Record,
    record_from_row,
    timeline_to_json,
    to_json,
    touch_to_json,
)
from rig.log.stream import read_events
from rig.log.writer import Job, Writer
from rig.outcomes import AFTERS, SOUNDS
from rig.project.facts import setup_difference

AnyEvent = TypeVar("AnyEvent", bound=Event)
SETUP = "setup"
RESERVE_BYTES = 16 << 20
"""Room kept free on the disk, so that what is running can still be logged and folded in."""


def utc_now() -> datetime:
    """Give the time of now, UTC."""
    return datetime.now(UTC)


class SweepLog:
    """One sweep's log; make it with `create` or `open`, and `close` it at the end.

    Writing calls are for one thread at a time. They queue; only `intend`, `flush` and
    `close` wait for the disk, and `made` while two takes are waiting. Each raises what an
    earlier write met: `DiskFull`, or another `LogError`; after that the log takes no more
    until it is opened again, and what was committed is whole.
    """

    def __init__(self, folder: Path, clock: Callable[[], datetime] = utc_now) -> None:
        self.folder = Path(folder)
        self._path = self.folder / DATABASE
        self._clock = clock
        self._lock: FileLock | None = None
        self._writer: Writer | None = None
        self._reserve_bytes = RESERVE_BYTES
        self._last_number, self._seal = 0, ""
        self._intents, self._events = 0, 0
        self._listeners: list[Callable[[Event], object]] = []
        self._unmade: dict[str, list[int]] = {}
        self._incomplete: set[int] = set()
        self._setup = 1

    @classmethod
    def create(
        cls,
        folder: Path,
        setup: dict[str, Any],
        setup_hash: str,
        files: Mapping[str, str] | None = None,
        *,
        reserve_bytes: int = RESERVE_BYTES,
        clock: Callable[[], datetime] = utc_now,
    ) -> SweepLog:
        """Make the log of a new sweep and open it for writing.

        Parameters
        ----------
        folder : Path
            The sweep's folder, `PROJECT/sweeps/NAME`; made if it isn't there.
        setup : dict
            The set-up's electrical fields, JSON-ready.
        setup_hash : str
        files : dict of str to str
            Name and text of the files to copy into `setup/`.
        reserve_bytes : int
            Room that must stay free on the disk.
        clock : callable
            Gives the time of now, UTC.

        Raises
        ------
        LogError
            There is a log already, or another process is making one.
        DiskFull
        """
        log = cls(folder, clock)
        try:
            make_folder(log.folder / takes.TAKES)
            log._lock = lock_sweep(log.folder)
            if log._path.exists():
                raise LogError(f"{log._path}: a sweep is already here; continue it, or give "
                               "the new one another name")
            log._copy_files(SETUP, files or {})
            make_database(log._path, (1, log._now(), rig.__version__, setup_hash,
                                      to_json(setup)))
            log._start(reserve_bytes)
        except BaseException as trouble:
            log._give_up()
            if isinstance(trouble, OSError):
                raise takes.disk_error(trouble, log.folder) from trouble
            raise
        return log

    @classmethod
    def open(
        cls,
        folder: Path,
        setup_hash: str | None = None,
        setup: dict[str, Any] | None = None,
        files: Mapping[str, str] | None = None,
        *,
        read_only: bool = False,
        reserve_bytes: int = RESERVE_BYTES,
        clock: Callable[[], datetime] = utc_now,
    ) -> SweepLog:
        """Open a sweep's log, checked row by row; for writing unless `read_only`.

        Parameters
        ----------
        folder : Path
        setup_hash : str or None
            Hash of the present set-up's fixed fields; None: not compared.
        setup : dict or None
            The present set-up's electrical fields, to name the one that differs. Pads and
            keys added behind the old ones become a further set-up row.
        files : dict of str to str
            Copied into `setup/N/` when pads or keys were added.
        read_only : bool
            Take no lock and write nothing.

        Raises
        ------
        LogError
            No log there, damaged, of another set-up, or written by another process.
        """
        log = cls(folder, clock)
        if read_only:
            with reading(log._path) as db:
                check_database(db, log._path)
                log._compare(db, setup_hash, setup)
            return log
        if not log._path.exists():
            with reading(log._path):
                pass
        try:
            log._lock = lock_sweep(log.folder)
            with reading(log._path) as db:
                check_database(db, log._path)
                grown = log._compare(db, setup_hash, setup)
            remove_leftovers(log.folder)
            migrate(log._path, log._now())
            log._start(reserve_bytes)
            if grown and setup is not None:
                log._extend(setup, setup_hash, files or {})
        except BaseException as trouble:
            log._give_up()
            if isinstance(trouble, OSError):
                raise takes.disk_error(trouble, log.folder) from trouble
            raise
        return log

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        try:
            self.close()
        except LogError:
            if kind is None:  # else the first error is the one to tell
                raise

    def see_to(self, duty: Callable[[], None] | None) -> None:
        """Have something done twice a second while a slow disk keeps the caller waiting."""
        self._need_writer().while_waiting = duty

    # -- writing ----------------------------------------------------------------------

    def intend(self, plan_key: str, touch: Touch) -> None:
        """Commit that this touch is about to be made; on the disk when it returns."""
        writer = self._need_writer()
        self._intents += 1
        row = (self._intents, self._now(), plan_key, touch_to_json(touch))
        writer.put_and_wait(Job(lambda db, _: insert(db, "intent", *row)))
        self._unmade.setdefault(plan_key, []).append(self._intents)

    def withdraw(self, plan_key: str, reason: str) -> None:
        """Note that the last intent was given up safely (stopped by the person): no kill."""
        if not self.attempts(plan_key):
            raise ValueError(f"no open intent for {plan_key}")
        row = (self._no_longer_open(plan_key), self._now(), reason)
        self._put(lambda db, _: insert(db, "withdrawal", *row))

    def forgive(self, reason: str) -> None:
        """Withdraw every intent that never became a touch: none counts as a kill any more."""
        for plan_key in list(self._unmade):
            while self.attempts(plan_key):
                self.withdraw(plan_key, reason)

    def attempts(self, plan_key: str) -> int:
        """Give how many intents of this plan key never became a touch (the rig was killed)."""
        return len(self._unmade.get(plan_key, ()))

    def next_number(self) -> int:
        """Give the number that the next made touch must have."""
        return self._last_number + 1

    def made(
        self,
        number: int,
        plan_key: str,
        kind: str,
        touch: Touch,
        *,
        path_ohm: float | None,
        started_at: str | datetime,
        timeline: Timeline,
        samples: np.ndarray | None,
        rate_hz: int,
        offsets: Mapping[str, int] | None = None,
        fault: str | None = None,
        facts: Mapping[str, Any] | None = None,
    ) -> None:
        """Queue a made touch: its take goes to the disk first, then its row.

        Parameters
        ----------
        number : int
            `next_number()`.
        plan_key : str
        kind : str
            One of `records.KINDS`.
        touch : Touch
        path_ohm : float or None
            The least path of its connections, ohms; None with nothing bridged.
        started_at : str or datetime
            UTC.
        timeline : Timeline
        samples : ndarray of float32, shape (n,), or None
            The take, full scale 1.0; may be changed by the caller afterwards. None or empty: no take.
        rate_hz : int
        offsets : dict of str to int
            Sample of the take at which each step happened.
        fault : str or None
            Why the touch can't be used.
        facts : dict
            JSON-ready.

        Raises
        ------
        ValueError
            The number isn't the next one, or the kind isn't one of the words.
        """
        if number != self.next_number():
            raise ValueError(f"touch {number} after {self._last_number}")
        if kind not in KINDS:
            raise ValueError(f"{kind} is no kind of touch")
        if isinstance(started_at, datetime):
            started_at = started_at.astimezone(UTC).isoformat(timespec="milliseconds")
        facts = dict(facts or {})
        if kind in STORED_AS:
            facts[PURPOSE] = kind
        open_intents = self._unmade.get(plan_key)
        head = (number, open_intents[-1] if open_intents else None, self._setup, plan_key,
                STORED_AS.get(kind, kind),
                touch_to_json(touch), _number(path_ohm), started_at,
                timeline_to_json(timeline), to_json(dict(offsets or {})), fault,
                to_json(facts), int(rate_hz))

        def apply(db: sqlite3.Connection, take: takes.StoredTake | None) -> None:
            tail = (take.path, take.samples, take.sha256) if take else (None, 0, None)
            self._seal = insert(db, "touch", *head, *tail, previous=self._seal)

        write = None
        if samples is not None and len(samples):  # FLAC knows no empty file
            kept = np.array(samples, dtype=np.float32)

            def write() -> takes.StoredTake:
                return takes.write_take(self.folder, number, kept, rate_hz, self._reserve_bytes)

        self._need_writer().put(Job(apply), write)
        self._last_number = number
        self._incomplete.add(number)
        if open_intents:
            self._no_longer_open(plan_key)

    def completed(
        self, number: int, after: str, evidence: Mapping[str, Any] | None = None
    ) -> None:
        """Queue how the toy was after touch `number`: one of `rig.outcomes.AFTERS`."""
        if after not in AFTERS:
            raise ValueError(f"{after} is no word for how the toy is after a touch")
        if self._made(number) not in self._incomplete:
            raise ValueError(f"touch {number} is complete already")
        row = (int(number), self._now(), after, to_json(dict(evidence or {})))
        self._put(lambda db, _: insert(db, "completion", *row))
        self._incomplete.discard(number)

    def judged(self, number: int, judgement: Judgement) -> None:
        """Queue a judgement of touch `number`; the latest one is shown."""
        if judgement.sound not in SOUNDS:
            raise ValueError(f"{judgement.sound} is no word for what a touch did")
        row = (self._made(number), self._now(), judgement.judge, judgement.sound,
               _number(judgement.amount), judgement.unit, _number(judgement.score),
               _number(judgement.p_value), to_json(judgement.measures))
        self._put(lambda db, _: insert(db, "judgement", next_id(db, "judgement"), *row))

    def tell(self, event: AnyEvent) -> AnyEvent:
        """Give an event its number and time, queue its row, and hand it to whoever listens.

        Returns
        -------
        Event
            The same as it stands in the log.
        """
        self._events += 1
        told = replace(event, id=self._events, at=self._now())
        word, detail = to_row(told)
        row = (told.id, told.at, word, told.touch, to_json(detail))
        self._put(lambda db, _: insert(db, "event", *row))
        for listener in self._listeners:
            listener(told)
        return told

    def listen(self, listener: Callable[[Event], object]) -> None:
        """Have every event from now on handed to a listener, in the thread that tells it."""
        self._listeners.append(listener)

    def drop_take(self, number: int) -> None:
        """Give up the take of touch `number` to save space; its row stays."""
        row = (self._made(number), self._now())
        self._put(lambda db, _: insert(db, "dropped", *row))
        self.flush()
        (self.folder / takes.take_path(number)).unlink(missing_ok=True)

    def flush(self) -> None:
        """Wait until everything queued is on the disk."""
        if self._writer:
            self._writer.flush()

    def close(self) -> None:
        """Write what is queued, fold the WAL in so that the folder can be copied, unlock."""
        writer, self._writer = self._writer, None
        try:
            if writer:
                writer.close()
        finally:
            self._give_up()

    # -- reading ----------------------------------------------------------------------

    def records(self, after_number: int = 0) -> list[Record]:
        """Give every made touch behind number `after_number`, in order."""
        self.flush()
        with reading(self._path) as db:
            return [record_from_row(row) for row in db.execute(RECORDS_SQL, (after_number,))]

    def events(self, after_id: int = 0) -> list[Event]:
        """Give the events behind number `after_id`, in order; see `read_events`."""
        self.flush()
        return read_events(self.folder, after_id)

    def setup(self) -> dict[str, Any]:
        """Give the set-up's electrical fields, the latest."""
        self.flush()
        with reading(self._path) as db:
            return json.loads(_last_setup(db)["facts_json"])

    def read_take(self, number: int) -> tuple[np.ndarray, int]:
        """Read a take.

        Returns
        -------
        samples : ndarray of float32, shape (n,)
            Full scale 1.0.
        rate_hz : int

        Raises
        ------
        LogError
            The touch has no take, or its file is missing or not whole.
        """
        self.flush()
        return takes.read_take(self.folder / takes.take_path(number))

    # -- within -----------------------------------------------------------------------

    def _start(self, reserve_bytes: int) -> None:
        self._reserve_bytes = reserve_bytes
        with reading(self._path) as db:
            last = db.execute("SELECT number, seal FROM touch ORDER BY number DESC LIMIT 1"
                              ).fetchone()
            self._last_number, self._seal = tuple(last) if last else (0, "")
            self._intents, self._events = (next_id(db, one) - 1 for one in ("intent", "event"))
            self._setup = _last_setup(db)["id"]
            self._incomplete = {row[0] for row in db.execute(
                "SELECT number FROM touch WHERE number NOT IN (SELECT touch FROM completion)"
            )}
            for row in db.execute(
                "SELECT id, plan_key FROM intent WHERE id NOT IN (SELECT intent FROM touch "
                "WHERE intent IS NOT NULL) AND id NOT IN (SELECT intent FROM withdrawal)"
            ):
                self._unmade.setdefault(row["plan_key"], []).append(row["id"])
        self._writer = Writer(self.folder)

    def _compare(
        self, db: sqlite3.Connection, setup_hash: str | None, setup: dict[str, Any] | None
    ) -> bool:
        """Raise on another set-up; say if pads or keys were added."""
        row = _last_setup(db)
        logged = json.loads(row["facts_json"])
        what = setup_difference(logged, setup) if setup is not None else None
        if setup is None and setup_hash is not None and setup_hash != row["hash"]:
            what = "its hash differs"
        if what:
            raise LogError(f"{self._path}: the log is of another set-up: {what}; put it back, "
                           "or begin a new sweep under another name")
        return setup is not None and to_json(setup) != to_json(logged)

    def _extend(
        self, setup: dict[str, Any], setup_hash: str | None, files: Mapping[str, str]
    ) -> None:
        number = self._setup + 1
        self._copy_files(f"{SETUP}/{number}", files)
        row = (number, self._now(), rig.__version__, setup_hash or "", to_json(setup))
        self._put(lambda db, _: insert(db, "setup", *row))
        self.flush()
        self._setup = number

    def _copy_files(self, below: str, files: Mapping[str, str]) -> None:
        folder = self.folder / below
        make_folder(folder)
        for name, text in files.items():
            write_whole(folder / name, text.encode())
        flush_folder(folder)

    def _give_up(self) -> None:
        writer, self._writer = self._writer, None
        if writer:
            writer.close()
        if self._lock:
            self._lock.release()

    def _need_writer(self) -> Writer:
        if self._writer is None:
            raise LogError(f"{self._path}: the log is not open for writing")
        return self._writer

    def _put(self, apply: Callable) -> None:
        self._need_writer().put(Job(apply))

    def _no_longer_open(self, plan_key: str) -> int:
        """Take out a plan key's last intent; a key without any takes no room in a long sweep."""
        open_intents = self._unmade[plan_key]
        intent = open_intents.pop()
        if not open_intents:
            del self._unmade[plan_key]
        return intent

    def _made(self, number: int) -> int:
        if not 1 <= number <= self._last_number:
            raise ValueError(f"touch {number} was never made")
        return int(number)

    def _now(self) -> str:
        return self._clock().isoformat(timespec="milliseconds")


def _last_setup(db: sqlite3.Connection) -> sqlite3.Row:
    return db.execute("SELECT * FROM setup ORDER BY id DESC LIMIT 1").fetchone()


def _number(value: float | None) -> float | None:
    """Give the float that the database gives back: none that is no number, no minus zero."""
    if value is None or np.isnan(value):
        return None
    return float(value) + 0.0
