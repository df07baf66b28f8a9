"""Whether bends of one electrical cause come out close, and in one family.

    python tests/benchmarks/families.py [--seeds 3000-3008] [--kinds talker,keyboard,sampler]
        [--pads 14] [--room 25] [--jobs 1] [--keep FOLDER]

Each board is swept through the installed command. Two finds have the same cause when their pads
lie on the same two nets, which only the simulation knows; two touches when they are the first and
a confirming one of a pair over one path. Each is held against all others of the board that were
found on other nets: the area under the curve is the share of such couples in which the same
cause is closer. `together` are couples of finds of one cause in one family. `pure` is the share of
finds whose cause is the commonest of their family, and `one word` of those with its commonest word.

Other causes may sound alike too: silence is silence, wherever it comes from. Couples of finds are
`alike` when their noise-free sounds, over the paths that both were heard over, differ by no more
than the truth's limit in at least half of the toy's states; `and as one` of these are in one
family, and `as one` are all couples of other causes that are in one family.
"""

import argparse
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from itertools import combinations
from pathlib import Path

import numpy as np
from scipy.stats import mannwhitneyu
from swept import Asked, add_options, asked, swept

from rig.bench.simulated.difference import LIMIT_DB, difference_db
from rig.bench.simulated.truth import SHARE, Truth
from rig.choose import finds
from rig.choose.families import distances, touch_distances
from rig.log import Record, SweepLog
from rig.project import load_project

COLUMNS = ("finds", "causes", "families", "couples", "together", "pure", "one word", "alike",
           "and as one", "as one")


class Sounds:
    """What the finds of a board really sound like.

    Parameters
    ----------
    truth : Truth
    touches : list of list of Record
        Of each find.
    causes : list of frozenset of int
        The two nets of each find.
    """

    def __init__(self, truth: Truth, touches: list[list[Record]], causes: list[frozenset]):
        self._truth = truth
        self._touches = touches
        self._causes = causes
        self._known: dict[tuple[frozenset, float], list[np.ndarray]] = {}

    def alike(self, i: int, j: int) -> bool:
        """Say whether two finds sound alike over the paths that both were heard over."""
        mine, theirs = ({t.path_ohm for t in self._touches[one]} for one in (i, j))
        near = [
            difference_db(*levels) <= LIMIT_DB
            for path_ohm in mine & theirs
            for levels in zip(self._levels(i, path_ohm), self._levels(j, path_ohm), strict=True)
        ]
        return bool(near) and float(np.mean(near)) >= SHARE

    def _levels(self, index: int, path_ohm: float) -> list[np.ndarray]:
        key = self._causes[index], path_ohm
        if key not in self._known:
            one = next(t for t in self._touches[index] if t.path_ohm == path_ohm)
            series_ohm = one.touch.connections[0].series_ohm
            self._known[key] = self._truth.levels_db(one.pads_1, one.pads_2, series_ohm)
        return self._known[key]


def told(board: Asked, keep: Path | None):
    """Give a board's counts, and the distances of couples with the same cause and another."""
    apart: dict[tuple[str, bool], list[float]] = defaultdict(list)
    try:
        with swept(board, keep) as toy:
            project = load_project(toy)
            with SweepLog.open(toy / "sweeps" / "main", read_only=True) as log:
                records = {one.number: one for one in log.records()}
    except RuntimeError as refusal:
        print(f"{board}: {refusal}", flush=True)
        return board, None, apart
    truth = Truth(project)
    net_of = truth.board.net_of
    found = [one for one in finds(records.values()) if one.sound != "none" and not one.is_lone]
    causes = [frozenset((net_of[one.pads_1], net_of[one.pads_2])) for one in found]
    between = distances([[records[n] for n in one.touches] for one in found])
    count = Counter(finds=len(found), causes=len(set(causes)))
    members = defaultdict(list)
    for one, cause in zip(found, causes, strict=True):
        members[one.family].append((cause, one.sound))
    count["families"] = len(members)
    sounds = Sounds(truth, [[records[n] for n in one.touches] for one in found], causes)
    for mine in members.values():
        count["pure"] += Counter(cause for cause, _ in mine).most_common(1)[0][1]
        count["one word"] += Counter(word for _, word in mine).most_common(1)[0][1]
    for i, j in combinations(range(len(found)), 2):
        if found[i].pair == found[j].pair:
            continue  # two sounds of one pair: one cause, and never one family
        same = causes[i] == causes[j]
        together = found[i].family == found[j].family
        apart["finds", same].append(float(between[i, j]))
        count.update({"couples": same, "together": same and together})
        if not same:
            alike = sounds.alike(i, j)
            count.update({"alike": alike, "and as one": alike and together, "as one": together})
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
    cells = "".join(f"{count[word]:>11}" for word in COLUMNS)
    for what in ("finds", "touches"):
        cells += f"{auc(apart[what, True], apart[what, False]):>11.3f}"
    return f"{name:14}{cells}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add_options(parser, "3000-3008", 14)
    given = parser.parse_args()
    boards = asked(given)
    print(" " * 14 + "".join(f"{word:>11}" for word in (*COLUMNS, "auc", "of touch")))
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
        f"of one cause; {total['and as one']} of {total['as one']} couples of other causes in one "
        f"family sound alike, and of {total['alike']} that do\npure {total['pure'] / of:.3f}, one word {total['one word'] / of:.3f} of "
        f"{total['finds']} finds\nmedian distance: one cause "
        f"{np.median(every['finds', True] or [np.nan]):.3f}, others "
        f"{np.median(every['finds', False] or [np.nan]):.3f}; touch again "
        f"{np.median(every['touches', True] or [np.nan]):.3f}, others "
        f"{np.median(every['touches', False] or [np.nan]):.3f}"
    )


if __name__ == "__main__":
    main()
