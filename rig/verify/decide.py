"""The decision: what all presses of a control come to.

Nothing here knows of prompts, files or benches.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, replace
from typing import Literal

import scipy

from rig.choose.families import FAMILY_DISTANCE
from rig.verify.settings import TOUCHED, Job
from rig.verify.telling import NEARER, Kind, Told

LEAST_RIGHT = 3
"""So many presses must be heard right, at least."""
RIGHT_SHARE = 0.75
"""And so many of all."""
ALL_BUT = 0.6
"""In so many presses nothing is heard, at least, where the others are the toy's own phrases."""
SPEAKS_SHARE = 0.1
"""No more than so many presses may speak for the kept sound where another explains them better."""
CHANCE = 0.05
"""Presses in which nothing is heard are a loose joint's where chance gives them less often; and so
seldom may a kept sound that varies be taken for another."""
KNOWN = 4
"""A sound that was heard in fewer touches may have others that nobody knows of."""
ONCE_OF = 15
"""Of so many presses one may do nothing, or stop the toy: a joint that is open in three of ten passes
so many in 1 of 28, one that is open in half of them in 1 of 2,000."""

CHANGED: tuple[Kind, ...] = ("right", "silent", "changed")
"""Where a change was heard."""

Name = Literal[
    "right", "right or swapped", "sounds like another", "no change", "silent", "comes and goes", "changed",
    "reversed", "stops the toy", "changes the toy while open", "unsure", "not tried",
]  # fmt: skip
"""What a control's presses come to."""
WORST: tuple[Name, ...] = (
    "stops the toy", "changes the toy while open", "reversed", "sounds like another",
    "comes and goes", "no change", "silent", "changed", "unsure", "not tried", "right or swapped", "right",
)  # fmt: skip
"""Of several settings the first of these counts."""


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
    pairs = _maybe([made for name, made in heard.items() if name != TOUCHED])
    each = [
        _of_setting(job, one.name, heard[one.name], all_jobs, (misses or {}).get(one.name), kept, pairs)
        for one in job.settings
    ]
    return min(each, key=lambda one: WORST.index(one.name))


def open_settings(
    job: Job, rounds: Sequence[Tried], all_jobs: Sequence[Job], misses: Mapping[str, tuple[int, int]],
) -> list[str]:
    """Name the settings of which more presses would tell more: they leave it open, or one press alone
    speaks against it.

    Parameters
    ----------
    job, rounds, all_jobs, misses
        As for `decide`.
    """
    found = []
    for one in job.settings:
        made = [told for tried in rounds for told in tried.heard.get(one.name, ())]
        count = Counter(told.kind for told in made)
        alone = [kind for kind in ("none", "stops") if count[kind] == 1 and count["right"] >= LEAST_RIGHT]
        verdict = decide(replace(job, settings=(one,)), rounds, all_jobs, misses)
        if verdict.name == "unsure" or (alone and verdict.name in ("comes and goes", "stops the toy")):
            found.append(one.name)
    return found


def _is_reversed(heard: Mapping[str, Sequence[Told]]) -> bool:
    """Say whether most presses at either end are what the other one should give."""
    ends = [heard.get(name, ()) for name in ("right", "left")]
    return all(
        len(made) >= LEAST_RIGHT and sum(one.other_end for one in made) > len(made) / 2 for made in ends
    )


def _of_setting(
    job: Job, setting: str, made: Sequence[Told], all_jobs: Sequence[Job],
    misses: tuple[int, int] | None, kept: str, pairs: Collection[str],
) -> Verdict:
    """Say what the presses with one setting come to, of a control that may be on these pairs."""
    judged = [one for one in made if one.kind != "lost"]
    count = Counter(one.kind for one in judged)
    at = f"{setting}: " if len(job.settings) > 1 else ""
    total = len(judged)
    if not total:
        return Verdict("not tried", f"{at}no press could be judged" if made else "")
    stopped, nothing = count["stops"], count["none"]
    if stopped > 1 or (stopped and total < ONCE_OF):
        return Verdict(
            "stops the toy", f"{at}it stopped the toy, {_of(stopped, total)}",
            next_step="look for a resistor that is too small, or solder beside one; don't use it until then",
        )
    if setting == TOUCHED:
        return _of_touch(at, judged)
    if nothing >= ALL_BUT * total and not count["right"]:
        return Verdict(
            "no change", f"{at}as if it were open, {_of(nothing, total)}",
            next_step="look for an open joint: bridge its lugs with a wire, then each joint in turn, and press",
        )
    if nothing and _is_loose(nothing, total, misses):
        return Verdict(
            "comes and goes", f"{at}heard in {_of(total - nothing, total)}, as if open in the others",
            next_step="heat its joints again, one by one; wiggle each wire while it sounds",
        )
    known = _touches(misses)
    label = _like(judged, {job.pair, *pairs})
    if label.startswith(f"{job.pair} ") and known < KNOWN and count["right"]:
        return _unsure(at, count["right"], total, known)
    is_another = bool(label) and not label.startswith(f"{job.pair} ")
    if label and not (is_another and _are_twins(label, judged, all_jobs)):
        return _as_another(job, at, label, total, all_jobs)
    if count["silent"] > total / 2:
        said = next(one.words for one in judged if one.kind == "silent")
        return Verdict(
            "silent", f"{at}{said}, {_of(count['silent'], total)}",
            next_step="look for a pad beside the right one, and for a resistor that is too small",
        )
    if _is_right(judged, known):
        return _as_right(job, at, judged, all_jobs, pairs)
    varies = known < KNOWN and any(one.sure for one in judged)
    if count["right"] < total / 2 and count["changed"] and not varies:
        said = _middle([one.words for one in judged if one.kind == "changed"])
        before = f"; {kept} was kept" if kept else ""
        return Verdict(
            "changed", f"{at}{said}, {_of(count['changed'], total)}{before}",
            next_step="read its resistor's bands: a wrong one does this; then look at where its wires end",
        )
    return _unsure(at, count["right"], total, known)


def _of_touch(at: str, judged: Sequence[Told]) -> Verdict:
    """Tell of presses with fingers on the domes: what skin lets through differs, so any change will do."""
    heard = [one for one in judged if one.kind in CHANGED]
    if heard:
        return Verdict("right", f"{at}{heard[0].words}, {_of(len(heard), len(judged))}")
    return Verdict(
        "unsure", f"{at}nothing was heard by touch, {_of(len(judged), len(judged))}",
        next_step="damp the fingertips and press harder; if that does nothing either, skin is too much for it: "
                  "a toggle in place of the domes",
    )


def _unsure(at: str, right: int, total: int, known: int) -> Verdict:
    few = f"; it was heard in {known} touches only, and may have more sounds than these" if known < KNOWN else ""
    return Verdict(
        "unsure", f"{at}right in {_of(right, total)} only{few}",
        next_step="try this one again, five minutes later"
        + (": `padsweep controls --measure`, while leads are on a toy, lets it be told better" if few else ""),
    )


def _touches(misses: tuple[int, int] | None) -> int:
    """Give in how many touches the kept sound was heard."""
    missed, touches = misses or (0, 0)
    return touches - missed


def _is_loose(none: int, total: int, misses: tuple[int, int] | None) -> bool:
    """Say whether more presses do nothing than the kept sound's own touches make likely."""
    missed, touches = misses or (0, 0)
    if not missed:
        return none > 1 or total < ONCE_OF
    return bool(scipy.stats.binom.sf(none - 1, total, (missed + 1) / (touches + 2)) < CHANCE)


def _is_right(judged: Sequence[Told], known: int) -> bool:
    """Say whether so many presses are right as should be.

    Of a sound that varies, n touches that were alike leave room for others in up to 1 - CHANCE^(1/n) of
    the presses (the binomial's upper bound where none of n was seen). Only what is surely right counts
    where that lets fewer do.
    """
    total = len(judged)
    if sum(one.kind == "right" for one in judged) >= max(LEAST_RIGHT, RIGHT_SHARE * total):
        return True
    share = min(RIGHT_SHARE, CHANCE ** (1 / max(1, known)))
    return sum(one.sure for one in judged) >= max(LEAST_RIGHT, share * total)


def _speaks(judged: Sequence[Told]) -> dict[str, tuple[int, int]]:
    """Give in how many presses another sound is clearly nearer than the kept one, and in how many it is
    the other way round, for each that may be it."""
    changed = [one for one in judged if one.kind in CHANGED]
    labels = dict.fromkeys(label for one in changed for label in one.beside)
    found = {}
    for label in labels:
        apart = [(one.apart, one.beside.get(label, 1.0)) for one in changed]
        found[label] = (
            sum(other < own - NEARER and other <= FAMILY_DISTANCE for own, other in apart),
            sum(own < other - NEARER and own <= FAMILY_DISTANCE for own, other in apart),
        )
    return found


def _maybe(settings: Sequence[Sequence[Told]]) -> set[str]:
    """Give the pairs that a control may be on by what was heard with each of its settings."""
    found: set[str] | None = None
    for judged in settings:
        if sum(one.kind in CHANGED for one in judged) < LEAST_RIGHT:
            continue
        here = {_pair(label) for label, (other, own) in _speaks(judged).items() if other >= own}
        found = here if found is None else found & here
    return found or set()


def _like(judged: Sequence[Told], pairs: Collection[str]) -> str:
    """Give the label of another sound that explains the presses better; "" for none.

    All presses count together: among many sounds one is always near to a single press.
    """
    changed = sum(one.kind in CHANGED for one in judged)
    if changed < LEAST_RIGHT:
        return ""
    found = {label: other for label, (other, own) in _speaks(judged).items() if _pair(label) in pairs
             and other > changed / 2 and own <= SPEAKS_SHARE * changed}  # fmt: skip
    return max(found, key=lambda label: found[label], default="")


def _are_twins(label: str, judged: Sequence[Told], all_jobs: Sequence[Job]) -> bool:
    """Say whether what another control would sound like is right here too, by its measured amount."""
    fitted = any(one.pair == _pair(label) for one in all_jobs)
    return fitted and sum(one.sure for one in judged) >= RIGHT_SHARE * len(judged)


def _pair(label: str) -> str:
    return label.partition(" ")[0]


def _as_right(
    job: Job, at: str, judged: Sequence[Told], all_jobs: Sequence[Job], pairs: Collection[str]
) -> Verdict:
    """Tell of presses that are right, and whether another control would sound so too."""
    total = len(judged)
    right = [one for one in judged if one.kind == "right"]
    count = Counter(one.kind for one in judged)
    said = f"{at}{right[0].words}, {_of(len(right), total)}"
    if count["changed"] + count["silent"]:
        said += ", else another of its sounds"
    if count["none"]:
        said += "; nothing once"
    after = "; it stopped the toy once" if count["stops"] else ""
    twins = [other for other in all_jobs if other.pair != job.pair and other.pair in pairs]
    if not twins:
        return Verdict("right", said + after)
    named = " or ".join(f"{one.number} ({one.pair})" for one in twins)
    pads = " and ".join(job.pads)
    return Verdict(
        "right or swapped", f"{said}{after}; control {named} would sound the same here",
        next_step=f"batteries out, and see with a meter that its wires end on {pads}: by ear it can't be told "
                  f"from control {named}",
    )


def _as_another(
    job: Job, at: str, label: str, total: int, all_jobs: Sequence[Job]
) -> Verdict:
    """Tell of presses that are another sound: another pair's, or its own over another resistance."""
    pair, ohm = _pair(label), label.partition(" ")[2]
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
