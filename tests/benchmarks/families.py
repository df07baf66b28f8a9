"""Whether bends of one electrical cause come out close, and in one family.

    python tests/benchmarks/families.py [--seeds 3000-3008] [--kinds talker,keyboard,sampler]
        [--pads 14] [--room 25] [--jobs 1] [--keep FOLDER]

Each board is swept through the installed command. Two finds have the same cause when their pads
lie on the same two nets, which only the simulation knows; two touches when they are the first and
a confirming one of a pair over one path. Each is held against all others of the board that were
found on other nets: the area under the curve is the share of such couples in which the same
cause is closer. Others may sound alike too (silence is silence, wherever it comes from), so the
share can't be 1, and families are larger than causes. `together` are couples of finds of one
cause in one family. `pure` is the share of finds whose cause is the commonest of their family, and
`one word` of those with its commonest word.
"""

import argparse
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from itertools import combinations
from pathlib import Path

import numpy as np
from scipy.stats import mannwhitneyu
from swept import Asked, add_options, asked, swept

from rig.bench.simulated.folder import project_board
from rig.choose import finds
from rig.choose.families import distances, touch_distances
from rig.log import SweepLog
from rig.project import load_project

COLUMNS = ("finds", "causes", "families", "couples", "together", "pure", "one word", "others")


def told(board: Asked, keep: Path | None):
    """Give a board's counts, and the distances of couples with the same cause and another."""
    apart: dict[tuple[str, bool], list[float]] = defaultdict(list)
    try:
        with swept(board, keep) as toy:
            net_of = project_board(load_project(toy)).net_of
            with SweepLog.open(toy / "sweeps" / "main", read_only=True) as log:
                records = {one.number: one for one in log.records()}
    except RuntimeError as refusal:
        print(f"{board}: {refusal}", flush=True)
        return board, None, apart
    found = [one for one in finds(records.values()) if one.sound != "none"]
    causes = [frozenset((net_of[one.pads_1], net_of[one.pads_2])) for one in found]
    between = distances([[records[n] for n in one.touches] for one in found])
    count = Counter(finds=len(found), causes=len(set(causes)))
    members = defaultdict(list)
    for one, cause in zip(found, causes, strict=True):
        members[one.family].append((cause, one.sound))
    count["families"] = len(members)
    for mine in members.values():
        count["pure"] += Counter(cause for cause, _ in mine).most_common(1)[0][1]
        count["one word"] += Counter(word for _, word in mine).most_common(1)[0][1]
    for i, j in combinations(range(len(found)), 2):
        same = causes[i] == causes[j]
        together = found[i].family == found[j].family
        apart["finds", same].append(float(between[i, j]))
        count.update(couples=same, together=same and together, others=together and not same)
    shown = [(records[n], causes[i]) for i, one in enumerate(found) for n in one.touches]
    if shown:
        between = touch_distances([one for one, _ in shown])
    for (i, (one, cause)), (j, (other, others)) in combinations(enumerate(shown), 2):
        again = (one.pads_1, one.pads_2, one.path_ohm, one.key) == (
            other.pads_1, other.pads_2, other.path_ohm, other.key)
        if again or cause != others:
            apart["touches", again].append(float(between[i, j]))
    return board, count, apart


def auc(same: list[float], other: list[float]) -> float:
    """Give the share of couples (one of each) in which the same cause is closer."""
    if not same or not other:
        return float("nan")
    return 1.0 - mannwhitneyu(same, other).statistic / (len(same) * len(other))


def line(name: str, count: Counter, apart) -> str:
    cells = "".join(f"{count[word]:>9}" for word in COLUMNS)
    for what in ("finds", "touches"):
        cells += f"{auc(apart[what, True], apart[what, False]):>9.3f}"
    return f"{name:14}{cells}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add_options(parser, "3000-3008", 14)
    given = parser.parse_args()
    boards = asked(given)
    print(" " * 14 + "".join(f"{word:>9}" for word in (*COLUMNS, "auc", "of touch")))
    total, every = Counter(), defaultdict(list)
    with ProcessPoolExecutor(given.jobs) as pool:
        for board, count, apart in pool.map(told, boards, [given.keep] * len(boards)):
            if count is None:
                continue
            print(line(str(board), count, apart), flush=True)
            total += count
            for key, values in apart.items():
                every[key] += values
    print(line("all", total, every))
    of = max(1, total["finds"])
    print(
        f"together {total['together'] / max(1, total['couples']):.3f} of {total['couples']} couples "
        f"of one cause; pure {total['pure'] / of:.3f}, one word {total['one word'] / of:.3f} of "
        f"{total['finds']} finds\nmedian distance: one cause "
        f"{np.median(every['finds', True] or [np.nan]):.3f}, others "
        f"{np.median(every['finds', False] or [np.nan]):.3f}; touch again "
        f"{np.median(every['touches', True] or [np.nan]):.3f}, others "
        f"{np.median(every['touches', False] or [np.nan]):.3f}"
    )


if __name__ == "__main__":
    main()
