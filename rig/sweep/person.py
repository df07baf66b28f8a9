"""A person with two tips as the hand of a sweep: asked, waited for, heard.

The bridge is held before the key goes down, so there is no lead-in that shows whether the
toy lives: any sound that follows a press does. After a change that was heard, the key is
pressed once more with nothing bridged, which shows how the toy was left. Where a bridged
press brings nothing, twice, a press with nothing bridged tells a cut from a freeze.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import cast

from rig.bench import BenchState, Touch
from rig.bench.byhand import Ask, ListeningBench, Prompt
from rig.errors import ToyLost
from rig.events import HabitsLearnt, RungTried, ToyGone
from rig.listen import LEAST_TAKES, Ear, is_clipped, over_db
from rig.log import SweepLog
from rig.project import Project
from rig.sweep import sounding
from rig.sweep.hand import Made, Revival, Sequel
from rig.sweep.hearing import Heard
from rig.sweep.known import Knowledge
from rig.sweep.order import next_pair
from rig.sweep.outcome import Answer
from rig.sweep.steps import Step, clean
from rig.sweep.waiting import Got, Listener

LEVEL_TRIES = 3
BATTERY_TRIES, PRESSES = 3, 3
PATIENCE = 6.0
"""Where both hands are busy with batteries, a press is waited for so many times longer."""


class PersonHand:
    """A person with two tips as a sweep's hand; see `Hand`."""

    is_person = True
    ear: Ear
    known: Knowledge

    def __init__(self, project: Project, bench: ListeningBench, log: SweepLog):
        self.project = project
        self.bench = bench
        self.log = log
        self.rate_hz = bench.rate_hz
        self._wait_s = project.rig.by_hand.wait_s
        self._longest_s = project.toy.longest_phrase_s + 1.0
        self.listener = Listener(bench, project.rig.timings, self._longest_s)
        self._held: tuple[str, ...] = ()
        self._sounds = False

    def meet(self, ear: Ear, known: Knowledge) -> None:
        """Take hold of what the sweep knows."""
        self.ear, self.known = ear, known

    def state(self) -> BenchState:
        """Say which bench this is."""
        return self.bench.state()

    def now_s(self) -> float:
        """Give the bench's clock, seconds."""
        return self.bench.now_s()

    def idle(self) -> None:
        """There is no controller to be fed."""

    def get_to_know(self, key: str) -> HabitsLearnt:
        """Nobody asks: the person presses the toy when it is quiet."""
        raise NotImplementedError

    def know(self, habits: HabitsLearnt) -> None:
        """The person knows."""

    def note(self, text: str) -> None:
        """Show the person a line that asks for nothing."""
        self.bench.person.note(text)

    def which(self) -> tuple[str, str] | None:
        """Ask which two pads that was; None where the person doesn't say."""
        return self.bench.person.which()

    def leave(self) -> str | None:
        """The toy is in the person's hands."""
        return None

    def pass_pause(self) -> bool:
        """Hear nothing for a moment, and see whether the person says that the pause is over."""
        self.bench.listen()
        return self.listener.command() == "next"

    def wake(self, key: str) -> None:
        """Hear room and toy anew: both may have been moved."""
        self._sounds = False
        self.start(key)

    def choose(self) -> Step | None:
        """Pick the next pair's touch: all over one resistance come before the next."""
        return next_pair(self.known, self._held, path_first=True)

    def touch(self, step: Step) -> Touch:
        """Give a step's touch as hands make it: no lead-in, and the take ends with the dwell."""
        return replace(step.touch(self.project), lead_in_ms=0, tail_ms=0)

    # Before the first touch

    def start(self, key: str) -> None:
        """Hear the room, and the toy once, so that its level is known.

        Raises
        ------
        BadSound
            Nothing is heard, or it is clipped.
        """
        self.listener.hear_room()
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
        if self.ear.takes_learnt(key):
            louder_db = over_db(heard.samples) - self.ear.peak_dbfs(key)
            raise sounding.changed(key, louder_db)
        raise sounding.too_loud(key, heard.samples)

    # One touch

    def ready(self, step: Step) -> bool:
        """Wait until the toy is quiet, where it may sound from the touch before."""
        sounds, self._sounds = self._sounds, False
        return not sounds or self.listener.until_quiet(self._longest_s) != "froze"

    def make(self, step: Step, touch: Touch, why: str, meanwhile: Callable[[], None]) -> Made:
        """Ask for a press, bridged or not, and hear it; see `Hand.make`."""
        self._sounds = True
        if step.is_clean:
            return self._make_clean(step, why)
        why = "once more, to be sure" if step.kind == "confirm" else why
        got = self.listener.wait(self._prompt("touch", step, why), self._wait_s)
        if got.what == "silence":
            got = self.listener.wait(
                self._prompt("once more", step, "nothing was heard"), self._wait_s
            )
        if got.what != "silence":
            return self.made(step, got)
        bare = self.listener.wait(Prompt("bare", step.key, why="still nothing"), self._wait_s)
        made, clean = self.made(step, got), self._clean(step.key, bare)
        return replace(made, said=clean.said, bare=clean)

    def made(self, step: Step, got: Got) -> Made:
        """Give what came of a prompt as a touch of a pair."""
        if got.what in ("again", "skip"):
            return Made(step, said=got.what)
        self._held = step.pads
        answer: Answer | None = "known" if got.what == "sound" else None
        return Made(step, got.heard, answer, {"stamped": "by ear", "answer": got.what})

    def _prompt(self, ask: Ask, step: Step, why: str = "") -> Prompt:
        return Prompt(
            ask, step.key, pads=step.pads, path_ohm=step.path_ohm(self.project),
            why=why,
        )

    def _make_clean(self, step: Step, why: str) -> Made:
        """Ask for a press with nothing bridged, twice where nothing is heard."""
        got = self.listener.wait(Prompt("clean", step.key, why=why), self._wait_s)
        if got.what == "silence":
            again = Prompt("once more", step.key, why="nothing was heard")
            got = self.listener.wait(again, self._wait_s)
        made = self._clean(step.key, got, step)
        if made.answer == "none" and self.ear.takes_learnt(step.key) < LEAST_TAKES:
            raise self.listener.hidden(step.key)
        return made

    def _clean(self, key: str, got: Got, step: Step | None = None) -> Made:
        """Give what came of a press with nothing bridged as a touch."""
        step = step or clean("check", key)
        if got.what in ("again", "skip"):
            return Made(step, said=got.what)
        facts = {"stamped": "by ear", "answer": got.what}
        if got.what != "sound":
            return Made(step, got.heard, "none", facts)
        if step.kind == "check" and self._said(key, got.heard) == "strange":
            # The toy says something that it didn't before; it is learnt, and heard again.
            step = clean("baseline", key)
        if got.heard.fault is None and not is_clipped(got.heard.samples):
            self.listener.learn_level(got.heard)
        return Made(step, got.heard, "known", facts)

    def _said(self, key: str, heard: Heard) -> str:
        """Say how a press with nothing bridged was answered; see `Baseline.answer`."""
        if heard.fault:
            return "none"
        if self.ear.takes_learnt(key) < LEAST_TAKES:
            return "known"
        press = heard.frame("press", self.rate_hz)
        return self.ear.baseline(key).answer(heard.samples, press)

    def poke(self, key: str) -> Got:
        """Hear one press of a person who pokes at will."""
        self.ready(clean("check", key))
        got = self.listener.wait(Prompt("explore", key))
        self._sounds = got.what == "sound" and got.heard.fault is None
        return got

    # How the toy was after it

    def settle(self, made: Made) -> Sequel:
        """Wait for quiet, and say what is heard meanwhile; see `Sequel`."""
        self._sounds = False
        if made.bare:
            return "quiet" if made.bare.answer == "known" else "stopped"
        if made.answer != "known":
            return "stopped"
        state = self.listener.until_quiet(self._longest_s)
        ran_on = False
        if state == "sounding":
            prompt = Prompt("quieten", made.step.key, why="it sounds on by itself")
            self.bench.person.say(prompt)
            state = self.listener.until_quiet(self._wait_s + self._longest_s)
            if state == "next":
                return "answers"
            ran_on = state == "quiet"
        if state in ("froze", "sounding"):
            return "stopped"
        if state in ("again", "skip"):
            return cast(Sequel, state)
        return "runs on" if ran_on else "quiet"

    def revive(self, key: str) -> Revival:
        """Have the batteries taken out and put in until the toy answers its key.

        Raises
        ------
        ToyLost
            It doesn't after three times.
        """
        for tries in range(1, BATTERY_TRIES + 1):
            self.log.tell(RungTried(rung="person", tries=tries))
            got = self.listener.wait(Prompt("battery", key), PATIENCE * self._wait_s)
            started = 0
            for _ in range(PRESSES):
                said = self._said(key, got.heard) if got.what == "sound" else "none"
                started += said != "none"
                self.listener.until_quiet(self._longest_s)
                # New batteries may make it speak by themselves, once.
                if said == "known" or started > 1:
                    self._sounds = False
                    return Revival("person", tries)
                why = "nothing was heard" if got.what != "sound" else "it may be starting"
                got = self.listener.wait(Prompt("bare", key, why=why), self._wait_s)
        self.log.tell(ToyGone(key=key))
        raise ToyLost(
            f"the toy doesn't answer key {key!r} after its batteries were out {BATTERY_TRIES} "
            "times: take them out and look at it, then run `padsweep sweep` to continue"
        )

    def restore(self, key: str) -> Revival:
        """Have the batteries taken out and put in."""
        return self.revive(key)
