"""What `padsweep verify` says of builds with one wiring fault each, and of right ones.

    python tests/benchmarks/verifying.py [--seeds 660-667] [--kinds talker,keyboard,sampler]
        [--pads 8] [--room 25] [--picks 5] [--measure] [--only FAULT] [--each] [--keep FOLDER]

Each board is swept once, by a simulated rig. The best sound of each of its first five pairs is kept,
with --measure measured as `padsweep controls --measure` does, and the toy built as the sheet says, its resistors drawn within 5 %. Then it is built with each kind of
fault that it has room for; hands that answer to the toy's first sound after 0.18 to 0.4 s go through
the controls that the fault concerns, twice.

What can be heard is asked of the noise-free sound (`rig/bench/simulated/difference.py`), in four states
of the toy: a fault "can't be heard" where neither the open toy nor what is concerned differs from the
right build by more than 3 dB in most of them. A right build whose sound differs so from that of the
kept path, as E24 values and tolerances make it, stands apart too ("otherwise").
A lifted track is a line that reads low from there on; a bridge is solder between a pad of the control
and another pad. Rooms, leads that load a clock while the control is open, and shells aren't in it.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1])]

from finding import padsweep
from seeds import add_seeds
from swept import Asked, swept

from rig.bench.simulated.board import KINDS
from rig.bench.simulated.built import Build, BuiltBench, Wired, lifted
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.difference import LIMIT_DB, band_levels_db, difference_db
from rig.bench.simulated.folder import project_board
from rig.bench.simulated.parts import Board
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.build.several import by_pair
from rig.build.sheet import proposals, see
from rig.choose import Pick, finds, keep
from rig.choose.picks import PICKS
from rig.errors import RigError
from rig.events import SweepDone
from rig.log import SweepLog
from rig.project import Project, load_project
from rig.verify import Job, Tried, Verifying, decide, jobs

STATES, ROUNDS, REST_S, WAIT_S = 4, 2, 0.5, 4.0
DECADES, LOOSE, TOLERANCE = (0.1, 10.0), (0.3, 0.7), 0.05
NOT_ITSELF, DEAD = "not itself while open", "isn't heard while open"


@dataclass(frozen=True)
class Fault:
    """A build with one fault, and the numbers of the controls that it concerns."""

    kind: str
    build: Build
    concerns: tuple[int, ...]


class Quiet:
    """A person who does what is asked, and says nothing."""

    def say(self, prompt):
        pass

    def note(self, text):
        pass

    def tone(self, name):
        return 0.0

    def command(self):
        return ""

    def which(self):
        return None


def best_picks(project: Project, records: list, picks: int) -> list[Pick]:
    """Keep the best sound of each of the first pairs."""
    best = {}
    for one in finds(records, project.rig.sweep.false_discovery):
        if len(one.pads) == 2 and not one.stops_only and not one.is_lone:
            best.setdefault(one.pair, one)
    return [Pick(one.pair, at_ohm=float(f"{one.best_path_ohm:.3g}"), key=one.key)
            for one in [*best.values()][:picks]]


def measure(folder: Path, picks: int) -> None:
    """Keep what `best_picks` gives, and have it measured; what the log has isn't made again."""
    project = load_project(folder)
    if not (folder / PICKS).exists():
        with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
            kept = best_picks(project, log.records(), picks)
        for one in kept:
            keep(folder, one.pair, at_ohm=one.at_ohm, key=one.key)
    if (folder / PICKS).exists():
        padsweep("controls", "--project", str(folder), "--measure", "--format", "json")


def chosen(project: Project, records: list, picks: int) -> list[Job]:
    """Plan the controls of what `best_picks` gives."""
    kept = best_picks(project, records, picks)
    if not kept:
        return []
    seen = see(project, kept, records)
    return jobs(by_pair(kept, seen.evidence), proposals(project, kept, seen))


def right_build(board: Board, made: list[Job], rng: np.random.Generator) -> Build:
    """Build a toy as the sheet says, with resistors as they come."""
    controls = {}
    for job in made:
        off = 1 + float(rng.uniform(-TOLERANCE, TOLERANCE))
        controls[job.number] = Wired(job.pads, {one.name: one.ohm * off for one in job.settings})
    return Build(board, controls)


def faults(right: Build, made: list[Job], rng: np.random.Generator) -> Iterator[Fault]:
    """Build a toy with each kind of fault, each on a control drawn for it."""
    board = right.board
    rails = {pad.letter for pad in board.pads if pad.net in (board.roles["vcc"], board.roles["gnd"])}

    def drawn(among: list[Job]) -> Job:
        return among[int(rng.integers(len(among)))]

    def with_one(number: int, **more) -> dict[int, Wired]:
        return {**right.controls, number: replace(right.controls[number], **more)}

    def other_pads(pad: str) -> list[str]:
        return [one for one in board.letters if board.net_of[one] != board.net_of[pad]
                and not {one, pad} <= rails]

    if len(made) > 1:
        one, two = (made[int(n)] for n in rng.permutation(len(made))[:2])
        controls = dict(with_one(one.number, pads=two.pads))
        controls[two.number] = replace(right.controls[two.number], pads=one.pads)
        yield Fault("swapped", replace(right, controls=controls), (one.number, two.number))
    job = drawn(made)
    yield Fault("open joint", replace(right, controls=with_one(job.number, ohm={})), (job.number,))
    job = drawn(made)
    pad = str(rng.choice(job.pads))
    bridge = (pad, str(rng.choice(other_pads(pad))))
    yield Fault("solder bridge", replace(right, solder=(bridge,)), (job.number,))
    for times in DECADES:
        job = drawn(made)
        pot = min(one.ohm for one in job.settings)
        ohm = {name: one + (times - 1) * pot for name, one in right.controls[job.number].ohm.items()}
        yield Fault(f"resistor x{times:g}", replace(right, controls=with_one(job.number, ohm=ohm)), (job.number,))
    if knobs := [one for one in made if one.is_knob]:
        job = drawn(knobs)
        ohm = right.controls[job.number].ohm
        turned = {**ohm, "left": ohm["right"], "right": ohm["left"]}
        yield Fault("reversed", replace(right, controls=with_one(job.number, ohm=turned)), (job.number,))
    job = drawn(made)
    loose = float(rng.uniform(*LOOSE))
    yield Fault("loose joint", replace(right, controls=with_one(job.number, loose=loose)), (job.number,))
    if tracks := [(one, pad) for one in made for pad in one.pads if pad not in rails]:
        job, pad = tracks[int(rng.integers(len(tracks)))]
        yield Fault("lifted track", replace(right, board=lifted(board, pad)), (job.number,))
    job = drawn(made)
    yield Fault("lugs shorted", replace(right, controls=with_one(job.number, shorted=True)), (job.number,))
    job = drawn(made)
    stays, goes = rng.permutation(job.pads)
    wrong = [one for one in other_pads(stays) if board.net_of[one] != board.net_of[goes]]
    pads = (str(stays), str(rng.choice(wrong)))
    yield Fault("wire on a wrong pad", replace(right, controls=with_one(job.number, pads=pads)), (job.number,))


class Sounds:
    """What a build gives without any noise, in some states of the toy."""

    def __init__(self, project: Project, seed: int, key: str):
        self._timings, self._seed, self._key = project.rig.timings, seed, key

    def levels(self, build: Build, links: list[list[Link]]) -> list[list[np.ndarray]]:
        """Give, for each list of links that close behind the press, the levels in each state."""
        toy = SimulatedToy(build.board, self._seed)
        switch_on(toy)
        toy.connect(build.links())
        found: list[list[np.ndarray]] = [[] for _ in links]
        for _ in range(STATES):
            toy.run(round(REST_S * RATE_HZ))
            press = toy.fork()
            self._press(press)
            for mine, closed in zip(found, links, strict=True):
                one = press.fork()
                one.connect(closed)
                mine.append(band_levels_db(one.run(self._timings.dwell_ms * RATE_HZ // 1000)))
            self._press(toy)
            toy.run(round((build.board.longest_phrase_s + REST_S) * RATE_HZ))
        return found

    def _press(self, toy: SimulatedToy) -> None:
        lead_in_ms, press_ms = self._timings.lead_in_ms, toy.board.press_ms
        toy.keys({self._key})
        toy.run(min(press_ms, lead_in_ms) * RATE_HZ // 1000)
        if press_ms <= lead_in_ms:
            toy.keys(set())
        toy.run(max(0, lead_in_ms - press_ms) * RATE_HZ // 1000)


def apart_db(one: list[np.ndarray], other: list[np.ndarray]) -> float:
    """Give the difference that most of the states reach, dB."""
    return float(np.median([difference_db(a, b) for a, b in zip(one, other, strict=True)]))


def links_of(build: Build, made: list[Job], numbers: tuple[int, ...]) -> list[list[Link]]:
    """Give what is closed with all controls open, and with each setting of some of them."""
    mine = [one for one in made if one.number in numbers]
    return [build.links()] + [build.links(job.number, one.name) for job in mine for one in job.settings]


def audible(sounds: Sounds, right: Build, fault: Fault, made: list[Job]) -> dict[int, bool]:
    """Say of each control that a fault concerns whether it can be heard."""
    heard = {}
    for number in fault.concerns:
        good = sounds.levels(right, links_of(right, made, (number,)))
        bad = sounds.levels(fault.build, links_of(fault.build, made, (number,)))
        if fault.kind == "loose joint":
            bad = [bad[0]] * len(bad)
        heard[number] = any(apart_db(a, b) > LIMIT_DB for a, b in zip(good, bad, strict=True))
    return heard


def otherwise(sounds: Sounds, project: Project, right: Build, job: Job) -> bool:
    """Say whether a right build sounds otherwise than the kept path did on the rig."""
    rig = project.rig
    built = sounds.levels(right, links_of(right, [job], (job.number,)))
    for levels, setting in zip(built[1:], job.settings, strict=True):
        at_ohm = setting.pick.at_ohm or setting.ohm
        if not 0.86 < at_ohm / setting.ohm < 1.16:
            continue  # a knob's other end
        link = Link(job.pads[:1], job.pads[1:], rig.lead_ohm, max(0.0, at_ohm - 2 * rig.lead_ohm), 0.0)
        if apart_db(levels, sounds.levels(right, [[link]])[0]) > LIMIT_DB:
            return True
    return False


def verified(
    project: Project, log: SweepLog, made: list[Job], build: Build, numbers: tuple[int, ...], room_db: float,
    seed: int,
) -> dict[int, tuple[str, str]]:
    """Go through some controls of a build; gives the verdict of each, and its words."""
    bench = BuiltBench(build, seed, Quiet(), room_db=room_db)
    run = Verifying(project, bench, log, made, wait_s=WAIT_S)
    try:
        toy = run.open_toy()
        if not toy.is_itself:
            suspect = f", like control {toy.suspect.number}" if toy.suspect else ""
            return dict.fromkeys(numbers, (NOT_ITSELF, toy.words + suspect))
        came: dict[int, tuple[str, str]] = {}
        tried: dict[int, list[Tried]] = {job.number: [] for job in made if job.number in numbers}
        for job in made:
            for _ in range(ROUNDS if job.number in numbers else 0):
                tried[job.number].append(run.try_out(job, lambda said: None, tried[job.number]))
    except RigError as trouble:
        return dict.fromkeys(numbers, (DEAD, str(trouble)))
    for job in made:
        if job.number in tried:
            verdict = decide(job, tried[job.number], made, run.misses(job))
            came[job.number] = verdict.name, verdict.words
    return came


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add_seeds(parser, "660-667")
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--pads", type=int, default=8)
    parser.add_argument("--room", type=int, default=25, help="noise, dB below the toy")
    parser.add_argument("--picks", type=int, default=5, help="pairs that are kept on a board")
    parser.add_argument("--measure", action="store_true", help="measure what is kept before it is built")
    parser.add_argument("--only", default="", metavar="FAULT", help="only builds with this fault, or \"right\" ones")
    parser.add_argument("--each", action="store_true", help="name every verdict")
    parser.add_argument("--keep", type=Path, help="folder for the swept boards, to use again")
    given = parser.parse_args()
    good: Counter = Counter()
    bad: dict[str, Counter] = defaultdict(Counter)
    began_s = time.process_time()
    for seed in given.seeds:
        for kind in given.kinds.split(","):
            one_board(Asked(kind, seed, given.pads, given.room), given, good, bad)
    print(table(good, bad))
    print(f"{time.process_time() - began_s:.0f} CPU-s besides the sweeps")


@contextlib.contextmanager
def swept_once(asked: Asked, keep: Path | None) -> Iterator[Path]:
    """Give a board's folder after its sweep; one that is kept and done is used as it is."""
    kept = keep and keep / f"{asked}-{asked.pads}-{asked.room_db}"
    if kept and (kept / "sweeps" / "main" / "log.db").exists():
        with SweepLog.open(kept / "sweeps" / "main", read_only=True) as log:
            if any(isinstance(one, SweepDone) for one in log.events()):
                yield kept
                return
    with swept(asked, keep) as folder:
        yield folder


def one_board(asked: Asked, given, good: Counter, bad: dict[str, Counter]) -> None:
    """Verify one board's builds, and count what was said."""
    with swept_once(asked, given.keep) as folder:
        if given.measure:
            measure(folder, given.picks)
        project = load_project(folder)
        with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
            made = chosen(project, log.records(), given.picks)
            if not made:
                return
            rng = np.random.default_rng([asked.seed, [*KINDS].index(asked.kind)])
            right = right_build(project_board(project), made, rng)
            sounds = Sounds(project, asked.seed, project.sweep_keys[0])
            numbers = tuple(job.number for job in made)
            told = {} if given.only not in ("", "right") else verified(
                project, log, made, right, numbers, asked.room_db, asked.seed + 1000)
            for job in made if told else ():
                differs = otherwise(sounds, project, right, job)
                name, words = told[job.number]
                good["otherwise" if differs else "as kept", name] += 1
                if given.each:
                    print(f"{asked} {job.pair} {job.kind} {'otherwise ' if differs else ''}built right: "
                          f"{name}: {words}", flush=True)
            for n, fault in enumerate(faults(right, made, rng)):
                if given.only not in ("", fault.kind):
                    continue
                told = verified(project, log, made, fault.build, fault.concerns, asked.room_db,
                                asked.seed + 2000 + n)
                can = audible(sounds, right, fault, made)
                for number, (name, words) in told.items():
                    bad[fault.kind][name if can[number] else f"(unheard) {name}"] += 1
                    if given.each:
                        print(f"{asked} {number} {fault.kind}{'' if can[number] else ' (unheard)'}: "
                              f"{name}: {words}", flush=True)


def table(good: Counter, bad: dict[str, Counter]) -> str:
    """Say what was said of which."""
    lines = []
    for state in ("as kept", "otherwise"):
        here = {name: n for (what, name), n in good.items() if what == state}
        total = sum(here.values())
        lines.append(f"built right, sounding {state}: right {here.get('right', 0)} of {total}; "
                     + ", ".join(f"{name} {n}" for name, n in sorted(here.items()) if name != "right"))
    wrong = heard = 0
    for kind, here in bad.items():
        can = {name: n for name, n in here.items() if not name.startswith("(")}
        wrong += can.get("right", 0)
        heard += sum(can.values())
        lines.append(f"{kind:20} right {can.get('right', 0)} of {sum(can.values())}: "
                     + ", ".join(f"{name} {n}" for name, n in sorted(here.items()) if name != "right"))
    lines.append(f"controls with a fault that can be heard: {heard}, of which called right: {wrong}")
    return "\n".join(lines)


if __name__ == "__main__":
    main()
