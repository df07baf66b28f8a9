"""What the ear says of takes made here, figure by figure, beside what it said in an earlier state.

    python tests/golden/judgements.py --write FILE               # in a checkout of the earlier state
    python tests/golden/judgements.py --against FILE             # here, on the same machine
    python tests/golden/judgements.py --write FILE PROJECT ...   # the stored takes of sweeps as well

The takes are phrases with known changes, touches of simulated toys of each kind, and recordings
without a press; none hangs on how a sweep is run. `--against` prints the largest relative
difference of each kind of figure, and the first word that differs; words are the same where the
program was only put in another shape, and figures equal to 1e-12. `judgements.json` beside it
has what the test compares with, within what processors differ by.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1] / "unit")]

import phrases as made

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.listen import Ear, Judgement, Recordings, Span
from rig.log import SweepLog
from rig.log.takes import as_stored
from rig.sweep.hearing import hear
from rig.sweep.plan import Step
from rig.sweep.rejudge import in_processes, rejudge
from rig.touches import Target

STORED = Path(__file__).with_name("judgements.json")
BOARDS = (("talker", 21), ("keyboard", 5), ("sampler", 3))
CLEAN, TOUCHES, CHECKED = 10, 12, 5
"""Clean takes of each toy, touches, and after how many of these a clean one is learnt."""


def row(judgement: Judgement) -> dict:
    """Give a judgement as it is compared."""
    return {
        "sound": judgement.sound, "unit": judgement.unit, "amount": judgement.amount,
        "score": judgement.score, "p": judgement.p_value, "measures": judgement.measures,
    }


def at_speed(cents: float):
    """Give the change that plays what follows at another rate."""
    def change(rest):
        place = np.arange(int(len(rest) * 2 ** (-cents / 1200))) * 2 ** (cents / 1200)
        return np.interp(place, np.arange(len(rest)), rest)

    return change


def hole(rest: np.ndarray) -> np.ndarray:
    """Give a sound with a short hole."""
    return np.where(np.abs(np.arange(len(rest)) / made.RATE_HZ - 0.2) < 0.08, 0.01 * rest, rest)


CHANGES = {
    "none": lambda rest: rest, "cut": lambda rest: 0.001 * rest, "loop": made.loop(0.21),
    "once again": made.loop(0.8), "drone": made.held, "softer": lambda rest: 0.25 * rest,
    "louder": lambda rest: 2.0 * rest, "slower": at_speed(-300), "faster": at_speed(500),
    "hole": hole, "slight": lambda rest: 0.9 * rest,
}  # fmt: skip


def phrases() -> Iterator[tuple[str, Judgement]]:
    """Judge phrases with known changes."""
    rng = np.random.default_rng(5)
    ear = Ear(made.RATE_HZ)
    for i in range(13):
        ear.learn("moo", made.take(made.phrase(i % 3), rng), made.SPAN)
    for which in (0, 2):
        for name, change in CHANGES.items():
            take = made.take(made.bent(made.phrase(which), change), rng)
            yield f"phrase {which} {name}", ear.judge("moo", take, made.SPAN)
        ear.learn("moo", made.take(made.phrase(which), rng), made.SPAN)


def touches(kind: str, seed: int) -> Iterator[tuple[str, Judgement]]:
    """Judge touches of a simulated toy, clean ones joining its baseline meanwhile."""
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(Path(folder) / "toy", seed, 8, kind)
        bench = SimulatedBench(project)
        bench.supply(True)
        bench.wait(project.toy.boot_ms / 1000)
        key = next(iter(project.toy.keys))
        pads = sorted(project.toy.pads)
        pairs = [(a, b) for i, a in enumerate(pads) for b in pads[i + 1 :]][:: 28 // TOUCHES]
        ear = Ear(bench.rate_hz)

        def heard(pair=None):
            ohm = None if pair is None else sorted(project.rig.series_ohm)[1]
            target = Target.pair(*pair, ohm, key) if pair else Target.clean(key)
            one = hear(bench, Step("sweep", target).touch(project))
            sound = as_stored(one.samples)
            bench.wait(project.toy.longest_phrase_s)
            return sound, Span.from_samples(one.offsets, len(sound), bench.rate_hz)

        for _ in range(CLEAN):
            ear.learn(key, *heard())
        for i, pair in enumerate(pairs, 1):
            yield f"{kind} {'-'.join(pair)}", ear.judge(key, *heard(pair))
            if i % CHECKED == 0:
                ear.learn(key, *heard())


def recordings() -> Iterator[tuple[str, Judgement]]:
    """Judge recordings that begin anywhere."""
    rng = np.random.default_rng(6)

    def recorded(sound):
        quiet_s = rng.uniform(0.2, 0.5)
        out = rng.normal(0, 3e-4, int((quiet_s + 1.6) * made.RATE_HZ))
        at = int(quiet_s * made.RATE_HZ)
        out[at:] += sound[: len(out) - at] if len(sound) > len(out) - at else np.pad(
            sound, (0, len(out) - at - len(sound))
        )
        return out.astype(np.float32)

    clean = [(recorded(made.phrase(i % 2)), made.RATE_HZ) for i in range(5)]
    ear = Recordings(clean, 24_000)
    for name in ("none", "cut", "loop", "faster", "softer"):
        told = ear.judge(recorded(made.bent(made.phrase(1), CHANGES[name])), made.RATE_HZ)
        yield f"recording {name}", told.judgement


def stored(folder: Path) -> Iterator[tuple[str, Judgement]]:
    """Judge every stored take of a project's first sweep."""
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        for one in rejudge(log, in_processes(1)):
            yield f"{folder.name} {one.record.number}", one.judgement


def judgements(folders: list[Path] = ()) -> dict[str, dict]:
    """Give everything by its name."""
    said = [*phrases(), *recordings()]
    for kind, seed in BOARDS:
        said += touches(kind, seed)
    for folder in folders:
        said += stored(folder)
    return {name: row(one) for name, one in said}


def differences(before: dict[str, dict], now: dict[str, dict]) -> tuple[list[str], dict[str, float]]:
    """Give the words that differ, and the largest relative difference of each figure."""
    words, largest = [], {}
    for name in dict.fromkeys([*before, *now]):
        if name not in before or name not in now:
            words.append(f"{name}: {'not any more' if name in before else 'new'}")
            continue
        old, new = before[name], now[name]
        if (old["sound"], old["unit"]) != (new["sound"], new["unit"]):
            words.append(f"{name}: was {old['sound']}, is {new['sound']}")
            continue
        for what in ("amount", "score", "p"):
            a, b = old[what], new[what]
            if a is not None and b is not None:
                apart = abs(a - b) / max(abs(a), abs(b), 1e-300)
                largest[what] = max(largest.get(what, 0.0), apart)
        if old["measures"] != new["measures"]:
            largest["measures that differ"] = largest.get("measures that differ", 0) + 1
    return words, largest


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="*", type=Path, metavar="PROJECT")
    parser.add_argument("--write", type=Path, metavar="FILE", help="write what is said")
    parser.add_argument("--against", type=Path, metavar="FILE", help="compare with what was said")
    given = parser.parse_args()
    now = judgements(given.folders)
    if given.write:
        rows = ",\n".join(f"{json.dumps(name)}: {json.dumps(one)}" for name, one in now.items())
        given.write.write_text(f"{{\n{rows}\n}}\n")
    if given.against:
        words, largest = differences(json.loads(given.against.read_text()), now)
        for what, apart in largest.items():
            print(f"{what}: {apart:.2g}")
        print(f"{len(now)} judgements, {len(words)} with another word" + "".join(
            f"\n  {one}" for one in words[:20]))
        sys.exit(bool(words))


if __name__ == "__main__":
    main()
