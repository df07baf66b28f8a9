"""Each pad's lead alone: closed onto its bus with nothing on the other one.

A clock's node may feel that already, and then each pair of that pad would be heard to do what is the
lead's doing. A lead that was heard alone, and again when it was confirmed, loads the toy: so many
takes of the toy with it on are a baseline of their own, beside the clean one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field

from rig.sweep.confirming import Confirms
from rig.sweep.outcome import Outcome
from rig.sweep.steps import Step


@dataclass
class Leads:
    """What is known of the leads alone.

    Parameters
    ----------
    steps : list of Step
        The touches that learn the toy with each pad's lead on.
    takes : int
        How many a baseline with a lead on needs.

    Attributes
    ----------
    made : dict of Step to int
        Takes of the toy with a lead on, by the touch that makes them.
    stopped : set of Step
        Those that stopped the toy.
    """

    steps: list[Step]
    takes: int
    made: dict[Step, int] = field(default_factory=lambda: defaultdict(int))
    stopped: set[Step] = field(default_factory=set)

    def count(self, outcome: Outcome) -> None:
        """Take in a touch that learns the toy with a lead on; where it stops the toy none follows."""
        if outcome.is_loaded:
            self.made[outcome.step] += 1
        elif outcome.stopped:
            self.stopped.add(outcome.step)

    def lacks(self, step: Step) -> int:
        """Count the takes that are missing of a baseline with a lead on."""
        return max(0, self.takes - self.made.get(step, 0))

    def wanted(self, confirms: Confirms) -> Iterator[Step]:
        """Give the touches that learn the toy with a lead on, of each that loads it and lacks some."""
        for step in self.steps:
            is_left_out = step in self.stopped or step.again("sweep") in confirms.aside
            if not is_left_out and self.lacks(step) and confirms.came_back(step.target.name):
                yield step

    def left(self, confirms: Confirms) -> int:
        """Count the touches that are wanted by now."""
        return sum(map(self.lacks, self.wanted(confirms)))

    def unknown(self, confirms: Confirms, left: Collection[Step]) -> set[str]:
        """Name the pads of which it isn't known yet what their leads do alone.

        Parameters
        ----------
        confirms : Confirms
        left : collection of Step
            What is still to be touched for the first time.
        """
        names = {step.target.name for step in self.steps}
        unknown = {step.target.name for step in self.steps if step.again("sweep") in left}
        unknown.update(name for name in confirms.waiting if name in names)
        unknown.update(step.target.name for step in self.wanted(confirms))
        return unknown
