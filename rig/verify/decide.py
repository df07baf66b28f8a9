"""The decision: what a press shows of a control, and what all of its presses come to.

Nothing here knows of prompts, files or benches.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, field, replace
from statistics import median
from typing import Literal

import scipy

from rig.choose.families import FAMILY_DISTANCE
from rig.listen import Judgement
from rig.outcomes import is_change, sound_words
from rig.verify.expected import MEASURED, MOST_APART, Expected, dwell_of, nearest, prints_of
from rig.verify.settings import Job

LEAST_RIGHT = 3
"""So many presses must be heard right, at least."""
RIGHT_SHARE = 0.75
"""And so many of all."""
ALL_BUT = 0.6
"""In so many presses nothing is heard, at least, where the others are the toy's own phrases."""
NEARER, MUCH_NEARER = 0.05, 0.15
"""Another sound explains the presses better where it is nearer by this; the second where most of them
are right by themselves."""
CLOSE = 0.5
"""Within this part of the limit a fingerprint is enough, whatever the amount is."""
VARIES = 0.25
"""Where more than so many presses are right, its own sound over another resistance is no wrong one."""
CHANCE = 0.05
"""Presses in which nothing is heard are a loose joint's where chance gives them less often."""

Kind = Literal["right", "none", "silent", "changed", "stops", "lost"]
"""What one press shows: as kept; as if the control were open; no sound at all; otherwise; it stopped
the toy; it can't be judged."""

Name = Literal[
    "right", "sounds like another", "no change", "silent", "comes and goes", "changed", "reversed",
    "stops the toy", "changes the toy while open", "unsure", "not tried",
]  # fmt: skip
"""What a control's presses come to."""
WORST: tuple[Name, ...] = (
    "stops the toy", "changes the toy while open", "reversed", "sounds like another",
    "comes and goes", "no change", "silent", "changed", "unsure", "not tried", "right",
)  # fmt: skip
"""Of several settings the first of these counts."""


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
    """

    kind: Kind
    words: str = ""
    apart: float = 1.0
    beside: Mapping[str, float] = field(default_factory=dict)
    other_end: bool = False


@dataclass(frozen=True)
class Tried:
    """What came of going through one control once.

    Parameters
    ----------
    heard : mapping of str to sequence of Told
        By the settings' names, what each press shows.
    changes_open : bool
        With all controls open again the toy wasn't itself any more.
    """

    heard: Mapping[str, Sequence[Told]]
    changes_open: bool = False


@dataclass(frozen=True)
class Verdict:
    """What a control's presses come to.

    Parameters
    ----------
    name : str
        One of `Name`.
    words : str
        What was heard, in a sentence.
    next_step : str
        What to look at, or to try; "" where nothing is left to do.
    """

    name: Name
    words: str = ""
    _: KW_ONLY
    next_step: str = ""


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
        return Told("right" if expected.stops else "stops", "the toy stopped")
    if judgement is None:
        return Told("silent", "nothing was heard")
    words = sound_words(judgement.sound, judgement.amount, judgement.unit)
    if judgement.sound == "lost":
        return Told("lost", str(judgement.measures.get("why", "lost")))
    if not is_change(judgement.sound):
        known = bool(expected.own) and not expected.is_heard
        return Told("right" if known else "none", words)
    apart, beside = 1.0, {}
    if "change_db" in judgement.measures:
        mine = dwell_of(judgement.measures)
        apart = nearest(mine, expected.prints)
        far = {one.label: nearest(mine, prints_of([one.spot])) for one in expected.others}
        beside = {label: round(one, 3) for label, one in far.items() if one <= MOST_APART}
    fits, is_off = _amount(judgement, expected)
    is_right = apart <= CLOSE * expected.limit or fits or (apart <= expected.limit and not is_off)
    other: Kind = "silent" if judgement.sound == "cut" else "changed"
    return Told("right" if is_right else other, words, round(apart, 3), beside)


def _amount(judgement: Judgement, expected: Expected) -> tuple[bool, bool]:
    """Say whether a measured amount is the kept one's, and whether it isn't."""
    if judgement.unit not in MEASURED or judgement.amount is None:
        return False, False
    within = expected.amounts.get((judgement.sound, judgement.unit))
    if within is None:
        return False, False
    fits = within[0] <= judgement.amount <= within[1]
    return fits, not fits


def decide(
    job: Job, rounds: Sequence[Tried], all_jobs: Sequence[Job],
    misses: Mapping[str, tuple[int, int]] | None = None, kept: str = "",
) -> Verdict:
    """Say what a control's presses come to, of all rounds together.

    Parameters
    ----------
    job : Job
    rounds : sequence of Tried
    all_jobs : sequence of Job
        Of the whole sheet.
    misses : mapping of str to (int, int), optional
        By the settings' names, in how many of the sweep's touches nothing was heard, and of how many.
    kept : str
        What was kept, in words.
    """
    heard = {one.name: [told for tried in rounds for told in tried.heard.get(one.name, ())]
             for one in job.settings}  # fmt: skip
    if not any(heard.values()):
        return Verdict("not tried")
    if any(one.changes_open for one in rounds) and not any(
        told.kind == "stops" for made in heard.values() for told in made
    ):
        return Verdict(
            "changes the toy while open", "opened again, the toy isn't itself any more",
            next_step="look for solder between its lugs or joints, and whether its switch opens",
        )
    if job.is_knob and _is_reversed(heard):
        return Verdict(
            "reversed", "right gives what left should, and left what right should",
            next_step="swap the knob's two outer lugs",
        )
    each = [
        _of_setting(job, one.name, heard[one.name], all_jobs, (misses or {}).get(one.name), kept)
        for one in job.settings
    ]
    return min(each, key=lambda one: WORST.index(one.name))


def _is_reversed(heard: Mapping[str, Sequence[Told]]) -> bool:
    """Say whether most presses at either end are what the other one should give."""
    ends = [heard.get(name, ()) for name in ("right", "left")]
    return all(
        len(made) >= LEAST_RIGHT and sum(one.other_end for one in made) > len(made) / 2 for made in ends
    )


def _of_setting(
    job: Job, setting: str, made: Sequence[Told], all_jobs: Sequence[Job],
    misses: tuple[int, int] | None, kept: str,
) -> Verdict:
    """Say what the presses with one setting come to."""
    judged = [one for one in made if one.kind != "lost"]
    count = Counter(one.kind for one in judged)
    at = f"{setting}: " if len(job.settings) > 1 else ""
    total = len(judged)
    if not total:
        return Verdict("not tried", f"{at}no press could be judged" if made else "")
    if stopped := count["stops"]:
        return Verdict(
            "stops the toy", f"{at}it stopped the toy, {_of(stopped, total)}",
            next_step="look for a resistor that is too small, or solder beside one; don't use it until then",
        )
    if count["none"] >= ALL_BUT * total and not count["right"]:
        return Verdict(
            "no change", f"{at}as if it were open, {_of(count['none'], total)}",
            next_step="look for an open joint: bridge its lugs with a wire, then each joint in turn, and press",
        )
    if count["none"] and _is_loose(count["none"], total, misses):
        heard = total - count["none"]
        return Verdict(
            "comes and goes", f"{at}heard in {_of(heard, total)}, as if open in the others",
            next_step="heat its joints again, one by one; wiggle each wire while it sounds",
        )
    label = _like(judged)
    varies = label.startswith(f"{job.pair} ") and count["right"] > VARIES * total
    if label and not varies:
        return _as_another(job, at, label, total, all_jobs)
    if count["silent"] > total / 2:
        said = next(one.words for one in judged if one.kind == "silent")
        return Verdict(
            "silent", f"{at}{said}, {_of(count['silent'], total)}",
            next_step="look for a pad beside the right one, and for a resistor that is too small",
        )
    if count["right"] >= max(LEAST_RIGHT, RIGHT_SHARE * total):
        said = next(one.words for one in judged if one.kind == "right")
        return Verdict("right", f"{at}{said}, {_of(count['right'], total)}")
    if count["right"] < total / 2 and count["changed"]:
        said = _middle([one.words for one in judged if one.kind == "changed"])
        before = f"; {kept} was kept" if kept else ""
        return Verdict(
            "changed", f"{at}{said}, {_of(count['changed'], total)}{before}",
            next_step="read its resistor's bands: a wrong one does this; then look at where its wires end",
        )
    return Verdict(
        "unsure", f"{at}right in {_of(count['right'], total)} only",
        next_step="try this one again, five minutes later",
    )


def _is_loose(none: int, total: int, misses: tuple[int, int] | None) -> bool:
    """Say whether more presses do nothing than the kept sound's own touches make likely."""
    missed, touches = misses or (0, 0)
    if not missed:
        return True
    return bool(scipy.stats.binom.sf(none - 1, total, (missed + 1) / (touches + 2)) < CHANCE)


def _like(judged: Sequence[Told]) -> str:
    """Give the label of another sound that explains the presses better; "" for none.

    All presses count together: among many sounds one is always near to a single press.
    """
    changed = [one for one in judged if one.kind in ("right", "silent", "changed")]
    if len(changed) < LEAST_RIGHT:
        return ""
    labels = dict.fromkeys(label for one in changed for label in one.beside)
    near = {label: median(one.beside.get(label, 1.0) for one in changed) for label in labels}
    best = min(near, key=lambda label: near[label], default="")
    if not best or near[best] > FAMILY_DISTANCE:
        return ""
    is_right = sum(one.kind == "right" for one in changed) > len(changed) / 2
    own = median(one.apart for one in changed)
    return best if near[best] < own - (MUCH_NEARER if is_right else NEARER) else ""


def _as_another(
    job: Job, at: str, label: str, total: int, all_jobs: Sequence[Job]
) -> Verdict:
    """Tell of presses that are another sound: another pair's, or its own over another resistance."""
    pair, _, ohm = label.partition(" ")
    if pair == job.pair:
        return Verdict(
            "changed", f"{at}sounds as {pair} does over {ohm}, {_of(total, total)}",
            next_step="read its resistor's bands: the third one is the power of ten",
        )
    other = next((one for one in all_jobs if one.pair == pair), None)
    if other is None:
        shared = ", ".join(sorted(set(job.pads) & set(pair.split("-"))))
        return Verdict(
            "sounds like another", f"{at}sounds like {label}, {_of(total, total)}",
            next_step=f"follow its wires: the one that isn't on {shared} may end on the wrong pad",
        )
    return Verdict(
        "sounds like another", f"{at}sounds like {pair}, control {other.number}, {_of(total, total)}",
        next_step=f"try control {other.number}: if that sounds like {job.pair} the two are swapped, if it is "
                  f"right a wire of control {job.number} is on the wrong pad",
    )


def _of(count: int, total: int) -> str:
    return f"{count} of {total} presses"


def _middle(words: Sequence[str]) -> str:
    """Give what was said most often, of several the first."""
    return Counter(words).most_common(1)[0][0]


def summed(verdicts: Sequence[Verdict]) -> str:
    """Say in a line what the controls came to: "3 right, 1 no change"."""
    count = Counter(one.name for one in verdicts)
    return ", ".join(f"{count[name]} {name}" for name in reversed(WORST) if count[name])
