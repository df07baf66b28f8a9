"""What the touches so far have shown, and what is due after them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

from rig.log.between import NOTHING, Between, Seen
from rig.log.records import CONTROL
from rig.project import Project
from rig.sweep.confirming import BY_HAND, RIG, Confirms
from rig.sweep.contact import CHECK, Contact
from rig.sweep.doubts import Doubts
from rig.sweep.leads import Leads
from rig.sweep.limits import LIMITS
from rig.sweep.measured import Measured
from rig.sweep.outcome import Outcome
from rig.sweep.shown import ShownPads
from rig.sweep.steps import Step, asked_steps, clean, lone_steps, pair_steps
from rig.touches import Target

MORE_TAKES = 6
MORE_TAKES_MOST = 3
"""Clean takes made when the toy says something new, and at most, in baselines."""
BELOW = "below one that is set aside"
CHECK_EVERY = 60
"""Touches between two clean presses that show whether the toy is itself."""
CHECK_HITS = 6
"""So many hits ask for one too: a toy that isn't itself gives nothing but hits."""
OTHER_LOST = 2
"""So many takes of another key are lost before it is left out: where it matters little, two lost by chance
are rare."""


@dataclass(slots=True)
class _Spot:
    """What is known of one pair with one series value and key."""

    swept: bool = False
    hit: bool = False
    stops: int = 0
    froze_again: bool = False
    faults: tuple[str, ...] = ()
    aside: str = ""

    @property
    def wants_another_freeze(self) -> bool:
        return self.stops == 1 and not self.froze_again and not self.aside


@dataclass
class Knowledge:
    """What the touches so far have shown: the sum of the outcomes that were applied.

    A step is under way from the moment the plan yields it until `apply`, `set_aside` or `drop`
    is called for it; meanwhile the plan yields others.

    Attributes
    ----------
    stimuli : list of tuple of str
        The keys that are pressed together, of all that is to be touched: each has its baseline.
    between : Between
        What lies between clean presses that sounded like the toy.
    doubts : Doubts
        What those that didn't ask for.
    confirms : Confirms
        The pairs that hit, and what is still wanted of them.
    contact : Contact
        Whether the leads still reach their pads.
    leads : Leads
        Each pad's lead alone, and what the toy does with it on.
    measured : Measured
        What was touched to measure what is kept.
    other_keys : dict of str to int
        Keys with which nothing is touched and that weren't heard yet, and how many takes of each were
        lost; none by hand.
    touches, freezes : int
        Touches that count and freezes seen.
    presses, unnoticed : dict of str to int
        Of each key: presses of a living toy with nothing closed yet, and those that it missed.
    first_wakes : dict of str to bool
        Of each key, whether it missed the very first.
    """

    project: Project
    spots: dict[Step, _Spot] = field(default_factory=lambda: defaultdict(_Spot))
    clean_takes: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    heard_once: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    between: Between = field(default_factory=Between)
    doubts: Doubts = field(default_factory=Doubts)
    contact: Contact = field(default_factory=Contact)
    measured: Measured = field(default_factory=Measured)
    froze: dict[Step, None] = field(default_factory=dict)
    under_way: list[Step] = field(default_factory=list)
    more_takes: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    since_check: int = 0
    hits_since_check: int = 0
    check_lost: bool = False
    pressed: tuple[str, ...] = ()
    touches: int = 0
    freezes: int = 0
    presses: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    unnoticed: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    first_wakes: dict[str, bool] = field(default_factory=dict)
    _left_alive: bool = True

    def __post_init__(self) -> None:
        self.confirms = Confirms(BY_HAND if self.project.rig.bench == "by-hand" else RIG)
        lone = list(lone_steps(self.project))
        with_it = [step.again("baseline") for step in lone]
        self.leads = Leads(with_it, self.project.rig.sweep.baseline_takes)
        self.steps = list(dict.fromkeys(
            [*lone, *pair_steps(self.project), *asked_steps(self.project)]
        ))
        keys = [(key,) for key in self.project.sweep_keys]
        self.stimuli = list(dict.fromkeys([*keys, *(step.target.keys for step in self.steps)]))
        self.left = dict.fromkeys(self.steps)
        self.other_keys = dict.fromkeys(
            (key for key in self.project.wired_keys
             if self.confirms.demand is RIG
             and (key,) not in self.stimuli and key not in self.project.toy.on),
            0,
        )  # fmt: skip
        self.shown = ShownPads()
        self._of_pair: dict[Target, list[Step]] = {}
        for step in self.steps:
            self._of_pair.setdefault(step.target.place, []).append(step)
        self._begun: dict[Target, None] = {}
        self._fresh: dict[Target, None] = dict.fromkeys(self._of_pair)

    def spot(self, step: Step) -> _Spot:
        """Give what is known where a step of a pair touches; what measures has spots of its own."""
        return self.spots[step if step.kind == CONTROL else step.again("sweep")]

    def apply(self, outcome: Outcome) -> Seen:
        """Take in what came of a touch; the one way, made just now or read back from the log."""
        step = outcome.step
        self.drop(step)
        self.measured.note(outcome)
        if step.kind == CONTROL:
            return self._apply_control(outcome)
        if step.is_clean and step.key in self.other_keys:
            self._heard_other(step.key, is_lost=outcome.trouble == "lost")
        if outcome.answer == "strange":
            self.hear_more(step.key)
        self._apply_press(outcome)
        self.touches += outcome.counts
        self.freezes += outcome.after == "freeze"
        was_itself = self.between.is_itself
        seen = self.between.take(
            outcome, step.kind, step.target, itself=outcome.itself, stopped=outcome.stopped,
            whole=outcome.is_whole,
        )
        if outcome.trouble:
            self._apply_fault(step, outcome.trouble)
        elif not outcome.counts:
            return NOTHING
        elif not step.is_clean:
            self._apply_pair(outcome)
        else:
            self._apply_clean(outcome, was_itself)
        if seen.counts is not None or not step.is_clean:
            self.doubts.fruitless = 0
        self._settle(seen)
        return seen

    def _apply_control(self, outcome: Outcome) -> Seen:
        """Take in what measures what is kept: of finds and of what is due it changes nothing, but that
        a pair isn't touched below what stopped the toy."""
        step = outcome.step
        self._apply_press(outcome)
        self.touches += outcome.counts
        self.freezes += outcome.after == "freeze"
        self.between.rest()
        counts = self.measured.take(outcome)
        if outcome.trouble:
            self._apply_fault(step, outcome.trouble)
        elif outcome.counts and step.is_clean and not outcome.stopped:
            self.pressed = step.target.keys
            self.doubts.take(outcome.itself)
        elif outcome.stopped:
            for lower in self._below(step):
                self.left.pop(lower, None)
            self._place_anew(step)
        if counts or not step.is_clean:
            self.doubts.fruitless = 0
        return NOTHING

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

    def _apply_clean(self, outcome: Outcome, was_itself: bool) -> None:
        if outcome.stopped:
            return
        key = outcome.step.key
        if outcome.step.kind == "baseline":
            self.clean_takes[key] += 1
            return
        self.since_check = self.hits_since_check = 0
        self.check_lost = False
        self.pressed = outcome.step.target.keys
        self.doubts.take(outcome.itself)
        if was_itself and not outcome.itself:
            # Nothing was bridged since it was itself: it does that now and then.
            self.hear_more(key)

    def _apply_pair(self, outcome: Outcome) -> None:
        step, stopped = outcome.step, outcome.stopped
        self.since_check += 1
        spot = self.spot(step)
        spot.stops += stopped
        if not step.is_lone:
            self.shown.take_in(step.pads, outcome.is_hit, stopped)
        if stopped:
            for lower in self._below(step):
                self.left.pop(lower, None)
        if step.kind == "sweep":
            spot.swept = True
            spot.hit = outcome.is_hit
            self.left.pop(step, None)
            if spot.hit:
                self.hits_since_check += 1
                self.confirms.add(step, stopped)
        elif step.kind == "baseline":
            self.leads.count(outcome)
        elif step.kind == "confirm":
            spot.froze_again = True
        self.confirms.touched(step, self.touches)
        again = step.again("confirm")
        if spot.wants_another_freeze:
            self.froze[again] = None
        else:
            self.froze.pop(again, None)
        self._place_anew(step)
        for one in self.contact.take(step, outcome.is_hit, stopped, self.touches):
            self._make_anew(one)

    def _make_anew(self, step: Step) -> None:
        """Have a touch made again in which nothing was heard."""
        spot = self.spot(step)
        if not spot.hit and not spot.aside and not self._is_below_a_stop(step):
            spot.swept = False
            self.left[step] = None
            self._place_anew(step)

    def _settle(self, seen: Seen) -> None:
        """Take in what a touch has shown of those before it."""
        one: Outcome | None = seen.counts
        if one is not None and self.confirms.count(one):
            # What came once and never again may be something that the toy does by itself.
            self.hear_more(one.step.key)
        for one in seen.void:
            spot = self.spot(one.step)
            if one.step.kind == "sweep" and spot.hit and not spot.aside:
                spot.hit = spot.swept = False
                self.left[one.step] = None
                self.confirms.remove(one.step)
                self._place_anew(one.step)

    def set_aside(self, step: Step, why: str) -> None:
        """Leave a pair's touch to the person: for a fault of `LIMITS`, or as the person said.

        Lower values of the pair are left too where it was never touched: nothing says that they
        are safe.
        """
        self.drop(step)
        self.spot(step).aside = why
        if step.kind == CONTROL:
            self.measured.set_aside(step)
            return
        self.left.pop(step.again("sweep"), None)
        self.froze.pop(step.again("confirm"), None)
        self.confirms.set_aside(step, True)
        for lower in () if self.spot(step).swept else self._below(step):
            if lower in self.left:
                self.spots[lower].aside = BELOW
                del self.left[lower]
        self._place_anew(step)

    def set_aside_for_faults(self) -> list[Step]:
        """Give the pairs' touches that were set aside after too many faults."""
        return [step for step, spot in self.spots.items()
                if spot.aside in LIMITS and step.kind != CONTROL]

    def retry(self) -> None:
        """Have what was set aside made after all, as if nothing had gone wrong."""
        self.measured.aside.clear()
        for step, spot in list(self.spots.items()):
            spot.faults = ()
            was_aside, spot.aside = spot.aside, ""
            if step.kind == CONTROL:
                continue
            self.confirms.set_aside(step, False)
            if was_aside and spot.wants_another_freeze:
                self.froze[step.again("confirm")] = None
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

        A pair waits until it is known what the leads of its pads do alone. Of each it is the highest
        value that is left, once all that were made over higher ones are known to be safe.
        """
        busy = {step.target.place for step in self.under_way}
        places = self._begun if begun else self._fresh
        unknown = self.leads.unknown(self.confirms, self.left)
        return [
            self._first_left(place) for place in places
            if place not in busy and unknown.isdisjoint(place.leads)
            and not self.contact.waits(place.pads)
        ]

    def _first_left(self, place: Target) -> Step:
        return next(step for step in self._of_pair[place] if step in self.left)

    def next_loaded(self) -> Step | None:
        """Give a touch that learns the toy with a lead on, where more are wanted."""
        return next((
            step for step in self.leads.wanted(self.confirms)
            if self.leads.lacks(step) > self.under_way.count(step)
        ), None)

    @property
    def wants_press(self) -> bool:
        """Say whether a clean press must come before anything is bridged."""
        confirming = self.between.ready and any(step.kind == "confirm" for step in self.under_way)
        waits = self.between.waiting is not None
        return confirming or waits or self.check_lost or self.doubts.wanted > 0

    @property
    def wants_check(self) -> bool:
        """Say whether a clean press must show that the toy is itself."""
        if any(step.kind == "check" for step in self.under_way):
            return False
        return self.since_check >= CHECK_EVERY or self.hits_since_check >= CHECK_HITS

    @property
    def is_ready(self) -> bool:
        """Say whether the toy was just heard to be itself, with nothing bridged since."""
        return self.between.ready and not self.under_way

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

    def known_bend(self, *, at_last: bool = False) -> Step | None:
        """Give a known bend that is to show now whether its leads still reach their pads.

        Parameters
        ----------
        at_last : bool
            Nothing else is left.
        """
        if self.confirms.demand is BY_HAND:
            return None  # tips are put on anew for each touch
        if any(step.kind == CHECK and not step.is_clean for step in self.under_way):
            return None  # it isn't known yet what that one showed
        bends = [one for one in self.confirms.sure() if not self.spots[one].stops]
        return self.contact.due(bends, self.touches, at_last=at_last)

    def _heard_other(self, key: str, *, is_lost: bool) -> None:
        """Take in a press of another key: one whose take was lost is pressed once more."""
        self.other_keys[key] += is_lost
        if not is_lost or self.other_keys[key] >= OTHER_LOST:
            del self.other_keys[key]

    def next_other_key(self) -> Step | None:
        """Give a press of a key with which nothing is touched, once all else is done.

        It comes last since such a key may change the toy's mode or volume for good.
        """
        return next((clean("baseline", key) for key in self.other_keys), None)

    def waiting(self) -> list[Step]:
        """Give the touches that wait for a lead in doubt: to be made, or made again."""
        left = (step for step in self.left if self.contact.waits(step.pads))
        return list(dict.fromkeys([*left, *self.contact.in_vain()]))

    def next_freeze(self) -> Step | None:
        """Give the oldest freeze that must be seen again and isn't under way."""
        return next((step for step in self.froze if step not in self.under_way), None)

    @property
    def behind(self) -> Step | None:
        """Give the touch that the next clean press is to lie behind, where it matters to it."""
        waiting: Outcome | None = self.between.waiting
        under_way = (step for step in self.under_way if step.kind == "confirm")
        return waiting.step if waiting is not None else next(under_way, None)

    def shows_itself(self, step: Step) -> tuple[str, ...]:
        """Give the keys whose clean press shows of a step whether the toy is itself."""
        return step.target.keys or self.stimuli[0]

    def stage(self, step: Step) -> int | None:
        """Say which stage a confirming touch is of; None where it only sees a freeze again."""
        if step.kind != "confirm" or not self.between.ready:
            return None
        pair = self.confirms.pairs.get(step.target.name)  # none of one that never hit, but froze
        return pair.stage(self.confirms.demand) if pair else None
