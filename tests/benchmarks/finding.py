"""How well bends are found on boards that nothing was tuned on.

    python tests/benchmarks/finding.py [--seeds 1000-1019] [--kinds talker,keyboard,sampler]
        [--room 25] [--pads 24] [--level 0.05] [--drivers real] [--jobs 2]

Sweeps each board as `padsweep sweep` does and compares what `padsweep export --finds` says with
the truth of the simulated circuit; prints a row a board and the sums. Seed by seed the kinds
take turns, and so do the levels of room noise (dB below the toy) where several are given. With
`--drivers real` the boards are the same ones with lines as strong as chips drive them: fewer pairs bend
over the rig's paths (`wire.py` says how many a wire would find besides).

A pair counts as a bend when its noise-free sound differs audibly in at least half of the
toy's states (`rig/bench/simulated/truth.py` states the limit: 3 dB over two windows). A find is
`luck` when fewer states show it, `small` when the sound does differ, by 0.5 dB or more, but less
than the limit, and `false` when it doesn't: then the toy does nothing but what it does anyway,
and it is those whose rate the sweep holds. A pair may have several sounds: it is found once, and is
`named` where the word of any of them is the truth's over some path. A toy that the noise drowns is refused; the sweep's reason stands in its row.

`dead` and `cut off` are touches: after each one a copy of the toy itself is asked whether it is
frozen. `dead` was frozen and taken as alive, `cut off` wasn't and was reset as frozen.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import csv
import io
import subprocess
import sys
import tempfile
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from seeds import add_seeds, taking_turns

from rig.bench.base import Timeline, Touch
from rig.bench.simulated.asking import is_frozen
from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.difference import LIMIT_DB
from rig.bench.simulated.folder import new_simulated_project
from rig.bench.simulated.truth import SHARE, Shown, Truth, facts
from rig.errors import RigError
from rig.listen.statistics import wilson_interval
from rig.log import Record, SweepLog
from rig.project import Project, load_project, setup_facts, setup_hash
from rig.sweep import Sweep

DIFFERS_DB = 0.5
COLUMNS = ("bends", "found", "named", "luck", "small", "false", "freezes", "called", "wrong", "cut off",
           "dead", "touches", "an hour")


@dataclass
class Board:
    """What a sweep of one board came to."""

    kind: str
    seed: int
    room_db: int
    count: dict[str, int] = field(default_factory=dict)
    refused: str = ""
    names: dict[str, str] = field(default_factory=dict)


def padsweep(*arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", "from rig.cli.main import run; run()", *arguments],
        check=False, capture_output=True, text=True,
    )
    if done.returncode:
        raise RuntimeError(done.stderr.strip())
    return done.stdout


class WitnessBench(SimulatedBench):
    """The simulated bench, which asks its toy after every touch of pads if it is frozen."""

    def __init__(self, project: Project):
        super().__init__(project)
        self.frozen: list[bool] = []
        self._made: Touch | None = None

    def begin(self, touch: Touch) -> None:
        """Start a touch, and keep in mind which."""
        self._made = touch
        super().begin(touch)

    def timeline(self) -> Timeline:
        """Give the timeline, and ask the toy."""
        if self._made.connections:
            key = self._made.stimulus.keys[0]
            self.frozen.append(is_frozen(self.toy, key, self.board.longest_phrase_s))
        return super().timeline()


def write_project(folder: Path, board: Board, pads: int, level: float,
                  habits: str | None = None, drivers: str | None = None) -> Project:
    """Write a board's project folder: its room, its level of false discoveries, its habits, drivers."""
    new_simulated_project(folder, board.seed, pads, board.kind, habits=habits, drivers=drivers)
    rig = folder / "rig.yaml"
    text = rig.read_text("utf-8").replace("room_db: 40", f"room_db: {board.room_db}")
    rig.write_text(f"{text}\nsweep:\n  false_discovery: {level}\n", "utf-8")
    return load_project(folder)


def run(project: Project, bench: SimulatedBench) -> str:
    """Sweep a project; gives why it was refused, or nothing."""
    try:
        with closing(SweepLog.create(project.folder / "sweeps" / "main", setup_facts(project),
                                     setup_hash(project), {})) as log:
            Sweep(project, bench, log).run()
    except RigError as refusal:
        return str(refusal)
    return ""


def compare(project: Project, frozen: list[bool]) -> tuple[dict[str, int], dict[str, str]]:
    """Hold what a sweep found against the truth.

    Parameters
    ----------
    project : Project
        After its sweep.
    frozen : list of bool
        What the toy itself said after each touch of pads.

    Returns
    -------
    count : dict of str to int
        By `COLUMNS`.
    names : dict of str to str
        The pairs, and leads alone, that differ, by what is wrong with them.
    """
    finds = list(csv.DictReader(io.StringIO(
        padsweep("export", "--project", str(project.folder), "--finds", "--format", "csv"))))
    played = Truth(project)
    alone = played.alone()
    shown: dict[tuple[str, ...], list[Shown]] = {
        **played.pairs(),
        **{(pad,): [alone[pad]] if pad in alone else [] for pad in played.board.letters},
    }
    with SweepLog.open(project.folder / "sweeps" / "main", read_only=True) as log:
        records = log.records()
    touching_us = sum(one.timeline.end_us for one in records)
    truth = {frozenset(pair): (facts(one), one) for pair, one in shown.items()}
    words: dict[frozenset[str], set[str]] = defaultdict(set)
    for one in finds:
        words[pads_of(one)].add(one["sound"])
    found = {pair for pair, told in words.items() if told != {"none"}}
    called = {pads_of(f) for f in finds if f["after"] == "freeze"}

    def share(pair, word):
        known = truth[pair][0]
        return known[word] if known else 0.0

    def worst_db(pair):
        return max((max(one.worst_db, default=0.0) for one in truth[pair][1]), default=0.0)

    def changes(pair):
        return {one.change for one in truth[pair][1]} - {""}

    def name(pair):
        return "-".join(sorted(pair))

    bends = {pair for pair in truth if share(pair, "bends") >= SHARE}
    freezes = {pair for pair in truth if share(pair, "freezes") >= SHARE}
    others = found - bends
    luck = {pair for pair in others if share(pair, "bends") > 0}
    small = {pair for pair in others - luck if worst_db(pair) >= DIFFERS_DB}
    false = others - luck - small
    named = {pair for pair in bends & found if words[pair] & changes(pair)}
    wrong = {pair for pair in called if share(pair, "freezes") == 0}
    count = (len(bends), len(bends & found), len(named), len(luck), len(small), len(false),
             len(freezes), len(freezes & called), len(wrong), *afterwards(records, frozen),
             len(records), round(3.6e9 * len(records) / max(1, touching_us)))
    listed = {"missed": bends - found, "small": small, "false": false, "wrong": wrong,
             "freezes missed": freezes - called}
    lines = {word: " ".join(sorted(map(name, pairs))) for word, pairs in listed.items() if pairs}
    lines["other word"] = " ".join(
        f"{name(pair)}:{'/'.join(sorted(changes(pair)))}>{'/'.join(sorted(words[pair]))}"
        for pair in sorted(bends & found - named, key=name)
    )
    return dict(zip(COLUMNS, count, strict=True)), lines


def pads_of(find: dict[str, str]) -> frozenset[str]:
    """Give the pads of a find: two, or one whose lead was alone."""
    return frozenset({find["pads_1"], find["pads_2"]} - {""})


def sweep(board: Board, pads: int, level: float, drivers: str | None = None) -> Board:
    with tempfile.TemporaryDirectory() as folder:
        project = write_project(Path(folder) / "toy", board, pads, level, drivers=drivers)
        bench = WitnessBench(project)
        if refused := run(project, bench):
            return replace(board, refused=refused)
        count, names = compare(project, bench.frozen)
    return replace(board, count=count, names=names)


def afterwards(records: list[Record], frozen: list[bool]) -> tuple[int, int]:
    """Count touches after which a living toy was reset, and those after which a frozen one wasn't."""
    bridged = [one for one in records if one.touch.connections]
    # a run that was cut short may have made a touch without writing it down
    told = [
        (one.after == "freeze", was) for one, was in zip(bridged, frozen, strict=False)
        if one.complete and not one.fault
    ]
    return (sum(called and not was for called, was in told),
            sum(was and not called for called, was in told))


def row(words, count) -> str:
    head = "".join(f"{word:>9}" for word in words)
    return head + "".join(f"{one:>9}" for one in count)


def sums(boards: list[Board], level: float) -> str:
    refused = sum(bool(one.refused) for one in boards)
    boards = [one for one in boards if not one.refused]
    total = {word: sum(one.count[word] for one in boards) for word in COLUMNS}
    finds = sum(total[word] for word in ("found", "luck", "small", "false"))
    low, high = wilson_interval(total["false"], finds)
    recall = wilson_interval(total["found"], total["bends"])
    return (
        f"{len(boards)} boards swept, {refused} refused: recall {total['found'] / max(1, total['bends']):.3f} "
        f"({recall[0]:.3f} to {recall[1]:.3f}) of differences above {LIMIT_DB:g} dB, "
        f"precision {total['found'] / max(1, finds):.3f}, named as the truth does "
        f"{total['named'] / max(1, total['found']):.3f}\n"
        f"false discoveries {total['false'] / max(1, finds):.4f} ({low:.4f} to {high:.4f}, 95 %), "
        f"held at {level:g}; freezes called {total['called']} of {total['freezes']}, wrongly "
        f"{total['wrong']}\n"
        f"alive but reset as frozen: {total['cut off']}; frozen but taken as alive: "
        f"{total['dead']}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add_seeds(parser, "1000-1019")
    parser.add_argument("--kinds", default="talker,keyboard,sampler")
    parser.add_argument("--room", default="25", help="dB below the toy: 40,25,15")
    parser.add_argument("--pads", type=int, default=24)
    parser.add_argument("--level", type=float, default=0.05, help="false discoveries held")
    parser.add_argument("--drivers", choices=["real"], help="lines as strong as chips drive them")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--names", action="store_true", help="name the pairs that differ")
    given = parser.parse_args()
    kinds, rooms = given.kinds.split(","), [int(one) for one in given.room.split(",")]
    boards = [
        Board(kind, seed, rooms[i // len(kinds) % len(rooms)])
        for i, (kind, seed) in enumerate(taking_turns(given.seeds, kinds))
    ]
    print(row(("kind", "seed", "room dB"), COLUMNS), flush=True)
    done = []
    with ProcessPoolExecutor(given.jobs) as pool:
        count = len(boards)
        for one in pool.map(sweep, boards, [given.pads] * count, [given.level] * count,
                            [given.drivers] * count):
            print(row((one.kind, one.seed, one.room_db), one.count.values()), one.refused, flush=True)
            if given.names:
                for word, pairs in one.names.items():
                    print(f"    {word}: {pairs}", flush=True)
            done.append(one)
    for room_db in rooms if len(rooms) > 1 else ():
        print(f"\n{room_db} dB: " + sums([b for b in done if b.room_db == room_db], given.level))
    print("\n" + sums(done, given.level))


if __name__ == "__main__":
    main()
