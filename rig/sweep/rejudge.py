"""Judging stored takes again, with the judge as it is now; the toy isn't needed for it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import joblib
import numpy as np
from threadpoolctl import threadpool_limits

from rig.errors import LogError, RigError
from rig.listen import LEAST_TAKES, LIKE_KEY, Ear, Judgement, Span, with_lead
from rig.log import Record, SweepLog
from rig.log.between import parts
from rig.log.takes import read_bytes, read_take

BATCH = 16
"""Takes that one job judges."""
AHEAD = 4
"""Jobs in the queue beyond those that run."""


@dataclass(frozen=True)
class Rejudged:
    """A stored take's new judgement, and the record with the one that was shown before."""

    record: Record
    judgement: Judgement

    @property
    def has_another_word(self) -> bool:
        """Say whether the take is said to do something else than before."""
        return self.record.sound != self.judgement.sound

    @property
    def is_news(self) -> bool:
        """Say whether it differs from the one in the log in anything but rounding."""
        old, new = self.record, self.judgement
        return (old.judge, old.sound, old.unit) != (new.judge, new.sound, new.unit) or any(
            (a is None) != (b is None) or (a is not None and not np.isclose(a, b, rtol=1e-9))
            for a, b in ((old.amount, new.amount), (old.score, new.score),
                         (old.p_value, new.p_value))
        ) or old.measures.get(LIKE_KEY) != new.measures.get(LIKE_KEY)

    @property
    def now(self) -> Record:
        """Give the record as it is with the new judgement."""
        return replace(self.record, **vars(self.judgement))


@dataclass(frozen=True)
class Stored:
    """A take for a job to read: from its file or, where that can't be seen, from its bytes.

    `leads` are the pads whose leads alone may explain it; see `rig.touches.Target.leads`.
    """

    number: int
    path: Path
    offsets: dict[str, int]
    leads: tuple[str, ...] = ()
    whole: bytes | None = None

    def carried(self) -> Stored:
        """Give the same with its bytes.

        Raises
        ------
        LogError
            The file is missing.
        """
        return replace(self, whole=read_bytes(self.path))

    def read(self) -> tuple[np.ndarray, int, Span]:
        """Read samples (shape (n,), full scale 1.0), rate in Hz and steps.

        Raises
        ------
        LogError
            The take is missing, or isn't whole.
        """
        samples, rate_hz = read_take(self.path, self.whole)
        return samples, rate_hz, Span.from_samples(self.offsets, len(samples), rate_hz)


@dataclass(frozen=True)
class Clean:
    """The clean takes of a key, those that calibrate, those of the toy with one lead on, and the
    first one of each other key.

    Told from others by their files.
    """

    key: str
    sha256: str
    takes: tuple[Stored, ...] = field(compare=False)
    calibrating: tuple[Stored, ...] = field(compare=False)
    loaded: tuple[tuple[str, Stored], ...] = field(compare=False)
    others: tuple[tuple[str, Stored], ...] = field(default=(), compare=False)

    def files(self) -> str:
        """Give the SHA-256 of their files as they can be seen from here; see `sha256`."""
        return sha256(one.path for one in self.all())

    def all(self) -> tuple[Stored, ...]:
        """Give every take of them."""
        return self.takes + self.calibrating + tuple(one for _, one in self.loaded + self.others)

    def carried(self) -> Clean:
        """Give the same with the bytes of every take.

        Raises
        ------
        LogError
            A file is missing.
        """
        return replace(
            self, takes=tuple(one.carried() for one in self.takes),
            calibrating=tuple(one.carried() for one in self.calibrating),
            loaded=tuple((lead, one.carried()) for lead, one in self.loaded),
            others=tuple((other, one.carried()) for other, one in self.others),
        )


Job = tuple[Clean, tuple[Stored, ...]]
Judged = list[tuple[int, Judgement]]
"""Number of each touch, and its new judgement."""
Run = Callable[[Iterable[Job]], Iterator[Judged]]
"""Does jobs and gives their results as they come, in any order."""


def judgeable(records: Iterable[Record]) -> list[Record]:
    """Give the touches whose takes can be judged: whole, with a key, and no baseline."""
    return [
        one for one in records
        if one.take and not one.fault and one.kind != "baseline" and "open" in one.offsets
    ]


def rejudge(log: SweepLog, run: Run) -> Iterator[Rejudged]:
    """Judge every stored take of a sweep anew, in any order.

    Parameters
    ----------
    log : SweepLog
        Nothing is written to it.
    run : callable
        What does the jobs: `in_processes`, or `cluster.on_cluster`. The judgements don't depend
        on it.

    Raises
    ------
    LogError
        A take can't be read, or a key has fewer than three clean takes.
    """
    records = log.records()
    made = {one.number: one for one in records}
    for judgements in run(_jobs(log, records)):
        for number, judgement in judgements:
            yield Rejudged(made[number], judgement)


def in_processes(count: int) -> Run:
    """Do jobs in so many processes of this machine; -1 for one a core."""
    def run(jobs: Iterable[Job]) -> Iterator[Judged]:
        parallel = joblib.Parallel(
            n_jobs=count, return_as="generator_unordered", batch_size=1,
            pre_dispatch=f"n_jobs + {AHEAD}",
        )
        try:
            yield from parallel(joblib.delayed(judged)(*job) for job in jobs)
        except BrokenProcessPool:
            raise RigError(
                "a process that was judging has been killed, perhaps for want of memory: "
                "run it again with fewer --jobs"
            ) from None

    return run


def clean_takes(log: SweepLog, key: str, records: Iterable[Record]) -> Clean:
    """Give what a key is judged against.

    Raises
    ------
    LogError
        There are fewer than three clean takes, or one is missing.
    """
    records = list(records)
    told = parts(records)
    takes, calibrating = (
        tuple(_stored(log, one) for one in records
              if one.key == key and one.number in numbers and one.take)
        for numbers in (told.reference, told.calibrating)
    )
    if len(takes) < LEAST_TAKES:
        raise LogError(
            f"{log.folder}: fewer than {LEAST_TAKES} clean takes of key {key!r}, so nothing can be "
            "judged: sweep longer first"
        )
    loaded = tuple(
        (pad, _stored(log, one)) for one in records
        if one.key == key and one.number in told.loaded and one.take for pad in one.target.pads
    )
    first: dict[str, Record] = {}
    for one in records:
        if one.number in told.reference and one.kind == "baseline" and one.take and one.key != key:
            first.setdefault(one.key, one)
    others = tuple((other, _stored(log, one)) for other, one in first.items())
    made = Clean(key, "", takes, calibrating, loaded, others)
    return replace(made, sha256=made.files())


def sha256(paths: Iterable[Path]) -> str:
    """Give the SHA-256 over the bytes of some files.

    Raises
    ------
    LogError
        One is missing.
    """
    whole = hashlib.sha256()
    for path in paths:
        whole.update(read_bytes(path))
    return whole.hexdigest()


# A job's takes have one key, and jobs come key by key.
@lru_cache(maxsize=2)
# Sums in another order differ in their last bits, and BLAS orders them by its threads.
@threadpool_limits.wrap(limits=1, user_api="blas")
def learnt(clean: Clean) -> Ear:
    """Give an ear that has learnt a key's clean takes; kept by each process for its next job.

    Raises
    ------
    LogError
        One can't be read.
    """
    ear: Ear | None = None
    for one in clean.takes:
        samples, rate_hz, span = one.read()
        ear = ear or Ear(rate_hz)
        ear.learn(clean.key, samples, span)
    assert ear is not None
    ear.baseline(clean.key)
    for one in clean.calibrating:
        samples, _, span = one.read()
        ear.calibrate(clean.key, samples, span)
    for lead, one in clean.loaded:
        samples, _, span = one.read()
        ear.learn(with_lead(clean.key, lead), samples, span)
    for other, one in clean.others:
        samples, _, span = one.read()
        ear.learn_other(other, samples, span)
    return ear


@threadpool_limits.wrap(limits=1, user_api="blas")
def judged(clean: Clean, takes: Iterable[Stored]) -> Judged:
    """Do one job: judge some takes of a key."""
    ear = learnt(clean)
    out = []
    for one in takes:
        samples, _, span = one.read()
        out.append((one.number, ear.judge(clean.key, samples, span, one.leads)))
    return out


def _jobs(log: SweepLog, records: list[Record]) -> Iterator[Job]:
    """Give all there is to do, key by key; not before each key is known to have clean takes."""
    by_key: dict[str, list[Stored]] = {}
    for one in judgeable(records):
        by_key.setdefault(one.key, []).append(_stored(log, one))
    for clean in [clean_takes(log, key, records) for key in by_key]:
        takes = by_key[clean.key]
        for at in range(0, len(takes), BATCH):
            yield clean, tuple(takes[at : at + BATCH])


def _stored(log: SweepLog, record: Record) -> Stored:
    assert record.take is not None
    path = (log.folder / record.take).resolve()
    return Stored(record.number, path, record.offsets, record.target.leads)
