"""What presses with nothing bridged have shown of a toy, and what follows for touching it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, log

import numpy as np
import scipy

from rig.events import HabitsLearnt
from rig.listen import HOP_S, Baseline

CONFIDENCE = 0.95
"""With which the share of unnoticed presses is bounded."""
FROZEN_CHANCE = 0.001
"""A living toy is taken for frozen less often than this, at that bound."""
LEAST_SILENT, MOST_SILENT = 2, 8
"""Silent presses in a row before a toy counts as frozen, whatever is known of it."""
DOUBLES, MORE_DOUBLES = 3, 2
"""Double presses that must agree, and so many more where they don't: then all but one."""
STOPS_WITHIN_S, APART_S = 0.35, 0.15
"""A toy that is stopped is silent so soon; lengths of phrases closer than this are the same."""
QUIET_S = 0.8
"""After so long a silence nothing is queued any more."""


def unnoticed_bound(presses: int, unnoticed: int) -> float:
    """Give the share of presses that a toy misses at most.

    The one-sided upper bound of Clopper and Pearson (Biometrika 26, 1934).
    """
    if unnoticed >= presses:
        return 1.0
    return float(scipy.stats.beta.ppf(CONFIDENCE, unnoticed + 1, presses - unnoticed))


def silent_presses(presses: int, unnoticed: int) -> int:
    """Give how many silent presses in a row show that a toy is frozen: ⌈ln 0.001 / ln u⌉."""
    u = unnoticed_bound(presses, unnoticed)
    if u >= 1.0:
        return MOST_SILENT
    return min(max(ceil(log(FROZEN_CHANCE) / log(u)), LEAST_SILENT), MOST_SILENT)


@dataclass(frozen=True)
class Double:
    """A press while it sounded.

    Parameters
    ----------
    level_db : ndarray, shape (frames,)
        Of the take of the second press.
    press : int
        Frame of the second press.
    since_s : float
        For how long it had sounded by then.
    answer : str
        How the second press was answered; see `rig.listen.Beginning`.
    """

    level_db: np.ndarray
    press: int
    since_s: float
    answer: str


def did(double: Double, baseline: Baseline, lasts_s: tuple[float, float]) -> str:
    """Say what a press did while the toy sounded.

    Parameters
    ----------
    double : Double
    baseline : Baseline
    lasts_s : tuple of float
        The shortest and longest of its phrases, s.

    Returns
    -------
    str
        "anew", "ignored", "stops", "queued", or, where it fits none of them, "unclear"; "" where it
        was over by then, or fits several.
    """
    level_db, press = double.level_db, double.press
    if baseline.is_quiet(level_db[:press]):
        return ""
    if double.answer == "known":
        return "anew"
    loud = np.flatnonzero(level_db[press:] > baseline.sound_db)
    if not len(loud) or len(level_db) - press - loud[-1] < QUIET_S / 2 / HOP_S:
        return "unclear" if len(loud) else "stops"
    over_s = (loud[-1] + 1) * HOP_S
    lasted_s = double.since_s + over_s
    if over_s <= STOPS_WITHIN_S and lasted_s < lasts_s[0] - APART_S:
        return "stops"
    fits = [
        what for what, s, times in
        (("anew", over_s, 1), ("ignored", lasted_s, 1), ("queued", lasted_s, 2))
        if times * lasts_s[0] - APART_S <= s <= times * lasts_s[1] + APART_S
    ]
    return fits[0] if len(fits) == 1 else "unclear" if not fits else ""


def agreed(found: Sequence[str]) -> str:
    """Say what double presses agree on: "varies" where they don't, "" where none told anything."""
    told = Counter(one for one in found if one)
    if not told:
        return ""
    what, count = told.most_common(1)[0]
    return what if count == sum(told.values()) or count >= DOUBLES + MORE_DOUBLES - 1 else "varies"


def lasts_s(baseline: Baseline, longest_phrase_s: float) -> tuple[float, float]:
    """Give how long the toy sounds at least and at most after it has begun, s.

    A take that ends in sound says only that it's longer; `longest_phrase_s` is toy.yaml's word.
    """
    found = []
    for one in baseline.takes:
        level_db = one.frames.level_db[one.span.press :]
        loud = np.flatnonzero(level_db > baseline.sound_db)
        lasted = (loud[-1] + 1 if len(loud) else 0) * HOP_S
        if baseline.ends_quiet or baseline.is_quiet(level_db[-15:]):
            found.append(lasted)
        else:
            found += [lasted, longest_phrase_s]
    return min(found), max(found)


def order_of(phrases: Sequence[int]) -> str:
    """Say whether phrases come "in turn" or "at random"; "" where there is one, or too little."""
    after: dict[int, set[int]] = {}
    again = 0
    for one, following in pairwise(phrases):
        again += one in after
        after.setdefault(one, set()).add(following)
    if len(set(phrases)) < 2 or again < len(after):
        return ""
    return "in turn" if all(len(found) == 1 for found in after.values()) else "at random"


def habits(
    key: str, baseline: Baseline, *, presses: int, unnoticed: int, while_sounding: str,
    lasting_s: tuple[float, float], idle_ma: float | None, sounding_ma: float | None,
    first_wakes: bool,
) -> HabitsLearnt:
    """Sum up what is known of how a toy answers a key; see `HabitsLearnt`."""
    order = order_of([int(one) for one in baseline.phrases])
    if while_sounding == "anew" and order == "in turn":
        while_sounding = "next"
    soonest, latest = baseline.anchor.earliest * HOP_S, baseline.anchor.latest * HOP_S
    return HabitsLearnt(
        key=key, presses=presses, unnoticed=unnoticed,
        soonest_s=round(soonest, 2), latest_s=round(latest, 2),
        steady=baseline.anchor.after_press is not None,
        phrases=len(set(baseline.phrases)), heard_once=len(baseline.heard_once), order=order,
        while_sounding=while_sounding, shortest_s=round(lasting_s[0], 1),
        longest_s=round(lasting_s[1], 1), idle_ma=idle_ma, sounding_ma=sounding_ma,
        first_wakes=first_wakes,
    )


_WHILE_SOUNDING = {
    "anew": "pressed while it sounds it begins anew",
    "next": "pressed while it sounds it goes on to the next phrase",
    "ignored": "pressed while it sounds it takes no notice",
    "stops": "pressed while it sounds it stops",
    "queued": "a press while it sounds is kept until it is done",
    "unclear": "what a press does while it sounds can't be told",
    "varies": "what a press does while it sounds varies",
    "": "it is done before a second press tells anything",
}


def paragraph(one: HabitsLearnt) -> str:
    """Say in a person's words what a toy does with a key."""
    soon = f"{one.soonest_s:.2f} s"
    if one.latest_s - one.soonest_s >= 2 * HOP_S:
        soon = f"{one.soonest_s:.2f} to {one.latest_s:.2f} s"
    length = f"{one.longest_s:.1f} s"
    if one.longest_s - one.shortest_s >= 0.2:
        length = f"{one.shortest_s:.1f} to {one.longest_s:.1f} s"
    heard = "always says the same"
    if one.phrases > 1:
        heard = f"has {one.phrases} phrases" + (f", {one.order}" if one.order else "")
        if one.heard_once:
            heard += f" (one press in {max(2, round(one.presses / one.heard_once))} brings a new one)"
    missed = "noticed every press"
    if one.unnoticed:
        missed = f"missed {one.unnoticed} of {one.presses} presses"
    told = [
        f"key {one.key!r}: it sounds {soon} after its press, for {length}, {heard}, {missed}",
        _WHILE_SOUNDING[one.while_sounding],
    ]
    if one.first_wakes:
        told.append("its first press only wakes it")
    if one.idle_ma is not None and one.sounding_ma is not None:
        told.append(f"it draws {one.idle_ma:.0f} mA at rest and {one.sounding_ma:.0f} mA sounding")
    return "; ".join(told)
