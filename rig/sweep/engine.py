"""The engine: the only thing that acts. It makes the plan's touches one after the other.

One touch overlaps the work on the one before it: while the bench presses and dwells, the
last take is judged and written; and the lead-in of each touch shows how the toy was after
the one before. So a touch is *made* when its take is in and *complete* one press later.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Generator, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from statistics import median

from rig.bench import Bench, Touch
from rig.errors import GuardTripped, LogError, Restarted, ToyLost
from rig.listen import LEAST_TAKES, Judgement, lost
from rig.log import SweepLog
from rig.project import Project, path_ohm
from rig.sweep.book import Book
from rig.sweep.events import (
    FreezeSeen,
    Progress,
    Recovered,
    SweepDone,
    SweepEvent,
    SweepStarted,
)
from rig.sweep.hearing import Heard, LeadIn, hear
from rig.sweep.outcome import LEAD_IN, NO_ANSWER, Answer, Outcome
from rig.sweep.plan import plan, touches_left
from rig.sweep.recovery import TAIL_CHECK_S, Recovery
from rig.sweep.steps import Step, step_words

RATIOS_KEPT, RATIOS_NEEDED = 25, 9
"""Touches over which the two clocks are compared: the middle one of the latest counts."""
RESTARTS_IN_A_ROW, TRIPS_IN_A_ROW = 3, 3


@dataclass
class _Pending:
    """A touch that is made but not complete."""

    number: int
    step: Step
    heard: Heard
    judgement: Judgement | None = None
    ran_on: bool = False


class Sweep:
    """One run of a sweep: continues what the log holds until the plan is done.

    Parameters
    ----------
    project : Project
    bench : Bench
    log : SweepLog
        Open for writing, of this very set-up.
    """

    def __init__(self, project: Project, bench: Bench, log: SweepLog):
        self.project = project
        self.bench = bench
        self.log = log
        self.book = Book(project, log, bench.rate_hz)
        self.known = self.book.known
        self.ear = self.book.ear
        self.recovery = Recovery(project, bench, log.event)
        self.recoveries = 0
        self._pending: _Pending | None = None
        self._news: list[SweepEvent] = []
        self._restarts = 0
        self._tripped: list[frozenset[str]] = []
        self._ratios: deque[float] = deque(maxlen=RATIOS_KEPT)

    def run(self) -> Generator[SweepEvent, None, None]:
        """Make every touch that is still due, and report as it goes.

        Whatever ends it (the plan's end, an error, Ctrl-C, the caller's `close()`), the toy
        is left off with all pads open; where it isn't, the log has it, and the bench tells it
        again as it is closed.

        Raises
        ------
        ToyLost, BenchError, LogError
        """
        self.log.see_to(lambda: self.bench.wait(0.0))  # a slow disk must not trip the dead-man
        try:
            self.book.remember()
            state = self.bench.state()
            self.log.event("begun", bench=state.kind, identity=state.identity, **state.facts)
            yield SweepStarted(self.known.touches, self.known.touches + touches_left(self.known))
            self.recovery.start()
            for step in plan(self.known):
                try:
                    yield from self._make(step)
                except Restarted as restart:
                    yield from self._begin_again(step, restart)
            yield from self.book.finish()
            yield SweepDone(self.known.touches, self.known.freezes, self.recoveries)
        finally:
            self.log.see_to(None)
            if told := self.bench.safe():
                with suppress(LogError):
                    self.log.event("not off", why=told)

    # One step

    def _make(self, step: Step) -> Iterator[SweepEvent]:
        if refused := self.book.refused(step):
            yield refused
            return
        if killed := self.book.killed_before(step):
            yield killed
            return
        touch = step.touch(self.project)
        if step.kind == "baseline":
            self._wait_for_quiet(step.key)
        self.log.intend(step.plan_key, touch)
        began = datetime.now(UTC)
        lead_in = self._lead_in(step)
        try:
            heard = hear(
                self.bench, touch, watch=lead_in,
                meanwhile=self._judge_pending, known_ratio=self._known_ratio(),
            )
        except KeyboardInterrupt:
            self.bench.safe()
            self.log.withdraw(step.plan_key, "stopped by the person")
            raise
        if heard.clock_ratio is not None:
            self._ratios.append(heard.clock_ratio)
        answer = lead_in.answer if lead_in else None
        if answer == "known":  # before the row of this touch, which waits for its take
            yield from self._complete_pending(step.key, True)
        unanswered = answer if answer != "known" else None
        if unanswered and heard.fault is None:
            heard = replace(heard, fault=NO_ANSWER)
        number = self.log.next_number()
        self._write(number, step, touch, began, heard, unanswered)
        if unanswered:
            closed = step.pads is not None and heard.timeline.close_us is not None
            yield from self._complete_pending(step.key, False, closed)
            # The completion stands behind this touch's take, which the next intent may overtake.
            self.log.flush()
        elif not answer:
            self._drop_pending()
        yield from self._take_in(number, step, heard, unanswered)
        yield Progress(
            number=number, kind=step.kind, what=step_words(step, self.project),
            done=self.known.touches, planned=self.known.touches + touches_left(self.known),
            bench_s=self.bench.now_s(),
        )
        yield from self._drain_news()

    def _known_ratio(self) -> float | None:
        """Give how fast the sound device's clock runs against the controller's, once known."""
        return median(self._ratios) if len(self._ratios) >= RATIOS_NEEDED else None

    def _wait_for_quiet(self, key: str) -> None:
        """Let the last phrase end, so that a clean take has a quiet beginning."""
        longest_s = self.project.toy.longest_phrase_s
        if self.ear.takes_learnt(key) >= LEAST_TAKES:
            self.recovery.listen(longest_s, self.ear.baseline(key))
        else:
            self.bench.wait(longest_s)

    def _lead_in(self, step: Step) -> LeadIn | None:
        """Give what watches a step's lead-in; None while too little of the toy is known."""
        is_clean = step.kind == "baseline"
        if is_clean and self.ear.takes_learnt(step.key) < LEAST_TAKES:
            return None
        return LeadIn(
            lambda: self.ear.baseline(step.key), self.project.rig.timings.before_ms / 1000,
            self.bench.rate_hz, strange_is_known=is_clean,
        )

    def _write(
        self, number: int, step: Step, touch: Touch, began: datetime, heard: Heard,
        unanswered: Answer | None,
    ) -> None:
        path = None if step.pads is None else path_ohm(self.project.rig, step.series_ohm)
        facts: dict = {"rail_v": round(self.bench.rail_v(), 3)}
        if unanswered:
            facts[LEAD_IN] = unanswered
        self.log.made(
            number, step.plan_key, step.kind, touch, path_ohm=path, started_at=began,
            timeline=heard.timeline, samples=heard.samples, rate_hz=self.bench.rate_hz,
            offsets=heard.offsets, fault=heard.fault,
            facts=facts,
        )
        if heard.fault:
            self.log.judged(number, lost(heard.fault))

    def _take_in(
        self, number: int, step: Step, heard: Heard, unanswered: Answer | None
    ) -> Iterator[SweepEvent]:
        outcome = Outcome(step, heard.fault, unanswered)
        if outcome.is_lost:
            yield from self.book.lose(number, outcome, heard.fault)
            return
        if unanswered:
            self.known.apply(outcome)
            return
        self._restarts = 0
        if heard.timeline.guarded:
            self._take_in_trip(_Pending(number, step, heard))
            return
        self._tripped.clear()
        if step.pads is None:
            yield from self.book.take_in_clean(number, step, heard)
            return
        pending = _Pending(number, step, heard)
        if self._still_sounds(step.key, heard):
            pending.ran_on = self.recovery.listen(
                self.project.toy.longest_phrase_s, self.ear.baseline(step.key)
            )
        self._pending = pending

    def _take_in_trip(self, pending: _Pending) -> None:
        """Keep a touch in which the guard tripped, and supply the toy again.

        Raises
        ------
        GuardTripped
            It trips with nothing bridged, or again and again.
        """
        self.log.event("guard tripped", pending.number)
        bridged = pending.step.pads is not None and pending.heard.timeline.close_us is not None
        if bridged:
            pending.judgement = self._judge(pending)
            self._close_book(pending, "guarded", {})
            self._tripped.append(frozenset(pending.step.pads))
            # A pad that pulls hard trips with many others; a short or a warm part with any.
            if len(self._tripped) < TRIPS_IN_A_ROW or frozenset.intersection(*self._tripped):
                self.recovery.start()
                return
        else:
            self.log.completed(pending.number, "guarded", {})
        raise GuardTripped(
            "the toy drew more supply current than guard in rig.yaml allows, "
            + (f"{len(self._tripped)} times running" if bridged else "with nothing bridged")
            + ": it is off; look for a short or warm parts, then run `padsweep sweep` to continue"
        )

    def _still_sounds(self, key: str, heard: Heard) -> bool:
        """Say whether the take ends in sound where the toy itself is quiet by then."""
        baseline = self.ear.baseline(key)
        tail = heard.samples[-int(TAIL_CHECK_S * self.bench.rate_hz) :]
        return baseline.ends_quiet and not self.recovery.is_quiet(tail, baseline)

    # The touch before

    def _judge(self, pending: _Pending) -> Judgement:
        return self.book.judge(pending.number, pending.step, pending.heard)

    def _judge_pending(self) -> None:
        if self._pending and self._pending.judgement is None:
            self._pending.judgement = self._judge(self._pending)

    def _complete_pending(
        self, key: str, answered: bool, closed_meanwhile: bool = False
    ) -> Iterator[SweepEvent]:
        """Settle how the toy was after the last touch, now that a key was pressed again.

        Where the host was too slow to keep the next touch from closing, that is kept as
        evidence: the toy's state may be that one's doing.
        """
        pending, self._pending = self._pending, None
        evidence: dict = {"answered": answered}
        if closed_meanwhile:
            evidence["closed_meanwhile"] = True
        after = "runs on" if pending and pending.ran_on else "answers"
        if not answered:
            try:
                revival = self.recovery.revive(key, self.ear.baseline(key))
            except ToyLost:
                if pending:
                    self._close_book(pending, "freeze", evidence | {"rung": "none"})
                raise
            evidence |= {"rung": revival.rung, "tries": revival.tries}
            self.log.event("recovered", pending.number if pending else None, **evidence)
            if revival.froze:
                after = "freeze"
                self.recoveries += 1
                yield Recovered(revival.rung, revival.tries)
        if pending is None:
            return
        if after == "freeze":
            yield FreezeSeen(
                pending.step.pads, path_ohm(self.project.rig, pending.step.series_ohm)
            )
        self._close_book(pending, after, evidence)

    def _close_book(self, pending: _Pending, after: str, evidence: dict) -> None:
        news = self.book.complete(
            pending.number, pending.step, pending.judgement, after, evidence
        )
        if news:
            self._news.append(news)

    def _drop_pending(self) -> None:
        """Give up on a touch whose sequel was lost: how the toy was after it is not known."""
        if self._pending:
            self.known.drop(self._pending.step)
            self.log.event("unsettled", touch=self._pending.number)
            self._pending = None

    def _drain_news(self) -> Iterator[SweepEvent]:
        news, self._news = self._news, []
        yield from news

    # Failures

    def _begin_again(self, step: Step, restart: Restarted) -> Iterator[SweepEvent]:
        """Go on after the controller restarted by itself, which it may do a few times only."""
        self._drop_pending()
        self._restarts += 1
        self.log.event("controller restarted", why=str(restart), plan_key=step.plan_key)
        if self._restarts >= RESTARTS_IN_A_ROW:
            raise restart
        self.known.drop(step)
        if killed := self.book.killed_before(step):
            yield killed
        self.recovery.start()
