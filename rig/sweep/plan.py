"""Which touches to make: a generator that asks what is known and yields the next one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from rig.bench import Connection, Stimulus, Touch
from rig.outcomes import is_stop
from rig.project import Project, path_ohm, touchable

CONFIRM_TRIES = 3
"""A hit may need a certain phrase, so it is touched again up to this often before it is dropped."""
TRIES = 3
"""A touch whose take was lost is made again until this many have failed."""
MORE_TAKES = 6
MORE_TAKES_MOST = 3
"""Clean takes made when the toy says something new, and at most, in baselines."""
CHECK_EVERY = 60
"""Touches between two clean presses that show whether the baseline still holds."""


@dataclass(frozen=True)
class Step:
    """One touch of the plan.

    Parameters
    ----------
    kind : str
        baseline, sweep, confirm or check.
    key : str
        Key of the toy that is pressed.
    pads : tuple of (str, str) or None
        The pair; None for clean presses.
    series_ohm : float or None
        Value of the series bank, ohms.
    """

    kind: str
    key: str
    pads: tuple[str, str] | None = None
    series_ohm: float | None = None

    @property
    def plan_key(self) -> str:
        """Name the step so that the log can count its attempts over several runs."""
        if self.pads is None:
            return f"{self.kind} {self.key}"
        return f"{self.kind} {self.key} {self.pads[0]}-{self.pads[1]} {self.series_ohm:g}"

    def touch(self, project: Project) -> Touch:
        """Build the touch with the set-up's timings."""
        timings = project.rig.timings
        connections: tuple[Connection, ...] = ()
        if self.pads is not None:
            connections = (Connection((self.pads[0],), (self.pads[1],), self.series_ohm),)
        return Touch(
            connections,
            Stimulus((self.key,), project.toy.keys[self.key].press_ms),
            timings.before_ms, timings.lead_in_ms, timings.dwell_ms, timings.tail_ms,
        )


@dataclass
class _Spot:
    """What is known of one pair with one series value and key."""

    swept: bool = False
    hit: bool = False
    stops: int = 0
    confirm_tries: int = 0
    confirmed: bool = False
    failures: int = 0
    aside: bool = False

    @property
    def wants_confirming(self) -> bool:
        if self.aside or self.confirmed or self.confirm_tries >= CONFIRM_TRIES:
            return False
        return self.hit or (self.stops == 1 and self.confirm_tries == 0)


@dataclass
class Knowledge:
    """What the touches so far have shown; filled from the log and then touch by touch.

    A step is under way from the moment the plan yields it until `note`, `fail` or `drop`
    is called for it; meanwhile the plan yields others.
    """

    project: Project
    spots: dict[Step, _Spot] = field(default_factory=lambda: defaultdict(_Spot))
    clean_takes: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    heard_once: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    confirms: dict[Step, None] = field(default_factory=dict)
    under_way: list[Step] = field(default_factory=list)
    more_takes: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    since_check: int = 0
    check_lost: bool = False

    def __post_init__(self) -> None:
        self.steps = list(pair_steps(self.project))
        self.left = dict.fromkeys(self.steps)
        same_pair: dict[tuple, list[Step]] = defaultdict(list)
        self._higher: dict[Step, list[Step]] = {}
        for step in self.steps:
            earlier = same_pair[step.key, step.pads]
            self._higher[step] = list(earlier)
            earlier.append(step)
        self._same_pair = same_pair

    def spot(self, step: Step) -> _Spot:
        """Give what is known where a step of a pair touches."""
        return self.spots[replace(step, kind="sweep")]

    def note(self, step: Step, hit: bool, after: str) -> None:
        """Take in a complete touch: was it a hit, and how was the toy afterwards?"""
        self.drop(step)
        if step.kind == "baseline":
            self.clean_takes[step.key] += 1
            return
        if step.pads is None:
            self.since_check = 0
            self.check_lost = False
            return
        self.since_check += 1
        spot = self.spot(step)
        stopped = is_stop(after)
        spot.stops += stopped
        if stopped:
            for lower in self._same_pair[step.key, step.pads]:
                if lower.series_ohm < step.series_ohm:
                    self.left.pop(lower, None)
        if step.kind == "sweep":
            spot.swept = True
            spot.hit = hit
            self.left.pop(step, None)
        else:
            spot.confirm_tries += 1
            # A freeze that came back counts, whatever was heard of it.
            spot.confirmed = hit or (stopped and not spot.hit)
            if spot.hit and not spot.confirmed and spot.confirm_tries == CONFIRM_TRIES:
                # What came once and never again may be something that the toy does by itself.
                self.hear_more(step.key)
        again = replace(step, kind="confirm")
        if spot.wants_confirming:
            self.confirms[again] = None
        else:
            self.confirms.pop(again, None)

    def fail(self, step: Step, most: int = TRIES) -> bool:
        """Count a touch that came to nothing; says whether it is set aside now."""
        self.drop(step)
        if step.pads is None:
            self.check_lost = self.check_lost or step.kind == "check"
            return False
        spot = self.spot(step)
        spot.failures += 1
        if spot.failures >= most:
            spot.aside = True
            self.left.pop(replace(step, kind="sweep"), None)
            self.confirms.pop(replace(step, kind="confirm"), None)
        return spot.aside

    def check_next(self) -> None:
        """Ask for a clean press before the next pair."""
        self.since_check = max(self.since_check, CHECK_EVERY)

    def drop(self, step: Step) -> None:
        """Forget that a step is under way; it's still due."""
        if step in self.under_way:
            self.under_way.remove(step)

    def is_due(self, step: Step) -> bool:
        """Say whether a pair's touch is to be made now: its higher values come first."""
        if step not in self.left or step in self.under_way:
            return False
        return all(self.spots[higher].swept for higher in self._higher[step])

    def hear_more(self, key: str) -> None:
        """Ask for more clean takes: the toy was heard to say something new by itself."""
        most = MORE_TAKES_MOST * self.project.rig.sweep.baseline_takes
        self.more_takes[key] = min(self.more_takes[key] + MORE_TAKES, most)

    def next_confirm(self) -> Step | None:
        """Give the oldest hit that must be touched again and isn't under way."""
        return next((step for step in self.confirms if step not in self.under_way), None)


def pair_steps(project: Project) -> Iterator[Step]:
    """Give every pair's touch that safety allows, the highest series value first.

    All pairs are touched with one value before any is touched with the next lower one, so
    that how the toy was after a touch is known long before the same pair is touched harder.
    Pads marked as a clock, which crash a toy most easily, come last.
    """
    pads = project.toy.pads
    pairs = sorted(
        combinations(pads, 2), key=lambda pair: any(pads[p].kind == "clock" for p in pair)
    )
    for series_ohm in sorted(set(project.rig.series_ohm), reverse=True):
        for key in project.sweep_keys:
            for pair in pairs:
                if touchable(project, (pair[0],), (pair[1],), series_ohm) is None:
                    yield Step("sweep", key, pair, series_ohm)


Chooser = Callable[[Sequence[Step]], Step]
"""Picks one of the pairs' touches that are due."""


def plan(known: Knowledge, choose: Chooser | None = None) -> Iterator[Step]:
    """Yield the next touch for as long as there is one; asks `known` afresh each time.

    Parameters
    ----------
    known : Knowledge
    choose : callable, optional
        Picks the next pair's touch; without it they come in the order of `known.steps`.
    """
    for step in _plan(known, choose):
        known.under_way.append(step)
        yield step


def _plan(known: Knowledge, choose: Chooser | None) -> Iterator[Step]:
    yield from baselines(known)
    while True:
        for step in _pairs(known, choose):
            yield from baselines(known)
            while again := known.next_confirm():
                yield again
            if known.since_check >= CHECK_EVERY:
                known.since_check = 0
                yield Step("check", step.key)
            while known.check_lost:
                yield Step("check", step.key)
            yield step
        while again := known.next_confirm():
            yield again
        if not known.under_way and not known.check_lost:
            return
        # How the toy is after the last touch shows at one more press.
        yield Step("check", known.project.sweep_keys[0])


def _pairs(known: Knowledge, choose: Chooser | None) -> Iterator[Step]:
    """Yield the pairs' touches that are due, until there is none."""
    if choose is None:
        for step in known.steps:
            while known.is_due(step):
                yield step
        return
    while due := [step for step in known.left if known.is_due(step)]:
        yield choose(due)


def baselines(known: Knowledge) -> Iterator[Step]:
    """Yield clean presses while more of them are wanted."""
    for key in known.project.sweep_keys:
        while _wants_baseline(known, key):
            yield Step("baseline", key)


def _wants_baseline(known: Knowledge, key: str) -> bool:
    """More clean takes while there are too few, or some phrase was heard only once."""
    usual = known.project.rig.sweep.baseline_takes
    enough = usual + known.more_takes[key]
    made = known.clean_takes[key] + known.under_way.count(Step("baseline", key))
    return made < enough or (known.heard_once[key] > 0 and made < 2 * usual)


def touches_left(known: Knowledge) -> int:
    """Count the touches that are known to be due; hits to come will add to them."""
    clean = sum(
        max(0, known.project.rig.sweep.baseline_takes - known.clean_takes[key])
        for key in known.project.sweep_keys
    )
    return len(known.left) + len(known.confirms) + clean


def step_words(step: Step, project: Project) -> str:
    """Name a step in words for a person: "C-F over 13.0 kΩ"."""
    if step.pads is None:
        return {"baseline": f"baseline of {step.key}", "check": f"clean press of {step.key}"}[
            step.kind
        ]
    path = path_ohm(project.rig, step.series_ohm)
    return f"{step.pads[0]}-{step.pads[1]} over {path / 1000:.3g} kΩ"
