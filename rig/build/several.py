"""What is kept of one pair: one control for all of its sounds."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

from rig.build.controls import Fit, course_of, fit, keep_words, own_words, propose
from rig.build.course import Course
from rig.build.drawer import ANY, Drawer
from rig.build.evidence import Evidence, floor_ohm
from rig.build.fitting import A, Control, Known, Position, pot
from rig.choose.matching import is_same
from rig.choose.picks import Pick
from rig.outcomes import after_words
from rig.words import ohms

COUNTS = {2: "Two", 3: "Three", 4: "Four"}


@dataclass(frozen=True)
class Kept:
    """What is kept of one pair.

    Parameters
    ----------
    picks : tuple of Pick
        In the person's order, at least one.
    evidence : tuple of Evidence
        What the sweep knows of each.
    """

    picks: tuple[Pick, ...]
    evidence: tuple[Evidence, ...]

    @property
    def pick(self) -> Pick:
        """Give the first one: all have its pads."""
        return self.picks[0]


def by_pair(picks: Sequence[Pick], evidence: Sequence[Evidence]) -> list[Kept]:
    """Gather picks by their pair, in the order of their first."""
    pairs: dict[str, list[tuple[Pick, Evidence]]] = {}
    for pick, seen in zip(picks, evidence, strict=True):
        pairs.setdefault(pick.pair, []).append((pick, seen))
    return [Kept(*map(tuple, zip(*mine, strict=True))) for mine in pairs.values()]


@dataclass(frozen=True)
class _Sound:
    """A kept sound that can be fitted."""

    pick: Pick
    evidence: Evidence
    fit: Fit

    @property
    def what(self) -> str:
        """Say it, and over which path."""
        find = self.evidence.find
        over = f"over {ohms(self.fit.path_ohm)}"
        if find is None or not is_same(find.best_path_ohm or 0.0, self.fit.path_ohm):
            return f"your own value, {over}"
        said = "" if find.sound == "none" else find.words
        once = ", heard once" if self.fit.yours else ""
        return f"{said or after_words(find.after)} {over}{once}"


def propose_one(
    kept: Kept, *, least_path_ohm: float, most_path_ohm: float, volts: float, drawer: Drawer = ANY
) -> Control:
    """Propose the control for all that is kept of a pair.

    Several sounds share one: a potentiometer where their ranges meet, else a rotary switch with a
    position for each. Two controls on one pair would be in parallel, and both on less than either.

    Parameters
    ----------
    kept : Kept
    least_path_ohm, most_path_ohm, volts, drawer
        As for `propose`.
    """
    limits = {"least_path_ohm": least_path_ohm, "most_path_ohm": most_path_ohm, "volts": volts}
    each = [
        (pick, seen, propose(pick, seen, drawer=drawer, **limits))
        for pick, seen in zip(kept.picks, kept.evidence, strict=True)
    ]
    others = [one for one in each if one[2].fixed_ohm is not None and not one[2].stops]
    crash = next((control for _, _, control in each if control.stops), None)
    if crash is not None and not others:
        return crash
    if crash is not None:
        made = _of_sounds(others, drawer, limits)
        return replace(made, hints=(*made.hints, NO_CRASH))
    return _of_sounds(each, drawer, limits)


NO_CRASH = (
    "The crash that you kept of this pair isn't on this control: left there it would leave the toy stuck. "
    "Keep it alone to have its button."
)


def _of_sounds(
    each: list[tuple[Pick, Evidence, Control]], drawer: Drawer, limits: dict[str, float]
) -> Control:
    """Give the control for some picks of a pair, none of which is to stop the toy."""
    sounds: list[_Sound] = []
    for pick, seen, control in each:
        fitted = fit(pick, seen, drawer)
        if control.fixed_ohm is not None and fitted is not None:
            sounds.append(_Sound(pick, seen, fitted))
    sounds.sort(key=lambda one: one.fit.path_ohm)
    apart = [one for n, one in enumerate(sounds)
             if not n or not is_same(one.fit.path_ohm, sounds[n - 1].fit.path_ohm)]  # fmt: skip
    if len(apart) < 2:
        each.sort(key=lambda one: (one[2].fixed_ohm is None, one[0].control is None))
        return each[0][2]
    wish = next((one.pick.control for one in apart if one.pick.control), None)
    told = "; ".join(one.what for one in apart)
    many = f"{COUNTS.get(len(apart), str(len(apart)))} sounds of one pair"
    asked = f"You wish for {A[wish]}. " if wish else ""
    own = any(one.fit.yours for one in apart)
    met = _meet(apart)
    if not own and (wish == "potentiometer" or (wish is None and met and drawer.allows("potentiometer"))):
        meet = "whose ranges meet" if met else "whose ranges don't meet"
        return _knob(apart, f"{asked}{many} {meet}: {told}. A knob goes through them.",
                     drawer=drawer, **limits)
    if wish:
        asked += "It gives one of these only. " if wish != "potentiometer" else \
            "It would not stop at a value of your own. "  # fmt: skip
    why = f"{asked}{many}: {told}. A position for each, and one left free as off."
    return _rotary(apart, why, limits["least_path_ohm"])


def _meet(sounds: Sequence[_Sound]) -> bool:
    """Say whether no path was touched between the ranges of sounds with one key, or it was measured that
    one goes smoothly over into the other."""
    if any(one.fit.yours for one in sounds):
        return False
    if (along := _course(sounds)) is not None:
        return along.is_smooth
    finds = {one.evidence.find.place: one for one in sounds if one.evidence.find}
    if len({one.evidence.find.key for one in sounds if one.evidence.find}) > 1:
        return False
    held = sorted((one.evidence.heard_ohm for one in finds.values()), key=lambda paths: paths[0])
    tried = {one.path_ohm for one in sounds[0].evidence.trials}
    return not any(
        below[-1] < path < above[0] for below, above in itertools.pairwise(held) for path in tried
    )


def _course(sounds: Sequence[_Sound]) -> Course | None:
    """Give the measured course that goes through all kept paths; None where there is none."""
    along = course_of(sounds[0].pick, sounds[0].evidence)
    if along is None or not along.is_measured:
        return None
    paths = [one.path_ohm for one in along.run]
    there = all(any(is_same(one.fit.path_ohm, ohm) for ohm in paths) for one in sounds)
    return along if there else None


def _knob(
    sounds: Sequence[_Sound], why: str, *, least_path_ohm: float, most_path_ohm: float, volts: float,
    drawer: Drawer,
) -> Control:
    paths = [ohm for one in sounds for ohm in one.evidence.heard_ohm]
    low, trials, along = min(paths), sounds[0].evidence.trials, _course(sounds)
    floor = floor_ohm(low, trials)
    known = Known(
        low=low, floor=floor, high=max(paths), kept=sounds[-1].fit.path_ohm, fixed=drawer.least(floor),
        steady=drawer.least(floor), keep=keep_words(low, trials, least_path_ohm), trials=tuple(trials),
        most=most_path_ohm, volts=volts, course=along, drawer=drawer,
    )
    made = pot(why, known)
    off = "It has no off: fit a toggle in series, or take a potentiometer with a switch."
    return replace(made, hints=(*made.hints, off))


def _rotary(sounds: Sequence[_Sound], why: str, least_path_ohm: float) -> Control:
    positions = tuple(Position(one.fit.fixed_ohm, one.what, one.fit.yours) for one in sounds)
    heard = [one for one in sounds if not one.fit.yours]
    keep = [keep_words(heard[0].evidence.heard_ohm[0], heard[0].evidence.trials, least_path_ohm)
            ] if heard else []  # fmt: skip
    keep += [
        f"{ohms(one.fit.path_ohm)}: {own_words(one.fit.path_ohm, one.evidence, least_path_ohm)}"
        for one in sounds if one.fit.yours
    ]
    return Control(
        "rotary switch", f"rotary switch, 1 pole, {len(positions) + 1} positions", why,
        min(one.fixed_ohm for one in positions), " ".join(keep),
        hints=(
            ("One pad goes to the common lug. Each position's lug has its own resistor; the resistors' "
             "other legs go together to the other pad."),
            ("Take a non-shorting one: a shorting one joins two positions as it turns, which is less "
             "than either."),
        ),
        yours=any(one.yours for one in positions), positions=positions,
    )
