"""What habits of toys do to a sweep: each one beside the same board without it.

    python tests/benchmarks/habits.py [--seeds 500-501] [--kinds talker,keyboard,sampler]
        [--pads 12] [--habits "late 300,misses"] [--room 25] [--jobs 2] [--each]

Sweeps a board of each kind and seed as it is, then with each of the habits that
`rig/bench/simulated/habit_sets.py` names (and `real`, which draws them), and holds what was found
against the truth of the very toy, as `finding.py` does. Prints a row a habit, summed over the
boards: how many of the bends were found without it and with it, finds that are false whatever
their cause, freezes that were missed or called wrongly, touches after which a living toy was reset
as frozen (`cut off`) or a frozen one taken as alive (`dead`), how the sweeps ended, and the toy's
time as a multiple of that of the boards without it. A sweep that takes more than `LIMIT` times
the time of the plain board is cut off: "no end". What was found up to a refusal counts.

It never passes or fails. It measures no room but a line with white noise, and no toy but invented
ones: the habits' sizes are our choice.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from finding import COLUMNS, Board, WitnessBench, compare, run, write_project
from seeds import add_seeds

from rig.bench.base import Touch
from rig.bench.simulated.habit_sets import HABITS, REAL
from rig.project import Project

LIMIT = 6.0
LEVEL = 0.05
DONE, NO_END = "done", "no end"
HEAD = ("boards", "bends", "found", "(plain)", "false", "(plain)", "freezes", "missed", "wrong",
        "(plain)", "cut off", "dead", DONE, "refused", NO_END, "time")  # fmt: skip


class NoEndError(Exception):
    """The sweep takes too long."""


class LimitedBench(WitnessBench):
    """A bench that ends a sweep which takes longer than its limit, s."""

    def __init__(self, project: Project, limit_s: float):
        super().__init__(project)
        self._limit_s = limit_s

    def begin(self, touch: Touch) -> None:
        """Start a touch, if there is time left."""
        self._look_at_the_time()
        super().begin(touch)

    def wait(self, seconds: float) -> None:
        """Let time pass, if there is some left."""
        self._look_at_the_time()
        super().wait(seconds)

    def _look_at_the_time(self) -> None:
        if self.now_s() > self._limit_s:
            raise NoEndError


@dataclass
class Swept:
    """What the sweep of one board with one habit came to.

    Parameters
    ----------
    board : Board
        Its kind, seed and room; its counts and the pairs that differ, after the sweep.
    habit : str or None
    ended : str
        `DONE`, `NO_END`, or the words of the refusal.
    toy_s : float
        The toy's time.
    """

    board: Board
    habit: str | None
    ended: str = DONE
    toy_s: float = 0.0
    count: dict[str, int] = field(default_factory=lambda: dict.fromkeys(COLUMNS, 0))


def sweep(board: Board, habit: str | None, pads: int, limit_s: float) -> Swept:
    """Sweep a board with a habit, for a limited time."""
    with tempfile.TemporaryDirectory() as folder:
        project = write_project(Path(folder) / "toy", board, pads, LEVEL, habit)
        bench = LimitedBench(project, limit_s)
        try:
            ended = run(project, bench) or DONE
        except NoEndError:
            ended = NO_END
        done = Swept(board, habit, ended, bench.now_s())
        done.count, board.names = compare(project, bench.frozen)
    return done


def row(habit: str, swept: list[Swept], plain: list[Swept]) -> str:
    """Sum up the sweeps with one habit, beside those of the same boards without it."""
    now, before = (
        Counter({word: sum(one.count[word] for one in part) for word in COLUMNS})
        for part in (swept, plain)
    )
    ends = Counter(one.ended if one.ended in (DONE, NO_END) else "refused" for one in swept)
    times = sum(one.toy_s for one in swept) / sum(one.toy_s for one in plain)
    cells = (
        len(swept), now["bends"], f"{now['found'] / max(1, now['bends']):.3f}",
        f"{before['found'] / max(1, before['bends']):.3f}", now["false"], before["false"],
        now["freezes"], now["freezes"] - now["called"], now["wrong"], before["wrong"],
        now["cut off"], now["dead"], ends[DONE], ends["refused"], ends[NO_END], f"{times:.2f}",
    )  # fmt: skip
    return f"{habit:<24}" + "".join(f"{cell:>9}" for cell in cells)


def told(swept: list[Swept], each: bool) -> list[str]:
    """Give the refusals' words, and of each board what differs where that was asked for."""
    refused = Counter(one.ended for one in swept if one.ended not in (DONE, NO_END))
    lines = [f"    {count} x {words}" for words, count in refused.most_common()]
    for one in swept if each else ():
        lines.append(f"    {one.board.kind} {one.board.seed}: {one.toy_s:,.0f} s, {one.ended[:60]}")
        lines += [f"        {word}: {pairs}" for word, pairs in one.board.names.items() if pairs]
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add_seeds(parser, "500-501")
    parser.add_argument("--kinds", default="talker,keyboard,sampler")
    parser.add_argument("--pads", type=int, default=12)
    parser.add_argument("--room", type=int, default=25, help="noise, dB below the toy")
    parser.add_argument("--habits", default=",".join((*HABITS, REAL)), help="names, with commas")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--each", action="store_true", help="say of each board what differs")
    given = parser.parse_args()
    names = given.habits.split(",")
    if unknown := [name for name in names if name not in (*HABITS, REAL)]:
        parser.error(f"no habits {unknown[0]!r}; there are {', '.join((*HABITS, REAL))}")
    kinds = given.kinds.split(",")
    boards = [Board(kind, seed, given.room) for seed in given.seeds for kind in kinds]
    print(f"{'habit':<24}" + "".join(f"{word:>9}" for word in HEAD), flush=True)
    with ProcessPoolExecutor(given.jobs) as pool:
        plain = list(pool.map(sweep, boards, [None] * len(boards), [given.pads] * len(boards),
                              [float("inf")] * len(boards)))  # fmt: skip
        print(row("none", plain, plain), *told(plain, given.each), sep="\n", flush=True)
        asked = {}
        for name in names:
            for number, (board, before) in enumerate(zip(boards, plain, strict=True)):
                limit_s = LIMIT * before.toy_s
                asked[pool.submit(sweep, board, name, given.pads, limit_s)] = name, number
        done: dict[str, dict[int, Swept]] = {name: {} for name in names}
        for future in as_completed(asked):
            name, number = asked[future]
            done[name][number] = future.result()
            if len(done[name]) == len(boards):
                swept = [done[name][i] for i in range(len(boards))]
                print(row(name, swept, plain), *told(swept, given.each), sep="\n", flush=True)


if __name__ == "__main__":
    main()
