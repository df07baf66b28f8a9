"""The sweep by hand: a person bridges and presses, the program asks, hears, judges and logs.

The bridge is held before the key goes down, so there is no lead-in that shows whether the
toy lives: any sound that follows a press does. After a change that was heard, the key is
pressed once more with nothing bridged, which shows how the toy was left. Where a bridged
press brings nothing, twice, a press with nothing bridged tells a cut from a freeze.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from rig.bench import Touch
from rig.bench.byhand import Ask, ListeningBench, Prompt
from rig.errors import ToyLost
from rig.listen import HOP_S, LEAST_TAKES, Judgement, is_clipped, lost, over_db
from rig.log import SweepLog
from rig.project import Project, path_ohm, touchable
from rig.sweep import sounding
from rig.sweep.book import Book
from rig.sweep.events import (
    FreezeSeen,
    Progress,
    Recovered,
    SetAside,
    SweepDone,
    SweepEvent,
    SweepStarted,
    Told,
)
from rig.sweep.hearing import Heard
from rig.sweep.order import likeliest, shown_by
from rig.sweep.outcome import Outcome
from rig.sweep.plan import plan, touches_left
from rig.sweep.steps import Step, step_words
from rig.sweep.waiting import Got, Leave, Listener

LEVEL_TRIES = 3
BATTERY_TRIES, PRESSES = 3, 3
PATIENCE = 6.0
"""Where both hands are busy with batteries, a press is waited for so many times longer."""


@dataclass
class _Pending:
    """A pair's touch that is made, but of which it isn't known how it left the toy."""

    number: int
    step: Step
    judgement: Judgement
    ran_on: bool = False


class SweepByHand:
    """One run of a sweep by hand: continues what the log holds until the plan is done.

    Parameters
    ----------
    project : Project
    bench : ListeningBench
    log : SweepLog
        Open for writing, of this very set-up.
    """

    def __init__(self, project: Project, bench: ListeningBench, log: SweepLog):
        self.project = project
        self.bench = bench
        self.person = bench.person
        self.log = log
        self.book = Book(project, log, bench.rate_hz)
        self.known = self.book.known
        self.listener = Listener(bench, project.rig.timings)
        self.recoveries = 0
        self._wait_s = project.rig.by_hand.wait_s
        self._longest_s = project.toy.longest_phrase_s + 1.0
        self._pending: _Pending | None = None
        self._redo: Step | None = None
        self._held: tuple[str, ...] = ()

    def run(self) -> Generator[SweepEvent, None, None]:
        """Ask for every touch that is still due, likeliest first, and report as it goes.

        It ends early, without `SweepDone`, where the person leaves.

        Raises
        ------
        ToyLost, BenchError, LogError, RigError
        """
        try:
            yield from self._begin()
            for step in plan(self.known, self._choose):
                yield from self._make(step)
        except Leave:
            self._note_leaving()
            return
        yield from self.book.finish()
        yield SweepDone(self.known.touches, self.known.freezes, self.recoveries)

    def explore(self) -> Generator[SweepEvent, None, None]:
        """Listen while the person pokes at will, and ask which two it was when something is new.

        It ends when the person leaves.

        Raises
        ------
        ToyLost, BenchError, LogError, RigError
        """
        try:
            yield from self._begin()
            for step in plan(self.known, self._choose):
                if step.kind != "baseline":
                    self.known.drop(step)
                    break
                yield from self._make(step)
            while True:
                yield from self._explore(self.project.sweep_keys[0])
        except Leave:
            self._note_leaving()

    def _note_leaving(self) -> None:
        self._drop_pending()
        self.log.event("left", touches=self.known.touches)
        self.log.flush()

    def _begin(self) -> Iterator[SweepEvent]:
        self.book.remember()
        state = self.bench.state()
        self.log.event("begun", bench=state.kind, identity=state.identity, **state.facts)
        yield SweepStarted(self.known.touches, self.known.touches + touches_left(self.known))
        self.listener.hear_room()
        self._hear_level(self.project.sweep_keys[0])
        key = self.project.sweep_keys[0]
        if self.book.ear.takes_learnt(key) >= LEAST_TAKES:
            # Toy, microphone or level may have been moved meanwhile.
            yield from self._make(Step("check", key))

    def _hear_level(self, key: str) -> None:
        """Let the toy be heard once, so that its level is known.

        Raises
        ------
        BadSound
            Nothing is heard, or it is clipped.
        """
        for _ in range(LEVEL_TRIES):
            got = self.listener.wait(Prompt("level", key), PATIENCE * self._wait_s)
            if got.what == "sound" and got.heard.fault is None:
                self._check_level(key, got.heard)
                self.listener.learn_level(got.heard)
                self.listener.until_quiet(self._longest_s)
                return
        raise self.listener.hidden(key)

    def _check_level(self, key: str, heard: Heard) -> None:
        if not is_clipped(heard.samples):
            return
        if self.book.ear.takes_learnt(key):
            louder_db = over_db(heard.samples) - self.book.ear.peak_dbfs(key)
            raise sounding.changed(key, louder_db)
        raise sounding.too_loud(key, heard.samples)

    def _choose(self, due: Sequence[Step]) -> Step:
        """Pick the next pair: the one to do again, or the likeliest."""
        redo, self._redo = self._redo, None
        if redo in due:
            return redo
        shown = shown_by(
            (step.pads, spot.hit, spot.stops > 0)
            for step, spot in self.known.spots.items() if spot.swept
        )
        pads = self.project.toy.pads
        clocks = [letter for letter, pad in pads.items() if pad.kind == "clock"]
        return likeliest(due, shown, self._held, clocks)

    # One step

    def _make(self, step: Step) -> Iterator[SweepEvent]:
        if step.pads is None:
            got = self._ask_clean(step.key, "")
            yield from self._take_in_clean(step, got)
            return
        if refused := self.book.refused(step):
            yield refused
            return
        if killed := self.book.killed_before(step):
            yield killed
            return
        touch = self._touch(step)
        self.log.intend(step.plan_key, touch)
        began = datetime.now(UTC)
        try:
            got, bare = self._ask_pair(step)
        except (Leave, KeyboardInterrupt):
            self.log.withdraw(step.plan_key, "stopped by the person")
            raise
        answer = bare.what if bare and bare.what in ("again", "skip") else got.what
        if answer in ("again", "skip"):
            self.log.withdraw(step.plan_key, answer)
            self.known.drop(step)
            if answer == "skip":
                yield self._skip(step)
            elif bare or not self._take_back():
                self._redo = step
            return
        self._held = step.pads
        if got.what == "sound":
            yield from self._complete_pending("answers")
        number = self._row(step, touch, began, got)
        if got.heard.fault:
            yield from self._lost(number, step, got.heard.fault)
            return
        pending = yield from self._judge(number, step, got.heard)
        if got.what == "sound":
            yield from self._settle(pending)
        else:
            yield from self._settle_silent(pending, bare)
        yield self._progress(number, step)

    def _touch(self, step: Step) -> Touch:
        """Give a step's touch as hands make it: no lead-in, and the take ends with the dwell."""
        return replace(step.touch(self.project), lead_in_ms=0, tail_ms=0)

    def _prompt(self, ask: Ask, step: Step, why: str = "") -> Prompt:
        return Prompt(ask, step.key, step.pads, path_ohm(self.project.rig, step.series_ohm), why)

    def _ask_pair(self, step: Step) -> tuple[Got, Got | None]:
        """Ask for a bridged press; where it stays silent, for one with nothing bridged as well."""
        why = "once more, to be sure" if step.kind == "confirm" else ""
        got = self.listener.wait(self._prompt("touch", step, why), self._wait_s)
        if got.what == "silence":
            got = self.listener.wait(
                self._prompt("once more", step, "nothing was heard"), self._wait_s
            )
        if got.what != "silence":
            return got, None
        bare = self.listener.wait(Prompt("bare", step.key, why="still nothing"), self._wait_s)
        return got, bare

    def _ask_clean(self, key: str, why: str) -> Got:
        """Ask for a press with nothing bridged, twice where nothing is heard."""
        got = self.listener.wait(Prompt("clean", key, why=why), self._wait_s)
        if got.what == "silence":
            again = Prompt("once more", key, why="nothing was heard")
            got = self.listener.wait(again, self._wait_s)
        return got

    def _row(self, step: Step, touch: Touch, began: datetime, got: Got) -> int:
        number, heard = self.log.next_number(), got.heard
        path = None if step.pads is None else path_ohm(self.project.rig, step.series_ohm)
        self.log.made(
            number, step.plan_key, step.kind, touch, path_ohm=path, started_at=began,
            timeline=heard.timeline, samples=heard.samples, rate_hz=self.bench.rate_hz,
            offsets=heard.offsets, fault=heard.fault,
            facts={"stamped": "by ear", "answer": got.what},
        )
        if heard.fault:
            self.log.judged(number, lost(heard.fault))
        return number

    def _judge(
        self, number: int, step: Step, heard: Heard
    ) -> Generator[SweepEvent, None, _Pending]:
        """Judge a pair's take and tell it; gives the touch that waits for its sequel."""
        judgement = self.book.judge(number, step, heard)
        if judgement.sound != "lost":
            yield Told(
                number=number, kind=step.kind, pads=step.pads,
                path_ohm=path_ohm(self.project.rig, step.series_ohm),
                sound=judgement.sound, amount=judgement.amount, unit=judgement.unit,
            )
        return _Pending(number, step, judgement)

    def _progress(self, number: int, step: Step) -> Progress:
        return Progress(
            number=number, kind=step.kind, what=step_words(step, self.project),
            done=self.known.touches, planned=self.known.touches + touches_left(self.known),
            bench_s=self.bench.now_s(),
        )

    # How the toy was after it

    def _settle(self, pending: _Pending) -> Iterator[SweepEvent]:
        """See how a touch left the toy: wait for quiet, and after a change for a clean press."""
        state = self.listener.until_quiet(self._longest_s)
        if state == "sounding":
            self.person.say(Prompt("quieten", pending.step.key, why="it sounds on by itself"))
            state = self.listener.until_quiet(self._wait_s + self._longest_s)
            pending.ran_on = state in ("quiet", "next")
            if state == "next":
                # It answers its key, the person says, but never falls silent.
                yield from self._complete(pending, "runs on", {"answered": "said"})
                yield from self._revive(pending.step.key, None)
                return
        if state in ("froze", "sounding"):
            yield from self._revive(pending.step.key, pending)
        elif state in ("again", "skip"):
            yield from self._undo(pending, state)
        elif self.book.ear.is_hit(pending.judgement) or pending.ran_on:
            self._pending = pending
            got = self._ask_clean(pending.step.key, "is it as before?")
            yield from self._take_in_clean(Step("check", pending.step.key), got)
        elif pending.judgement.sound == "lost":
            yield from self._complete(pending, "answers", {})
        else:
            self._pending = pending

    def _settle_silent(self, pending: _Pending, bare: Got | None) -> Iterator[SweepEvent]:
        """See after a bridged press without sound whether the toy lives."""
        # The press before it may have killed the toy as well as this one.
        self._drop_pending()
        if bare is None or bare.what != "sound":
            yield from self._revive(pending.step.key, pending)
            return
        self._pending = pending
        yield from self._take_in_clean(Step("check", pending.step.key), bare)

    def _take_in_clean(self, step: Step, got: Got) -> Iterator[SweepEvent]:
        """Take in a press with nothing bridged; it shows how the touch before left the toy."""
        if got.what in ("again", "skip"):
            self.known.drop(step)
            if self._pending is None:
                self.person.note("that press is needed, and can't be taken back")
            elif got.what == "skip":
                yield from self._undo(self._pending, "skip")
            else:
                self._take_back()
            return
        if got.what != "sound":
            self.known.drop(step)
            if self.book.ear.takes_learnt(step.key) < LEAST_TAKES:
                raise self.listener.hidden(step.key)
            pending, self._pending = self._pending, None
            yield from self._revive(step.key, pending)
            return
        yield from self._complete_pending("answers")
        if step.kind == "check" and self._said(step.key, got.heard) == "strange":
            # The toy says something that it didn't before; it is learnt, and heard again.
            self.known.drop(step)
            step = Step("baseline", step.key)
        number = self._row(step, self._touch(step), datetime.now(UTC), got)
        if got.heard.fault:
            yield from self._lost(number, step, got.heard.fault)
            return
        yield from self.book.take_in_clean(number, step, got.heard)
        if not is_clipped(got.heard.samples):
            self.listener.learn_level(got.heard)
        yield self._progress(number, step)
        self.listener.until_quiet(self._longest_s)

    def _complete_pending(self, after: str) -> Iterator[SweepEvent]:
        pending, self._pending = self._pending, None
        if pending:
            after = "runs on" if pending.ran_on else after
            yield from self._complete(pending, after, {"answered": True})

    def _complete(self, pending: _Pending, after: str, evidence: dict) -> Iterator[SweepEvent]:
        news = self.book.complete(
            pending.number, pending.step, pending.judgement, after, evidence
        )
        if news:
            yield news

    def _drop_pending(self) -> None:
        """Give up on a touch whose sequel isn't known: it is due again."""
        if self._pending:
            self.known.drop(self._pending.step)
            self.log.event("unsettled", touch=self._pending.number)
            self._pending = None

    # What the person says

    def _take_back(self) -> bool:
        """Have the last touch made again; False where it is settled already."""
        if self._pending is None:
            return False
        self._redo = self._pending.step
        self._drop_pending()
        return True

    def _undo(self, pending: _Pending, answer: str) -> Iterator[SweepEvent]:
        self._pending = pending
        self._take_back()
        if answer == "skip":
            step, self._redo = self._redo, None
            yield self._skip(step)

    def _skip(self, step: Step) -> SetAside:
        return self.book.set_aside(step, "by you, for this run")

    # Failures

    def _lost(self, number: int, step: Step, why: str) -> Iterator[SweepEvent]:
        yield from self.book.lose(number, Outcome(step, why), why)
        self.listener.until_quiet(self._longest_s)

    def _revive(self, key: str, pending: _Pending | None) -> Iterator[SweepEvent]:
        """Have the batteries taken out and put in until the toy answers its key.

        Raises
        ------
        ToyLost
            It doesn't after three times.
        """
        for tries in range(1, BATTERY_TRIES + 1):
            self.log.event("recovery", rung="person", tries=tries)
            got = self.listener.wait(Prompt("battery", key), PATIENCE * self._wait_s)
            started = 0
            for _ in range(PRESSES):
                said = self._said(key, got.heard) if got.what == "sound" else "none"
                started += said != "none"
                # New batteries may make it speak by themselves, once.
                if said == "known" or started > 1:
                    self.listener.until_quiet(self._longest_s)
                    yield from self._came_back(pending, tries)
                    return
                why = "nothing was heard" if got.what != "sound" else "it may be starting"
                self.listener.until_quiet(self._longest_s)
                got = self.listener.wait(Prompt("bare", key, why=why), self._wait_s)
        if pending:
            yield from self._freeze(pending, {"rung": "none"})
        self.log.event("toy lost", key=key)
        raise ToyLost(
            f"the toy doesn't answer key {key!r} after its batteries were out {BATTERY_TRIES} "
            "times: take them out and look at it, then run `padsweep sweep` to continue"
        )

    def _said(self, key: str, heard: Heard) -> str:
        """Say how a press with nothing bridged was answered; see `Baseline.answer`."""
        if heard.fault:
            return "none"
        if self.book.ear.takes_learnt(key) < LEAST_TAKES:
            return "known"
        press = round(heard.offsets["press"] / self.bench.rate_hz / HOP_S)
        return self.book.ear.baseline(key).answer(heard.samples, press)

    def _came_back(self, pending: _Pending | None, tries: int) -> Iterator[SweepEvent]:
        evidence = {"answered": False, "rung": "person", "tries": tries}
        self.log.event("recovered", pending.number if pending else None, **evidence)
        self.recoveries += 1
        yield Recovered("person", tries)
        if pending:
            yield from self._freeze(pending, evidence)

    def _freeze(self, pending: _Pending, evidence: dict) -> Iterator[SweepEvent]:
        step = pending.step
        yield FreezeSeen(step.pads, path_ohm(self.project.rig, step.series_ohm))
        yield from self._complete(pending, "freeze", evidence)

    # Poking at will

    def _explore(self, key: str) -> Iterator[SweepEvent]:
        """Hear one press of a person who pokes at will."""
        began = datetime.now(UTC)
        got = self.listener.wait(Prompt("explore", key))
        if got.what == "froze":
            yield from self._revive(key, None)
        if got.what != "sound":
            return
        if got.heard.fault:
            self.person.note(f"that one was lost: {got.heard.fault}")
            return
        heard = got.heard
        span = self.book.span(heard.offsets, len(heard.samples))
        judgement = self.book.ear.judge(key, heard.samples, span)
        if judgement.sound == "lost":
            self.person.note(f"that one was lost: {sounding.lost_words(judgement.measures)}")
            self.listener.until_quiet(self._longest_s)
            return
        yield Told(
            number=self.log.next_number(), kind="explore", pads=None, path_ohm=None,
            sound=judgement.sound, amount=judgement.amount, unit=judgement.unit,
        )
        if not self.book.ear.is_hit(judgement):
            self.listener.until_quiet(self._longest_s)
            return
        step = self._named(key)
        if step is None:
            return
        number = self._row(step, self._touch(step), began, got)
        self.log.judged(number, judgement)
        yield from self._settle(_Pending(number, step, judgement))
        yield self._progress(number, step)

    def _named(self, key: str) -> Step | None:
        """Ask which two it was; gives the step that touches them."""
        while (pads := self.person.which()) is not None:
            order = list(self.project.toy.pads)
            one, other = sorted(pads, key=lambda pad: order.index(pad) if pad in order else -1)
            series_ohm = self.project.rig.series_ohm[0]
            reason = touchable(self.project, (one,), (other,), series_ohm)
            if reason is None:
                return Step("sweep", key, (one, other), series_ohm)
            self.person.note(reason)
        return None
