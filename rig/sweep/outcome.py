"""What came of a touch, as a sweep's knowledge takes it in: live, or read back from the log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rig.log import Record
from rig.log.between import is_itself
from rig.log.records import KINDS, WAY
from rig.outcomes import is_change, is_stop
from rig.sweep.steps import Step

Answer = Literal["known", "strange", "none"]
"""How a press was answered before anything closed; see `rig.listen.Baseline.answer`."""
NO_ANSWER = "the toy did not answer"
"""The fault of a touch that was ended for want of an answer."""
UNSETTLED = "unsettled"
"""The fault of a touch whose sequel was lost."""
LEAD_IN = "lead_in"
"""The fact of a row that says how; rows from before there was such a fact have none."""


@dataclass(frozen=True)
class Outcome:
    """What came of one touch.

    Parameters
    ----------
    step : Step
    fault : str or None
        Why its take can't be used.
    answer : str or None
        One of `Answer`, where a touch was ended for it; None where it wasn't.
    sound : str or None
        One of `rig.outcomes.SOUNDS`; None where it was never judged.
    after : str or None
        One of `rig.outcomes.AFTERS`; None where it was never seen how the toy was.
    itself : bool
        Of a clean press: it sounded like the toy when it was made.
    """

    step: Step
    fault: str | None = None
    answer: Answer | None = None
    sound: str | None = None
    after: str | None = None
    itself: bool = True

    @classmethod
    def of(cls, record: Record) -> Outcome | None:
        """Give what a row of the log says; None for one that is no step of a plan."""
        step = _step_of(record)
        if step is None:
            return None
        return cls(
            step, record.fault, record.facts.get(LEAD_IN), record.sound, record.after,
            not step.is_clean or is_itself(record.facts, record.sound),
        )

    @property
    def counts(self) -> bool:
        """Say whether it is a touch like `rig.choose.tally` counts them."""
        return self.fault is None and self.after is not None

    @property
    def trouble(self) -> str | None:
        """Say for which fault of `rig.sweep.limits.LIMITS` it must be made again; None: it shows
        something, or was stopped before it could."""
        if self.fault:
            return {NO_ANSWER: "unanswered", UNSETTLED: "unsettled"}.get(self.fault, "lost")
        is_lost = self.counts and self.sound == "lost" and not self.stopped
        return "lost" if is_lost else None

    @property
    def is_hit(self) -> bool:
        """Say whether it is worth another touch."""
        return is_change(self.sound)

    @property
    def stopped(self) -> bool:
        """Say whether the toy needed a reset afterwards."""
        return is_stop(self.after)

    @property
    def is_whole(self) -> bool:
        """Say whether it shows something."""
        return self.counts and not self.trouble

    @property
    def is_clean(self) -> bool:
        """Say whether its take is a whole one of the toy alone."""
        return self.step.is_clean and self.is_whole and not self.stopped

    @property
    def is_loaded(self) -> bool:
        """Say whether its take is a whole one of the toy with one pad's lead on."""
        is_one = self.step.kind == "baseline" and self.step.is_lone
        return is_one and self.is_whole and not self.stopped


def _step_of(record: Record) -> Step | None:
    """Give the step of the plan that a log row came from."""
    if record.kind not in KINDS:
        return None
    return Step(record.kind, record.target, record.facts.get(WAY, ""))
