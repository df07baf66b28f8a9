"""How soon bends are found in other orders of search, played over the truth of simulated boards.

    python tests/benchmarks/search_order.py [--pads 24,48] [--seeds 7300-7309]
        [--kinds talker,keyboard,sampler] [--states 1] [--jobs 2]

Each seed gives a board of each kind. The orders:

    passes       all pairs over the highest resistance, then all over the next
    pairs        one pair after the other, each from high to low at once, in letters' order
    shuffled     the same in random order, the mean of five
    learned      the same, the next pair by what its pads have shown (rig/sweep/order.py)
    merged       as learned, one pair for all between the same two nets, none within one
    true first   as learned, pairs that bend before all others, which can't be had

A touch takes 2.2 s, bringing the toy back after a stop 4 s; a hit is touched three times more, and
is found then; nothing is touched below a stop. A pair bends where its noise-free sound differs over
any of its paths in at least half of the toy's states (`rig/bench/simulated/truth.py`). A family are
the pairs between the same two nets; it is found with its first pair. Merged by the board's own nets,
as if a survey had found all of them, a pair is found as the one that stands for it is, or at the very
end where that one shows nothing. Times stand as shares of the
passes' whole time, and as shares of the passes' own time to as much; the mean of all boards.
"""

from __future__ import annotations

import argparse
import math
import random
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import combinations, product
from pathlib import Path
from statistics import mean

sys.path.insert(0, str(Path(__file__).parents[1]))

from seeds import add_seeds

from rig.bench.simulated.folder import new_simulated_project
from rig.bench.simulated.truth import SHARE, Truth
from rig.project import touchable
from rig.sweep.order import likeliest
from rig.sweep.shown import ShownPads
from rig.sweep.steps import Step
from rig.touches import Target

TOUCH_S, RECOVERY_S, CONFIRMING = 2.2, 4.0, 3
SHUFFLES = 5
SHARES = (0.8, 0.95)

Pair = tuple[str, str]


@dataclass(frozen=True)
class Shows:
    """What a pair shows over each of its paths, from the highest resistance down.

    Parameters
    ----------
    pair : tuple of str
    nets : frozenset of int
        What it joins.
    touches : tuple of (bool, bool)
        Whether the sound differs, and whether the toy stops: then it is the last one.
    """

    pair: Pair
    nets: frozenset[int]
    touches: tuple[tuple[bool, bool], ...]

    @property
    def bends(self) -> bool:
        """Say whether it changes the sound over any path."""
        return any(differs for differs, _ in self.touches)

    @property
    def stops(self) -> bool:
        """Say whether it stops the toy over any path."""
        return any(stop for _, stop in self.touches)


def play(order: Iterable[tuple[Shows, int]]) -> tuple[dict[Pair, float], float]:
    """Make touches in an order that leaves out what lies below a stop.

    Returns
    -------
    found_s : dict
        When each pair that bends was found, s.
    whole_s : float
        How long it all took.
    """
    now_s, found_s = 0.0, {}
    for one, place in order:
        differs, stop = one.touches[place]
        now_s += TOUCH_S + RECOVERY_S * stop
        if differs:
            now_s += CONFIRMING * (TOUCH_S + RECOVERY_S * stop)
            found_s.setdefault(one.pair, now_s)
    return found_s, now_s


def passes(board: Sequence[Shows]) -> Iterator[tuple[Shows, int]]:
    """Touch all pairs over one resistance before the next."""
    most = max(len(one.touches) for one in board)
    for place in range(most):
        yield from ((one, place) for one in board if place < len(one.touches))


def at_once(board: Iterable[Shows]) -> Iterator[tuple[Shows, int]]:
    """Touch each pair from high to low before the next."""
    for one in board:
        yield from ((one, place) for place in range(len(one.touches)))


def learned(board: Sequence[Shows]) -> Iterator[tuple[Shows, int]]:
    """Touch each pair at once, next the one whose pads promise most."""
    due = {one.pair: one for one in board}
    shown = ShownPads()
    while due:
        steps = [Step("sweep", Target.pair(*pair, 0.0)) for pair in due]
        one = due.pop(likeliest(steps, shown).pads)
        yield from at_once([one])
        shown.take_in(one.pair, one.bends, one.stops)


def once_a_net(board: Sequence[Shows]) -> list[Shows]:
    """Give the first pair between each two nets."""
    first: dict[frozenset[int], Shows] = {}
    for one in board:
        if len(one.nets) > 1:
            first.setdefault(one.nets, one)
    return list(first.values())


def merged(board: Sequence[Shows]) -> Iterator[tuple[Shows, int]]:
    """Touch one pair for all between the same two nets, next the one whose pads promise most."""
    return learned(once_a_net(board))


def true_first(board: Sequence[Shows]) -> Iterator[tuple[Shows, int]]:
    """Touch the pairs that bend before all others."""
    return at_once(sorted(board, key=lambda one: not one.bends))


def shuffled(board: Sequence[Shows], chance: random.Random) -> Iterator[tuple[Shows, int]]:
    """Touch each pair at once, in random order."""
    return at_once(chance.sample(board, len(board)))


ORDERS: dict[str, Callable[[Sequence[Shows]], Iterator[tuple[Shows, int]]]] = {
    "passes": passes, "pairs": at_once, "learned": learned, "merged": merged, "true first": true_first,
}  # fmt: skip


def times_to(moments_s: Iterable[float]) -> list[float]:
    """Give when each of `SHARES` of all is there, s."""
    ascending = sorted(moments_s)
    return [ascending[math.ceil(share * len(ascending)) - 1] for share in SHARES]


def told(board: Sequence[Shows], order: Iterable[tuple[Shows, int]]) -> list[float]:
    """Give the times to `SHARES` of the bends, then of the families, and of all, s."""
    found_s, whole_s = play(order)
    by_nets = {one.nets: found_s[one.pair] for one in reversed(board) if one.pair in found_s}
    for one in board:
        if one.bends:
            found_s.setdefault(one.pair, by_nets.get(one.nets, whole_s))
    families: dict[frozenset[int], float] = {}
    for one in board:
        if one.bends:
            moment_s = found_s[one.pair]
            families[one.nets] = min(moment_s, families.get(one.nets, moment_s))
    return [*times_to(found_s.values()), *times_to(families.values()), whole_s]


def board_of(kind: str, seed: int, pads: int, states: int) -> list[Shows]:
    """Give what every pair of an invented board that may be touched shows, in letters' order."""
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(folder + "/toy", seed, pads, kind)
        known = Truth(project, states=states)
        pairs, net_of = known.pairs(), known.board.net_of
    series = sorted(set(project.rig.swept_ohm), reverse=True)
    found = []
    for one, other in combinations(project.toy.pads, 2):
        allowed = [s for s in series if touchable(project, (one,), (other,), s) is None]
        shown = {s.series_ohm: s for s in pairs[one, other]}
        touches = []
        for series_ohm in allowed:
            what = shown.get(series_ohm)
            stop = what is not None and what.freezes + what.guarded > 0
            touches.append((what is not None and what.differs >= SHARE, stop))
            if stop:
                break
        if touches:
            found.append(Shows((one, other), frozenset((net_of[one], net_of[other])), tuple(touches)))
    return found


def searched(kind: str, seed: int, pads: int, states: int) -> tuple[int, dict[str, list[float]]]:
    """Give how many pairs of a board bend, and what each order comes to."""
    board = board_of(kind, seed, pads, states)
    bends = sum(one.bends for one in board)
    if not bends:
        return 0, {}
    times = {name: told(board, order(board)) for name, order in ORDERS.items()}
    chance = random.Random(seed)
    several = [told(board, shuffled(board, chance)) for _ in range(SHUFFLES)]
    times["shuffled"] = [mean(one) for one in zip(*several, strict=True)]
    return bends, times


def table(boards: Sequence[dict[str, list[float]]]) -> str:
    """Show the mean shares of all boards, a row for each order."""
    heads = [f"{what} {share:.0%}" for what in ("bends", "families") for share in SHARES]
    width = 14 * len(heads)
    of = ("share of all the time of the passes", "share of their time to as much")
    lines = [" " * 11 + "".join(f"{words:>{width}}" for words in of),
             " " * 11 + 2 * "".join(f"{head:>14}" for head in heads)]
    for name in ("passes", "pairs", "shuffled", "learned", "merged", "true first"):
        shares = [mean(one[name][i] / one["passes"][i if own else -1] for one in boards)
                  for own in (False, True) for i in range(len(heads))]  # fmt: skip
        lines.append(f"{name:11}" + "".join(f"{share:>14.0%}" for share in shares))
    return "\n".join(lines)


def main() -> None:
    """Print a table for each number of pads."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pads", default="24,48", help="numbers of pads (24,48)")
    add_seeds(parser, "7300-7309")
    parser.add_argument("--kinds", default="talker,keyboard,sampler")
    parser.add_argument("--states", type=int, default=1, help="states of each toy (1)")
    parser.add_argument("--jobs", type=int, default=2)
    given = parser.parse_args()
    kinds = given.kinds.split(",")
    for pads in map(int, given.pads.split(",")):
        asked = list(product(kinds, given.seeds))
        with ProcessPoolExecutor(given.jobs) as pool:
            columns = [*zip(*asked, strict=True), [pads] * len(asked), [given.states] * len(asked)]
            done = list(pool.map(searched, *columns))
        boards = [times for _, times in done if times]
        pairs = math.comb(pads, 2)
        print(f"{pads} pads\n{table(boards)}")
        print(
            f"measured on {len(boards)} simulated boards ({', '.join(kinds)}; {len(asked) - len(boards)} "
            f"more have no bend), {mean(bends for bends, _ in done) / pairs:.0%} of whose pairs bend\n"
            "not covered: each touch tells the truth here; a real one may miss a bend, or hear one "
            "where there is none\n",
            flush=True,
        )


if __name__ == "__main__":
    main()
