"""What touches that measure what is kept have come to; a part of what a sweep knows."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

from rig.log.between import Between
from rig.log.records import CONTROL
from rig.sweep.outcome import Outcome
from rig.sweep.steps import Step


@dataclass
class Measured:
    """What is measured by now.

    Attributes
    ----------
    made : dict of Step to int
        Touches that count, by what was to be made.
    stops : dict of str to float
        The highest value of the bank over which a pair or group stopped the toy, for whatever reason
        it was touched, by its name, ohms.
    aside : dict of str to float
        The highest value that was set aside while it was measured, by the name, ohms.
    between : Between
        Follows these touches alone.
    """

    made: dict[Step, int] = field(default_factory=lambda: defaultdict(int))
    stops: dict[str, float] = field(default_factory=dict)
    aside: dict[str, float] = field(default_factory=dict)
    between: Between = field(default_factory=Between)

    def note(self, outcome: Outcome) -> None:
        """Keep over what a pair stopped the toy; any other touch comes between those that measure."""
        step = outcome.step
        if outcome.stopped and not step.is_clean:
            _raise(self.stops, step)
        if step.kind != CONTROL:
            self.between.rest()

    def take(self, outcome: Outcome) -> bool:
        """Take in a touch that measures, or a clean press around it; says if one counts by it."""
        seen = self.between.measure(
            outcome, outcome.step.target, itself=outcome.itself, stopped=outcome.stopped,
            whole=outcome.is_whole,
        )
        if seen.counts is not None:
            self.made[seen.counts.step] += 1
        return seen.counts is not None

    def set_aside(self, step: Step) -> None:
        """Leave a value and those below it to the person."""
        _raise(self.aside, step)

    def may(self, step: Step) -> bool:
        """Say whether a touch lies above all that stopped the toy or was set aside."""
        name = step.target.in_order().name
        return step.series_ohm > max(self.stops.get(name, -1.0), self.aside.get(name, -1.0))


def _raise(highest: dict[str, float], step: Step) -> None:
    name = step.target.in_order().name
    highest[name] = max(step.series_ohm, highest.get(name, -1.0))
