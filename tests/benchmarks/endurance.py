"""Does the host stay as quick and as small as it was, touch after touch?

    python tests/benchmarks/endurance.py [--touches 10000] [--kind keyboard] [--seed 5] [--pads 64]

Sweeps a simulated board until so many touches are made, or all, and prints a row for every
tenth part of them: the host's memory (resident, from /proc/self/status, Linux alone), and its
processor time for a touch, all its threads together: mean, the kernel's part of it, and the
median of those at which nothing was heard. A change costs several times as much, and changes are
met early, since the likeliest pairs come first. The simulated bench runs in a process of its own,
so that it isn't in the figures; what its sound takes to come through the pipe between the two is.
At the end: how memory and the median have grown since the thousandth touch.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import tempfile
import time
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.errors import BenchError
from rig.events import Progress
from rig.log import SweepLog
from rig.outcomes import is_change
from rig.project import Project, setup_facts, setup_hash
from rig.sweep import Sweep

WARM = 1000
"""Touches after which memory and cost are held against what they become."""


def serve(project: Project, pipe) -> None:
    """Be the bench: do what is asked for through a pipe, until it is closed."""
    bench, chunks = SimulatedBench(project), iter(())
    while True:
        try:
            name, arguments = pipe.recv()
        except EOFError:
            return
        try:
            if name == "stream":
                chunks, answer = bench.stream(), None
            elif name == "next":
                answer = next(chunks, None)
            else:
                answer = getattr(bench, name)
                answer = answer(*arguments) if callable(answer) else answer
        except BenchError as trouble:
            answer = trouble
        pipe.send(answer)


class FarBench:
    """A bench in another process."""

    def __init__(self, project: Project):
        self._pipe, other = multiprocessing.Pipe()
        fork = multiprocessing.get_context("fork")
        self._process = fork.Process(target=serve, args=(project, other), daemon=True)
        self._process.start()
        other.close()
        self.rate_hz = self._ask("rate_hz")

    def _ask(self, name, *arguments):
        self._pipe.send((name, arguments))
        answer = self._pipe.recv()
        if isinstance(answer, BenchError):
            raise answer
        return answer

    def stream(self):
        self._ask("stream")
        while (chunk := self._ask("next")) is not None:
            yield chunk

    def __getattr__(self, name):
        return lambda *arguments: self._ask(name, *arguments)

    def __del__(self):
        self._pipe.close()


class Log(SweepLog):
    """A log that remembers whether a change was written since it was asked."""

    changed = False

    def judged(self, number, judgement):
        self.changed = self.changed or is_change(judgement.sound)
        super().judged(number, judgement)


@dataclass(frozen=True)
class Point:
    """How things stand after so many touches."""

    touches: int
    memory_mb: float
    spent_s: float
    kernel_s: float


def now(touches: int) -> Point:
    """Look at this process."""
    status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    memory_mb = int(status["VmRSS"].split()[0]) / 1024
    return Point(touches, memory_mb, time.process_time(), os.times().system)


def row(before: Point, after: Point, each_ms: list[float]) -> str:
    """Say what the touches between two points took."""
    made = after.touches - before.touches
    mean_ms, kernel_ms = (
        (b - a) * 1e3 / made
        for a, b in ((before.spent_s, after.spent_s), (before.kernel_s, after.kernel_s))
    )
    return (f"{after.touches:8,d}{after.memory_mb:8.0f}{mean_ms:10.1f}{kernel_ms:10.1f}"
            f"{np.median(each_ms or np.nan):10.1f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--touches", type=int, default=10_000)
    parser.add_argument("--kind", default="keyboard")
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--pads", type=int, default=64)
    given = parser.parse_args()
    every = max(1, given.touches // 10)
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(Path(folder) / "toy", given.seed, given.pads, given.kind)
        bench = FarBench(project)
        print(f"{given.kind} {given.seed}, {given.pads} pads")
        print(" touches      MB  ms/touch    kernel    median")
        points, medians_ms, each_ms = [now(0)], [], []  # the first point has no median
        with closing(Log.create(
            project.folder / "sweeps" / "main", setup_facts(project), setup_hash(project), {}
        )) as log:
            made, last_s = 0, time.process_time()

            def count(event):
                nonlocal made, last_s
                if not isinstance(event, Progress):
                    return
                made += 1
                spent_s = time.process_time()
                if not log.changed:
                    each_ms.append((spent_s - last_s) * 1e3)
                last_s, log.changed = spent_s, False
                if made % every == 0 or made == WARM:
                    points.append(now(made))
                    medians_ms.append(float(np.median(each_ms or np.nan)))
                    print(row(points[-2], points[-1], each_ms), flush=True)
                    each_ms.clear()
                if made >= given.touches:
                    raise KeyboardInterrupt

            log.listen(count)
            with suppress(KeyboardInterrupt):
                Sweep(project, bench, log).run()
    after = [i for i, one in enumerate(points) if one.touches > WARM]
    if len(after) < 2:
        sys.exit(f"{made} touches are too few to say more")
    grown_mb = points[-1].memory_mb - points[after[0] - 1].memory_mb
    print(f"since touch {points[after[0] - 1].touches:,}: {grown_mb:+.0f} MB; the median touch costs "
          f"{medians_ms[-1] / medians_ms[after[0] - 2] - 1:+.0%}")


if __name__ == "__main__":
    main()
