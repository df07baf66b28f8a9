"""Which touches of a pair are still wanted to confirm what it was heard to do.

A pair is touched again some times, with others in between and each time between two clean
presses; every path that hit at least once. Where some of it was heard, but not all (a bend may
need a certain phrase), it is touched as often once more: the second stage of
`rig.listen.statistics.staged_p_value`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable
from dataclasses import dataclass, field

from rig.sweep.outcome import Outcome
from rig.sweep.steps import Step, clean

APART = 10
"""Touches that lie between two of one pair, at least."""


@dataclass(frozen=True)
class Demand:
    """How much a hand is asked for.

    Parameters
    ----------
    touches : int
        Of a pair in each stage.
    calibrating : int
        Clean presses by which all confirming touches of a key are measured, at least.
    """

    touches: int
    calibrating: int

    def calibrating_by(self, confirmed: int) -> int:
        """Give how many there should be by now: they keep step with the confirming touches."""
        return min(confirmed + 1, self.calibrating) + confirmed // 8


RIG = Demand(touches=3, calibrating=24)
"""Three of three have a p value of 0.0014; then an eighth of 100 pairs that went so far needs to be
real for 5 % to be held."""
BY_HAND = Demand(touches=2, calibrating=10)
"""Two of two have 0.015, so three in ten must be real: by hand a pair costs a new grip each time."""


@dataclass
class Tally:
    """What the touches over one path have come to.

    Parameters
    ----------
    made, heard : int
    stops : bool
        The toy was stopped over it.
    """

    made: int = 0
    heard: int = 0
    stops: bool = False


@dataclass
class Confirming:
    """A pair that was heard to do something, over all its paths and keys.

    Attributes
    ----------
    over : dict of Step to Tally
        The steps that hit.
    made, heard : list of int
        Confirming touches that count, by stage.
    last : int
        The number of touches by the last one of it.
    """

    over: dict[Step, Tally] = field(default_factory=dict)
    made: list[int] = field(default_factory=lambda: [0, 0])
    heard: list[int] = field(default_factory=lambda: [0, 0])
    last: int = 0

    def take(self, step: Step, heard: bool, stopped: bool, demand: Demand) -> None:
        """Take in a touch that counts."""
        stage = self.stage(demand) or 1
        self.made[stage - 1] += 1
        self.heard[stage - 1] += heard
        tally = self.over.setdefault(step.again("sweep"), Tally())
        tally.made += 1
        tally.heard += heard
        tally.stops = tally.stops or stopped

    def stage(self, demand: Demand) -> int | None:
        """Say which stage the next touch is of; None where no more is wanted."""
        if self.made[0] < self._first(demand):
            return 1
        some = 0 < self.heard[0] < self.made[0]
        return 2 if some and self.made[1] < demand.touches else None

    def came_back(self, demand: Demand) -> bool:
        """Say whether all touches are made, and most of them were heard; none stopped the toy."""
        is_done = self.stage(demand) is None and 2 * sum(self.heard) > sum(self.made)
        return is_done and not any(tally.stops for tally in self.over.values())

    def left(self, demand: Demand) -> int:
        """Count the touches that are wanted by now."""
        stage = self.stage(demand)
        wanted = {None: 0, 1: self._first(demand), 2: demand.touches}[stage]
        return wanted - self.made[stage - 1] if stage else 0

    def _first(self, demand: Demand) -> int:
        return max(demand.touches, len(self._paths(self.over)))

    def next(self, aside: Container[Step], demand: Demand) -> Step | None:
        """Give the touch that is wanted next, but for steps that are set aside.

        Where the toy was stopped it is touched only if nothing else hit. First comes what was
        touched the least, then what wasn't heard.
        """
        if self.stage(demand) is None:
            return None
        paths = self._paths(one for one in self.over if one not in aside)
        tallies = self.over
        step = min(paths, key=lambda one: (tallies[one].made, tallies[one].heard), default=None)
        if step is not None and self.stage(demand) == 2:
            step = min(paths, key=lambda one: (tallies[one].heard, tallies[one].made))
        return step and step.again("confirm")

    def _paths(self, steps: Iterable[Step]) -> list[Step]:
        steps = list(steps)
        return [one for one in steps if not self.over[one].stops] or steps


@dataclass
class Confirms:
    """All pairs that hit, and what is to be made of them.

    Parameters
    ----------
    demand : Demand

    Attributes
    ----------
    pairs : dict of str to Confirming
        By name; `waiting` are those of which more is wanted, the oldest first.
    aside : set of Step
        Steps that aren't touched any more.
    calibrating, made : dict of str to int
        Touches that count, by key: clean ones that calibrate, and confirming ones.
    """

    demand: Demand
    pairs: dict[str, Confirming] = field(default_factory=dict)
    waiting: dict[str, None] = field(default_factory=dict)
    aside: set[Step] = field(default_factory=set)
    calibrating: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    made: dict[str, int] = field(default_factory=lambda: defaultdict(int))

    def add(self, step: Step, stopped: bool) -> None:
        """Have a step that hit confirmed."""
        self.pairs.setdefault(step.target.name, Confirming()).over[step] = Tally(stops=stopped)
        self._place(step.target.name)

    def remove(self, step: Step) -> None:
        """Take a hit back."""
        if step.target.name in self.pairs:
            self.pairs[step.target.name].over.pop(step, None)
            self._place(step.target.name)

    def touched(self, step: Step, touches: int) -> None:
        """Note after how many touches the pair of a step was touched last."""
        if step.target.name in self.pairs:
            self.pairs[step.target.name].last = touches

    def count(self, outcome: Outcome) -> bool:
        """Take in a touch that counts; says whether its pair is done, and nothing was heard."""
        step = outcome.step
        if step.is_clean:
            self.calibrating[step.key] += 1
            return False
        name = step.target.name
        pair = self.pairs.setdefault(name, Confirming())
        pair.take(step, outcome.is_hit, outcome.stopped, self.demand)
        self.made[step.key] += 1
        self._place(name)
        return name not in self.waiting and not sum(pair.heard)

    def set_aside(self, step: Step, aside: bool) -> None:
        """Have a step touched no more, or again."""
        step = step.again("sweep")
        (self.aside.add if aside else self.aside.discard)(step)
        if step.target.name in self.pairs:
            self._place(step.target.name)

    def _place(self, name: str) -> None:
        if self._wanted(name) is not None:
            self.waiting[name] = None
        else:
            self.waiting.pop(name, None)

    def _wanted(self, name: str) -> Step | None:
        return self.pairs[name].next(self.aside, self.demand)

    def wanted(self) -> list[Step]:
        """Give the next touch of each pair of which more is wanted."""
        return [step for name in self.waiting if (step := self._wanted(name)) is not None]

    def oldest(self, steps: Iterable[Step], touches: int) -> Step | None:
        """Give the first of some steps that, after so many touches, is far enough from its last."""
        return next((
            one for one in steps if touches - self.pairs[one.target.name].last >= APART
        ), None)

    def left(self) -> int:
        """Count the touches that are wanted by now."""
        return sum(self.pairs[name].left(self.demand) for name in self.waiting)

    def came_back(self, name: str) -> bool:
        """Say whether a pair, or a lead alone, is done and was mostly heard again."""
        return name in self.pairs and self.pairs[name].came_back(self.demand)

    def heard(self, step: Step) -> bool:
        """Say whether a touch that counts was heard over this path."""
        pair = self.pairs.get(step.target.name)
        tally = pair and pair.over.get(step.again("sweep"))
        return bool(tally and tally.heard)

    def vanished(self) -> list[str]:
        """Name the pairs that hit over two paths or more, and came back in none of their touches."""
        return [
            name for name, pair in self.pairs.items()
            if name not in self.waiting and any(pair.made) and not any(pair.heard)
            and len({step.series_ohm for step in pair.over}) > 1
        ]

    def sure(self) -> list[Step]:
        """Give a path over which each pair was heard every time, of those that were so heard."""
        found = []
        for name, pair in self.pairs.items():
            if name in self.waiting or not sum(pair.made) == sum(pair.heard) >= self.demand.touches:
                continue
            steps = [one for one, tally in pair.over.items()
                     if tally.heard and not tally.stops and one not in self.aside]
            found += steps[:1]
        return found

    def to_calibrate(self, stimuli: Iterable[tuple[str, ...]], *, at_last: bool) -> Step | None:
        """Give a clean press that calibrates, where a key has too few.

        Parameters
        ----------
        stimuli : iterable of tuple of str
            Keys that are pressed together.
        at_last : bool
            All else is done: those that were confirmed with must have as many as are demanded.
        """
        for keys in stimuli:
            step = clean("check", *keys)
            made = self.made.get(step.key, 0)
            wanted = self.demand.calibrating_by(made)
            if at_last:
                wanted = max(wanted, self.demand.calibrating) if made else 0
            if self.calibrating.get(step.key, 0) < wanted:
                return step
        return None
