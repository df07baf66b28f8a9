"""What a sweep knows, kept in step with its log: ear, knowledge of the plan, and rows."""

from __future__ import annotations

import numpy as np

from rig.errors import RigError
from rig.listen import LEAST_TAKES, STOPS, Ear, Judgement, Span, clean, frames, is_change
from rig.log import Record, SweepLog
from rig.log.takes import as_stored
from rig.project import Project, path_ohm
from rig.sweep.events import BendSeen, SetAside
from rig.sweep.hearing import Heard
from rig.sweep.plan import Knowledge, Step, step_words
from rig.sweep.rejudge import is_clean

SAMPLE_EVERY = 20
"""With `keep: finds`, every so many of the takes in which nothing was heard are kept too."""
CHECKS_IN_A_ROW = 3
SOUNDING_DB = 12.0
"""A key's sound must stand this far above the room for the ear to work."""
QUIET_PERCENT = 5.0
"""So much of a take, at least, holds only the room, unless the toy never stops sounding."""


class Book:
    """The one place in which a touch's outcome reaches ear, knowledge and log alike.

    Parameters
    ----------
    project : Project
    log : SweepLog
        Open for writing, of this very set-up.
    rate_hz : int
        Of all takes.

    Attributes
    ----------
    touches, freezes : int
        Touches made and freezes seen, those of earlier runs included.
    """

    def __init__(self, project: Project, log: SweepLog, rate_hz: int):
        self.project = project
        self.log = log
        self.rate_hz = rate_hz
        self.known = Knowledge(project)
        self.ear = Ear(rate_hz)
        self.touches = 0
        self.freezes = 0
        self._odd_checks = 0

    def remember(self) -> None:
        """Take in what the log holds already."""
        for record in self.log.records():
            step = _step_of(record)
            if record.fault or not record.complete or step is None:
                continue
            if record.sound == "lost" and not record.stops:
                self.known.fail(step)
                continue
            self.touches += 1
            if is_clean(record):
                samples, _ = self.log.read_take(record.number)
                self.learn(step.key, samples, record.offsets)
            self.known.note(step, is_change(record.sound), record.after)
            self.freezes += record.after == "freeze"
        self.known.since_check = 0

    def learn(self, key: str, samples: np.ndarray, offsets: dict[str, int]) -> None:
        """Add a clean take to its key's baseline."""
        self.ear.learn(key, as_stored(samples), self.span(offsets, len(samples)))
        if self.ear.takes_learnt(key) >= LEAST_TAKES:
            self.known.heard_once[key] = len(self.ear.baseline(key).heard_once)

    def span(self, offsets: dict[str, int], length: int) -> Span:
        """Give where a take's steps lie."""
        return Span.from_samples(offsets, length, self.rate_hz)

    def judge(self, number: int, step: Step, heard: Heard) -> Judgement:
        """Judge a take and log the judgement."""
        span = self.span(heard.offsets, len(heard.samples))
        judgement = self.ear.judge(step.key, as_stored(heard.samples), span)
        self.log.judged(number, judgement)
        return judgement

    def judge_hits_again(self) -> None:
        """Hold every hit against all the clean takes that there are by the end."""
        self.log.flush()
        for record in self.log.records():
            if (record.kind in ("sweep", "confirm") and record.complete and record.take
                    and is_change(record.sound)):
                samples, _ = self.log.read_take(record.number)
                span = self.span(record.offsets, len(samples))
                self.log.judged(record.number, self.ear.judge(record.key, samples, span))

    def complete(
        self, number: int, step: Step, judgement: Judgement, after: str, evidence: dict
    ) -> BendSeen | None:
        """Settle how the toy was after a pair's touch; gives the bend that it confirms."""
        self.log.completed(number, after, evidence)
        if judgement.sound == "lost" and after not in STOPS:
            self.known.fail(step)
            return None
        hit = self.ear.is_hit(judgement)
        self.known.note(step, hit, after)
        dull = judgement.sound == "none" and after == "answers"
        if self.project.rig.keep == "finds" and dull and number % SAMPLE_EVERY:
            self.log.drop_take(number)
        if not hit or step.kind != "confirm":
            return None
        path = path_ohm(self.project.rig, step.series_ohm)
        return BendSeen(step.pads, path, judgement.sound, judgement.amount, judgement.unit)

    def set_aside(self, step: Step, why: str) -> SetAside:
        """Note that a step is left to the person; gives what tells so."""
        self.log.event("set aside", plan_key=step.plan_key, why=why)
        return SetAside(step_words(step, self.project), why)

    def take_in_clean(self, number: int, step: Step, heard: Heard) -> None:
        """Take in a press with nothing bridged: it joins the baseline, or is held against it.

        Raises
        ------
        RigError
            Nothing is heard at all, or the toy no longer sounds like its baseline.
        """
        self.log.completed(number, "answers", {})
        if step.kind == "baseline":
            self._check_sounding(step.key, heard)
            self.learn(step.key, heard.samples, heard.offsets)
            self.log.judged(number, clean())
            self.known.note(step, False, "answers")
            return
        judgement = self.judge(number, step, heard)
        self.known.note(step, False, "answers")
        if self.ear.is_hit(judgement):
            self._odd_checks += 1
            self.known.since_check = 10**6  # ask again before the next pair
            self.log.event("baseline doubted", touch=number, p_value=judgement.p_value)
        else:
            if self._odd_checks:  # the toy is the same, but it does that by itself now and then
                self.known.hear_more(step.key)
            self._odd_checks = 0
            self.learn(step.key, heard.samples, heard.offsets)
        if self._odd_checks >= CHECKS_IN_A_ROW:
            raise RigError(
                f"the toy no longer sounds like its baseline (touch {number}): check battery, "
                "leads and sound level, then start a new sweep with `padsweep sweep --name`"
            )

    def _check_sounding(self, key: str, heard: Heard) -> None:
        take = frames(heard.samples, self.rate_hz)
        span = self.span(heard.offsets, len(heard.samples))
        # The toy may still sound from before its press; somewhere in the take it is quiet.
        before = np.median(take.level_db[: max(1, span.press - 2)])
        quiet = min(before, np.percentile(take.level_db, QUIET_PERCENT))
        if np.percentile(take.level_db[span.press :], 90) < quiet + SOUNDING_DB:
            raise RigError(
                f"nothing is heard when key {key!r} is pressed: check the toy's supply, its "
                "volume, the key's lead and the sound input's level"
            )


def _step_of(record: Record) -> Step | None:
    """Give the step of the plan that a log row came from."""
    keys = record.touch.stimulus.keys
    if record.kind not in ("baseline", "sweep", "confirm", "check") or len(keys) != 1:
        return None
    if not record.touch.connections:
        return Step(record.kind, keys[0])
    connection = record.touch.connections[0]
    pair = (connection.pads_1[0], connection.pads_2[0])
    return Step(record.kind, keys[0], pair, connection.series_ohm)
