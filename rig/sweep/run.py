"""The run of a sweep, one for both hands: make a step, see how the toy was, take it in.

A step is committed before anything closes; made; and once its take is in it waits, as the one
pending touch, for the next press to show how the toy was after it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial

from rig.bench import Touch
from rig.errors import BadSound, LogError, Restarted, ToyLost
from rig.events import (
    ControllerRestarted,
    Noticed,
    Progress,
    Recovered,
    StillSupplied,
    SweepDone,
    SweepLeft,
    SweepStarted,
    Told,
)
from rig.listen import LEAST_TAKES, lost
from rig.log import SweepLog
from rig.log.between import STAGE
from rig.log.pausing import pause_wished
from rig.log.records import CONTROL, WAY
from rig.outcomes import is_change
from rig.project import Project
from rig.sweep.book import Book
from rig.sweep.ending import finish, judge_again
from rig.sweep.hand import Hand, Leave, Made
from rig.sweep.hearing import Heard
from rig.sweep.measuring import measuring, touches_to_measure
from rig.sweep.outcome import LEAD_IN, NO_ANSWER, Outcome
from rig.sweep.paused import wait_paused
from rig.sweep.pending import Pending, TouchBefore
from rig.sweep.plan import plan, touches_left
from rig.sweep.steps import Step, clean, step_words
from rig.sweep.trips import Trips

CHANGED = "with nothing bridged the toy no longer sounds as it did: it is brought back"
KEY_CHANGES = (
    "from key {!r} on the toy no longer sounds as it did: it may change mode or volume, or play a "
    "long song"
)
PRESSES = 3
"""So often a toy is pressed after another key; it is itself if it was so once."""


class Run:
    """One run of a sweep: continues what the log holds until the plan is done.

    Parameters
    ----------
    project : Project
    hand : Hand
    log : SweepLog
        Open for writing, of this very set-up.
    retry : bool
        Make what was set aside in earlier runs after all.
    """

    def __init__(self, project: Project, hand: Hand, log: SweepLog, *, retry: bool = False):
        self.project = project
        self.retry = retry
        self.hand = hand
        self.log = log
        self.book = Book(project, log, hand.rate_hz)
        self.known = self.book.known
        hand.meet(self.book.ear, self.known)
        self._before = TouchBefore(self.book, hand)
        self._redo: Step | None = None
        self._check = "check"
        self._to_come = touches_left
        self._trips = Trips(self.book, self._before)
        self.clock: Callable[[], float] = time.monotonic

    def run(self) -> SweepDone | None:
        """Make every touch that is still due; the log tells whoever listens how it goes.

        Whatever ends it (the plan's end, an error, Ctrl-C, a listener's error), the toy is left
        off with all pads open, by a rig; where it isn't, the log has it, and the bench tells it
        again as it is closed.

        Returns
        -------
        SweepDone or None
            None where the person leaves.

        Raises
        ------
        ToyLost, BenchError, LogError, RigError
        """
        return self._until_left(self._sweep)

    def measure(self, steps: Sequence[Step]) -> SweepDone | None:
        """Make touches that measure what is kept, those that the log doesn't have yet.

        Each lies between two good clean presses, and below a value that stopped the toy none is made.
        The finds of the sweep don't hang on them.

        Parameters
        ----------
        steps : sequence of Step
            Of kind "control", in their order; one that is wanted n times stands there n times.

        Returns
        -------
        SweepDone or None
            As for `run`.

        Raises
        ------
        ToyLost, BenchError, LogError, RigError
        """
        self._check = CONTROL
        self._to_come = partial(touches_to_measure, steps=steps)
        return self._until_left(partial(self._measure, steps))

    def _measure(self, steps: Sequence[Step]) -> SweepDone:
        self._make_all(measuring(self.known, steps))
        done = self.log.tell(SweepDone(
            touches=self.known.touches, freezes=self.known.freezes,
            recoveries=self._before.recoveries,
        ))
        self.log.flush()
        return done

    def _until_left(self, work: Callable[[], SweepDone]) -> SweepDone | None:
        self.log.see_to(self.hand.idle)  # a slow disk must not trip the dead-man
        try:
            self._begin()
            return work()
        except Leave:
            self._before.drop()
            if self._check != CONTROL:
                judge_again(self.book)
            self.log.tell(SweepLeft(touches=self.known.touches))
            self.log.flush()
            return None
        finally:
            self.log.see_to(None)
            if told := self.hand.leave():
                with suppress(LogError):
                    self.log.tell(StillSupplied(why=told))

    def _begin(self) -> None:
        self.book.remember()
        for habits in self.book.habits.values():
            self.hand.know(habits)
        if self.retry:
            self.book.retry()
        state = self.hand.state()
        self.log.tell(SweepStarted(
            bench=state.kind, identity=state.identity, facts=state.facts,
            done=self.known.touches, planned=self._planned,
        ))
        key = self.project.sweep_keys[0]
        if wish := pause_wished(self.log.folder):
            wait_paused(self.hand, self.log, wish, self.clock, is_old=True)  # before the toy is on
        self.hand.start(key)
        if self._check != CONTROL:  # which begins with such a press anyway
            self._show_itself(clean("check", key))

    def _show_itself(self, press: Step) -> None:
        """Press with nothing bridged: toy and leads may have been moved, and its supply was off."""
        moved = self.hand.is_person or (self.known.between.ready and touches_left(self.known))
        if (moved or press.kind == CONTROL) and self.book.ear.takes_learnt(press.key) >= LEAST_TAKES:
            self.make(press)

    @property
    def _planned(self) -> int:
        return self.known.touches + self._to_come(self.known)

    def _sweep(self) -> SweepDone:
        self._make_all(plan(self.known, self._choose))
        return finish(self.book, self._before.recoveries)

    def _make_all(self, steps: Iterator[Step]) -> None:
        for step in steps:
            try:
                self.make(step)
            except Restarted as restart:
                self._begin_again(step, restart)
            self.pause_where_asked(step)

    def pause_where_asked(self, step: Step) -> None:
        """Look, behind a step, whether the sweep is asked to pause, and wait then with the toy off.

        A rig settles the touch before with a press first; by hand it is made again afterwards, since
        the person wants to stop now. The toy shows itself in a clean press then.
        """
        wish = pause_wished(self.log.folder)
        if wish is None:
            return
        stimuli = self.known.stimuli
        press = clean(self._check, *(step.target.keys if step.target.keys in stimuli else stimuli[0]))
        try:
            if self._before.pending and not self.hand.is_person:
                self.make(press)
            self._before.drop()
            alarm = self.hand.leave()
            wait_paused(self.hand, self.log, wish, self.clock, alarm=alarm)
            self.hand.wake(self.project.sweep_keys[0])
            # A freeze that is to be seen again would count as a confirming touch behind such a press.
            if press.kind == CONTROL or not self.known.next_freeze():
                self._show_itself(press)
        except Restarted as restart:
            self._begin_again(press, restart)

    def _choose(self) -> Step | None:
        """Pick the next pair: the one to do again, or the hand's choice."""
        if self._redo in self.known.left and self._redo not in self.known.under_way:
            return self._redo
        return self.hand.choose()

    # One step

    def make(self, step: Step, why: str = "") -> None:
        """Make a step and take in what came of it."""
        if not step.is_clean:
            self._redo = None
        if self.book.refused(step) or self.book.killed_before(step):
            return
        if self.known.doubts.wants_restoring:
            self._restore(step)
        if self._before.pending and not step.target.keys:  # without a press nothing shows how it was left
            self.make(clean(self._check, *self.known.stimuli[0]))
        if not step.is_clean:
            self._get_to_know(step.key)
        if not self.hand.ready(step):
            self._before.complete(step.key, False)
        touch = self.hand.touch(step)
        self.log.intend(step.plan_key, touch)
        began = datetime.now(UTC)
        try:
            made = self.hand.make(step, touch, why, self._before.judge)
        except (Leave, KeyboardInterrupt):
            self.log.withdraw(step.plan_key, "stopped by the person")
            raise
        if made.said:
            self._obey(step, made)
            return
        self.take_in(made, touch, began)
        if step.is_clean and not self.book.is_swept(step):
            self._look_behind(step.key)

    def _look_behind(self, other_key: str) -> None:
        """See whether a key with which nothing is touched has changed the toy, and bring it back."""
        step = clean("check", *self.known.stimuli[0])
        for _ in range(PRESSES):
            self.hand.ready(step)
            made = self.hand.make(step, self.hand.touch(step), "", lambda: None)
            heard = made.answer == "known" and not made.heard.fault
            if heard and self.book.heard_as(step.target, made.heard).sound == "none":
                return
        self.log.tell(Noticed(text=KEY_CHANGES.format(other_key)))
        try:
            revival = self.hand.restore(self.project.single_key(step.key))
            self.log.tell(Recovered(rung=revival.rung, tries=revival.tries))
        except (BadSound, ToyLost):
            self.known.other_keys.clear()  # what else it has is heard another time

    def _get_to_know(self, key: str) -> None:
        """Learn the habits of a key before the first of its touches."""
        if self.hand.is_person or key in self.book.habits:
            return
        if key not in self.project.toy.keys or self.book.ear.takes_learnt(key) < LEAST_TAKES:
            return  # a chord's keys are pressed at once: what each does alone is enough
        if self._before.pending:
            self.make(clean(self._check, key))
        learnt = self.hand.get_to_know(key)
        self.hand.know(learnt)
        self.book.habits[key] = self.log.tell(learnt)

    def take_in(self, made: Made, touch: Touch, began: datetime) -> None:
        """Write a made touch down, settle the one before it, and see what came of it."""
        step, heard = made.step, made.heard
        if made.answer == "known":  # before the row of this touch, which waits for its take
            self._before.complete(step.key, True)
        unanswered = made.answer if made.answer != "known" else None
        if unanswered and heard.fault is None:
            heard = replace(heard, fault=NO_ANSWER)
        number = self._write(made, heard, touch, began)
        if unanswered and self.book.ear.takes_learnt(step.key) < LEAST_TAKES:
            self.book.unheard(number, step, made.heard)
        elif unanswered:
            self._before.complete(step.key, False)
            # The completion stands behind this touch's take, which the next intent may overtake.
            self.log.flush()
        elif not made.answer and (pending := self._before.take()):
            self.book.unsettled(pending.number, pending.step)
        outcome = Outcome(step, heard.fault, unanswered)
        if outcome.trouble == "lost":
            self.book.lose(number, outcome, heard.fault)
        elif unanswered:
            self.book.unanswered(outcome)
        else:
            self._take_in_whole(number, replace(made, heard=heard))
        self.log.tell(Progress(
            touch=number, kind=step.kind, what=step_words(step, self.project),
            done=self.known.touches, planned=self._planned, bench_s=self.hand.now_s(),
        ))

    def _write(self, made: Made, heard: Heard, touch: Touch, began: datetime) -> int:
        number, step = self.log.next_number(), made.step
        facts = dict(made.facts)
        if stage := self.known.stage(step):
            facts[STAGE] = stage
        if step.way:
            facts[WAY] = step.way
        if made.answer and made.answer != "known":
            facts[LEAD_IN] = made.answer
        self.log.made(
            number, step.plan_key, step.kind, touch, path_ohm=step.path_ohm(self.project),
            started_at=began, timeline=heard.timeline, samples=heard.samples,
            rate_hz=self.hand.rate_hz, offsets=heard.offsets, fault=heard.fault, facts=facts,
        )
        if heard.fault:
            self.log.judged(number, lost(heard.fault))
        return number

    def _take_in_whole(self, number: int, made: Made) -> None:
        step, heard = made.step, made.heard
        self.book.patience.regain("restart", "unanswered", "unheard")
        if heard.timeline.guarded:
            self._trips.take_in(Pending(number, step, heard))
            self.hand.start(step.key)
            return
        self._trips.end_row()
        if step.is_clean:
            self.book.take_in_clean(number, step, heard)
            return
        self._before.pending = pending = Pending(number, step, heard)
        if self.hand.is_person:
            self._tell(pending)
        self._settle(pending, made)

    def _restore(self, step: Step) -> None:
        """Bring back a toy that answers, but isn't itself any more."""
        self.log.tell(Noticed(text=CHANGED))
        revival = self.hand.restore(self.project.single_key(step.key))
        self.log.tell(Recovered(rung=revival.rung, tries=revival.tries))
        self.known.doubts.restored()

    def _tell(self, pending: Pending) -> None:
        """Judge a pair's take at once and tell it."""
        self._before.judge()
        judgement, step = pending.judgement, pending.step
        if judgement.sound != "lost":
            self.log.tell(Told(
                touch=pending.number, kind=step.kind, name=step.target.name, key=step.key,
                path_ohm=step.path_ohm(self.project),
                sound=judgement.sound, amount=judgement.amount, unit=judgement.unit,
            ))

    def _settle(self, pending: Pending, made: Made) -> None:
        """See what a pair's touch left behind, and act on it."""
        key, sequel = pending.step.key, self.hand.settle(made)
        pending.ran_on = sequel in ("runs on", "answers")
        if sequel in ("again", "skip"):
            self._take_back(sequel)
        elif sequel == "stopped":
            self._before.complete(key, False)
        elif sequel == "answers":
            # It answers its key, the person says, but never falls silent.
            self._before.close(self._before.take(), "runs on", {"answered": "said"})
            self._before.revive(key, {"answered": False})
        elif made.bare:
            touch = self.hand.touch(made.bare.step)
            self.take_in(made.bare, touch, datetime.now(UTC))
        elif not self.hand.is_person:
            return
        elif pending.ran_on or is_change(pending.judgement.sound):
            self.make(clean(self._check, key), "is it as before?")
        elif pending.judgement.sound == "lost":
            self._before.close(self._before.take(), "answers", {})

    # What the person says

    def _obey(self, step: Step, made: Made) -> None:
        """Do what the person said instead of a touch."""
        self.log.withdraw(step.plan_key, made.said)
        self.known.drop(step)
        if step.is_clean and self._before.pending:
            self._take_back(made.said)
        elif step.is_clean:
            self.hand.note("that press is needed, and can't be taken back")
        elif made.said == "skip":
            self._skip(step)
        elif made.bare or not self._before.pending:
            self._redo = step
        else:
            self._take_back("again")

    def _take_back(self, said: str) -> None:
        """Have the pending touch made again, or left out."""
        step = self._before.drop().step
        if said == "skip":
            self._skip(step)
        else:
            self._redo = step

    def _skip(self, step: Step) -> None:
        self.book.set_aside(step, "skipped", "by you, for this run")

    # Failures

    def _begin_again(self, step: Step, restart: Restarted) -> None:
        """Go on after the controller restarted by itself, which it may do a few times only."""
        self._before.drop()
        self.log.tell(ControllerRestarted(why=str(restart), plan_key=step.plan_key))
        if self.book.patience.lose("restart"):
            raise restart
        self.known.drop(step)
        self.book.killed_before(step)
        self.hand.start(step.key)
