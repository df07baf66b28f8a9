"""The one thread that writes the database, and the one beside it that writes takes.

Jobs are committed in their order, as many at once as are ready. A take is encoded and
flushed to the disk beside the commits; its row waits for it, so a row never points at a
take that isn't whole. An intent alone may overtake one waiting take, never two: whatever
moment the host is killed at, at most the running touch and the one before it are unknown.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from rig.errors import RigError
from rig.log.database import DATABASE, database_error, open_writing
from rig.log.takes import StoredTake

WAITING_TAKES = 2
"""Made touches that may wait for their row: a slow disk slows the sweep from here on."""

WAITING_JOBS = 1000

PATIENCE_S = 0.5
"""After each so much waiting for the disk the caller's other duties are seen to."""
HOLD_S = 0.02
"""A take is held back this long for the intent of the next touch, which follows at once."""
LINGER_S = 0.1
"""Small rows wait this long for company: an intent or a take's row carries them along, and
the disk is flushed twice a touch instead of five times."""


@dataclass
class Job:
    """One thing to commit: `apply` inserts its rows, with its stored take if it has one."""

    apply: Callable[[sqlite3.Connection, StoredTake | None], object]
    take: Future | None = None
    urgent: bool = False
    done: bool = False
    since_s: float = field(default_factory=time.monotonic)

    def ready(self) -> bool:
        """Say if its take, if any, is on the disk (or failed to get there)."""
        return self.take is None or self.take.done()


class Writer:
    """Owns the write connection of one sweep's folder.

    Parameters
    ----------
    folder : Path
        The sweep's folder with its database.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._path = folder / DATABASE
        self._change = threading.Condition()
        self._jobs: deque[Job] = deque()
        self._busy = False
        self._closing = False
        self._flushing = 0
        self._intents = 0
        self._failure: Exception | None = None
        self._told = False
        self.while_waiting: Callable[[], None] | None = None
        try:
            self._db = open_writing(self._path)
        except sqlite3.Error as trouble:
            raise database_error(trouble, self._path) from trouble
        self._takes = ThreadPoolExecutor(1, "takes")
        self._thread = threading.Thread(target=self._run, name="log writer", daemon=True)
        self._thread.start()

    def put(self, job: Job, write_take: Callable[[], StoredTake] | None = None) -> None:
        """Queue a job; waits while too many are queued. Raises an earlier write's error."""
        with self._change:
            self._wait_for(lambda: self._has_room(write_take))
            self._check()
            if write_take is not None:
                job.take = self._takes.submit(self._after_intent, write_take, self._intents)
                job.take.add_done_callback(self._take_done)
            self._jobs.append(job)
            self._change.notify_all()

    def put_and_wait(self, job: Job) -> None:
        """Queue an urgent job and wait until it is on the disk."""
        job.urgent = True
        self.put(job)
        with self._change:
            self._wait_for(lambda: job.done)
            if not job.done:
                self._check()

    def flush(self) -> None:
        """Wait until everything queued is on the disk."""
        with self._change:
            self._flushing += 1
            self._change.notify_all()
            try:
                self._wait_for(lambda: not (self._jobs or self._busy))
                self._check()
            finally:
                self._flushing -= 1

    def close(self) -> None:
        """Write what is queued, fold the WAL in and end both threads.

        Raises
        ------
        LogError, DiskFull
            An error not yet raised elsewhere; what could be closed is closed all the same.
        """
        with self._change:
            self._closing = True
            self._change.notify_all()
        self._thread.join()
        self._takes.shutdown()
        if self._failure and not self._told:
            self._check()

    def _wait_for(self, is_so: Callable[[], bool]) -> None:
        """Wait for this, or for a failure, and see to the caller's duties meanwhile."""
        while not self._change.wait_for(lambda: self._failure or is_so(), PATIENCE_S):
            if self.while_waiting:
                self._change.release()
                try:
                    self.while_waiting()
                finally:
                    self._change.acquire()

    def _check(self) -> None:
        if self._failure:
            self._told = True
            raise type(self._failure)(*self._failure.args) from self._failure

    def _has_room(self, write_take: object) -> bool:
        takes = sum(job.take is not None for job in self._jobs)
        return len(self._jobs) < WAITING_JOBS and (write_take is None or takes < WAITING_TAKES)

    def _after_intent(self, write_take: Callable[[], StoredTake], intents: int) -> StoredTake:
        """Write a take, once the next touch's intent is through: the disk serves that first."""
        with self._change:
            self._change.wait_for(
                lambda: self._intents > intents or self._flushing or self._closing
                or self._failure, HOLD_S
            )
            if self._failure:
                raise self._failure
        return write_take()

    def _take_done(self, _: Future) -> None:
        with self._change:
            self._change.notify_all()

    def _next_batch(self) -> list[Job]:
        """Give the jobs to commit now, all still queued."""
        batch = []
        for job in self._jobs:
            if not job.ready():
                break
            batch.append(job)
        waiting = list(self._jobs)[len(batch):]
        if sum(job.take is not None for job in waiting) <= 1:
            batch += [job for job in waiting if job.urgent]
        return batch

    def _wait_for_batch(self) -> list[Job]:
        """Wait until there is something that must be committed now; empty at the end."""
        while True:
            batch = self._next_batch()
            if not batch and self._closing and not self._jobs:
                return []
            if batch and self._is_due(batch):
                return batch
            self._change.wait(LINGER_S if batch else None)

    def _is_due(self, batch: list[Job]) -> bool:
        if self._closing or self._flushing or len(batch) >= WAITING_JOBS:
            return True
        carried = any(job.urgent or job.take is not None for job in batch)
        return carried or time.monotonic() - batch[0].since_s >= LINGER_S

    def _run(self) -> None:
        try:
            while True:
                with self._change:
                    batch = self._wait_for_batch()
                    self._busy = bool(batch)
                if not batch:
                    break
                self._commit(batch)
                with self._change:
                    for job in batch:
                        self._jobs.remove(job)
                    self._busy = False
                    self._change.notify_all()
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        except Exception as trouble:
            self._fail(trouble)
        finally:
            with suppress(sqlite3.Error):
                self._db.close()

    def _commit(self, batch: list[Job]) -> None:
        failed = None
        applied = []
        self._db.execute("BEGIN IMMEDIATE")
        try:
            for job in batch:
                failed = job.take.exception() if job.take else None
                if failed:  # what was queued before it is kept
                    break
                job.apply(self._db, job.take.result() if job.take else None)
                applied.append(job)
            self._db.execute("COMMIT")
        except BaseException:
            if self._db.in_transaction:
                with suppress(sqlite3.Error):
                    self._db.execute("ROLLBACK")
            raise
        for job in applied:  # only now: who waits for it is told that it's on the disk
            job.done = True
            self._intents += job.urgent
        if failed:
            raise failed

    def _fail(self, trouble: Exception) -> None:
        if isinstance(trouble, (sqlite3.Error, OSError)):
            trouble = database_error(trouble, self._path)
        elif not isinstance(trouble, RigError):
            bug = RuntimeError(f"{self._path}: the log's writer failed: {trouble!r}")
            bug.__cause__ = trouble
            trouble = bug
        with self._change:
            self._failure = trouble
            queued = list(self._jobs)
            self._jobs.clear()
            self._busy = False
            self._change.notify_all()
        for job in queued:  # no row will point at these
            if job.take is not None and not job.done:
                with suppress(Exception):
                    (self._folder / job.take.result().path).unlink(missing_ok=True)
