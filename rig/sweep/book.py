"""What a sweep knows, kept in step with its log: ear, knowledge of the plan, and rows."""

from __future__ import annotations

from dataclasses import replace
from typing import NoReturn

import numpy as np

from rig.errors import BadSound, CaptureLost, RigError, ToyLost
from rig.events import (
    BaselineDoubted,
    BendSeen,
    HabitsLearnt,
    Noticed,
    Retried,
    SetAside,
    SweepPaused,
    TakeLost,
    Unsettled,
)
from rig.listen import (
    LEAST_TAKES,
    Ear,
    Judgement,
    Span,
    clean,
    is_clipped,
    is_silent,
    lost,
    too_loud,
    with_lead,
)
from rig.log import SweepLog
from rig.log.between import ITSELF
from rig.log.takes import as_stored
from rig.project import Project
from rig.project.closing import refusal
from rig.sweep import sounding
from rig.sweep.hearing import EXPLAINED, Heard
from rig.sweep.known import Knowledge
from rig.sweep.limits import LIMITS, Patience
from rig.sweep.outcome import UNSETTLED, Outcome
from rig.sweep.steps import Step, step_words
from rig.touches import Target

SAMPLE_EVERY = 20
"""With `keep: finds`, every so many of the takes in which nothing was heard are kept too."""


class Book:
    """The one place in which a touch's outcome reaches ear, knowledge and log alike.

    Parameters
    ----------
    project : Project
    log : SweepLog
        Open for writing, of this very set-up.
    rate_hz : int
        Of all takes.
    """

    def __init__(self, project: Project, log: SweepLog, rate_hz: int):
        self.project = project
        self.log = log
        self.rate_hz = rate_hz
        self.known = Knowledge(project)
        self.ear = Ear(rate_hz)
        self.patience = Patience()
        self.habits: dict[str, HabitsLearnt] = {}
        self._calibrating: tuple[str, np.ndarray, Span] | None = None

    def remember(self) -> None:
        """Take in what the log holds already."""
        events = self.log.events()
        self.habits = {event.key: event for event in events if isinstance(event, HabitsLearnt)}
        retried = {event.touch for event in events if isinstance(event, Retried)}
        unsettled = {e.touch for e in events if isinstance(e, Unsettled) and e.lost}
        for record in self.log.records():
            outcome = Outcome.of(record)
            if outcome is not None and record.number in unsettled:
                outcome = replace(outcome, fault=UNSETTLED)
            if outcome is not None:
                learns = outcome.is_clean or outcome.is_loaded
                samples = self.log.read_take(record.number)[0] if learns else None
                self._apply(outcome, samples, record.offsets)
            if record.number in retried:
                self.known.retry()

    def retry(self) -> None:
        """Have what was set aside in earlier runs made after all."""
        self.known.retry()
        self.log.tell(Retried(touch=self.log.next_number() - 1))
        self.log.forgive("made after all, as the person asked")

    def _apply(
        self, outcome: Outcome, samples: np.ndarray | None, offsets: dict[str, int]
    ) -> None:
        """Take in what came of a touch: its take into the ear where it is clean, or of a lead alone.

        One that may calibrate is held until the press behind it shows that it does.
        """
        seen = self.known.apply(outcome)
        if seen.counts is not None and seen.counts.is_clean and self._calibrating:
            self.ear.calibrate(*self._calibrating)
        if samples is None or not (outcome.is_clean or outcome.is_loaded):
            return
        key, samples = outcome.step.key, as_stored(samples)
        span = self.span(offsets, len(samples))
        if outcome.is_loaded:
            self.ear.learn(with_lead(key, *outcome.step.pads), samples, span)
        elif self.known.between.waiting is outcome:
            self._calibrating = key, samples, span
        elif seen.joins or outcome.step.kind == "baseline":
            if outcome.step.kind == "baseline":
                self.ear.learn_other(key, samples, span)
            if not self.is_swept(outcome.step):
                return
            self.ear.learn(key, samples, span)
            if self.ear.takes_learnt(key) >= LEAST_TAKES:
                self.known.heard_once[key] = len(self.ear.baseline(key).heard_once)

    def is_swept(self, step: Step) -> bool:
        """Say whether pads are touched with a clean press's keys; others are heard once."""
        return step.target.keys in self.known.stimuli

    def span(self, offsets: dict[str, int], length: int) -> Span:
        """Give where a take's steps lie."""
        return Span.from_samples(offsets, length, self.rate_hz)

    def heard_as(self, target: Target, heard: Heard) -> Judgement:
        """Judge a take of a target."""
        span = self.span(heard.offsets, len(heard.samples))
        return self.ear.judge(target.key, as_stored(heard.samples), span, target.leads)

    def judge(self, number: int, step: Step, heard: Heard) -> Judgement:
        """Judge a take and log the judgement; one that is to be learnt is only looked at for level."""
        if step.kind != "baseline":
            judgement = self.heard_as(step.target, heard)
        else:
            samples = as_stored(heard.samples)
            judgement = too_loud(samples) if is_clipped(samples) else clean()
        self.log.judged(number, judgement)
        if judgement.sound != "lost":
            self.patience.regain("lost")
        elif not step.is_clean and self.patience.lose("clipped"):
            self.known.check_next()
        return judgement

    def complete(
        self, number: int, step: Step, heard: Heard, judgement: Judgement, after: str, evidence: dict
    ) -> None:
        """Settle how the toy was after a pair's touch, and tell what came of it."""
        self.log.completed(number, after, evidence)
        outcome = Outcome(step, sound=judgement.sound, after=after)
        doubtful = set(self.known.contact.doubtful)
        self._apply(outcome, heard.samples, heard.offsets)
        if set(self.known.contact.doubtful) - doubtful:
            self.log.tell(Noticed(text=(
                f"{step.target.name}, which changed the sound each time, no longer does: a lead may "
                "have come off; what was heard to do nothing since is made again once it is back"
            )))
        if outcome.trouble:
            self._again(number, step, sounding.lost_words(judgement.measures))
            return
        dull = judgement.sound == "none" and after == "answers"
        kept = step.kind != "sweep" or number % SAMPLE_EVERY == 0
        if self.project.rig.keep == "finds" and dull and not kept:
            self.log.drop_take(number)
        if outcome.is_hit and step.kind == "confirm" and not self.known.confirms.heard(step):
            self.log.tell(BendSeen(
                touch=number, name=step.target.name, key=step.key,
                path_ohm=step.path_ohm(self.project),
                sound=judgement.sound, amount=judgement.amount, unit=judgement.unit,
            ))

    def refused(self, step: Step) -> bool:
        """Set a step aside that safety refuses, whoever planned it; False where it may be made."""
        why = refusal(self.project, step.target.connections)
        if why is not None:
            self.set_aside(step, "refused", f"refused: {why}")
        return why is not None

    def killed_before(self, step: Step) -> bool:
        """Set a step aside during which this program or the rig ended twice; else False."""
        limit = LIMITS["killed"]
        # Takes with a lead on follow each other: one kill may meet two of them.
        at_once = 2 if step.kind == "baseline" else 1
        if self.log.attempts(step.plan_key) <= (limit.of_step - 1) * at_once or step.is_clean:
            return False
        self.set_aside(step, "killed", f"{limit.told}, {limit.of_step} times")
        return True

    def set_aside(self, step: Step, fault: str, why: str) -> None:
        """Leave a step to the person."""
        self.known.set_aside(step, fault)
        what = step_words(step, self.project)
        self.log.tell(SetAside(plan_key=step.plan_key, what=what, why=why))

    def lose(self, number: int, outcome: Outcome, why: str) -> None:
        """Take in a take that was lost; its touch is made again, or set aside.

        Raises
        ------
        CaptureLost
            Too many in a row.
        """
        self.known.apply(outcome)
        too_many = self.patience.lose("lost")
        self._again(number, outcome.step, why)
        if too_many:
            self.log.tell(SweepPaused(why=why))
            if why in EXPLAINED:
                look = "put that right"
            elif self._by_hand:
                look = "close other programs that record or use another input"
            else:
                look = "check the sound lead, its level and the marker's wire"
            raise CaptureLost(
                f"{self.patience.count('lost')} takes in a row were lost ({why}): {look}, {sounding.ON}"
            )

    def _again(self, number: int, step: Step, why: str) -> None:
        if not step.is_clean and self.known.spot(step).aside:
            self.set_aside(step, "lost", why)
        else:
            self.log.tell(TakeLost(touch=number, why=why))

    def unsettled(self, number: int, step: Step) -> None:
        """Take in a touch whose sequel was lost; it is made again, or set aside."""
        self.log.tell(Unsettled(touch=number, lost=True))
        self.known.apply(Outcome(step, UNSETTLED))
        self._set_aside_for(step, "unsettled")

    def _set_aside_for(self, step: Step, fault: str) -> None:
        """Set a step aside that has had this fault too often."""
        if not step.is_clean and self.known.spot(step).aside == fault:
            limit = LIMITS[fault]
            self.set_aside(step, fault, f"{limit.told}, {limit.of_step} times")

    def unanswered(self, outcome: Outcome) -> None:
        """Take in a touch that was ended for want of an answer; it is made again, or set aside.

        Raises
        ------
        ToyLost
            Too many in a row.
        """
        step, limit = outcome.step, LIMITS["unanswered"]
        self.known.apply(outcome)
        if step.is_clean and not self.is_swept(step):
            return
        if self.patience.lose("unanswered"):
            self.log.tell(SweepPaused(why=limit.told))
            raise ToyLost(
                f"key {step.key!r} is answered when it is pressed alone, but "
                f"{limit.in_a_row} touches in a row began without an answer: look at the key's "
                f"lead, the sound lead and the toy's supply, {sounding.ON}"
            )
        self._set_aside_for(step, "unanswered")

    @property
    def _by_hand(self) -> bool:
        return self.project.rig.bench == "by-hand"

    def take_in_clean(self, number: int, step: Step, heard: Heard) -> None:
        """Take in a press with nothing bridged: it joins the baseline, or is held against it.

        Raises
        ------
        BadSound
            The toy is clipped or not heard.
        RigError
            It no longer sounds like its baseline.
        """
        if not self.is_swept(step):
            self._take_in_other_key(number, step, heard)
            return
        if is_clipped(as_stored(heard.samples)):
            self.log.completed(number, "answers", {})
            self._take_in_loud(number, step, heard)
            return
        self.patience.regain("lost")
        if step.kind == "baseline":
            self.log.completed(number, "answers", {})
            if step.target.keys:
                self._check_sounding(number, step.key, heard)
            self.log.judged(number, clean())
            outcome = Outcome(step, sound="none", after="answers")
            self._apply(outcome, heard.samples, heard.offsets)
            enough = self.project.rig.sweep.baseline_takes
            if step.target.keys and self.known.clean_takes[step.key] == enough:
                text = sounding.fit_words(self.ear.peak_dbfs(step.key))
                if text:
                    self.log.tell(Noticed(text=text))
            return
        judgement = self.judge(number, step, heard)
        itself = judgement.sound == "none"
        self.log.completed(number, "answers", {ITSELF: itself})
        outcome = Outcome(step, sound=judgement.sound, after="answers", itself=itself)
        self._apply(outcome, heard.samples, heard.offsets)
        if not itself:
            self.log.tell(BaselineDoubted(touch=number, p_value=judgement.p_value))
        if self.known.doubts.is_lost:
            raise RigError(
                f"the toy no longer sounds like its baseline (touch {number}): check battery, "
                "leads and sound level, then start a new sweep with `padsweep sweep --name`"
            )

    def _take_in_other_key(self, number: int, step: Step, heard: Heard) -> None:
        """Take in what a key brings forth with which nothing is touched; no level of it is wrong."""
        self.log.completed(number, "answers", {})
        judgement = self.judge(number, step, heard)
        outcome = Outcome(step, sound=judgement.sound, after="answers")
        self._apply(outcome, heard.samples, heard.offsets)

    def _take_in_loud(self, number: int, step: Step, heard: Heard) -> None:
        """Take in a clean press that is clipped: as a lost take, or as a level that is wrong."""
        judgement = too_loud(heard.samples)
        self.log.judged(number, judgement)
        too_many = self._is_first_baseline() and self.patience.lose("clipped baseline")
        learnt = self.ear.takes_learnt(step.key)
        if not learnt or too_many:
            self._refuse(sounding.too_loud(step.key, heard.samples))
        try:
            outcome = Outcome(step, sound=judgement.sound, after="answers")
            self.lose(number, outcome, sounding.lost_words(judgement.measures))
        except CaptureLost:
            rise_db = judgement.measures["over_db"] - self.ear.peak_dbfs(step.key)
            raise sounding.grown_loud(step.key, rise_db, self.patience.count("lost")) from None

    def unheard(self, number: int, step: Step, heard: Heard) -> None:
        """Take in one of a key's first presses that brought no sound; a toy may miss a few.

        Raises
        ------
        BadSound
            Something covers the toy, or it wasn't heard too often.
        """
        self.log.completed(number, "answers", {})
        if not len(heard.samples) or not self.is_swept(step):
            return
        quiet_db, stands_db = self._loudness(heard)
        covers = quiet_db >= sounding.HIDES_DBFS or is_silent(heard.samples)
        if self.patience.lose("unheard") or covers:
            self._refuse_hidden(step.key, heard, quiet_db, stands_db)

    def _check_sounding(self, number: int, key: str, heard: Heard) -> None:
        quiet_db, stands_db = self._loudness(heard)
        if stands_db < sounding.NEEDED_DB:
            self.log.judged(number, lost("not heard"))
            self._refuse_hidden(key, heard, quiet_db, stands_db)

    def _loudness(self, heard: Heard) -> tuple[float, float]:
        press = heard.frame("press", self.rate_hz)
        return sounding.loudness(heard.samples, press, self.rate_hz)

    def _refuse_hidden(
        self, key: str, heard: Heard, quiet_db: float, stands_db: float
    ) -> NoReturn:
        self._refuse(sounding.hidden(
            key, quiet_db=quiet_db, stands_db=stands_db,
            sound=heard.samples, rate_hz=self.rate_hz, by_hand=self._by_hand,
        ))

    def _refuse(self, reason: BadSound) -> NoReturn:
        """Stop for a level that is wrong; a baseline without pairs is made afresh next time."""
        if self._is_first_baseline():
            for record in self.log.records():
                outcome = Outcome.of(record)
                if outcome is not None and outcome.is_clean:
                    self.log.judged(record.number, lost("made at another level"))
        self.log.tell(SweepPaused(why=str(reason)))
        self.log.flush()
        raise reason

    def _is_first_baseline(self) -> bool:
        """Say whether no pair has been touched yet."""
        self.log.flush()
        return all(record.target.is_clean for record in self.log.records())

