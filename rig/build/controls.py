"""Which control fits a pick, with its values and the reason.

The rules are those of the trade (common practice, no source): toggles for loops and held
changes, push-buttons for what ends by itself or freezes, potentiometers for what changes
smoothly over decades, body contacts where more than about 50 kohm is enough.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import log10

from rig.build.evidence import Evidence, Trial, amounts
from rig.build.series import TOLERANCE, at_least, pot_for
from rig.choose.find import Find
from rig.choose.picks import Pick
from rig.outcomes import AFTERS, SOUNDS, sound_words, unit_of
from rig.words import ohms

BODY_LEAST_OHM = 50_000.0
"""Two fingertips on domes are 50 kohm to 2 Mohm, with damp skin less (common practice)."""

BODY_FLOOR_OHM = 2_100.0
"""Hand to hand, d.c., 25 V, large dry contact, 5th percentile: IEC 60479-1 (from memory)."""

BODY_LIMIT_MA = 0.5
"""Startle reaction of a.c., the lowest threshold of IEC 60479-1 (from memory; d.c.: 2 mA)."""

PHOTOCELL_DARK_OHM = 1e6
"""A photocell runs from a few kohm in light to about 1 Mohm in the dark (common practice)."""
PHOTOCELL = f"A photocell has a few kΩ in light and about {ohms(PHOTOCELL_DARK_OHM)} in the dark."

@dataclass(frozen=True)
class Control:
    """The part proposed for a pick.

    Parameters
    ----------
    kind : str
        toggle, push-button, potentiometer, photocell, body contacts, or leave out.
    part : str
        What to buy.
    why : str
        The reason, a sentence or two.
    fixed_ohm : float or None
        Resistor to fit in series with it, ohms: a value of E24, or the person's own. None with
        "leave out" alone.
    keep : str
        Why no less than that, and what would have to be tried.
    pot_ohm : float or None
    hints : tuple of str
        How to wire it, other parts that would do, what to watch.
    yours : bool
        The resistor's value is the person's own.
    """

    kind: str
    part: str
    why: str
    fixed_ohm: float | None = None
    keep: str = ""
    pot_ohm: float | None = None
    hints: tuple[str, ...] = field(default_factory=tuple)
    yours: bool = False


def propose(
    pick: Pick, evidence: Evidence, *, least_path_ohm: float, most_path_ohm: float, volts: float
) -> Control:
    """Propose the control of a pick.

    What was seen decides, and the person's wishes: the control and the resistance that they
    named are theirs, with what the sweep has to say to it. Without evidence, or without either,
    there is no value.

    Parameters
    ----------
    pick : Pick
    evidence : Evidence
        What the sweep saw on this pair.
    least_path_ohm, most_path_ohm : float
        Least and largest path that the rig can make between two pads, ohms.
    volts : float
        Highest supply of the toy, V.
    """
    heard = evidence.heard_ohm
    if not pick.is_single_pair:
        return _several(pick, evidence)
    if not heard:
        if pick.at_ohm is None:
            ours = _unfitted(evidence)
            if not pick.control:
                return ours
            return replace(ours, why=f"{ours.why} You wish for {_A[pick.control]}: give it a value "
                                     "of your own with at_ohm in picks.yaml.")  # fmt: skip
        heard = [pick.at_ohm]
    fixed, keep = at_least(heard[0]), _keep(heard[0], evidence.trials, least_path_ohm)
    if pick.at_ohm is not None:
        fixed, keep = pick.at_ohm, _yours(pick.at_ohm, evidence, least_path_ohm)
    seen = _Seen(
        low=heard[0], high=heard[-1], fixed=fixed, keep=keep, trials=tuple(evidence.trials),
        most=most_path_ohm, volts=volts,
    )  # fmt: skip
    if evidence.find is not None and evidence.heard_ohm:
        ours = _by_sound(evidence.find, seen)
    else:
        ours = _button(f"{_unfitted(evidence).why} A button can't be left on.", seen)
    if pick.control and pick.control != ours.kind:
        why = f"You wish for it. The sweep speaks for {_A[ours.kind]}. {ours.why}"
        ours = _BUILDERS[pick.control](why, seen)
    return replace(ours, yours=ours.fixed_ohm == pick.at_ohm)


_A = {
    "toggle": "a toggle", "push-button": "a push-button", "potentiometer": "a potentiometer",
    "photocell": "a photocell", "body contacts": "body contacts",
}  # fmt: skip


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


def _by_sound(find: Find, seen: _Seen) -> Control:
    """Choose by what was heard."""
    rule = AFTERS[find.after].control or SOUNDS[find.sound].control
    if rule is None:
        return _changing(find, seen)
    kind, why = rule
    return _BUILDERS[kind](why, seen)


def body_fixed_ohm(volts: float) -> float:
    """Give the least resistor in series with body contacts, ohms, a value of E24.

    Keeps the current through the lowest body resistance below `BODY_LIMIT_MA`.
    """
    return at_least(max(volts / BODY_LIMIT_MA * 1000 - BODY_FLOOR_OHM, 1000.0))


@dataclass(frozen=True, kw_only=True)
class _Seen:
    """What is known of a pick's resistances."""

    low: float
    high: float
    fixed: float
    keep: str
    trials: tuple[Trial, ...]
    most: float
    volts: float

    @property
    def at_top(self) -> bool:
        """Whether it was heard over the largest path that the rig has."""
        return self.high >= self.most * 0.98


def _changing(find: Find, seen: _Seen) -> Control:
    """Choose for a steady change: by how its amount moved over the paths, else by its range."""
    low, high, sound, unit = seen.low, seen.high, find.sound, find.unit
    measured = amounts([t for t in seen.trials if t.heard and low <= t.path_ohm <= high], sound, unit)
    skin = seen.at_top or high >= seen.fixed + BODY_LEAST_OHM
    if low >= BODY_LEAST_OHM and skin:
        return _body(
            f"It needs much resistance: heard over {ohms(low)}"
            + (f" to {ohms(high)}" if high > low * 1.02 else "")
            + ". Skin is in that range, so it can be played by touch.", seen,
        )  # fmt: skip
    if _moves(measured, unit_of(unit).moves):
        (path_low, amount_low), (path_high, amount_high) = measured[0], measured[-1]
        return _pot(
            "Its amount moves step by step with the resistance: "
            f"{sound_words(sound, amount_high, unit)} over {ohms(path_high)}, "
            f"{sound_words(sound, amount_low, unit)} over {ohms(path_low)}. A knob sets it.",
            seen,
        )
    if len(measured) >= 2:
        return _toggle(
            f"It comes on at once: about the same from {ohms(measured[0][0])} to "
            f"{ohms(measured[-1][0])}, so a knob would only switch it.",
            seen,
        )
    if high / low >= 9.5:
        return _pot(
            f"It reaches from {ohms(low)} to {ohms(high)}; whether it moves smoothly between "
            "wasn't measured. If it turns out to switch, fit a toggle.",
            seen,
        )
    higher = any(trial.path_ohm > high * 1.02 for trial in seen.trials)
    return _toggle(
        f"A held change, heard over {ohms(high)}{' and over no higher path' if higher else ''}: "
        "a toggle holds it.",
        seen,
    )


def _moves(measured: Sequence[tuple[float, float]], spread: float) -> bool:
    """Say if the amount rises or falls along three or more paths, by more than the spread."""
    values = [amount for _, amount in measured]
    if len(values) < 3 or max(values) - min(values) <= spread:
        return False
    steps = [b - a for a, b in itertools.pairwise(values)]
    back = sum(s for s in steps if s * (values[-1] - values[0]) < 0)
    return abs(back) <= 0.2 * (max(values) - min(values))


def _keep(low: float, trials: Sequence[Trial], least_path_ohm: float) -> str:
    kept = f"Keep at least {ohms(low)} in the path"
    stops = [one.path_ohm for one in trials if one.stopped]
    if stops:
        return f"{kept}: over {ohms(max(stops))} this pair stopped the toy."
    lower = sorted({t.path_ohm for t in trials if t.path_ohm < low * 0.98})
    if lower:
        return f"{kept}: over {ohms(lower[0])} this change wasn't found again."
    if low > least_path_ohm * 1.02:
        return f"{kept}: less wasn't tried here."
    return f"{kept}: the rig never tried less."


def _yours(at_ohm: float, evidence: Evidence, least_path_ohm: float) -> str:
    """Say what the sweep knows of a value that is the person's own."""
    stopped, heard = evidence.stopped_ohm, evidence.heard_ohm
    if stopped is not None and at_ohm * (1 - TOLERANCE) <= stopped:
        return f"Your value. Over {ohms(stopped)} this pair stopped the toy, so expect it to stop."
    if at_ohm < least_path_ohm * (1 - TOLERANCE):
        return "Your value: less than the rig ever tried. Bridge it by hand once before you fit it."
    if heard and at_ohm < heard[0] * (1 - TOLERANCE):
        return f"Your value: less than the {ohms(heard[0])} over which it was heard again."
    if heard and at_ohm > heard[-1] * (1 + TOLERANCE):
        return f"Your value: more than the {ohms(heard[-1])} over which it was heard again."
    return "Your value."


def _toggle(why: str, seen: _Seen) -> Control:
    return Control(
        "toggle", "toggle switch, on-off", why, seen.fixed, seen.keep,
        hints=("Use the middle lug and one outer lug.",),
    )  # fmt: skip


def _button(why: str, seen: _Seen) -> Control:
    return Control("push-button", "push-button, closes while pressed", why, seen.fixed, seen.keep)


def _photocell(why: str, seen: _Seen) -> Control:
    hints = [PHOTOCELL, f"In full light the resistor of {ohms(seen.fixed)} is nearly all there is."]
    if not seen.at_top:
        hints.append(f"Beyond about {ohms(seen.high)} nothing was heard: dark is off.")
    return Control("photocell", "photocell", why, seen.fixed, seen.keep, hints=tuple(hints))


def _pot(why: str, seen: _Seen) -> Control:
    low, high, fixed = seen.low, seen.high, seen.fixed
    pot = pot_for(max(high - fixed, 1000.0))
    logarithmic = log10(high / low) >= 0.9
    hints = [
        "Join the wiper (middle lug) to one outer lug, so that it never opens.",
        "Wire it so that turning right lowers the resistance and does more"
        + ("; a reverse logarithmic one spreads that best." if logarithmic else "."),
        f"Turned fully down, the resistor of {ohms(fixed)} alone is left.",
    ]
    if seen.at_top:
        hints.append(f"The rig tried no more than {ohms(high)}; the knob may do more above it.")
    elif fixed + pot > high * 1.05:
        hints.append(f"Beyond about {ohms(high)} nothing was heard: there the knob is an off.")
    if high >= 100_000:
        hints.append(f"{PHOTOCELL} One would do too.")
    if high >= BODY_LEAST_OHM:
        ohm = max(fixed, body_fixed_ohm(seen.volts))
        hints.append(f"Body contacts would reach its upper end; fit {ohms(ohm)} in series then.")
    taper = "logarithmic" if logarithmic else "linear"
    return Control(
        "potentiometer",
        f"potentiometer {ohms(pot)} {taper}",
        why,
        fixed,
        seen.keep,
        pot_ohm=pot,
        hints=tuple(hints),
    )


def _body(why: str, seen: _Seen) -> Control:
    """Fit domes, with a resistor that keeps wet fingers from doing what less resistance did."""
    fixed, high, keep = max(body_fixed_ohm(seen.volts), seen.fixed), seen.high, seen.keep
    if fixed > seen.fixed:
        keep += " The resistor is larger, so that little flows through the skin."
    worst = seen.volts / (fixed + BODY_FLOOR_OHM) * 1000
    hints = [
        "Two fingertips are 50 kΩ to 2 MΩ, less with damp skin; set the domes a finger apart.",
        f"Even with wet hands no more than {worst:.2g} mA can flow. Cells only, always.",
    ]
    if fixed + BODY_LEAST_OHM > high:
        most = "The rig tried" if seen.at_top else "It was heard over"
        hints.append(
            f"{most} no more than {ohms(high)}: touch two bare wire ends behind the resistor first "
            "and hear whether skin is enough. If not, fit a toggle in place of the domes."
        )
    hints.append(f"A photocell or a potentiometer of {ohms(PHOTOCELL_DARK_OHM)} would do too.")
    return Control("body contacts", "two brass or steel domes", why, fixed, keep,
                   hints=tuple(hints))  # fmt: skip


_BUILDERS: dict[str, Callable[[str, _Seen], Control]] = {
    "toggle": _toggle, "push-button": _button, "potentiometer": _pot, "photocell": _photocell,
    "body contacts": _body,
}  # fmt: skip
