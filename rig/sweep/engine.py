"""The sweep on a rig: the controller makes the touches, and a ladder brings the toy back.

One touch overlaps the work on the one before it: while the bench presses and dwells, the
last take is judged and written; and the lead-in of each touch shows how the toy was after
the one before.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from statistics import median

from rig.bench import Bench, BenchState, Touch
from rig.listen import LEAST_TAKES, Ear
from rig.log import SweepLog
from rig.project import Project
from rig.sweep.hand import Made, Revival, Sequel
from rig.sweep.hearing import LeadIn, hear
from rig.sweep.known import Knowledge
from rig.sweep.order import next_pair
from rig.sweep.recovery import TAIL_CHECK_S, Recovery
from rig.sweep.run import Run
from rig.sweep.steps import Step

RATIOS_KEPT, RATIOS_NEEDED = 25, 9
"""Touches over which the two clocks are compared: the middle one of the latest counts."""


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
        self.recovery = Recovery(project, bench, log.tell)
        self._ratios: deque[float] = deque(maxlen=RATIOS_KEPT)

    def meet(self, ear: Ear, known: Knowledge) -> None:
        """Take hold of what the sweep knows."""
        self.ear, self.known = ear, known

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
        return step.touch(self.project)

    def ready(self, step: Step) -> bool:
        """Let the last phrase end where a take must have a quiet beginning: a clean or unpressed one."""
        longest_s = self.project.toy.longest_phrase_s
        if step.kind != "baseline" and step.target.keys:
            pass
        elif self.ear.takes_learnt(step.key) >= LEAST_TAKES:
            self.recovery.listen(longest_s, self.ear.baseline(step.key))
        else:
            self.bench.wait(longest_s)
        return True

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
        answer = lead_in.answer if lead_in else None
        return Made(step, heard, answer, {"rail_v": round(self.bench.rail_v(), 3)})

    def _lead_in(self, step: Step) -> LeadIn | None:
        """Give what watches a step's lead-in; None while too little of the toy is known."""
        is_clean = step.kind == "baseline"
        if not step.target.keys:
            return None
        if is_clean and self.ear.takes_learnt(step.key) < LEAST_TAKES:
            return None
        return LeadIn(
            lambda: self.ear.baseline(step.key), self.project.rig.timings.before_ms / 1000,
            self.rate_hz, strange_is_known=is_clean,
        )

    def _known_ratio(self) -> float | None:
        """Give how fast the sound device's clock runs against the controller's, once known."""
        return median(self._ratios) if len(self._ratios) >= RATIOS_NEEDED else None

    def settle(self, made: Made) -> Sequel:
        """Listen on where a take ends in sound and the toy itself is quiet by then."""
        baseline = self.ear.baseline(made.step.key)
        tail = made.heard.samples[-int(TAIL_CHECK_S * self.rate_hz) :]
        if not baseline.ends_quiet or self.recovery.is_quiet(tail, baseline):
            return "quiet"
        sounds = self.recovery.listen(self.project.toy.longest_phrase_s, baseline)
        return "runs on" if sounds else "quiet"

    def revive(self, key: str) -> Revival:
        """Climb the recovery ladder; see `Recovery.revive`."""
        return self.recovery.revive(key, self.ear.baseline(key))

    def restore(self, key: str) -> Revival:
        """Cut the toy's supply; see `Recovery.restore`."""
        return self.recovery.restore(self.ear.baseline(key))

    def note(self, text: str) -> None:
        """Nobody is asked for anything."""

    def leave(self) -> str | None:
        """Leave the toy off with all pads open; see `Bench.safe`."""
        return self.bench.safe()
