"""Which touches lie between two clean presses that sound like the toy.

Only such are held against each other: confirming touches, and clean presses that calibrate them.
A sweep asks while it runs, and whoever reads its log gets the same answers.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from rig.log.records import CONTROL, Record
from rig.touches import Target

CHANGED_AFTER = 3
"""Odd clean presses in a row after which the toy isn't what it was, and is brought back."""
ITSELF = "itself"
"""The fact of a clean press that says whether it sounded like the toy when it was made."""
STAGE = "stage"
"""The fact of a confirming touch that says of which stage it is, 1 or 2; those that only see a
freeze again have none."""


@dataclass(frozen=True)
class Seen:
    """What a touch has shown, mostly of those before it; these by their tokens.

    Parameters
    ----------
    joins : bool
        It is a clean press that joins the takes with which others are compared.
    counts : object or None
        One that has turned out to count.
    void : tuple
        Those that don't: the toy may not have been itself.
    left : object or None
        The one behind which the toy isn't itself.
    presses : int
        So many clean presses in a row have shown it.
    """

    joins: bool = False
    counts: Any = None
    void: tuple = ()
    left: Any = None
    presses: int = 0


NOTHING = Seen()


@dataclass
class Between:
    """Follows touches in the order in which they were made.

    Behind a good press that joins the others, either a confirming touch follows or one more clean
    press, which calibrates; the press behind it shows if it counts. So both come about alike. What
    a pair leaves behind is its own doing the second time: then its touches count.

    Attributes
    ----------
    ready : bool
        The last touch was a good clean press that joined the others.
    waiting : object or None
        Token of what waits for the press behind it.
    is_itself : bool
        The last touch was a good clean press, whether or not it joined them.
    odd : int
        Odd clean presses in a row.
    """

    ready: bool = False
    waiting: Any = None
    is_itself: bool = False
    odd: int = 0
    _is_confirm: bool = False
    _culprit: Any = None
    _since: list[tuple[Any, tuple]] = field(default_factory=list)
    _name: tuple = ()
    _was_void: set[tuple] = field(default_factory=set)

    def take(
        self, token: Any, kind: str, target: Target, *, itself: bool, stopped: bool, whole: bool
    ) -> Seen:
        """Take in one touch.

        Parameters
        ----------
        token : object
            Stands for it in what is told of it later.
        kind : str
            One of `rig.log.records.KINDS`.
        target : Target
        itself : bool
            Of a clean press: it sounded like the toy.
        stopped : bool
            It stopped the toy, which was brought back then.
        whole : bool
            It has no fault, was completed, and could be judged or stopped the toy.
        """
        if kind == CONTROL:
            self.rest()
            return NOTHING
        if kind == "baseline":
            if not target.is_clean:
                self.ready, self.waiting, self.is_itself = False, None, False
            return NOTHING
        if not whole or (target.is_clean and stopped):
            self.ready = self.is_itself = False
            return NOTHING
        if target.is_clean:
            return self._press(token, itself)
        was_ready, self.ready, self.waiting, self.is_itself = self.ready, False, None, False
        target = target.in_order()
        if kind == "confirm" and was_ready:
            if stopped:
                return Seen(counts=token)
            self.waiting, self._is_confirm = token, True
            self._name = (target.name,)
        elif stopped:
            self._since = []
        else:
            self._since.append((token, (target.name, target.key, target.series_ohm)))
        return NOTHING

    def rest(self) -> None:
        """Take in that touches of another kind come between: what waited has waited in vain."""
        self.ready, self.waiting, self.is_itself, self._is_confirm = False, None, False, False

    def measure(
        self, token: Any, target: Target, *, itself: bool, stopped: bool, whole: bool
    ) -> Seen:
        """Take in one touch of kind "control"; one of these alone follows them.

        They count as confirming touches do, between two good clean presses, but none joins the clean
        takes or calibrates, so that what a sweep has found doesn't hang on what is measured later.
        """
        if not target.is_clean:
            return self.take(token, "confirm", target, itself=itself, stopped=stopped, whole=whole)
        seen = self.take(None, "check", target, itself=itself, stopped=stopped, whole=whole)
        self.ready = self.is_itself
        return replace(seen, joins=False)

    def _press(self, token: Any, itself: bool) -> Seen:
        before, self.waiting = self.waiting, None
        calibrates, self.ready = self.ready, itself and not self.ready
        was_confirm, self._is_confirm = self._is_confirm, False
        self.is_itself = itself
        if calibrates:
            self.waiting = token
        if itself:
            self.odd, self._since, self._culprit = 0, [], None
            return Seen(joins=not calibrates, counts=before)
        self.odd += 1
        counts, void = None, []
        if before is not None and was_confirm:
            self._culprit = before
            if self._doubt(self._name):
                void.append(before)
            else:
                counts = before
        if self.odd == 1:
            doubtful, self._since = self._since[-1:], self._since[:-1]
        else:
            doubtful, self._since = self._since, []
        void += [one for one, name in doubtful if self._doubt(name)]
        left = self._culprit if self.odd <= CHANGED_AFTER else None
        return Seen(counts=counts, void=tuple(void), left=left, presses=self.odd)

    def _doubt(self, name: tuple) -> bool:
        """Say whether what goes by this name is void now: it is once at most."""
        is_first = name not in self._was_void
        self._was_void.add(name)
        return is_first


@dataclass(frozen=True)
class Parts:
    """What the touches of a sweep are there for, by their numbers.

    Parameters
    ----------
    reference : set of int
        Clean takes with which all others are compared.
    loaded : set of int
        Takes of the toy with one pad's lead on, with which takes of this pad are compared too.
    calibrating : set of int
        Clean takes that are held against these, as confirming touches are.
    counting : set of int
        Confirming touches that count for a pair's p value.
    void : set of int
        Touches of pads that show nothing, since the toy may not have been itself.
    left : dict of int to int
        Touches behind which it wasn't, and in how many clean presses in a row.
    measuring : set of int
        Touches that measure what is kept, and count.
    """

    reference: set[int] = field(default_factory=set)
    loaded: set[int] = field(default_factory=set)
    calibrating: set[int] = field(default_factory=set)
    counting: set[int] = field(default_factory=set)
    void: set[int] = field(default_factory=set)
    left: dict[int, int] = field(default_factory=dict)
    measuring: set[int] = field(default_factory=set)


def is_itself(facts: dict[str, Any], sound: str | None) -> bool:
    """Say whether a clean press sounded like the toy; older logs tell it by the judgement alone."""
    return facts.get(ITSELF, sound == "none")


def parts(records: Iterable[Record]) -> Parts:
    """Tell what the touches of a sweep are there for."""
    between, measures, told = Between(), Between(), Parts()
    for one in records:
        if one.kind == CONTROL:
            seen = measures.measure(
                one, one.target, itself=is_itself(one.facts, one.sound), stopped=one.stops,
                whole=one.counts,
            )
            if seen.counts is not None:
                told.measuring.add(seen.counts.number)
        else:
            measures.rest()
        seen = between.take(
            one, one.kind, one.target, itself=is_itself(one.facts, one.sound), stopped=one.stops,
            whole=one.counts,
        )
        if seen.joins or (one.kind == "baseline" and one.counts and not one.stops):
            (told.reference if one.target.is_clean else told.loaded).add(one.number)
        if seen.counts is not None:
            (told.calibrating if seen.counts.target.is_clean else told.counting).add(
                seen.counts.number)
        told.void.update(void.number for void in seen.void)
        if seen.left is not None:
            told.left[seen.left.number] = seen.presses
    return told
