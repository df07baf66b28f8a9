"""How fast stored takes are judged again, on one core, and where the time goes.

    python tests/benchmarks/judging.py [--kind talker] [--seed 8] [--pads 12]
    python tests/benchmarks/judging.py --project FOLDER    # the main sweep of a project

Judges every take as `padsweep judge --jobs 1 --dry-run` does, in this process; times are those of
the processor, so that other programs hardly count, the kernel's part told apart. Beside it, in
the same run, the time that a take's parts need: reading its file, and its bands.
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from finding import padsweep

from rig.bench.simulated.folder import new_simulated_project
from rig.listen import frames
from rig.log import SweepLog
from rig.sweep import rejudge
from rig.sweep.rejudge import judgeable, judged

PIECE = 100
"""Takes of which reading and bands are timed apart."""


def spent_s(call, *arguments) -> tuple[float, float]:
    """Give the processor's time for a call, in the program and in the kernel, s."""
    before = resource.getrusage(resource.RUSAGE_SELF)
    call(*arguments)
    after = resource.getrusage(resource.RUSAGE_SELF)
    return after.ru_utime - before.ru_utime, after.ru_stime - before.ru_stime


def here(jobs):
    """Do jobs one after the other, in this process."""
    return (judged(*job) for job in jobs)


def look(folder: Path) -> None:
    """Judge a project's main sweep, and print what it took."""
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        made = judgeable(log.records())
        stored = [rejudge._stored(log, one) for one in made]
        read = [one.read() for one in stored[:PIECE]]
        sound_s = sum(len(samples) / rate_hz for samples, rate_hz, _ in read)
        sound_s *= len(stored) / len(read)
        changes = []

        def all_again():
            changes.extend(one.judgement.sound for one in rejudge.rejudge(log, here))

        begun_s = time.perf_counter()
        user_s, kernel_s = spent_s(all_again)
        wall_s = time.perf_counter() - begun_s
        parts = {
            "reading a file": lambda: [one.read() for one in stored[:PIECE]],
            "bands of a take": lambda: [frames(samples, rate_hz) for samples, rate_hz, _ in read],
        }
        said_ms = {name: sum(spent_s(part)) * 1e3 / len(read) for name, part in parts.items()}
    total_s = user_s + kernel_s
    print(f"{len(changes)} takes of {sound_s / len(changes):.2f} s, "
          f"{sum(one != 'none' for one in changes)} with a change: {total_s:.2f} s of one core "
          f"({kernel_s / total_s:.0%} in the kernel), {wall_s:.2f} s on the clock")
    print(f"{sound_s / total_s:.0f} x real time a core, {total_s * 1e3 / len(changes):.1f} ms a take")
    for name, part_ms in said_ms.items():
        print(f"  {name:20s}{part_ms:8.2f} ms")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--project", type=Path)
    parser.add_argument("--kind", default="talker")
    parser.add_argument("--seed", type=int, default=8)
    parser.add_argument("--pads", type=int, default=12)
    given = parser.parse_args()
    if given.project:
        look(given.project)
        return
    with tempfile.TemporaryDirectory() as folder:
        toy = Path(folder) / "toy"
        new_simulated_project(toy, given.seed, given.pads, given.kind)
        padsweep("sweep", "--project", str(toy))
        look(toy)


if __name__ == "__main__":
    main()
