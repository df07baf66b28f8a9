"""Sweeps of invented toys, with troubles at given moments, and the text of their logs."""

from __future__ import annotations

import itertools
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "unit"))

from golden_text import line, log_lines
from hands import Hands, StandIn, write_project

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.board import make_board
from rig.bench.simulated.folder import new_simulated_project
from rig.errors import BenchError, Restarted, RigError
from rig.log import SweepLog
from rig.project import Project, load_project, setup_facts, setup_hash
from rig.project.models import letters
from rig.sweep import Sweep
from rig.sweep.asking import SweepByHand

TAKES = 8
PATIENCE_S = 3600.0
TIMES = {"softer": np.float32(0.3), "louder": np.float32(30)}
BEYOND_THE_LEAD_IN = 4
"""A take's first piece (0.1 s each) that is wholly behind the lead-in."""


@dataclass(frozen=True)
class Golden:
    """An invented toy, how it is swept, and what goes wrong meanwhile.

    Parameters
    ----------
    kind, seed, pads : str, int, int
    series_ohm : tuple of float
        By hand: what is between the tips.
    leads : str
        The pads that are reached; all where it is empty.
    by_hand : bool
    runs : tuple of dict
        The sweep is begun so many times, and goes on with what the log holds. For each run what
        goes wrong, and when: at the n-th touch with a pair bridged, ("pair", n), or with a key
        alone, ("press", n); by hand at the n-th prompt of a kind, or at each.
    rig : dict
        Further parts of rig.yaml.
    on, reset_line : bool
        A key is named that turns the toy on; a reset line is wired.
    """

    kind: str
    seed: int
    pads: int
    series_ohm: tuple[float, ...]
    leads: str = ""
    by_hand: bool = False
    runs: tuple[dict, ...] = ({},)
    rig: dict = field(default_factory=dict)
    on: bool = False
    reset_line: bool = False


class Troubled(SimulatedBench):
    """A bench with trouble at some of its touches.

    restart: the controller restarts; broken: the bench fails; stop: Ctrl-C; deaf: no marker;
    lost: lost samples; softer, louder: the sound behind the lead-in; dead: from this touch on the
    toy feels no key, until it is reset or its supply was off; late: it is dead, and the host can't
    keep touches from closing.
    """

    def __init__(self, project: Project, troubles: dict, reset_line: bool) -> None:
        super().__init__(project)
        self.troubles, self.reset_line = troubles, reset_line
        self.begun, self.trouble = Counter(), ""
        self.dead = self.late = False
        press = self.toy.keys
        self.toy.keys = lambda down: press(set() if self.dead else down)

    def begin(self, touch):
        kind = "pair" if touch.connections else "press" if touch.stimulus.keys else "listen"
        self.begun[kind] += 1
        self.trouble = self.troubles.get((kind, self.begun[kind]), "")
        self.dead = self.dead or self.trouble in ("dead", "late")
        self.late = self.late or self.trouble == "late"
        if self.trouble == "restart":
            self.supply(False)
            raise Restarted("controller on port restarted by itself (start 1 -> 2; 103)")
        if self.trouble == "broken":
            raise BenchError("the controller doesn't answer")
        super().begin(touch)

    def stream(self):
        for number, chunk in enumerate(super().stream()):
            if self.trouble == "stop":
                raise KeyboardInterrupt
            if self.trouble == "deaf":
                chunk = replace(chunk, marker=np.zeros_like(chunk.marker))
            if self.trouble == "lost":
                chunk = replace(chunk, lost=number == 3)
            if self.trouble in TIMES and number >= BEYOND_THE_LEAD_IN:
                chunk = replace(chunk, sound=np.clip(TIMES[self.trouble] * chunk.sound, -1, 1))
            yield chunk

    def end_early(self):
        if not self.late:
            super().end_early()

    def supply(self, on):
        super().supply(on)
        if not on:
            self.dead = self.late = False

    def pulse_reset(self):
        self.dead = self.dead and not self.reset_line
        return self.reset_line


def says(word: str) -> Callable[[StandIn], bool]:
    """The person answers so, and does nothing else."""
    def act(bench):
        bench.answers.append(word)
        return True
    return act


def nothing(bench: StandIn) -> bool:
    """The person isn't there."""
    bench.hands.obey("room", "", None)
    return True


def taps(bench: StandIn) -> bool:
    """The person taps on the microphone: twice for "again"."""
    nothing(bench)
    bench.hands.tap(2)
    return True


ACTS = {"nothing": nothing, "taps": taps} | {
    word: says(word) for word in ("again", "skip", "froze", "leave")
}


class Clock:
    """Gives each row of a log a time of its own, in the order in which they are made."""

    def __init__(self) -> None:
        self._seconds = itertools.count()
        self.now = self()

    def __call__(self) -> datetime:
        """Give the next moment."""
        self.now = datetime(2000, 1, 1, tzinfo=UTC) + timedelta(seconds=next(self._seconds))
        return self.now


class Report:
    """What was told while the sweep ran, each line with the log's time."""

    def __init__(self, clock: Clock) -> None:
        self.lines: list[tuple[str, str]] = []
        self._clock = clock

    def add(self, told: str) -> None:
        """Note a line."""
        self.lines.append((self._clock.now.isoformat(timespec="milliseconds"), told))


class Person(StandIn):
    """Hands that do what they are asked but for some acts, and note what they are told."""

    def __init__(self, hands: Hands, script: dict, report: Report) -> None:
        super().__init__(hands, {asked: ACTS[act] for asked, act in script.items()})
        self._report = report

    def listen(self):
        assert self.now_s() < PATIENCE_S, "the sweep waits for ever"
        return super().listen()

    def say(self, prompt):
        self._report.add(line("asked", vars(prompt)))
        super().say(prompt)

    def note(self, text):
        self._report.add(line("noted", {"text": text}))
        super().note(text)


def make_project(golden: Golden, folder: Path) -> Project:
    """Write and load the project of a toy."""
    leads = golden.leads or "".join(letters(golden.pads))
    if golden.by_hand:
        write_project(folder, golden.seed, golden.pads, leads, kind=golden.kind, takes=TAKES)
        project = load_project(folder)
        changed = {"series_ohm": list(golden.series_ohm)}
        return replace(project, rig=project.rig.model_copy(update=changed))
    project = new_simulated_project(folder, golden.seed, golden.pads, golden.kind)
    toy, rig = project.toy.model_dump(), project.rig.model_dump()
    for letter in {*toy["pads"]} - {*leads}:
        toy["pads"][letter]["forbidden"] = True
    if golden.on:
        toy["on"] = [*toy["on"], list(toy["keys"])[1]]
    rig |= {"series_ohm": list(golden.series_ohm), "sweep": {"baseline_takes": TAKES}}
    for part, more in golden.rig.items():
        rig[part] = rig[part] | more if isinstance(rig.get(part), dict) else more
    return replace(
        project, toy=type(project.toy).model_validate(toy),
        rig=type(project.rig).model_validate(rig),
    )  # fmt: skip


def run(
    golden: Golden, project: Project, log: SweepLog, troubles: dict, report: Report
) -> None:
    """Begin the sweep, or go on with it."""
    if golden.by_hand:
        board = make_board(golden.seed, golden.pads, golden.kind)
        hands = Hands(board, golden.seed, golden.series_ohm[0], (0.35, 0.7))
        SweepByHand(project, Person(hands, troubles, report), log).run()
    else:
        Sweep(project, Troubled(project, troubles, golden.reset_line), log).run()


def swept(golden: Golden) -> tuple[str, int]:
    """Sweep a toy; give the log's text, and how many touches are in it."""
    clock = Clock()
    report = Report(clock)
    with tempfile.TemporaryDirectory() as name:
        project = make_project(golden, Path(name) / "toy")
        folder, made = Path(name) / "sweep", SweepLog.create
        for troubles in golden.runs:
            with closing(made(folder, setup=setup_facts(project), setup_hash=setup_hash(project),
                              clock=clock)) as log:  # fmt: skip
                try:
                    run(golden, project, log, troubles, report)
                except (RigError, KeyboardInterrupt) as end:
                    why = str(end).replace(name, "FOLDER")
                    report.add(line("ended", {"by": type(end).__name__, "why": why}))
            made = SweepLog.open
        lines = sorted([*log_lines(folder), *report.lines], key=lambda one: one[0])
    text = "".join(f"{one}\n" for _, one in lines)
    return text, text.count("\ntouch {")
