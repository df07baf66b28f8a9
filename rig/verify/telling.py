"""What one press shows of a control."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from rig.listen import Judgement
from rig.outcomes import is_change, sound_words
from rig.verify.expected import MEASURED, MOST_APART, Expected, dwell_of, nearest, prints_of

NEARER = 0.05
"""Of two sounds it is one where that is nearer by this."""
CLOSE = 0.5
"""Within this part of the limit a fingerprint is enough, whatever the amount is."""

Kind = Literal["right", "none", "silent", "changed", "stops", "lost"]
"""What one press shows: as kept; as if the control were open; no sound at all; otherwise; it stopped
the toy; it can't be judged."""


@dataclass(frozen=True)
class Press:
    """What was heard of one press.

    Parameters
    ----------
    judgement : Judgement or None
        None where nothing was heard.
    stopped : bool
        The toy didn't answer afterwards until its batteries were out.
    """

    judgement: Judgement | None
    stopped: bool = False


@dataclass(frozen=True)
class Told:
    """What one press shows.

    Parameters
    ----------
    kind : str
        One of `Kind`.
    words : str
        What was heard.
    apart : float
        How far its fingerprint is from the kept sound's own, 0 (alike) to 1; 1 without any.
    beside : mapping of str to float
        The same of each other sound that it may be, by their `Hint.label`; those that are far aren't
        in it.
    other_end : bool
        It is what a knob's other end should give, and not, or less, what this one should.
    sure : bool
        It is right by more than half of what is allowed, or by a measured amount.
    """

    kind: Kind
    words: str = ""
    apart: float = 1.0
    beside: Mapping[str, float] = field(default_factory=dict)
    other_end: bool = False
    sure: bool = False


def tell(press: Press, expected: Expected, other_end: Expected | None = None) -> Told:
    """Say what a press shows.

    Parameters
    ----------
    press : Press
    expected : Expected
        Of what the control was set to.
    other_end : Expected, optional
        Of a knob's other end.
    """
    if other_end is not None:  # the two are to be told apart, though they may be one sound to the sweep
        expected, other_end = (replace(one, alike=()) for one in (expected, other_end))
    told = _told(press, expected)
    if other_end is None or told.kind in ("stops", "lost"):
        return told
    other = _told(press, other_end)
    is_other = told.kind != "right" or other.apart < told.apart - NEARER
    return replace(told, other_end=other.kind == "right" and is_other)


def _told(press: Press, expected: Expected) -> Told:
    judgement = press.judgement
    if press.stopped:
        return _told_stop(judgement, expected)
    if judgement is None:
        return Told("silent", "nothing was heard")
    words = sound_words(judgement.sound, judgement.amount, judgement.unit)
    if judgement.sound == "lost":
        return Told("lost", str(judgement.measures.get("why", "lost")))
    if not is_change(judgement.sound):
        known = bool(expected.own) and not expected.is_heard and not expected.stops
        return Told("right" if known else "none", words)
    apart, own, beside = 1.0, 1.0, {}
    if "change_db" in judgement.measures:
        mine = dwell_of(judgement.measures)
        apart, own = nearest(mine, expected.prints), nearest(mine, expected.own_prints)
        heard = judgement.sound, judgement.amount, judgement.unit
        far = {one.label: nearest(mine, prints_of([one.spot])) for one in expected.others if one.may_be(*heard)}
        beside = {label: round(one, 3) for label, one in far.items() if one <= MOST_APART}
    fits, is_off = _amount(judgement, expected)
    sure = apart <= CLOSE * expected.limit or fits
    is_right = sure or (apart <= expected.limit and not is_off)
    other: Kind = "silent" if judgement.sound == "cut" else "changed"
    return Told("right" if is_right else other, words, round(own, 3), beside, sure=sure)


def _told_stop(judgement: Judgement | None, expected: Expected) -> Told:
    """Say what a press shows that stopped the toy: one that was kept for how it sounds on must sound so."""
    words = "the toy stopped"
    if not expected.stops:
        return Told("stops", words)
    if not len(expected.crash_prints):
        return Told("right", words, sure=True)
    if judgement is None or "change_db" not in judgement.measures:
        return Told("changed", f"{words} in silence")
    words = f"{sound_words(judgement.sound, judgement.amount, judgement.unit)}, and {words}"
    apart = nearest(dwell_of(judgement.measures), expected.crash_prints)
    is_right = apart <= MOST_APART
    return Told("right" if is_right else "changed", words, round(apart, 3), sure=is_right)


def _amount(judgement: Judgement, expected: Expected) -> tuple[bool, bool]:
    """Say whether a measured amount is the kept one's, and whether it isn't."""
    if judgement.unit not in MEASURED or judgement.amount is None:
        return False, False
    within = expected.amounts.get((judgement.sound, judgement.unit))
    if within is None:
        return False, False
    fits = within[0] <= judgement.amount <= within[1]
    return fits, not fits
