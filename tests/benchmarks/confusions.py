"""Which word the sweep finds for which change: a table of counts.

    python tests/benchmarks/confusions.py [--seeds 3000-3008] [--kinds talker,keyboard,sampler]
        [--pads 14] [--room 25] [--jobs 1] [--each] [--keep FOLDER]

Each board is swept through the installed command. A pair's word is held against the change that
the noise-free sound shows (`rig/bench/simulated/difference.py`) over the path of the take that is
shown: rows are the truth, columns the sweep. Of a pair with several sounds the first that is named
right counts, or its best one. `small` are differences below the truth's limit, or
in fewer than half of the toy's states; `missed` are pairs that change the sound, but aren't found.
The second table counts every touch that was heard again. `--each` names the pairs off the
diagonal with what was measured.
"""

import argparse
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from swept import Asked, add_options, asked, swept

from rig.bench.simulated.truth import SHARE, Shown, Truth, facts
from rig.choose import Find, finds
from rig.log import Record, SweepLog
from rig.outcomes import SOUNDS
from rig.project import load_project

CHANGES = ("cut", "loop", "drone", "pitch", "timbre", "level", "blip")
SHOWN = ("local_db", "level_db", "silenced", "loop_s", "loop_likeness", "steady_s", "drone_hz",
         "pitch_cents", "pitch_fit", "voice_cents", "first_change_s", "changed", "timbre_db")


def true_word(shown: list[Shown], path_ohm: float) -> str:
    """Give the truth's word for a pair over one path."""
    here = next((one for one in shown if abs(one.path_ohm - path_ohm) < 1e-6 * path_ohm), None)
    return here.change if here is not None and here.differs >= SHARE else "small"


def told(board: Asked, keep: Path | None) -> tuple[Counter, Counter, list[str]]:
    """Count words of one board's finds and of their touches; gives the confused ones in words."""
    pairs, touches, each = Counter(), Counter(), []
    try:
        with swept(board, keep) as toy:
            project = load_project(toy)
            with SweepLog.open(toy / "sweeps" / "main", read_only=True) as log:
                records = {one.number: one for one in log.records()}
    except RuntimeError as refusal:
        return pairs, touches, [f"{board}: {refusal}"]
    shown = Truth(project).pairs()
    found = [one for one in finds(records.values()) if one.sound != "none" and not one.is_lone]
    got: dict[tuple[str, str], list[tuple[str, Find]]] = defaultdict(list)
    for find in found:
        pair = find.pads_1, find.pads_2
        best = records[find.best_touch]
        got[pair].append((true_word(shown[pair], best.path_ohm), find))
        for number in find.touches:
            one = records[number]
            touches[true_word(shown[pair], one.path_ohm), one.sound] += 1
    for sounds in got.values():
        truth, find = next((one for one in sounds if one[0] == one[1].sound), sounds[0])
        pairs[truth, find.sound] += 1
        if truth not in (find.sound, "small"):
            each.append(f"{board} {find.label} {truth} -> {find.sound}: "
                        f"{measured(records[find.best_touch])}")
    for pair, one in shown.items():
        known = facts(one)
        if pair not in got and known and known["bends"] >= SHARE:
            pairs[known["change"], "missed"] += 1
    return pairs, touches, each


def measured(one: Record) -> str:
    known = {name: one.measures[name] for name in SHOWN if name in one.measures}
    return f"{one.path_ohm:.0f} ohm, " + ", ".join(f"{n} {v}" for n, v in known.items())


def table(count: Counter) -> str:
    words = [one for one in CHANGES if any(one == word for _, word in count)]
    others = {word for _, word in count} - set(words)
    words += [one for one in (*SOUNDS, "missed") if one in others]
    lines = ["truth \\ sweep" + "".join(f"{word:>8}" for word in words)]
    for truth in (*CHANGES, "small"):
        row = [count[truth, word] for word in words]
        lines.append(f"{truth:13}" + "".join(f"{one or '.':>8}" for one in row))
    judged = {key: n for key, n in count.items() if key[0] != "small" and key[1] != "missed"}
    right = sum(n for (truth, word), n in judged.items() if truth == word)
    return "\n".join(lines) + f"\nthe same word: {right} of {sum(judged.values())}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add_options(parser, "3000-3008", 14)
    parser.add_argument("--each", action="store_true", help="name what is confused")
    given = parser.parse_args()
    boards = asked(given)
    pairs, touches = Counter(), Counter()
    with ProcessPoolExecutor(given.jobs) as pool:
        for mine, theirs, each in pool.map(told, boards, [given.keep] * len(boards)):
            pairs += mine
            touches += theirs
            for line in each if given.each else ():
                print(line, flush=True)
    print(f"pairs found on {len(boards)} boards\n{table(pairs)}\n")
    print(f"touches heard again\n{table(touches)}")


if __name__ == "__main__":
    main()
