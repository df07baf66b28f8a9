"""Which control fits a pick, with its values and the reason.

The rules are those of the trade (common practice, no source): toggles for loops and held
changes, push-buttons for what ends by itself or freezes, potentiometers for what changes
smoothly over decades, body contacts where more than about 50 kohm is enough.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from rig.build.course import Course, course
from rig.build.drawer import ANY, Drawer
from rig.build.evidence import Evidence, Trial, amounts, crash_floor_ohm, floor_ohm
from rig.build.fitting import (
    BODY_LEAST_OHM,
    A,
    Control,
    Known,
    body,
    button,
    crash_button,
    photocell,
    pot,
    toggle,
)
from rig.build.series import TOLERANCE
from rig.build.stepped import FEWEST, good_points, stepped
from rig.build.wishes import warning
from rig.choose.find import Find
from rig.choose.matching import is_same
from rig.choose.picks import Pick
from rig.outcomes import AFTERS, SOUNDS, sound_words, unit_of
from rig.words import ohms

BUILDERS: dict[str, Callable[[str, Known], Control]] = {
    "toggle": toggle, "push-button": button, "potentiometer": pot, "photocell": photocell,
    "body contacts": body, "stepped switch": stepped,
}  # fmt: skip
INSTEAD = {
    "potentiometer": ("photocell", "stepped switch", "toggle", "push-button"),
    "stepped switch": ("potentiometer", "toggle", "push-button"),
    "body contacts": ("photocell", "potentiometer", "toggle", "push-button"),
    "toggle": ("push-button", "stepped switch"),
    "push-button": ("toggle", "stepped switch"),
}
"""What else would do, the best first, where the person's list doesn't have what fits best."""


@dataclass(frozen=True)
class Fit:
    """What is fitted of one pick.

    Parameters
    ----------
    path_ohm : float
        The path that was kept, or the person's own value, ohms.
    fixed_ohm : float
        The resistor that gives it, ohms.
    yours : bool
        It's the person's own value: nothing was heard again over it.
    """

    path_ohm: float
    fixed_ohm: float
    yours: bool = False


def fit(pick: Pick, evidence: Evidence, drawer: Drawer = ANY) -> Fit | None:
    """Give the resistor for a pick, or None where no value is known.

    The nearest value to the kept path, of which no part reaches below the next lower path over which
    the same was heard; below the lowest see `floor_ohm`. The person's own value stays as it is.
    """
    kept = evidence.kept_ohm(pick)
    if kept is not None:
        heard = _heard_ohm(evidence, course_of(pick, evidence))
        below, above = ([one for one in heard if one < kept], [one for one in heard if one > kept])
        floor = max(below, default=floor_ohm(kept, evidence.trials))
        fixed = drawer.near(kept, floor, max([*above[:1], kept * NEXT]))
        return Fit(kept, fixed)
    if (crash := evidence.crash(pick)) is not None:
        floor = crash_floor_ohm(crash.path_ohm, evidence.trials)
        return Fit(crash.path_ohm, drawer.near(crash.path_ohm, floor, crash.path_ohm * NEXT))
    return None if pick.at_ohm is None else Fit(pick.at_ohm, pick.at_ohm, yours=True)


FAR_APART, MUCH = 2.0, 3.0
"""Two paths so far apart, as a ratio, and so many times what counts as moving between them: a knob."""
NEXT = 1.25
"""So far above the kept path a resistor of the person's own will do."""


def course_of(pick: Pick, evidence: Evidence) -> Course | None:
    """Give the course of a pick's sound along the resistance; None where none is known."""
    kept = evidence.kept_ohm(pick)
    if kept is None or evidence.find is None:
        return None
    return course(evidence.trials, evidence.find.key, kept, evidence.heard_ohm)


def _heard_ohm(evidence: Evidence, along: Course | None) -> list[float]:
    """Give the paths over which a control may play it, ascending: measured ones where it was."""
    if along is not None and along.is_measured:
        return [one.path_ohm for one in along.run]
    return evidence.heard_ohm


def propose(
    pick: Pick, evidence: Evidence, *, least_path_ohm: float, most_path_ohm: float, volts: float,
    drawer: Drawer = ANY,
) -> Control:
    """Propose the control of a pick.

    What was seen decides, and the person's wishes: a control that they named is theirs, and so is a
    resistance over which nothing was heard, with what the sweep has to say to it. Without evidence,
    or without either, there is no value.

    Parameters
    ----------
    pick : Pick
    evidence : Evidence
        What the sweep saw on this pair.
    least_path_ohm, most_path_ohm : float
        Least and largest path that the rig can make between two pads, ohms.
    volts : float
        Highest supply of the toy, V.
    drawer : Drawer
        What there is to build with.
    """
    if not pick.is_single_pair:
        return _several(pick, evidence)
    along = course_of(pick, evidence)
    fitted = fit(pick, evidence, drawer)
    if fitted is None:
        ours = _unfitted(evidence)
        if not pick.control:
            return ours
        return replace(ours, why=f"{ours.why} You wish for {A[pick.control]}: give it a value "
                                 "of your own with at_ohm in picks.yaml.")  # fmt: skip
    crash = evidence.crash(pick)
    heard = [fitted.path_ohm] if crash else _heard_ohm(evidence, along) or [fitted.path_ohm]
    if crash is not None:
        fixed, keep = fitted.fixed_ohm, _crash_keep(crash, evidence.trials)
    elif fitted.yours:
        fixed, keep = fitted.fixed_ohm, own_words(fitted.path_ohm, evidence, least_path_ohm)
    else:
        fixed = drawer.least(floor_ohm(heard[0], evidence.trials), fitted.path_ohm)
        keep = keep_words(heard[0], evidence.trials, least_path_ohm)
    seen = Known(
        low=heard[0], floor=floor_ohm(heard[0], evidence.trials), high=heard[-1], kept=fitted.path_ohm, fixed=fixed, steady=fitted.fixed_ohm,
        keep=keep, trials=tuple(evidence.trials), most=most_path_ohm, volts=volts, course=along,
        drawer=drawer,
    )  # fmt: skip
    if crash is not None:
        return _crash_button(pick, crash, seen)
    if evidence.find is not None and evidence.heard_ohm:
        ours = _by_sound(evidence.find, seen)
    else:
        ours = button(f"{_unfitted(evidence).why} A button can't be left on.", seen)
    if pick.control and pick.control != ours.kind:
        sound = evidence.find.sound if evidence.find is not None else "none"
        why = f"You wish for it. The sweep speaks for {A[ours.kind]}. {ours.why}"
        ours = replace(BUILDERS[pick.control](why, seen), warning=warning(pick.control, sound, seen))
    elif not pick.control and not drawer.allows(ours.kind):
        ours = _instead(ours, seen)
    if lacks := drawer.lacks([] if fitted.yours else [o for o, _ in ours.resistors], ours.pot_ohm):
        ours = replace(ours, hints=(*ours.hints, lacks))
    return replace(ours, yours=fitted.yours and ours.fixed_ohm == pick.at_ohm)


def _crash_button(pick: Pick, crash: Trial, seen: Known) -> Control:
    """Fit what lets a crash be played: whatever stays on would leave the toy stuck."""
    why = (f"It stops the toy and sounds on ({sound_words(crash.sound, crash.amount, crash.unit)}), until the "
           "reset button ends it. A button gives it, together with the reset button.")  # fmt: skip
    if pick.control and pick.control != "push-button":
        why = f"You wish for {A[pick.control]}: left on, it would leave the toy stuck. {why}"
    ours = crash_button(why, seen)
    if not seen.drawer.allows("push-button"):
        ours = replace(ours, warning="Your kinds have no push-button, and no other kind will do.")
    lacks = seen.drawer.lacks([ohm for ohm, _ in ours.resistors], None)
    return replace(ours, hints=(*ours.hints, lacks)) if lacks else ours


def _crash_keep(crash: Trial, trials: Sequence[Trial]) -> str:
    """Say how little may be in the path of a crash, and why no less."""
    path_ohm = crash.path_ohm
    lower = sorted((one for one in trials if one.path_ohm < path_ohm * 0.98), key=lambda one: -one.path_ohm)
    if not lower:
        return f"Keep at least {ohms(path_ohm)} in the path: less wasn't tried here."
    if lower[0].is_crash:
        return f"Keep about {ohms(path_ohm)} in the path: over {ohms(lower[0].path_ohm)} it did the same."
    return f"Keep about {ohms(path_ohm)} in the path: over {ohms(lower[0].path_ohm)} it did something else."


def _instead(ours: Control, seen: Known) -> Control:
    """Give what the person's list of kinds has in place of what fits best."""
    kind = next((one for one in INSTEAD.get(ours.kind, ()) if seen.drawer.allows(one)), None)
    if kind is None:
        return replace(ours, warning="None of the kinds that you have gives it.")
    why = f"{A[ours.kind].capitalize()} would fit best, which your kinds don't have. {ours.why}"
    return BUILDERS[kind](why, seen)


def _paths(path_ohm: Sequence[float]) -> str:
    """Say from where to where some paths reach."""
    low, high = min(path_ohm), max(path_ohm)
    return ohms(low) if low == high else f"{ohms(low)} to {ohms(high)}"


def _several(pick: Pick, evidence: Evidence) -> Control:
    """Tell of pads that are joined at once: no control of ours has so many contacts."""
    if not evidence.heard_ohm:
        return _unfitted(evidence)
    paths = _paths(evidence.heard_ohm)
    return Control(
        "leave out", "several contacts at once",
        f"{pick.pair} closes {len(pick.pads)} pads at once, heard again over {paths} with the rig's "
        "own resistor in each lead. No control is planned for that here: it needs a switch with a "
        "contact for each pad and a resistor at each, and to be tried by hand first.",
    )


def _unfitted(evidence: Evidence) -> Control:
    """Say why a pair gets no control."""
    trials, find = evidence.trials, evidence.find
    if not trials:
        return Control("leave out", "not touched", "The sweep never touched this pair.")
    paths = _paths([t.path_ohm for t in trials])
    if find is None:
        return Control("leave out", "nothing found",
                       f"Touched over {paths}, and no change that came back.")
    if find.stop and AFTERS[find.stop].unfitted:
        return Control("leave out", "no control", AFTERS[find.stop].unfitted)
    stopped = evidence.stopped_ohm
    assert stopped is not None  # a find that nothing can be played of is a stop
    return Control(
        "leave out", "no control", f"It stops the toy: over {ohms(stopped)} it did, and over no "
        "higher path was anything else heard twice.",
    )  # fmt: skip


def _by_sound(find: Find, seen: Known) -> Control:
    """Choose by what was heard."""
    rule = AFTERS[find.after].control or SOUNDS[find.sound].control
    if _is_measured_smooth(seen) and SOUNDS[find.sound].is_bend and find.sound != "blip":
        rule = None  # a loop or what runs on, too, is best played by what moves it
    if rule is None:
        return _changing(find, seen)
    kind, why = rule
    return BUILDERS[kind](why, seen)


def _changing(find: Find, seen: Known) -> Control:
    """Choose for a steady change: by how its amount moved over the paths, else by its range."""
    low, high, sound, unit = seen.low, seen.high, find.sound, find.unit
    measured = amounts(
        [one for one in seen.trials
         if one.heard and one.key == find.key and low <= one.path_ohm <= high], sound, unit)  # fmt: skip
    # With its resistor, skin must come to what was kept.
    skin = seen.kept >= seen.fixed + BODY_LEAST_OHM
    if low >= BODY_LEAST_OHM and skin:
        return body(
            f"It needs much resistance: heard over {ohms(low)}"
            + (f" to {ohms(high)}" if high > low * 1.02 else "")
            + ". Skin is in that range, so it can be played by touch.", seen,
        )  # fmt: skip
    if seen.course is not None and seen.course.is_measured:
        return _measured(seen.course, find, seen)
    if _moves(measured, unit_of(unit).moves):
        (path_low, amount_low), (path_high, amount_high) = measured[0], measured[-1]
        return pot(
            "Its amount moves step by step with the resistance: "
            f"{sound_words(sound, amount_high, unit)} over {ohms(path_high)}, "
            f"{sound_words(sound, amount_low, unit)} over {ohms(path_low)}. A knob sets it.",
            seen,
        )
    if len(measured) == 2 and _spread(measured) > unit_of(unit).moves:
        (path_low, amount_low), (path_high, amount_high) = measured
        return toggle(
            f"Over {ohms(path_low)} it is {sound_words(sound, amount_low, unit)}, over "
            f"{ohms(path_high)} {sound_words(sound, amount_high, unit)}; whether it moves smoothly "
            "between wasn't measured. A toggle holds what you kept.",
            seen,
        )
    if len(measured) >= 2:
        return toggle(
            f"It comes on at once: about the same from {ohms(measured[0][0])} to "
            f"{ohms(measured[-1][0])}, so a knob would only switch it.",
            seen,
        )
    if high / low >= 9.5:
        return pot(
            f"It reaches from {ohms(low)} to {ohms(high)}; whether it moves smoothly between "
            "wasn't measured. If it turns out to switch, fit a toggle.",
            seen,
        )
    higher = any(trial.path_ohm > high * 1.02 for trial in seen.trials)
    return toggle(
        f"A held change, heard over {ohms(high)}{' and over no higher path' if higher else ''}: "
        "a toggle holds it.",
        seen,
    )


def _is_measured_smooth(seen: Known) -> bool:
    return seen.course is not None and seen.course.is_measured and seen.course.is_smooth


def _measured(along: Course, find: Find, seen: Known) -> Control:
    """Choose by how the sound was measured to go along the resistance."""
    if along.is_smooth:
        held = " A toggle in series holds it off." if AFTERS[find.after].control else ""
        return pot(f"{along.told} A knob sets it.{held}", seen)
    if _likely_moves(along):
        low, high = along.run[0].path_ohm, along.run[-1].path_ohm
        return pot(f"{along.told} Nothing could be touched between {ohms(low)} and {ohms(high)}: if it "
                   "turns out to switch, fit a toggle.", seen)  # fmt: skip
    points = good_points(along, seen.kept)
    if len(points) >= FEWEST:
        return stepped(f"{along.told} It has {len(points)} sounds over as many resistances: a switch "
                       "with steps gives each.", seen)  # fmt: skip
    return toggle(f"{along.told} A toggle holds what you kept.", seen)


def _likely_moves(along: Course) -> bool:
    """Say whether a sound is the same word over two paths far apart, much more of it over one of them."""
    if len(along.run) != 2 or len(along.track) != 2 or len({one.word for one in along.run}) > 1:
        return False
    low, high = along.run
    return high.path_ohm / low.path_ohm >= FAR_APART and along.moved > MUCH * along.unit.moves


def _moves(measured: Sequence[tuple[float, float]], spread: float) -> bool:
    """Say if the amount rises or falls along three or more paths, by more than the spread."""
    values = [amount for _, amount in measured]
    if len(values) < 3 or _spread(measured) <= spread:
        return False
    steps = [b - a for a, b in itertools.pairwise(values)]
    back = sum(s for s in steps if s * (values[-1] - values[0]) < 0)
    return abs(back) <= 0.2 * (max(values) - min(values))


def _spread(measured: Sequence[tuple[float, float]]) -> float:
    """Give how far apart the amounts are."""
    values = [amount for _, amount in measured]
    return max(values) - min(values)


def keep_words(low: float, trials: Sequence[Trial], least_path_ohm: float) -> str:
    """Say how little may be in the path, ohms, and why no less."""
    kept = f"Keep at least {ohms(low)} in the path"
    stops = [one.path_ohm for one in trials if one.stopped]
    if stops:
        return f"{kept}: over {ohms(max(stops))} this pair stopped the toy."
    lower = sorted({t.path_ohm for t in trials if t.path_ohm < low * 0.98})
    if lower:
        kept = f"Keep about {ohms(low)} in the path"
        return f"{kept}: over {ohms(lower[0])} this change wasn't found again."
    if low > least_path_ohm * 1.02:
        return f"{kept}: less wasn't tried here."
    return f"{kept}: the rig never tried less."


def own_words(at_ohm: float, evidence: Evidence, least_path_ohm: float) -> str:
    """Say what the sweep knows of a value that is the person's own."""
    stopped, heard = evidence.stopped_ohm, evidence.heard_ohm
    if stopped is not None and at_ohm * (1 - TOLERANCE) <= stopped:
        return f"Your value. Over {ohms(stopped)} this pair stopped the toy, so expect it to stop."
    if at_ohm < least_path_ohm * (1 - TOLERANCE):
        return "Your value: less than the rig ever tried. Bridge it by hand once before you fit it."
    once = evidence.find.seen_once_ohm if evidence.find else ()
    if any(is_same(at_ohm, one) for one in once):
        return "Your value: something was heard over it, but not again often enough to count."
    if heard and at_ohm < heard[0] * (1 - TOLERANCE):
        return f"Your value: less than the {ohms(heard[0])} over which it was heard again."
    if heard and at_ohm > heard[-1] * (1 + TOLERANCE):
        return f"Your value: more than the {ohms(heard[-1])} over which it was heard again."
    return "Your value."
