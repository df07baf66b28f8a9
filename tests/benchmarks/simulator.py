"""Prints how many seconds of a simulated toy pass in one second of the wall clock.

    python tests/benchmarks/simulator.py [--kind KIND] [--pads 24 64] [--seed 7] [--touches 400]
        [--drivers real]

Prints a row for every kind of toy and number of pads. Timed is the whole simulated bench as a
sweep uses it: pairs all over the board, every series value, sound at 48 kHz with room noise
and markers, and a power cycle after each touch that left the toy dead or droning. The last
column goes by the processor's time, for when other programs are running.
"""

import argparse
import tempfile
import time
from itertools import combinations, cycle, islice

import numpy as np

from rig.bench import Connection, Stimulus, Touch
from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.board import KINDS
from rig.bench.simulated.folder import new_simulated_project


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kind", choices=list(KINDS), nargs="+", default=list(KINDS))
    parser.add_argument("--pads", type=int, nargs="+", default=[24, 64])
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--touches", type=int, default=400)
    parser.add_argument("--drivers", choices=["real"], help="lines as strong as chips drive them")
    asked = parser.parse_args()
    print("kind      pads  touches  power cycles  toy s  toy s per wall s  per CPU s")
    for kind in asked.kind:
        for pads in asked.pads:
            cycles, toy_s, wall_s, cpu_s = sweep(
                kind, pads, asked.seed, asked.touches, asked.drivers
            )
            print(
                f"{kind:9} {pads:4}  {asked.touches:7}  {cycles:12}  {toy_s:5.0f}  "
                f"{toy_s / wall_s:16.0f}  {toy_s / cpu_s:9.0f}",
                flush=True,
            )


def sweep(
    kind: str, pads: int, seed: int, count: int, drivers: str | None = None
) -> tuple[int, float, float, float]:
    """Make touches; gives power cycles, and seconds of the toy, the clock and the processor."""
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(folder + "/toy", seed, pads, kind, drivers=drivers)
    bench = SimulatedBench(project)
    key = bench.board.keys[0]
    power(bench)
    touches = [
        (pair, ohm)
        for ohm in sorted(project.rig.series_ohm, reverse=True)
        for pair in combinations(bench.board.letters, 2)
    ]
    step = max(1, len(touches) // count)
    begun_toy, begun, begun_cpu = bench.now_s(), time.perf_counter(), time.process_time()
    cycles = 0
    for (one, two), ohm in islice(cycle(touches[::step]), count):
        sound = touch(bench, Touch((Connection((one,), (two,), ohm),), Stimulus((key,))))
        if not alive(sound):
            bench.supply(False)
            bench.wait(2.0)
            power(bench)
            cycles += 1
    return (
        cycles, bench.now_s() - begun_toy,
        time.perf_counter() - begun, time.process_time() - begun_cpu,
    )


def touch(bench: SimulatedBench, what: Touch) -> np.ndarray:
    """Make a touch and give its sound."""
    bench.begin(what)
    return np.concatenate([chunk.sound for chunk in bench.stream()])


def alive(sound: np.ndarray) -> bool:
    """Say whether the key press at the touch's start was heard: quiet before, sound after."""
    before, after = sound[:3000], sound[7000:14000]
    return bool(np.std(after) > 3 * np.std(before))


def power(bench: SimulatedBench) -> None:
    """Switch on and press what turns the toy on."""
    bench.supply(True)
    bench.wait(1.0)
    for name in bench.board.on:
        touch(bench, Touch(stimulus=Stimulus((name,))))


if __name__ == "__main__":
    main()
