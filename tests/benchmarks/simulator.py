"""Prints how many seconds of a simulated toy pass in one second of the wall clock.

    python tests/benchmarks/simulator.py [--seed 7] [--pads 24] [--touches 400]

Timed is the whole simulated bench as a sweep uses it: every pair in turn, every series
value, sound at 48 kHz with room noise and markers, and a power cycle after each touch
that left the toy dead or droning.
"""

import argparse
import tempfile
import time
from itertools import combinations, cycle, islice

import numpy as np

from rig.bench import Connection, Stimulus, Touch
from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--pads", type=int, default=24)
    parser.add_argument("--touches", type=int, default=400)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(folder + "/toy", asked.seed, asked.pads)
    bench = SimulatedBench(project)
    key = bench.board.keys[0]
    power(bench)
    touches = [
        (pair, ohm)
        for ohm in sorted(project.rig.series_ohm, reverse=True)
        for pair in combinations(bench.board.letters, 2)
    ]
    step = max(1, len(touches) // asked.touches)
    begun_toy, begun, begun_cpu = bench.now_s(), time.perf_counter(), time.process_time()
    made = cycles = 0
    for (one, two), ohm in islice(cycle(touches[::step]), asked.touches):
        sound = touch(bench, Touch((Connection((one,), (two,), ohm),), Stimulus((key,))))
        made += 1
        if not alive(sound):
            bench.supply(False)
            bench.wait(2.0)
            power(bench)
            cycles += 1
    toy_s = bench.now_s() - begun_toy
    wall_s, cpu_s = time.perf_counter() - begun, time.process_time() - begun_cpu
    print(
        f"{made} touches and {cycles} power cycles, {asked.pads} pads, seed {asked.seed}: "
        f"{toy_s:.0f} toy seconds in {wall_s:.2f} s"
    )
    print(f"{toy_s / wall_s:.0f} toy seconds per wall second ({toy_s / cpu_s:.0f} per CPU second)")


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
