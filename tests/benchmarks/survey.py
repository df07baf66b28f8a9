"""How rightly a survey sees nets and kinds of pads, on simulated boards, against their own circuits.

    python tests/benchmarks/survey.py [--seeds 7400-7419] [--pads 24]
        [--kinds talker,keyboard,sampler] [--between 100] [--each]

Each seed gives a board of each kind, and a rig whose leads, bank and senses are drawn within their
tolerances, with a converter that is off and noisy (`rig/bench/simulated/senses.py`). Counted are
pairs of pads: those of one net that the survey merges or calls "maybe", and those of two nets that it
merges, which must be none. `--between` fits a resistor of so many ohms between two nets of each board
that nothing else tells apart: bare tracks; with 8 ohm nothing can, since none of the toy's voltages
shows it. Kinds are held against the circuit: plus and minus, bare tracks that nothing holds, lines
that one pull or one driver holds, and what holds them within the uncertainty that the survey tells.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from unittest import mock

sys.path.insert(0, str(Path(__file__).parents[1]))

from seeds import add_seeds

from rig.bench.simulated import bench as simulated
from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.board import KINDS, Board, make_board
from rig.bench.simulated.folder import new_simulated_project
from rig.bench.simulated.nodal import BIAS, OPEN
from rig.survey.nets import between, nets
from rig.survey.points import BETWEEN, FLOATS, HIGH, LOW, MINUS, PLUS, points
from rig.survey.visit import Visit


def surveyed(kind: str, seed: int, pads: int, between_ohm: float | None) -> Counter:
    """Survey one board; counts pairs and pads."""
    board = make_board(seed, pads, kind)
    if between_ohm is not None:
        one, other = [n for n, net in enumerate(board.nets) if net.role.startswith("nc")][:2]
        board = replace(board, fitted=(*board.fitted, (one, other, between_ohm)))
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(folder + "/toy", seed, pads, kind)
    with mock.patch.object(simulated, "project_board", lambda _: board):
        bench = SimulatedBench(project)
    begun_s = bench.now_s()
    readings = Visit(project, bench).read()
    sure, maybe = nets(readings.pads, between(project, readings))
    net_of = board.net_of
    same = {p for p in combinations(board.letters, 2) if net_of[p[0]] == net_of[p[1]]}
    merged = {pair for net in sure for pair in combinations(net, 2)}
    loose = {pair for net in maybe for pair in combinations(net, 2)}
    count = Counter(
        boards=1, same=len(same), right=len(merged & same), wrong=len(merged - same),
        maybe=len(loose & same), seconds=round(bench.now_s() - begun_s),
        touched=len(board.letters) - sum(len(net) - 1 for net in sure),
        nets=len(set(net_of.values())),
    )  # fmt: skip
    for pad, point in points(project, readings).items():
        wanted, ohm = truth(board, pad)
        if wanted:
            count[f"{wanted} pads"] += 1
            count[f"{wanted} right"] += point.kind == wanted
        if wanted in (HIGH, LOW) and ohm and point.held_ohm is not None:
            count["held"] += 1
            count["held right"] += abs(point.held_ohm - ohm) <= point.off_ohm
    return count


def truth(board: Board, pad: str) -> tuple[str, float | None]:
    """Give what a pad is by its circuit and what holds it, ohms; "" where that isn't one thing."""
    number = board.net_of[pad]
    net, drive = board.nets[number], board.nets[number].drive
    tied = any(number in (a, b) for a, b, _ in (*board.circuit.resistors, *board.fitted, *board.always))
    if net.role in ("vcc", "gnd"):
        return ((PLUS, MINUS)[net.role == "gnd"], None) if pad in board.rails else ("", None)
    if tied:
        return "", None
    if net.role.startswith("nc"):
        return FLOATS, None
    if net.idle == BIAS or net.role == "osc":
        return BETWEEN, None
    sources = drive.sources(net.idle)
    if len(sources) != 1 or (net.idle == OPEN and drive.low_ohm is not None):
        return "", None  # scanned, or held by two
    ohm, fraction = sources[0]
    return {0.0: LOW, 1.0: HIGH}.get(fraction, BETWEEN), ohm


def main() -> None:
    """Print a row a kind, and all."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    add_seeds(parser, "7400-7419")
    parser.add_argument("--pads", type=int, default=24)
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--between", type=float, help="ohms between two nets of each board")
    parser.add_argument("--each", action="store_true", help="print a line for each board")
    given = parser.parse_args()
    begun, whole = time.process_time(), Counter()
    for kind in given.kinds.split(","):
        count: Counter = Counter()
        for seed in given.seeds:
            one = surveyed(kind, seed, given.pads, given.between)
            count += one
            if given.each:
                print(f"{kind} {seed}: {row(one)}", flush=True)
        print(f"{kind}: {row(count)}", flush=True)
        whole += count
    print(f"all: {row(whole)}\n{kinds_told(whole)}")
    print(
        f"measured on {whole['boards']} simulated boards in {time.process_time() - begun:.0f} s of "
        "processor\nnot covered: real chips' leakage and protection, capacitors, hum on leads; a small "
        "resistor between nets that always read the same"
    )


def row(count: Counter) -> str:
    """Give what pairs and pads of some boards came to."""
    return (
        f"{count['boards']} boards, {count['same']} pairs of one net: merged {count['right']} "
        f"({share(count['right'], count['same'])}), maybe {count['maybe']}; merged wrongly "
        f"{count['wrong']}; {count['touched']} pads touched, {count['nets']} nets; "
        f"{count['seconds'] / max(1, count['boards']):.0f} s of bench time each"
    )


def kinds_told(count: Counter) -> str:
    """Give how rightly kinds were told."""
    told = [f"{kind} {count[f'{kind} right']} of {count[f'{kind} pads']}"
            for kind in (PLUS, MINUS, HIGH, LOW, BETWEEN, FLOATS) if count[f"{kind} pads"]]  # fmt: skip
    return (f"kinds told rightly: {', '.join(told)}; what holds a line lay within the uncertainty told "
            f"{count['held right']} of {count['held']} times")  # fmt: skip


def share(count: int, of: int) -> str:
    return f"{count / of:.1%}" if of else "-"


if __name__ == "__main__":
    main()
