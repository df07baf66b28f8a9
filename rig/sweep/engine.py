"""The sweep on a rig: the controller makes the touches, and a ladder brings the toy back.

One touch overlaps the work on the one before it: while the bench presses and dwells, the
last take is judged and written; and the lead-in of each touch shows how the toy was after
the one before.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from math import ceil
from statistics import median
from typing import Literal

from rig.bench import Bench, BenchState, Touch
from rig.events import HabitsLearnt
from rig.listen import HOP_S, LEAST_TAKES, Baseline, Ear
from rig.log import SweepLog
from rig.project import Project
from rig.sweep import habits
from rig.sweep.doubles import PressingTwice
from rig.sweep.hand import Made, Revival, Sequel
from rig.sweep.hearing import SPARE_FRAMES, Heard, LeadIn, hear
from rig.sweep.known import Knowledge
from rig.sweep.order import next_pair
from rig.sweep.outcome import Answer
from rig.sweep.recovery import Recovery
from rig.sweep.run import Run
from rig.sweep.steps import Step, clean

RATIOS_KEPT, RATIOS_NEEDED = 25, 9
"""Touches over which the two clocks are compared: the middle one of the latest counts."""
LATE_MS = 1000
"""So much longer an armed touch waits for a computer that is late; the toy is heard meanwhile."""
TOO_LATE = "the computer was too busy to have the touch closed in time"
PAUSE_LOOK_S = 0.25
"""A pause is over so long after it was ended, at most."""
FIRST_WAIT_MS = 2500
"""A toy of which nothing is known may begin so long after its press."""


class Sweep(Run):
    """One run of a sweep on a bench with a controller.

    Parameters
    ----------
    project : Project
    bench : Bench
    log : SweepLog
        Open for writing, of this very set-up.
    retry : bool
        Make what was set aside in earlier runs after all.
    """

    def __init__(
        self, project: Project, bench: Bench, log: SweepLog, *, retry: bool = False
    ) -> None:
        super().__init__(project, RigHand(project, bench, log), log, retry=retry)


class RigHand:
    """A bench with a controller as a sweep's hand; see `Hand`."""

    is_person = False
    ear: Ear
    known: Knowledge

    def __init__(self, project: Project, bench: Bench, log: SweepLog):
        self.project = project
        self.bench = bench
        self.rate_hz = bench.rate_hz
        self.sleep: Callable[[float], object] = time.sleep
        self.recovery = Recovery(project, bench, log.tell)
        self._left: Literal["quiet", "runs on", "unknown"] = "unknown"
        self._ratios: deque[float] = deque(maxlen=RATIOS_KEPT)

    def meet(self, ear: Ear, known: Knowledge) -> None:
        """Take hold of what the sweep knows."""
        self.ear, self.known = ear, known
        self.recovery.silent_presses = lambda key: habits.silent_presses(
            known.presses[key], known.unnoticed[key]
        )

    def state(self) -> BenchState:
        """Say which bench this is."""
        return self.bench.state()

    def now_s(self) -> float:
        """Give the bench's clock, seconds."""
        return self.bench.now_s()

    def start(self, key: str) -> None:
        """Supply the toy, wait until it has started, and turn it on."""
        self.recovery.start()

    def idle(self) -> None:
        """Keep the controller's dead-man fed while the disk is slow."""
        self.bench.wait(0.0)

    def choose(self) -> Step | None:
        """Pick the next pair's touch: a pair is finished before another is begun."""
        return next_pair(self.known, path_first=False)

    def touch(self, step: Step) -> Touch:
        """Give a step's touch."""
        touch = step.touch(self.project)
        if not step.target.keys:
            return touch
        if step.is_clean and step.target.keys not in self.known.stimuli:
            # A bridge that does what this key does holds it down for as long as it is closed.
            held = replace(touch.stimulus, press_ms=touch.dwell_ms)
            touch = replace(touch, stimulus=held)
        baseline = self._baseline(step)
        wait_ms = FIRST_WAIT_MS
        if baseline is not None:
            wait_ms = ceil(1000 * HOP_S * (baseline.answer_frames + SPARE_FRAMES))
        return replace(touch, armed=True, lead_in_ms=wait_ms + touch.lead_in_ms + LATE_MS)

    def _baseline(self, step: Step) -> Baseline | None:
        """Give what a press is held against; None while the first ones show how the toy answers."""
        learnt = self.ear.takes_learnt(step.key)
        usual = self.project.rig.sweep.baseline_takes
        is_first = step.kind == "baseline" and step.is_clean and learnt < usual
        return None if is_first or learnt < LEAST_TAKES else self.ear.baseline(step.key)

    def ready(self, step: Step) -> bool:
        """Wait until the toy is quiet: what a press does while it sounds, it needn't do from quiet."""
        longest_s = self.project.toy.longest_phrase_s
        if self._left == "quiet" or self._left == "runs on":
            pass  # waiting on for what never stops is of no use
        elif self.ear.takes_learnt(step.key) >= LEAST_TAKES:
            self.recovery.listen(longest_s, self.ear.baseline(step.key))
        else:
            self.bench.wait(longest_s)
        return True

    def know(self, learnt: HabitsLearnt) -> None:
        """Take in a key's habits."""
        if learnt.idle_ma is not None:
            self.recovery.idle_ma = learnt.idle_ma

    def get_to_know(self, key: str) -> HabitsLearnt:
        """Press a key while it sounds, a few times, and measure what the toy draws."""
        lead_in = partial(self._lead_in, clean("check", key))
        twice = PressingTwice(self.bench, self.recovery, self.touch(clean("check", key)), lead_in)
        self._left = "quiet"
        return twice.get_to_know(
            key, self.ear.baseline(key), self.project.toy.longest_phrase_s, self.known
        )

    def make(self, step: Step, touch: Touch, why: str, meanwhile: Callable[[], None]) -> Made:
        """Make a touch; it is ended before it closes where its lead-in shows a dead toy."""
        lead_in = self._lead_in(step)
        try:
            heard = hear(self.bench, touch, lead_in, meanwhile, self._known_ratio())
        except KeyboardInterrupt:
            self.bench.safe()
            raise
        if heard.clock_ratio is not None:
            self._ratios.append(heard.clock_ratio)
        self._left = "quiet" if self._ends_quiet(step, heard) else "unknown"
        answer = lead_in.answer if lead_in else None
        if lead_in and not heard.fault and not heard.timeline.guarded:
            heard, answer = self._closed(heard, answer)
        if answer == "none" and self.ear.takes_learnt(step.key) < LEAST_TAKES:
            self.recovery.press_on_keys()  # it may have missed those that turn it on
        return Made(step, heard, answer, {"rail_v": round(self.bench.rail_v(), 3)})

    def _closed(self, heard: Heard, answer: Answer | None) -> tuple[Heard, Answer | None]:
        """See why a touch closed nothing: nobody heard the toy, or it was told too late."""
        if "close" in heard.offsets or answer not in (None, "known"):
            return heard, answer
        return (heard, "none") if answer is None else (replace(heard, fault=TOO_LATE), answer)

    def _ends_quiet(self, step: Step, heard: Heard) -> bool:
        if self.ear.takes_learnt(step.key) < LEAST_TAKES or not len(heard.samples):
            return False
        baseline = self.ear.baseline(step.key)
        return self.recovery.is_quiet(heard.samples[-self.recovery.tail(baseline) :], baseline)

    def _lead_in(self, step: Step) -> LeadIn | None:
        """Give what watches a step's lead-in; None where nothing is pressed."""
        if not step.target.keys:
            return None
        timings = self.project.rig.timings
        return LeadIn(
            lambda: self._baseline(step), timings.before_ms / 1000, timings.lead_in_ms / 1000,
            self.rate_hz,
            strange_is_known=step.kind == "baseline" and step.is_clean,
        )

    def _known_ratio(self) -> float | None:
        """Give how fast the sound device's clock runs against the controller's, once known."""
        return median(self._ratios) if len(self._ratios) >= RATIOS_NEEDED else None

    def settle(self, made: Made) -> Sequel:
        """Listen on where a take ends in sound, until the toy's longest phrase is over."""
        if self._left == "quiet":
            return "quiet"
        baseline = self.ear.baseline(made.step.key)
        sounds = self.recovery.listen(self.project.toy.longest_phrase_s, baseline)
        self._left = "runs on" if sounds else "quiet"
        return self._left

    def revive(self, key: str) -> Revival:
        """Climb the recovery ladder; see `Recovery.revive`."""
        revival = self.recovery.revive(key, self.ear.baseline(key))
        self._left = "quiet"
        return revival

    def restore(self, key: str) -> Revival:
        """Cut the toy's supply; see `Recovery.restore`."""
        return self.recovery.restore(self.ear.baseline(key))

    def note(self, text: str) -> None:
        """Nobody is asked for anything."""

    def leave(self) -> str | None:
        """Leave the toy off with all pads open; see `Bench.safe`."""
        self._left = "unknown"
        return self.bench.safe()

    def pass_pause(self) -> bool:
        """Wait without a word to the controller, which has nothing on that its dead-man could end."""
        self.sleep(PAUSE_LOOK_S)
        return False

    def wake(self, key: str) -> None:
        """See that the rail is down, then supply the toy and turn it on; see `Recovery.power_cycle`."""
        self.recovery.power_cycle()
