"""What a wire finds on boards with real drivers, and how much of it weaker paths find.

    python tests/benchmarks/wire.py [--seeds 3000-3019] [--kinds talker,keyboard,sampler]
        [--pads 24] [--states 2] [--jobs 1] [--plain] [--each] [--sweep] [--room 25]

A person bridges pads with a wire, the rig over two leads and a series value. Each pair, the two
rails' own left out, is touched over 1 ohm on the toy's cells. Of those that bend then (the truth of
`rig/bench/simulated/truth.py`, in at least half of the states; cuts count too) it says in per cent
how many bend over other paths, by how strongly the two nets are driven (`drive_class.py`): over the
rig's own gentle ladder (`rig`), over this ladder continued down to 3,000, 1,000, 470, 220 and 100 ohm
(a touch that freezes ends it, as in a sweep), and over the ladder followed by a limiter: 65 ohm that
pass 6.7, 8.9 or 10.2 mA at most. The limiter is in the circuit itself, as a resistor up to its limit
and a source of that current beyond (`bridged.py`). Below stand, path by path, how many of the pairs
froze there, and the highest current through it, by the circuit's solution for all states of the two
drivers at the nominal supply.

The first table counts every change, the second leaves out what a wire merely silences or makes
quieter or louder. `--plain` takes the boards as their seeds give them, with their weak lines.
`--sweep` sweeps each board over the gentle ladder as `finding.py` does and says how many of the wire's
and of the ladder's bends were found. It never passes or fails. It measures no toy but invented ones,
whose drivers are those of data sheets from memory.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import csv
import io
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import combinations
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import finding
from seeds import add_seeds

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.drive_class import ORDER, RAIL, WEAK, pair_class, worst_ma
from rig.bench.simulated.drivers import REAL, on_rail
from rig.bench.simulated.folder import project_board
from rig.bench.simulated.limiter import Limited
from rig.bench.simulated.parts import Board
from rig.bench.simulated.truth import SHARE, Shown, Truth
from rig.project import Project, path_ohm, touchable

WIRE_OHM = 1.0
LOW_OHM = 3000.0, 1000.0, 470.0, 220.0, 100.0
LIMITER_OHM = 65.0
LIMITS_MA = 6.7, 8.9, 10.2
PATHS = ("gentle", *(f"{ohm:g}" for ohm in LOW_OHM), *(f"{ma:g}mA" for ma in LIMITS_MA))
WIRE = "wire"
DULL = {"cut", "level"}
LABEL = 18


@dataclass
class Pair:
    """A pair that bends over a wire.

    Parameters
    ----------
    classes : (str, str)
        Of its two nets, the stronger first.
    change : str
        What the wire does to the sound.
    bends, alike, freezes : set of str
        Paths of `PATHS` over which it bends, does so in the wire's word, freezes; `WIRE` too.
    wire_ma : float
        The highest current through the wire.
    found : bool
        Whether a sweep found it.
    """

    pads: tuple[str, str]
    classes: tuple[str, str]
    change: str
    bends: set[str] = field(default_factory=set)
    alike: set[str] = field(default_factory=set)
    freezes: set[str] = field(default_factory=set)
    wire_ma: float = 0.0
    found: bool = False


@dataclass
class Told:
    """What one board came to: its pairs, highest currents by path, and the time it took."""

    kind: str
    seed: int
    pairs: list[Pair]
    most_ma: dict[str, float]
    tried: int
    gentle_only: int
    cpu_s: float
    refused: str = ""


def wire(pad: str, other: str, ohm: float, limit_a: float | None = None) -> Link:
    return Link((pad,), (other,), 0.0, ohm, 0.0, limit_a)


def is_bend(shown: list[Shown]) -> bool:
    return any(one.differs >= SHARE for one in shown)


def board(kind: str, seed: int, given: argparse.Namespace) -> Told:
    """Touch every pair of a board over every path."""
    begun = time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        asked = finding.Board(kind, seed, given.room)
        project = finding.write_project(Path(folder) / "toy", asked, given.pads, 0.05,
                                        drivers=None if given.plain else REAL)
        played = project_board(project)
        if given.plain:
            played = on_rail(played, played.nets, 1.0)  # a limiter needs volts
        told = Told(kind, seed, [], dict.fromkeys((*PATHS, WIRE), 0.0), 0, 0, 0.0)
        touch_pairs(project, played, given.states, told)
        if given.sweep:
            told.refused = finding.run(project, SimulatedBench(project))
            mark_found(project, told)
    told.cpu_s = time.process_time() - begun
    return told


def touch_pairs(project: Project, played: Board, states: int, told: Told) -> None:
    rig_truth = Truth(project, played, states)
    by_hand = Truth(project, played, states, guard=False)
    rails = {played.roles["vcc"], played.roles["gnd"]}
    known: dict[tuple[int, int], Pair | None] = {}
    for pad, other in combinations(played.letters, 2):
        nets = tuple(sorted((played.net_of[pad], played.net_of[other])))
        if nets[0] == nets[1] or set(nets) == rails:
            continue
        told.tried += 1
        if nets not in known:
            known[nets] = one_pair(rig_truth, by_hand, (pad, other), nets, told)
        pair = known[nets]
        if pair is not None:
            told.pairs.append(replace(pair, pads=(pad, other)))


def one_pair(
    rig_truth: Truth, by_hand: Truth, pads: tuple[str, str], nets: tuple[int, int], told: Told
) -> Pair | None:
    """Touch two nets over a wire, and where that bends over all other paths."""
    project, played = rig_truth.project, rig_truth.board
    gentle = [
        rig_truth.link(*pads, series_ohm)
        for series_ohm in sorted(set(project.rig.swept_ohm), reverse=True)
        if touchable(project, pads[:1], pads[1:], series_ohm) is None
    ]
    least_ohm = min((path_ohm(project.rig, one.series_ohm) for one in gentle), default=float("inf"))
    wired = list(by_hand.over(*pads, [wire(*pads, WIRE_OHM)]))
    if not is_bend(wired):
        told.gentle_only += is_bend(list(rig_truth.over(*pads, gentle)))
        return None
    pair = Pair(pads, pair_class(played, *nets), wired[0].change)
    if wired[0].freezes >= SHARE:
        pair.freezes.add(WIRE)
    low = [wire(*pads, ohm) for ohm in LOW_OHM if ohm < least_ohm]
    went = list(rig_truth.over(*pads, gentle + low))
    upper, lower = went[: len(gentle)], went[len(gentle):]
    note(pair, "gentle", upper)
    bends, alike = "gentle" in pair.bends, "gentle" in pair.alike
    by_ohm = {one.path_ohm: one for one in lower}
    for ohm in LOW_OHM:
        note(pair, f"{ohm:g}", [by_ohm[ohm]] if ohm in by_ohm else [])
        keep(pair, f"{ohm:g}", bends, alike)
        bends, alike = f"{ohm:g}" in pair.bends, f"{ohm:g}" in pair.alike
    for ma in LIMITS_MA:
        path = f"{ma:g}mA"
        if "gentle" not in pair.freezes:
            note(pair, path, list(rig_truth.over(*pads, [wire(*pads, LIMITER_OHM, ma / 1000)])))
        keep(pair, path, "gentle" in pair.bends, "gentle" in pair.alike)
    ohms = {"gentle": least_ohm, WIRE: WIRE_OHM, **{f"{ohm:g}": ohm for ohm in LOW_OHM},
            **{f"{ma:g}mA": Limited(LIMITER_OHM, ma / 1000) for ma in LIMITS_MA}}  # fmt: skip
    for path, ohm in ohms.items():
        if ohm < float("inf"):
            told.most_ma[path] = max(told.most_ma[path], worst_ma(played, *nets, ohm))
    pair.wire_ma = worst_ma(played, *nets, WIRE_OHM)
    return pair


def note(pair: Pair, path: str, shown: list[Shown]) -> None:
    """Write down what was heard over a path."""
    if is_bend(shown):
        pair.bends.add(path)
    if any(one.differs >= SHARE and one.change == pair.change for one in shown):
        pair.alike.add(path)
    if any(one.freezes >= SHARE or one.guarded >= SHARE for one in shown):
        pair.freezes.add(path)


def keep(pair: Pair, path: str, bends: bool, alike: bool) -> None:
    """Count what higher paths of the same ladder have found already."""
    if bends:
        pair.bends.add(path)
    if alike:
        pair.alike.add(path)


def mark_found(project: Project, told: Told) -> None:
    finds = csv.DictReader(io.StringIO(finding.padsweep(
        "export", "--project", str(project.folder), "--finds", "--format", "csv")))
    found = {finding.pads_of(one) for one in finds if one["sound"] != "none"}
    for pair in told.pairs:
        pair.found = frozenset(pair.pads) in found


def row(label: str, cells) -> str:
    return f"{label:<{LABEL}}" + "".join(f"{cell:>6}" for cell in cells)


def head() -> list[str]:
    """Give the heads of the columns: ohms of a path, then milliamperes of a limiter."""
    units = ("", "", *("ohm" for _ in LOW_OHM), *("mA" for _ in LIMITS_MA))
    names = (WIRE, *(path.removesuffix("mA").replace("gentle", "rig") for path in PATHS))
    return [row("", units), row("stronger, weaker", names)]


def table(pairs: list[Pair]) -> list[str]:
    """Give the shares by class, and their sums."""
    lines = head()
    classes = [(one, two) for i, one in enumerate(ORDER) for two in ORDER[i:]]
    groups = [(" ".join((one + ",", two)), lambda p, c=(one, two): p.classes == c) for one, two in classes]
    groups += [
        ("two outputs", lambda p: RAIL not in p.classes and WEAK not in p.classes),
        ("an output, a rail", lambda p: RAIL in p.classes and WEAK not in p.classes),
        ("a weak net", lambda p: WEAK in p.classes),
        ("no rail", lambda p: RAIL not in p.classes),
        ("all", lambda _: True),
    ]
    for label, belongs in groups:
        part = [pair for pair in pairs if belongs(pair)]
        if part:
            cells = [f"{100 * sum(p in one.bends for one in part) / len(part):.0f}" for p in PATHS]
            lines.append(row(label, (len(part), *cells)))
    if pairs:
        alike = [sum(p in one.alike for one in pairs) for p in PATHS]
        lines.append(row("all, wire's word", ("", *(f"{100 * n / len(pairs):.0f}" for n in alike))))
    return lines


def report(done: list[Told], given: argparse.Namespace) -> None:
    pairs = [pair for one in done for pair in one.pairs]
    tried = sum(one.tried for one in done)
    alone = sum(one.gentle_only for one in done)
    print(f"\n{len(done)} boards of {given.pads} pads, {tried} pairs: {len(pairs)} bend over a wire, {alone} over "
          "the gentle\nladder alone. Per cent of the wire's that bend over each path:\n")
    print("\n".join(table(pairs)))
    print(row("freeze there", (sum(WIRE in one.freezes for one in pairs),
                               *(sum(p in one.freezes for one in pairs) for p in PATHS))))
    most = {p: max(one.most_ma[p] for one in done) for p in (WIRE, *PATHS)}
    print(row("mA at most", (f"{most[WIRE]:.0f}", *(f"{most[p]:.1f}" for p in PATHS))))
    over = {ma: sum(one.wire_ma > ma for one in pairs) for ma in (10, 30, 100)}
    print(f"through the wire itself: above 10 mA {over[10]} of {len(pairs)} pairs, above 30 mA {over[30]}, "
          f"above 100 mA {over[100]}")
    heard = [pair for pair in pairs if pair.change not in DULL]
    print("\nwithout what a wire only cuts, or makes quieter or louder:\n")
    print("\n".join(table(heard)))
    if given.sweep:
        print("\nfound by a sweep over the gentle ladder, of the wire's bends and of the ladder's:\n")
        for one, two in [(one, two) for i, one in enumerate(ORDER) for two in ORDER[i:]]:
            part = [pair for pair in pairs if pair.classes == (one, two)]
            gentle = [pair for pair in part if "gentle" in pair.bends]
            if part:
                print(f"{one + ', ' + two:<{LABEL}}{sum(p.found for p in part):>5} of {len(part):<5}"
                      f"{sum(p.found for p in gentle):>5} of {len(gentle)}")
        print(f"{'all':<{LABEL}}{sum(p.found for p in pairs):>5} of {len(pairs):<5}"
              f"{sum(p.found for p in pairs if 'gentle' in p.bends):>5} of "
              f"{sum('gentle' in p.bends for p in pairs)}")
        for one in done:
            if one.refused:
                print(f"{one.kind} {one.seed}: {one.refused}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add_seeds(parser, "3000-3019")
    parser.add_argument("--kinds", default="talker,keyboard,sampler")
    parser.add_argument("--pads", type=int, default=24)
    parser.add_argument("--states", type=int, default=2, help="of the toy, for each touch")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--plain", action="store_true", help="boards as their seeds give them")
    parser.add_argument("--each", action="store_true", help="tables of each kind too")
    parser.add_argument("--sweep", action="store_true", help="sweep each board as well")
    parser.add_argument("--room", type=int, default=25, help="noise in sweeps, dB below the toy")
    given = parser.parse_args()
    kinds = given.kinds.split(",")
    asked = [(kind, seed) for kind in kinds for seed in given.seeds]
    done: list[Told] = []
    with ProcessPoolExecutor(given.jobs) as pool:
        for told in pool.map(board, *zip(*asked, strict=True), [given] * len(asked)):
            share = Counter("gentle" in pair.bends for pair in told.pairs)
            print(f"{told.kind} {told.seed}: {len(told.pairs)} of {told.tried} pairs bend over a wire, "
                  f"{share[True]} of them over the gentle ladder; {told.cpu_s:.0f} s", flush=True)
            done.append(told)
    for kind in kinds if given.each and len(kinds) > 1 else ():
        print(f"\n--- {kind}")
        report([one for one in done if one.kind == kind], given)
    print("\n--- all" if given.each else "")
    report(done, given)


if __name__ == "__main__":
    main()
