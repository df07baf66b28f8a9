"""A log as large as a long night's, for the benchmark of the page: invented rows, a few real takes.

A simulated board of 8 pads is swept; what its touches came to is then dealt out to the pairs of a board
with many more, through the log's own writer, in the order in which a sweep makes them: clean takes,
each pair from the highest path down, then what was heard again, each between two clean presses. The
shapes of the changes are shifted a little, so that there are many families. Only clean takes, and one
touch of each path that was heard, have a take.
"""

from __future__ import annotations

import contextlib
import io
import tempfile
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from rig.bench.base import Connection, Stimulus, Touch
from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.events import BendSeen, Event, Progress, SweepDone, SweepStarted
from rig.listen.judgement import Judgement
from rig.log import Record, SweepLog
from rig.log.between import ITSELF, STAGE
from rig.log.opening import open_log
from rig.project import Project, path_ohm, setup_facts, setup_hash
from rig.sweep import Sweep

SMALL_PADS, SMALL_SEED = 8, 8
BASELINE_TAKES, CALIBRATING_TAKES = 16, 24
CONFIRMED = 3
PRESS_EVERY = 60


@dataclass(frozen=True)
class Real:
    """Touches of a sweep that was made, and their takes."""

    records: tuple[Record, ...]
    takes: dict[int, np.ndarray]

    def of(self, is_wanted) -> list[Record]:
        """Give those that are wanted and have a take."""
        return [one for one in self.records if one.number in self.takes and is_wanted(one)]


def swept_small() -> Real:
    """Sweep the small board."""
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(Path(folder) / "toy", SMALL_SEED, SMALL_PADS)
        with open_log(project, "main") as log, contextlib.redirect_stdout(io.StringIO()):
            Sweep(project, SimulatedBench(project), log).run()
            records = tuple(log.records())
            wanted = [one.number for one in records if one.take and one.counts]
            return Real(records, {number: log.read_take(number)[0] for number in wanted})


class Night:
    """Writes the rows of a night.

    Parameters
    ----------
    project : Project
        Its board; nothing of it was swept.
    real : Real
    finds : int
        So many are asked for; a few pairs have two.
    seed : int
    """

    def __init__(self, project: Project, real: Real, finds: int, seed: int = 1) -> None:
        self._project, self._real = project, real
        self._random = np.random.default_rng(seed)
        self._key = project.sweep_keys[0]
        self._finds = finds
        self._hits = real.of(lambda one: one.kind == "confirm" and one.sound not in ("none", "lost")
                             and "change_db" in one.measures and not one.stops)  # fmt: skip
        self._clean = real.of(lambda one: one.kind == "check" and one.sound == "none")
        self._quiet = real.of(lambda one: one.kind == "sweep" and one.sound == "none")
        self._series_ohm = sorted(project.rig.swept_ohm)[:2]

    def write(self, touches: int) -> SweepLog:
        """Write so many touches, or a few less, and give the log, closed."""
        with SweepLog.create(self._project.folder / "sweeps/main", setup_facts(self._project),
                             setup_hash(self._project), {}) as log:
            log.tell(SweepStarted(bench="simulated", identity="none", done=0, planned=touches))
            for number in range(BASELINE_TAKES):
                self._add(log, "baseline", None, self._clean[number % len(self._clean)], touches)
            heard = self._sweep(log, touches)
            for _ in range(2 * CALIBRATING_TAKES):
                self._press(log, touches)
            self._confirm(log, heard, touches)
            while log.next_number() <= touches:
                self._press(log, touches)
            log.tell(SweepDone(touches=touches, freezes=0, recoveries=0))
        return log

    def _sweep(self, log: SweepLog, touches: int) -> list[tuple[tuple[str, str], float, Record]]:
        """Touch every pair over two paths; gives what was heard, with the touch that it is told as."""
        pairs = list(combinations(self._project.toy.pads, 2))
        bends = [pairs[n] for n in sorted(self._random.permutation(len(pairs))[: round(self._finds * 0.93)])]
        both = set(bends[:: max(1, round(len(bends) / (self._finds * 0.07)))])
        bends_too = set(bends)
        heard = []
        for at, pair in enumerate(pairs):
            if at % PRESS_EVERY == 0:
                self._press(log, touches)
            for series_ohm in reversed(self._series_ohm):
                is_high = series_ohm == self._series_ohm[-1]
                if pair in bends_too and (is_high or pair in both):
                    one = self._hits[int(self._random.integers(len(self._hits)))]
                    heard.append((pair, series_ohm, one))
                    self._add(log, "sweep", (pair, series_ohm), one, touches, with_take=False)
                    log.tell(BendSeen(name="-".join(pair), key=self._key, path_ohm=path_ohm(
                        self._project.rig, series_ohm), sound=one.sound, amount=one.amount, unit=one.unit))
                else:
                    self._add(log, "sweep", (pair, series_ohm), self._quiet[at % len(self._quiet)], touches,
                              with_take=False)
        return heard

    def _confirm(self, log: SweepLog, heard, touches: int) -> None:
        for pair, series_ohm, one in heard:
            for time in range(CONFIRMED):
                self._add(log, "confirm", (pair, series_ohm), one, touches, with_take=time == 0,
                          facts={STAGE: 1})  # fmt: skip
                self._press(log, touches)

    def _press(self, log: SweepLog, touches: int) -> None:
        one = self._clean[int(self._random.integers(len(self._clean)))]
        self._add(log, "check", None, one, touches, with_take=False, facts={ITSELF: True})

    def _add(
        self, log: SweepLog, kind: str, joined, real: Record, touches: int, *, with_take: bool = True,
        facts: dict[str, Any] | None = None,
    ) -> None:
        """Write one touch that came to what a real one did, its shape shifted by a dB or two."""
        connections, ohm = (), None
        if joined is not None:
            (one, other), series_ohm = joined
            connections = (Connection((one,), (other,), series_ohm),)
            ohm = path_ohm(self._project.rig, series_ohm)
        number = log.next_number()
        touch = Touch(connections, Stimulus((self._key,)))
        measures = dict(real.measures) | {"calibrating": CALIBRATING_TAKES, "as_far": 0}
        if "change_db" in measures:
            seed = 7 * sum(map(ord, "".join(joined[0]))) if joined else 0
            shift = np.random.default_rng(seed).integers(-9, 10, len(measures["change_db"]))
            measures["change_db"] = [float(a + b) for a, b in zip(measures["change_db"], shift, strict=True)]
        samples = self._real.takes[real.number] if with_take else None
        log.made(
            number, f"{kind} {number}", kind, touch, path_ohm=ohm, started_at="2031-05-04T03:02:01.000+00:00",
            timeline=real.timeline, samples=samples, rate_hz=real.rate_hz, offsets=real.offsets, facts=facts,
        )  # fmt: skip
        log.judged(number, Judgement(real.sound, amount=real.amount, unit=real.unit, score=real.score or 0.0,
                                     p_value=real.p_value, judge=real.judge or "", measures=measures))  # fmt: skip
        log.completed(number, "answers", {})
        log.tell(_progress(kind, joined, number, touches))


def _progress(kind: str, joined, number: int, touches: int) -> Event:
    what = "a clean press" if joined is None else "-".join(joined[0])
    return Progress(kind=kind, what=what, done=number, planned=touches, bench_s=2.0 * number)


def big_project(folder: Path, touches: int, finds: int, pads: int) -> Project:
    """Make a project with such a log."""
    project = new_simulated_project(folder, 5, pads)
    Night(project, swept_small(), finds).write(touches)
    return project
