"""How well what is proposed to be fitted does on boards that nothing was tuned on.

    python tests/benchmarks/controls.py [--seeds 3100-3101] [--kinds talker,keyboard,sampler]
        [--pads 8] [--picks 4] [--room 25] [--jobs 1] [--keep FOLDER] [--bank 0,1500,6800]

The bank has the eight channels of `configs/hardware`, of which four are swept over.

Each board is swept, its best bends by the tool's own ranking are kept, and measured and tried
together through the installed command; then the noise-free toy is asked.

`same` are picks whose sound at the fitted resistance (of a knob or a switch with steps at the position
nearest to the kept one) is within the family's limit of that at the kept path: of the same shape in
third octaves over four parts of the time, in half of the toy's states. `stops` are positions that
freeze the toy or trip its guard in any state: of a knob, skin or light 33 log-spaced ones, with parts
drawn at random within their tolerance. `smooth` are picks that truly move one way over the range in
which they are heard, from the lowest path up that was tried and didn't stop the toy, by 80 cents or 3 dB, and nowhere by more than a third of that in one step of 32 (pairs of which two sounds are kept are left out);
`knobs` of these got one, `turn` is the share of its turn over which nine tenths of its movement lie, and
`reach` how much it reaches of all that movement. Of two picks
at once, both over their least resistance, `alive` truly never stop the toy in any state and `safe` of
these are called so; `wrong` are called safe and do.

What it doesn't cover: contacts that bounce, wires that act as aerials, more than two at once, hands.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import re
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from finding import padsweep
from swept import Asked, add_options, asked, swept

from rig.bench.simulated.difference import (
    LIMIT_DB,
    RANGE_DB,
    band_levels_db,
    difference_db,
    shift_cents,
    window_differences_db,
)
from rig.bench.simulated.truth import SHARE, Truth
from rig.build.drawer import POT_TOLERANCE
from rig.build.evidence import stopped_ohm
from rig.build.fitting import BODY_FLOOR_OHM, PHOTOCELL_DARK_OHM, Control
from rig.build.knob import MOST_SHARE
from rig.build.proposing import Board, Proposed, propose_all
from rig.build.series import TOLERANCE
from rig.choose import finds, load_picks
from rig.choose.families import FAMILY_DISTANCE, print_distances
from rig.listen.judging.fingerprint import SIZE
from rig.log import SweepLog
from rig.project import load_project

BANK = "0,6800,33000,150000,1500,15000,470000,2200000"
POSITIONS = 33
PARTS, GROUPS = 4, 8
MOVES = {"pitch": 80.0, "other": 3.0}
BACK, STEP = 0.2, 1 / 3
GAP = 3
SHIFTS_BY = {"pitch": 50.0, "other": 0.0}
"""The truth tells a shift of pitch to so much."""
SKIN_OHM, LIGHT_OHM = (BODY_FLOOR_OHM, 2e6), (1_000.0, PHOTOCELL_DARK_OHM)
COLUMNS = ("picks", "fitted", "same", "within 3 dB", "positions", "stops", "smooth", "knobs", "turn %", "reach %",
           "pairs", "alive", "safe", "wrong", "too shy")


@dataclass(frozen=True)
class Track:
    """How a sound truly moves over some paths, and whether it is heard there at all."""

    paths: np.ndarray
    moved: np.ndarray
    heard: np.ndarray
    unit: str


def shape(reference: np.ndarray, sound: np.ndarray) -> np.ndarray:
    """Give by how much a sound differs from the toy's own, as a fingerprint has it, dB, shape (SIZE,)."""
    levels, other = band_levels_db(reference), band_levels_db(sound)
    floor_db = float(np.max(levels)) - RANGE_DB
    apart = np.maximum(other, floor_db) - np.maximum(levels, floor_db)
    cuts = np.linspace(0, len(apart), PARTS + 1).round().astype(int)
    groups = np.linspace(0, apart.shape[1], GROUPS + 1).round().astype(int)
    bands = np.add.reduceat(apart, groups[:-1], axis=1) / np.diff(groups)
    return np.concatenate([bands[a:b].mean(axis=0) for a, b in pairwise(cuts)])


def is_same(played: Truth, pads: tuple[str, str], fitted_ohm: float, kept_ohm: float) -> tuple[bool, bool]:
    """Say whether two resistances sound alike: within the family's limit, and within 3 dB."""
    assert PARTS * GROUPS == SIZE
    near, within = [], []
    both = (played.fitted_sounds((*pads, ohm)) for ohm in (fitted_ohm, kept_ohm))
    for (reference, fitted), (_, kept) in zip(*both, strict=True):
        apart = print_distances(np.array([shape(reference, fitted), shape(reference, kept)]))[0, 1]
        near.append(apart <= FAMILY_DISTANCE)
        within.append(difference_db(band_levels_db(fitted), band_levels_db(kept)) <= LIMIT_DB)
    return float(np.mean(near)) >= SHARE, float(np.mean(within)) >= SHARE


def nearest_ohm(one: Proposed) -> float:
    """Give the position nearest to the kept path, with parts as they are written, ohms."""
    control, kept = one.control, one.at_ohm
    low = high = one.fixed_ohm
    if control.pot_ohm:
        high = low + control.pot_ohm
    elif control.kind in ("body contacts", "photocell"):
        span = SKIN_OHM if control.kind == "body contacts" else LIGHT_OHM
        low, high = low + span[0], low + span[1]
    return float(np.clip(kept, low, high))


def positions_ohm(control: Control, chance: np.random.Generator) -> list[float]:
    """Give what the positions of one control come to, with parts drawn within their tolerance, ohms."""
    def part(ohm: float, tolerance: float) -> float:
        return ohm * (1 + tolerance * chance.uniform(-1, 1))

    if control.positions:
        return [part(one.fixed_ohm, TOLERANCE) for one in control.positions]
    fixed = part(control.fixed_ohm, TOLERANCE)
    if control.pot_ohm:
        return [*np.geomspace(fixed, fixed + part(control.pot_ohm, POT_TOLERANCE), POSITIONS)]
    span = {"body contacts": SKIN_OHM, "photocell": LIGHT_OHM}.get(control.kind)
    return [fixed] if span is None else [*(fixed + np.geomspace(*span, POSITIONS))]


def track(played: Truth, pads: tuple[str, str], paths: np.ndarray, word: str) -> Track:
    """Give how a sound moves over some paths: by its pitch, or by how far it is from the toy's own."""
    moved, heard = [], []
    for ohm in paths:
        told, differs = [], []
        for reference, sound in played.fitted_sounds((*pads, float(ohm))):
            levels, other = band_levels_db(reference), band_levels_db(sound)
            differs.append(difference_db(levels, other) > LIMIT_DB)
            told.append(shift_cents(reference, sound) if word == "pitch"
                        else float(np.mean(window_differences_db(levels, other))))
        moved.append(float(np.median(told)))
        heard.append(float(np.mean(differs)) >= SHARE)
    return Track(paths, np.array(moved), np.array(heard), "pitch" if word == "pitch" else "other")


def around(one: Track, kept_ohm: float) -> Track:
    """Give the part of a track around the kept path over which it is heard, with few gaps.

    Where the two spectra don't merely lie beside each other no pitch can be told.
    """
    known = np.flatnonzero(one.heard & ((one.moved != 0) | (one.unit != "pitch")))
    if not len(known):
        return Track(*(np.array([]) for _ in range(3)), one.unit)
    at = int(np.argmin(np.abs(np.log(one.paths[known] / kept_ohm))))
    low = high = at
    while low > 0 and known[low] - known[low - 1] <= GAP:
        low -= 1
    while high + 1 < len(known) and known[high + 1] - known[high] <= GAP:
        high += 1
    part = known[low : high + 1]
    return Track(one.paths[part], one.moved[part], one.heard[part], one.unit)


def is_smooth(one: Track) -> bool:
    """Say whether it moves one way, and nowhere at once."""
    if len(one.paths) < 3:
        return False
    whole = float(np.ptp(one.moved))
    if whole < MOVES[one.unit]:
        return False
    steps = np.diff(one.moved) * np.sign(one.moved[-1] - one.moved[0])
    return float(-steps[steps < 0].sum()) <= BACK * whole and (
        float(steps.max()) <= max(STEP * whole, 1.01 * SHIFTS_BY[one.unit])
    )


def turn_share(one: Track, control: Control) -> tuple[float, float]:
    """Give the share of a knob's turn over which the sound truly moves, and of its movement it reaches."""
    turns = np.linspace(0.0, 1.0, 201)
    along = np.interp(np.log(control.knob.path_ohm(turns)), np.log(one.paths), one.moved)
    moved = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(along)))))
    if moved[-1] <= 0:
        return 0.0, 0.0
    first, last = np.interp(((1 - MOST_SHARE) / 2 * moved[-1], (1 + MOST_SHARE) / 2 * moved[-1]), moved, turns)
    return float(last - first), float(np.ptp(along) / np.ptp(one.moved))


def judged(played: Truth, board: Board, seed: int, lines: list[str]) -> Counter:
    """Hold all that is proposed for a board against the truth."""
    chance = np.random.default_rng(seed)
    count: Counter = Counter(picks=len(board.picks))
    stopping: set[int] = set()
    for one in board.picks:
        control, pads = one.control, one.pick.pads
        if control.fixed_ohm is None:
            lines.append(f"{one.pick.label}: left out: {control.why}")
            continue
        count["fitted"] += 1
        fitted_ohm, kept_ohm = nearest_ohm(one), one.at_ohm
        same, within = is_same(played, pads, fitted_ohm, kept_ohm)
        count.update({"same": same, "within 3 dB": within})
        if not same:
            lines.append(f"{one.pick.label}: another sound: kept {kept_ohm:.0f}, fitted {fitted_ohm:.0f}, "
                         f"{control.part}")  # fmt: skip
        for ohm in positions_ohm(control, chance):
            shown = played.fitted((*pads, float(ohm)))
            count.update({"positions": 1, "stops": bool(shown.freezes or shown.guarded)})
            if shown.freezes or shown.guarded:
                stopping.add(one.number)
                lines.append(f"{one.pick.label}: stops at {ohm:.0f} ohm in {shown.freezes:.2f}, "
                             f"{control.part}, {control.fixed_ohm:.0f}; known {stopped_ohm(one.evidence.trials)}")  # fmt: skip
        if sum(other.number == one.number for other in board.picks) == 1:
            _smooth(played, one, count, lines)
    for both in board.together:
        joined = [(*pair.split("-"), ohm) for pair, ohm in zip(both.pairs, both.paths_ohm, strict=True)]
        shown = played.fitted(*joined)
        stops = bool(shown.freezes or shown.guarded)
        safe = both.verdict == "safe"
        count.update({"pairs": 1, "alive": not stops, "safe": safe and not stops, "wrong": safe and stops,
                      "too shy": both.verdict == "freezes" and not stops})  # fmt: skip
        if safe == stops:
            lines.append(f"{' + '.join(both.pairs)}: called {both.verdict} ({both.told}), stops in "
                         f"{shown.freezes:.2f}")  # fmt: skip
    return count


def _smooth(played: Truth, one: Proposed, count: Counter, lines: list[str]) -> None:
    stop = stopped_ohm(one.evidence.trials) or 0.0
    # Below the lowest path that was tried and didn't stop the toy nothing may be fitted.
    least = min(trial.path_ohm for trial in one.evidence.trials if trial.path_ohm > stop)
    most = max(trial.path_ohm for trial in one.evidence.trials)
    if most <= least * 1.02:
        return
    paths = np.geomspace(least, most, POSITIONS)
    true = around(track(played, one.pick.pads, paths, one.evidence.find.sound), one.at_ohm)
    if not is_smooth(true):
        if one.control.knob:
            lines.append(f"{one.pick.label}: a knob for what isn't smooth: {one.control.why}")
        return
    count["smooth"] += 1
    if one.control.knob is None:
        lines.append(f"{one.pick.label}: smooth from {true.paths[0]:.0f} to {true.paths[-1]:.0f} ohm, but "
                     f"{one.control.part}: {one.control.why}")  # fmt: skip
        return
    turn, reach = turn_share(true, one.control)
    count.update({"knobs": 1, "turn": round(100 * turn), "reach": round(100 * reach)})
    lines.append(f"{one.pick.label}: {100 * turn:.0f} % of the turn, reaches {100 * reach:.0f} %, "
                 f"{one.control.part}, {true.paths[0]:.0f} to {true.paths[-1]:.0f} ohm")  # fmt: skip


def give_bank(toy: Path, bank: str) -> None:
    """Have a board's rig sweep over what its bank was, with the channels of another one."""
    rig = toy / "rig.yaml"
    text = rig.read_text("utf-8")
    values = re.search(r"(?m)^series_ohm: (.*)$", text)[1]
    text = text.replace(f"series_ohm: {values}", f"series_ohm: [{bank}]", 1)
    rig.write_text(f"{text}\nsweep:\n  series_ohm: {values}\n", "utf-8")


def told(board: Asked, keep: Path | None, picks: int, bank: str) -> tuple[Asked, Counter | None, list[str]]:
    """Sweep a board, keep, measure and try its best bends, and hold what is proposed against the truth."""
    try:
        with swept(board, keep, lambda toy: give_bank(toy, bank)) as toy:
            project = load_project(toy)
            with SweepLog.open(toy / "sweeps" / "main", read_only=True) as log:
                found = finds(log.records())
            best = [one for one in found if one.is_bend and not one.is_lone and one.like_key is None][:picks]
            if not best:
                return board, Counter(), ["nothing to keep"]
            if not (toy / "picks.yaml").exists():
                padsweep("replay", "--project", str(toy), *(
                    word for one in best for word in ("--keep", one.label)))
            padsweep("controls", "--project", str(toy), "--measure", "--together")
            with SweepLog.open(toy / "sweeps" / "main", read_only=True) as log:
                records = log.records()
            lines = [] if finds(records) == found or keep else ["THE FINDS CHANGED"]
            board_told = propose_all(project, load_picks(toy), records)
    except RuntimeError as refusal:
        return board, None, [str(refusal)]
    return board, judged(Truth(project), board_told, board.seed, lines), lines


def line(name: str, count: Counter) -> str:
    middle = {f"{word} %": round(count[word] / max(1, count["knobs"])) for word in ("turn", "reach")}
    return f"{name:14}" + "".join(f"{middle.get(word, count[word]):>12}" for word in COLUMNS)


def share(count: Counter, part: str, of: str) -> str:
    return f"{100 * count[part] / max(1, count[of]):.1f} % of {count[of]}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add_options(parser, "3100-3101", 8)
    parser.add_argument("--picks", type=int, default=4, help="kept of each board")
    parser.add_argument("--bank", default=BANK, help="channels of the rig's bank, ohms")
    parser.add_argument("--names", action="store_true", help="name the picks that differ")
    given = parser.parse_args()
    boards = asked(given)
    print(" " * 14 + "".join(f"{word:>12}" for word in COLUMNS))
    total: Counter = Counter()
    with ProcessPoolExecutor(given.jobs) as pool:
        each = pool.map(told, boards, [given.keep] * len(boards), [given.picks] * len(boards),
                        [given.bank] * len(boards))  # fmt: skip
        for board, count, lines in each:
            print(line(str(board), count) if count is not None else f"{board}: refused", flush=True)
            for one in lines if given.names or count is None else ():
                print(f"    {one}", flush=True)
            total.update(count or {})
    print(line("all", total))
    print(
        f"fitted as kept: {share(total, 'same', 'fitted')} ({share(total, 'within 3 dB', 'fitted')} within "
        f"3 dB)\npositions that stop the toy: {total['stops']} of {total['positions']}\n"
        f"picks with a control: {share(total, 'fitted', 'picks')}\n"
        f"truly smooth ones with a knob: {share(total, 'knobs', 'smooth')}, over "
        f"{round(total['turn'] / max(1, total['knobs']))} % of its turn, reaching "
        f"{round(total['reach'] / max(1, total['knobs']))} % of the movement\n"
        f"two at once called safe that stop the toy: {total['wrong']}; of those that don't, called safe: "
        f"{share(total, 'safe', 'alive')}"
    )


if __name__ == "__main__":
    main()
