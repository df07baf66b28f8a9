"""What the touches so far have shown, and what is due after them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

from rig.project import Project
from rig.sweep.limits import LIMITS
from rig.sweep.outcome import Outcome
from rig.sweep.shown import ShownPads
from rig.sweep.steps import Step, asked_steps, pair_steps
from rig.touches import Target

CONFIRM_TRIES = 3
"""A hit may need a certain phrase, so it is touched again up to this often before it is dropped."""
MORE_TAKES = 6
MORE_TAKES_MOST = 3
"""Clean takes made when the toy says something new, and at most, in baselines."""
BELOW = "below one that is set aside"
CHECK_EVERY = 60
"""Touches between two clean presses that show whether the baseline still holds."""


@dataclass(slots=True)
class _Spot:
    """What is known of one pair with one series value and key."""

    swept: bool = False
    hit: bool = False
    stops: int = 0
    confirm_tries: int = 0
    confirmed: bool = False
    faults: tuple[str, ...] = ()
    aside: str = ""

    @property
    def wants_confirming(self) -> bool:
        if self.aside or self.confirmed or self.confirm_tries >= CONFIRM_TRIES:
            return False
        return self.hit or (self.stops == 1 and self.confirm_tries == 0)


@dataclass
class Knowledge:
    """What the touches so far have shown: the sum of the outcomes that were applied.

    A step is under way from the moment the plan yields it until `apply`, `set_aside` or `drop`
    is called for it; meanwhile the plan yields others.

    Attributes
    ----------
    stimuli : list of tuple of str
        The keys that are pressed together, of all that is to be touched: each has its baseline.
    touches, freezes : int
        Touches that count and freezes seen.
    doubts : int
        Clean presses in a row that didn't sound like their baseline.
    presses, unnoticed : dict of str to int
        Of each key: presses of a living toy with nothing closed yet, and those that it missed.
    first_wakes : dict of str to bool
        Of each key, whether it missed the very first.
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
    doubts: int = 0
    touches: int = 0
    freezes: int = 0
    presses: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    unnoticed: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    first_wakes: dict[str, bool] = field(default_factory=dict)
    _left_alive: bool = True

    def __post_init__(self) -> None:
        self.steps = list(dict.fromkeys([*pair_steps(self.project), *asked_steps(self.project)]))
        keys = [(key,) for key in self.project.sweep_keys]
        self.stimuli = list(dict.fromkeys([*keys, *(step.target.keys for step in self.steps)]))
        self.left = dict.fromkeys(self.steps)
        self.shown = ShownPads()
        self._of_pair: dict[Target, list[Step]] = {}
        for step in self.steps:
            self._of_pair.setdefault(step.target.place, []).append(step)
        self._begun: dict[Target, None] = {}
        self._fresh: dict[Target, None] = dict.fromkeys(self._of_pair)

    def spot(self, step: Step) -> _Spot:
        """Give what is known where a step of a pair touches."""
        return self.spots[step.again("sweep")]

    def apply(self, outcome: Outcome) -> None:
        """Take in what came of a touch; the one way, made just now or read back from the log."""
        step = outcome.step
        self.drop(step)
        if outcome.answer == "strange":
            self.hear_more(step.key)
        self._apply_press(outcome)
        self.touches += outcome.counts
        self.freezes += outcome.after == "freeze"
        if outcome.trouble:
            self._apply_fault(step, outcome.trouble)
        elif not outcome.counts:
            return
        elif not step.is_clean:
            self._apply_pair(outcome)
        else:
            self._apply_clean(outcome)

    def _apply_press(self, outcome: Outcome) -> None:
        """Count how its key was answered: silence is a miss, unless the touch before froze the toy."""
        if not outcome.step.target.keys:
            return
        key, missed = outcome.step.key, outcome.answer == "none"
        if outcome.counts or missed:
            self.first_wakes.setdefault(key, missed)
            if self._left_alive:
                self.presses[key] += 1
                self.unnoticed[key] += missed
        if outcome.counts:
            self._left_alive = not outcome.stopped
        elif missed:
            self._left_alive = True  # it was brought back

    def _apply_fault(self, step: Step, fault: str) -> None:
        if step.is_clean:
            self.check_lost = self.check_lost or (step.kind == "check" and fault == "lost")
            return
        spot = self.spot(step)
        spot.faults += (fault,)
        if spot.faults.count(fault) >= LIMITS[fault].of_step:
            self.set_aside(step, fault)

    def _apply_clean(self, outcome: Outcome) -> None:
        if outcome.stopped:
            return
        key = outcome.step.key
        if outcome.step.kind == "baseline":
            self.clean_takes[key] += 1
            return
        self.since_check = 0
        self.check_lost = False
        if outcome.is_hit:
            self.doubts += 1
            self.check_next()
            return
        if self.doubts:  # the toy is the same, but it does that by itself now and then
            self.hear_more(key)
        self.doubts = 0

    def _apply_pair(self, outcome: Outcome) -> None:
        step, stopped = outcome.step, outcome.stopped
        self.since_check += 1
        spot = self.spot(step)
        spot.stops += stopped
        self.shown.take_in(step.pads, outcome.is_hit, stopped)
        if stopped:
            for lower in self._below(step):
                self.left.pop(lower, None)
        if step.kind == "sweep":
            spot.swept = True
            spot.hit = outcome.is_hit
            self.left.pop(step, None)
        else:
            spot.confirm_tries += 1
            # A freeze that came back counts, whatever was heard of it.
            spot.confirmed = outcome.is_hit or (stopped and not spot.hit)
            if spot.hit and not spot.confirmed and spot.confirm_tries == CONFIRM_TRIES:
                # What came once and never again may be something that the toy does by itself.
                self.hear_more(step.key)
        again = step.again("confirm")
        if spot.wants_confirming:
            self.confirms[again] = None
        else:
            self.confirms.pop(again, None)
        self._place_anew(step)

    def set_aside(self, step: Step, why: str) -> None:
        """Leave a pair's touch to the person: for a fault of `LIMITS`, or as the person said.

        Lower values of the pair are left too where it was never touched: nothing says that they
        are safe.
        """
        self.drop(step)
        self.spot(step).aside = why
        self.left.pop(step.again("sweep"), None)
        self.confirms.pop(step.again("confirm"), None)
        for lower in () if self.spot(step).swept else self._below(step):
            if lower in self.left:
                self.spots[lower].aside = BELOW
                del self.left[lower]
        self._place_anew(step)

    def set_aside_for_faults(self) -> list[Step]:
        """Give the pairs' touches that were set aside after too many faults."""
        return [step for step, spot in self.spots.items() if spot.aside in LIMITS]

    def retry(self) -> None:
        """Have what was set aside made after all, as if nothing had gone wrong."""
        for step, spot in list(self.spots.items()):
            spot.faults = ()
            was_aside, spot.aside = spot.aside, ""
            if was_aside and spot.wants_confirming:
                self.confirms[step.again("confirm")] = None
            elif was_aside and not spot.swept and not self._is_below_a_stop(step):
                self.left[step] = None
        for steps in self._of_pair.values():
            self._place_anew(steps[0])

    def _values(self, step: Step) -> list[Step]:
        """Give the steps of a step's pair, from high to low; none where it is forbidden by now."""
        return self._of_pair.get(step.target.place, [])

    def _below(self, step: Step) -> list[Step]:
        """Give the steps of a step's pair over lower values."""
        return [one for one in self._values(step) if one.series_ohm < step.series_ohm]

    def _is_below_a_stop(self, step: Step) -> bool:
        return any(
            self.spots[one].stops for one in self._values(step) if one.series_ohm > step.series_ohm
        )

    def _place_anew(self, step: Step) -> None:
        """Have a pair among those that are begun, or fresh, or neither where nothing is left."""
        place = step.target.place
        self._begun.pop(place, None)
        self._fresh.pop(place, None)
        steps = self._values(step)
        if any(one in self.left for one in steps):
            is_begun = any(self.spots[one].swept for one in steps if one in self.spots)
            (self._begun if is_begun else self._fresh)[place] = None

    def due(self, *, begun: bool) -> list[Step]:
        """Give the touches that may be made now, of pairs that are begun or of those that aren't.

        Of each pair it is the highest value that is left, once all that were made over higher ones
        are known to be safe.
        """
        busy = {step.target.place for step in self.under_way}
        places = self._begun if begun else self._fresh
        return [self._first_left(place) for place in places if place not in busy]

    def _first_left(self, place: Target) -> Step:
        return next(step for step in self._of_pair[place] if step in self.left)

    @property
    def wants_check(self) -> bool:
        """Say whether a clean press must show that the baseline still holds."""
        under_way = any(step.kind == "check" for step in self.under_way)
        return self.since_check >= CHECK_EVERY and not under_way

    def check_next(self) -> None:
        """Ask for a clean press before the next pair."""
        self.since_check = max(self.since_check, CHECK_EVERY)

    def drop(self, step: Step) -> None:
        """Forget that a step is under way; it's still due."""
        if step in self.under_way:
            self.under_way.remove(step)

    def hear_more(self, key: str) -> None:
        """Ask for more clean takes: the toy was heard to say something new by itself."""
        most = MORE_TAKES_MOST * self.project.rig.sweep.baseline_takes
        self.more_takes[key] = min(self.more_takes[key] + MORE_TAKES, most)

    def next_confirm(self) -> Step | None:
        """Give the oldest hit that must be touched again and isn't under way."""
        return next((step for step in self.confirms if step not in self.under_way), None)
