"""Judging stored takes again, with the judge as it is now; the toy isn't needed for it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import joblib
import numpy as np
from threadpoolctl import threadpool_limits

from rig.errors import LogError
from rig.listen import LEAST_TAKES, Ear, Judgement, Span
from rig.log import Record, SweepLog

BATCH = 16
"""Takes that one job judges: the baseline travels with each job."""
AHEAD = 4
"""Jobs in the queue beyond those that run, so that an archive never fills the memory."""


@dataclass(frozen=True)
class Rejudged:
    """A stored take's new judgement, and the record with the one that was shown before."""

    record: Record
    judgement: Judgement

    @property
    def is_news(self) -> bool:
        """Say whether it differs from the one in the log in anything but rounding."""
        old, new = self.record, self.judgement
        return (old.judge, old.sound, old.unit) != (new.judge, new.sound, new.unit) or any(
            (a is None) != (b is None) or (a is not None and not np.isclose(a, b, rtol=1e-9))
            for a, b in ((old.amount, new.amount), (old.score, new.score),
                         (old.p_value, new.p_value))
        )


def is_clean(record: Record) -> bool:
    """Say whether a touch's take is part of its key's baseline.

    Those made for it are, and so are the clean presses at intervals that sounded like it: they
    carry it along as the toy drifts, and let it grow.
    """
    if record.fault or not record.take or not record.complete:
        return False
    return record.kind == "baseline" or (record.kind == "check" and record.sound == "none")


def judgeable(records: list[Record]) -> list[Record]:
    """Give the touches whose takes can be judged: whole, with a key, and no baseline."""
    return [
        one for one in records
        if one.take and not one.fault and one.kind != "baseline" and "open" in one.offsets
    ]


def rejudge(log: SweepLog, jobs: int = -1) -> Iterator[Rejudged]:
    """Judge every stored take of a sweep anew, in the order of the touches.

    Parameters
    ----------
    log : SweepLog
        Nothing is written to it.
    jobs : int
        Processes to judge with; -1 for one a core. Ignored under `joblib.parallel_config`
        with another backend. The judgements don't depend on it.

    Raises
    ------
    LogError
        A take can't be read, or a key has fewer than three clean takes.
    """
    records = log.records()
    ears: dict[str, Ear] = {}
    for key in sorted({one.key for one in judgeable(records)}):
        ears[key] = learnt(log, key, records)
    todo = judgeable(records)
    work = (
        joblib.delayed(_judge)(ears[batch[0].key], [_take(log, one) for one in batch])
        for batch in _batches(todo)
    )
    parallel = joblib.Parallel(
        n_jobs=jobs, return_as="generator", batch_size=1, pre_dispatch=f"n_jobs + {AHEAD}"
    )
    for batch, judgements in zip(_batches(todo), parallel(work), strict=True):
        yield from map(Rejudged, batch, judgements)


# Sums in another order differ in their last bits, and BLAS orders them by its threads.
@threadpool_limits.wrap(limits=1, user_api="blas")
def learnt(log: SweepLog, key: str, records: list[Record]) -> Ear:
    """Give an ear that has learnt a key's clean takes.

    Raises
    ------
    LogError
        There are fewer than three, or one can't be read.
    """
    ear: Ear | None = None
    for one in records:
        if is_clean(one) and one.key == key:
            samples, rate_hz = log.read_take(one.number)
            ear = ear or Ear(rate_hz)
            ear.learn(key, samples, Span.from_samples(one.offsets, len(samples), rate_hz))
    if ear is None or ear.takes_learnt(key) < LEAST_TAKES:
        raise LogError(
            f"{log.folder}: fewer than {LEAST_TAKES} clean takes of key {key!r}, so nothing can be "
            "judged: sweep longer first"
        )
    ear.baseline(key)
    return ear


def _batches(records: list[Record]) -> Iterator[list[Record]]:
    """Give runs of touches with the same key, at most `BATCH` long."""
    batch: list[Record] = []
    for one in records:
        if batch and (len(batch) == BATCH or one.key != batch[0].key):
            yield batch
            batch = []
        batch.append(one)
    if batch:
        yield batch


def _take(log: SweepLog, record: Record) -> tuple[str, np.ndarray, Span]:
    samples, rate_hz = log.read_take(record.number)
    return record.key, samples, Span.from_samples(record.offsets, len(samples), rate_hz)


@threadpool_limits.wrap(limits=1, user_api="blas")
def _judge(ear: Ear, takes: list[tuple[str, np.ndarray, Span]]) -> list[Judgement]:
    return [ear.judge(key, samples, span) for key, samples, span in takes]
