"""Judging on a Dask cluster: workers read the takes themselves, or are sent a few at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from itertools import islice
from typing import TYPE_CHECKING

from rig.errors import LogError, RigError
from rig.listen import JUDGE
from rig.sweep.rejudge import AHEAD, Clean, Job, Judged, Run, Stored, judged

if TYPE_CHECKING:
    from distributed import Client, Future

WORKER_WITHIN_S = 10
"""So long a scheduler without a worker is waited for."""


def on_cluster(client: Client) -> Run:
    """Do jobs on a cluster; raises a RigError where it has no worker, or loses what it needs.

    Workers that all see the sweep's folder are told where its takes are. Else they are sent
    the takes, beside the jobs, and never more than they are about to judge.
    """
    from distributed import as_completed
    from distributed.scheduler import KilledWorker

    def run(jobs: Iterable[Job]) -> Iterator[Judged]:
        jobs = iter(jobs)
        first = next(jobs, None)
        if first is None:
            return
        try:
            client.wait_for_workers(1, WORKER_WITHIN_S)
        except TimeoutError:
            raise RigError("the cluster has no worker: start some, then run it again") from None
        try:
            submit = _submitting(client, _all_see(client, first[0]))
            waiting = as_completed([submit(*first)])
            for job in islice(jobs, sum(client.nthreads().values()) + AHEAD - 1):
                waiting.add(submit(*job))
            for future in waiting:
                yield future.result()
                for job in islice(jobs, 1):
                    waiting.add(submit(*job))
        except (KilledWorker, CancelledError, OSError) as trouble:
            raise RigError(
                f"the cluster has lost a worker or its scheduler ({_line(trouble)}): see that "
                "they run, then run it again"
            ) from None

    return run


def _all_see(client: Client, clean: Clean) -> bool:
    """Say whether every worker sees the sweep's folder, with the same clean takes in it.

    Raises
    ------
    RigError
        A worker has no padsweep, or one that judges otherwise.
    """
    # What a worker can't load comes back as an exception of no special kind.
    answers = client.run(_asked, clean, on_error="return")
    for worker, answer in answers.items():
        what = None
        if isinstance(answer, Exception):
            what = f"can't load this padsweep ({_line(answer)})"
        elif answer[0] != JUDGE:
            what = f"has judge {answer[0]}, this machine judge {JUDGE}"
        if what:
            raise RigError(f"worker {worker} {what}: install the same padsweep on all")
    return all(sees for _, sees in answers.values())


def _asked(clean: Clean) -> tuple[str, bool]:
    """Give the version of the judge here, and whether the clean takes can be seen from here."""
    try:
        return JUDGE, clean.files() == clean.sha256
    except LogError:
        return JUDGE, False


def _submitting(
    client: Client, all_see: bool
) -> Callable[[Clean, tuple[Stored, ...]], Future]:
    """Give what hands a job to the cluster."""
    sent: dict[Clean, Future] = {}

    def submit(clean: Clean, takes: tuple[Stored, ...]) -> Future:
        if all_see:
            return client.submit(judged, clean, takes, pure=False)
        if clean not in sent:
            sent.clear()
            (sent[clean],) = client.scatter([clean.carried()], broadcast=True, hash=False)
        (takes_there,) = client.scatter([tuple(one.carried() for one in takes)], hash=False)
        return client.submit(judged, sent[clean], takes_there, pure=False)

    return submit


def _line(trouble: Exception) -> str:
    """Give the first line of what a library says."""
    return str(trouble).strip().partition("\n")[0] or type(trouble).__name__
