"""What bridging does on many invented boards: how often it bends, freezes, trips, does nothing.

    python tests/benchmarks/boards.py [--seeds 1000-1199] [--pads 24]
        [--kinds talker,keyboard,sampler] [--states 1] [--jobs 2] [--each]

Seed by seed the kinds take turns. Counted are pairs of pads, by the truth of each
board over the paths and the key that a sweep uses; pairs of one net count among those that do
nothing. A pair counts for what at least half of the tried states of the toy show. Prints a row a kind and
the sums, and the boards without a bend or with more than 40 % of the pairs bent.
"""

import argparse
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from seeds import add_seeds, taking_turns

from rig.bench.simulated.board import KINDS
from rig.bench.simulated.folder import new_simulated_project
from rig.bench.simulated.truth import SHARE, Truth, facts

MOST = 0.4
COLUMNS = (
    "pairs", "bends", "freezes", "guarded", "browns_out", "runs_on", "nothing",
)  # fmt: skip
CHANGES = ("cut", "loop", "drone", "pitch", "timbre", "level", "blip")


def board(kind: str, seed: int, pads: int, states: int) -> tuple[str, int, Counter]:
    """Count what the pairs of one board do."""
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(folder + "/toy", seed, pads, kind)
    count: Counter = Counter()
    for shown in Truth(project, states=states).pairs().values():
        count["pairs"] += 1
        found = facts(shown)
        shows = [w for w in COLUMNS[1:-1] if found and found[w] >= SHARE]
        count.update(shows or ["nothing"])
        if "bends" in shows:
            count[found["change"]] += 1
    return kind, seed, count


def share(count: Counter, word: str) -> float:
    return count[word] / max(1, count["pairs"])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add_seeds(parser, "1000-1199")
    parser.add_argument("--pads", type=int, default=24)
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--states", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--each", action="store_true", help="print a line for each board")
    given = parser.parse_args()
    kinds = given.kinds.split(",")
    asked = taking_turns(given.seeds, kinds)
    begun = time.perf_counter()
    sums: dict[str, Counter] = {kind: Counter() for kind in kinds}
    odd: list[str] = []
    with ProcessPoolExecutor(given.jobs) as pool:
        made = [pool.submit(board, *one, given.pads, given.states) for one in asked]
        for done in as_completed(made):
            kind, seed, count = done.result()
            bent = share(count, "bends")
            sums[kind].update(count)
            sums[kind]["boards"] += 1
            for word in COLUMNS[1:-1]:
                sums[kind][f"boards {word}"] += count[word] > 0
            sums[kind]["most"] = max(sums[kind]["most"], round(1000 * bent))
            if not 0 < bent <= MOST:
                odd.append(f"{kind} {seed}: {100 * bent:.1f} % bend")
            if given.each:
                said = " ".join(f"{w} {count[w]}" for w in (*COLUMNS[1:-1], *CHANGES) if count[w])
                print(f"{kind} {seed}: {100 * bent:.1f} % bend; {said}", flush=True)
    print(f"{'kind':>10}  boards" + "".join(f"  {c.replace('_', ' '):>10}" for c in COLUMNS))
    whole = sum(sums.values(), Counter())
    for kind, count in [*sums.items(), ("all", whole)]:
        cells = [f"{count['pairs']:>10}"]
        cells += [f"{100 * share(count, w):>8.2f} %" for w in COLUMNS[1:]]
        print(f"{kind:>10}  {count['boards']:>6}  " + "  ".join(cells))
    for kind, count in sums.items():
        said = ", ".join(f"{w.replace('_', ' ')} {count[f'boards {w}']}" for w in COLUMNS[1:-1])
        ways = ", ".join(f"{w} {count[w]}" for w in CHANGES if count[w])
        print(f"{kind}: boards with any: {said}; at most {count['most'] / 10:.1f} % of one "
              f"board's pairs bend; in what way: {ways}")
    print("without a bend, or with too many: " + ("; ".join(sorted(odd)) or "none"))
    print(f"{len(asked)} boards of {given.pads} pads in {time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()
