"""The host's own cost of a touch: all but the time spent inside the bench.

    python tests/benchmarks/touch_cost.py [--seed 7] [--pads 16]

Sweeps a simulated board and times every call into the bench; what is left between two
touches is the engine, the ear, the log's waits and the disk. Beside it, in the same run,
the simulated bench's own time for a touch.
"""

import argparse
import os
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.events import Progress
from rig.log import SweepLog
from rig.project import setup_facts, setup_hash
from rig.sweep import Sweep


class TimedBench:
    """Passes every call on to a bench and adds up the time it takes."""

    def __init__(self, bench):
        self._bench = bench
        self.spent_s = 0.0

    def __getattr__(self, name):
        value = getattr(self._bench, name)
        return self._timed(value) if callable(value) else value

    def _timed(self, call):
        def timed(*arguments):
            begun = time.perf_counter()
            try:
                return call(*arguments)
            finally:
                self.spent_s += time.perf_counter() - begun

        return timed

    def stream(self):
        chunks = self._bench.stream()
        while True:
            begun = time.perf_counter()
            chunk = next(chunks, None)
            self.spent_s += time.perf_counter() - begun
            if chunk is None:
                return
            yield chunk


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--pads", type=int, default=16)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(Path(folder) / "toy", given.seed, given.pads)
        bench = TimedBench(SimulatedBench(project))
        log = SweepLog.create(
            project.folder / "sweeps" / "main", setup_facts(project), setup_hash(project), {}
        )
        host_ms, bench_ms = [], []
        last, last_bench = time.perf_counter(), bench.spent_s

        def note(event):
            nonlocal last, last_bench
            if isinstance(event, Progress):
                now, spent = time.perf_counter(), bench.spent_s
                bench_ms.append((spent - last_bench) * 1e3)
                host_ms.append((now - last) * 1e3 - bench_ms[-1])
                last, last_bench = now, spent

        log.listen(note)
        Sweep(project, bench, log).run()
        log.close()
    host, own = np.array(host_ms), np.array(bench_ms)
    print(f"{len(host)} touches; host ms per touch: median {np.median(host):.1f}, "
          f"mean {host.mean():.1f}, 95 % {np.percentile(host, 95):.1f}; "
          f"simulated bench: median {np.median(own):.1f}; "
          f"host/bench {np.median(host) / np.median(own):.2f}")


if __name__ == "__main__":
    main()
