"""What a person with two tips finds on simulated boards, beside what a rig finds on the same.

    python tests/benchmarks/by_hand.py [--seeds 300-305] [--kind talker] [--pads 7]
        [--habits "late 300"]

A stand-in for the person does what the prompts ask, on a virtual clock, with the rustle of
hands 25 dB below the toy. The truth is measured here from noise-free sound with the pair held
from before the press on: the same limits as in `rig.bench.simulated.truth`, which closes a
moment after the press as the rig does. Nothing in the program was chosen on these seeds. With
`--habits` the toys have those that `rig/bench/simulated/habit_sets.py` names so; the truth is asked of
ones that miss no press.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[1] / "unit")]

from hands import RATE_HZ, Hands, StandIn, write_project
from seeds import add_seeds

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.board import KINDS, Board, make_board
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.difference import LIMIT_DB, band_levels_db, difference_db
from rig.bench.simulated.habit_sets import HABITS, with_habits
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.choose import finds
from rig.log import SweepLog
from rig.project import Project, load_project, setup_facts, setup_hash, touchable
from rig.project.models import letters
from rig.sweep import Sweep
from rig.sweep.asking import SweepByHand

ON_THE_BOARD = 8
PATH_OHM, LEAD_OHM, TAKE_MS, TAKES, STATES = 10_000.0, 2_500, 1_500, 16, 6
PRESS_S, HELD_AHEAD_S, REST_S = 0.12, 0.35, 0.5
RIG = """\
bench: simulated
lead_ohm: {lead}
switch_ohm: 0
series_ohm: [{series:g}]
simulated: {{kind: {kind}, seed: {seed}, pads: {pads}{habits}}}
sweep: {{baseline_takes: {takes}}}
"""


def made(seed: int, kind: str, habits: str) -> Board:
    """Make a board, with habits where they are named."""
    board = make_board(seed, ON_THE_BOARD, kind)
    return with_habits(board, habits) if habits else board


def press(toy: SimulatedToy, key: str, seconds: float) -> np.ndarray:
    """Press a key and give the sound from there on."""
    toy.keys({key})
    down = toy.run(round(PRESS_S * RATE_HZ))
    toy.keys(set())
    return np.concatenate([down, toy.run(round((seconds - PRESS_S) * RATE_HZ))])


def truth(
    project: Project, seed: int, board: Board, pair: tuple[str, str]
) -> tuple[float, float]:
    """Give the shares of the toy's states in which a held pair changes the sound, and freezes."""
    board = replace(board, habits=replace(board.habits, misses=0.0))
    key, rest_s = project.sweep_keys[0], board.longest_phrase_s + REST_S
    toy = SimulatedToy(board, seed)
    switch_on(toy)
    changed = froze = 0
    for _ in range(STATES):
        toy.run(round(REST_S * RATE_HZ))
        held, free = toy.fork(), toy.fork()
        held.connect([Link(pair[:1], pair[1:], PATH_OHM / 2, 0.0, 0.0)])
        levels = []
        for one in (free, held):
            one.run(round(HELD_AHEAD_S * RATE_HZ))
            levels.append(band_levels_db(press(one, key, TAKE_MS / 1000)))
        changed += difference_db(*levels) > LIMIT_DB
        held.connect([])
        held.run(round(rest_s * RATE_HZ))
        other = held.fork()
        pressed = press(held, key, PRESS_S + REST_S)
        froze += bool(np.array_equal(pressed, other.run(len(pressed))))
        press(toy, key, rest_s)
    return changed / STATES, froze / STATES


def swept(folder: Path, project: Project, sweep) -> dict[tuple[str, str], tuple[bool, bool]]:
    """Sweep and give, for each pair found, whether it bends and whether it freezes."""
    with SweepLog.create(folder / "sweeps" / "main", setup_facts(project),
                         setup_hash(project), {}) as log:
        sweep(log)
        told: dict[tuple[str, str], tuple[bool, bool]] = {}
        for one in finds(log.records()):  # a pair may have several sounds
            pair = one.pads_1, one.pads_2
            bends, _ = told.get(pair, (False, False))
            told[pair] = bends or one.sound != "none", one.stop == "freeze"
        return told


def compare(
    seed: int, kind: str, leads: str, habits: str, folder: Path
) -> tuple[Counter, float]:
    """Sweep one board by hand and by the rig; gives counts, and seconds that hands took."""
    shape = {"take_ms": TAKE_MS, "takes": TAKES, "kind": kind}
    by_hand = load_project(write_project(folder / "hand", seed, ON_THE_BOARD, leads, **shape))
    board = made(seed, kind, habits)
    hands = Hands(board, seed, PATH_OHM, (0.35, 0.7))
    bench = StandIn(hands)
    found = swept(by_hand.folder, by_hand, lambda log: SweepByHand(by_hand, bench, log).run())
    write_project(folder / "rig", seed, ON_THE_BOARD, leads, **shape)
    (folder / "rig" / "rig.yaml").write_text(RIG.format(
        lead=LEAD_OHM, series=PATH_OHM - 2 * LEAD_OHM, kind=kind, seed=seed,
        pads=ON_THE_BOARD, takes=TAKES, habits=f", habits: '{habits}'" if habits else ""))
    rigged = load_project(folder / "rig")
    by_rig = swept(
        rigged.folder, rigged, lambda log: Sweep(rigged, SimulatedBench(rigged), log).run()
    )
    counts: Counter = Counter()
    for pair in combinations(leads, 2):
        if touchable(by_hand, pair[:1], pair[1:], PATH_OHM):
            continue
        shares = truth(by_hand, seed, board, pair)
        hand, rig = found.get(pair, (False, False)), by_rig.get(pair, (False, False))
        counts["pairs"] += 1
        for n, what in enumerate(("bend", "freeze")):
            counts[f"{what}s"] += shares[n] >= 0.5
            counts[f"{what} found"] += hand[n] and shares[n] >= 0.5
            counts[f"{what} false"] += hand[n] and shares[n] == 0.0
            counts[f"{what} as rig"] += hand[n] == rig[n]
    return counts, bench.now_s()


def main() -> None:
    """Print a line for each board."""
    parser = argparse.ArgumentParser(description=__doc__)
    add_seeds(parser, "300-305")
    parser.add_argument("--kind", choices=list(KINDS), default="talker")
    parser.add_argument("--pads", type=int, default=7)
    parser.add_argument("--habits", default="", choices=["", *HABITS])
    asked = parser.parse_args()
    leads = "".join(letters(asked.pads))
    columns = ["pairs"] + [f"{what}{word}" for what in ("bend", "freeze")
                           for word in ("s", " found", " false", " as rig")]
    print("  seed " + " ".join(f"{name:>13}" for name in columns) + "  minutes by hand")
    total: Counter = Counter()
    for seed in asked.seeds:
        with tempfile.TemporaryDirectory() as folder:
            counts, seconds = compare(seed, asked.kind, leads, asked.habits, Path(folder))
        total += counts
        print(f"{seed:6} " + " ".join(f"{counts[name]:13}" for name in columns)
              + f"  {seconds / 60:15.1f}", flush=True)
    print(" total " + " ".join(f"{total[name]:13}" for name in columns))


if __name__ == "__main__":
    main()
