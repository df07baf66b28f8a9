"""Which control fits a pick, with its values and the reason.

The rules are those of the trade (common practice, no source): toggles for loops and held
changes, push-buttons for what ends by itself or freezes, potentiometers for what changes
smoothly over decades, body contacts where more than about 50 kohm is enough.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import log10

from rig.build.series import at_least, pot_for
from rig.build.trials import Trial, amounts, stopped_ohm
from rig.choose.picks import Pick
from rig.words import ohms, sound_words

BODY_LEAST_OHM = 50_000.0
"""Two fingertips on domes are 50 kohm to 2 Mohm, with damp skin less (common practice)."""

BODY_FLOOR_OHM = 2_100.0
"""Hand to hand, d.c., 25 V, large dry contact, 5th percentile: IEC 60479-1 (from memory)."""

BODY_LIMIT_MA = 0.5
"""Startle reaction of a.c., the lowest threshold of IEC 60479-1 (from memory; d.c.: 2 mA)."""

PHOTOCELL_DARK_OHM = 1e6
"""A photocell runs from a few kohm in light to about 1 Mohm in the dark (common practice)."""

SMOOTH = {"cents": 80.0, "dB": 3.0, "Hz": 15.0, "s": 0.03}
"""Least spread of an amount over the paths that counts as changing, by unit (our choice)."""

SMOOTH_SOUNDS = ("pitch", "timbre", "level", "drone")


@dataclass(frozen=True)
class Control:
    """The part proposed for a pick.

    Parameters
    ----------
    kind : str
        toggle, push-button, potentiometer, body contacts, or leave out.
    part : str
        What to buy.
    why : str
        The reason, a sentence or two.
    fixed_ohm : float
        Resistor to fit in series with it, a value of E24, ohms.
    keep : str
        Why no less than that, and what would have to be tried.
    pot_ohm : float or None
    hints : tuple of str
        How to wire it, other parts that would do, what to watch.
    """

    kind: str
    part: str
    why: str
    fixed_ohm: float
    keep: str
    pot_ohm: float | None = None
    hints: tuple[str, ...] = field(default_factory=tuple)


def propose(
    pick: Pick,
    trials: Sequence[Trial] = (),
    *,
    least_path_ohm: float,
    most_path_ohm: float,
    volts: float,
) -> Control:
    """Propose the control of a pick.

    Parameters
    ----------
    pick : Pick
    trials : sequence of Trial
        What the sweep saw on this pair; empty where there is no log.
    least_path_ohm, most_path_ohm : float
        Least and largest path that the rig can make between two pads, ohms.
    volts : float
        Highest supply of the toy, V.
    """
    low = pick.path_min_ohm or least_path_ohm
    high = max(pick.path_max_ohm or low, low)
    fixed = at_least(low)
    keep = _keep(low, fixed, trials, least_path_ohm)
    sound, after = pick.sound or "none", pick.after or "answers"
    if after == "guarded":
        return Control(
            "leave out", "no control", "The rig's guard opened everything: too much current for "
            "a part that stays in the toy.", fixed, keep,
        )  # fmt: skip
    if after == "freeze":
        return _button(
            "It stops the toy until the supply is cut: a button lets go by itself, and the reset "
            "beside it brings the toy back.", fixed, keep,
        )  # fmt: skip
    if after == "runs on":
        return _toggle(
            "It goes on by itself while held: a toggle holds it, and other bends can be tried "
            "over it without pressing keys.", fixed, keep,
        )  # fmt: skip
    if sound == "loop":
        return _toggle("A loop lasts while it is held: a toggle holds it.", fixed, keep)
    if sound == "blip":
        return _button("It ends by itself: a button gives it again and again.", fixed, keep)
    if sound == "cut":
        return _button("It takes the sound away while held: a button plays the gaps.", fixed, keep)
    if sound in SMOOTH_SOUNDS:
        seen = _Seen(low, high, fixed, keep, tuple(trials), most_path_ohm, volts)
        return _changing(pick, sound, seen)
    return _button(
        "Nothing measured says how it should be played: begin with a button, it can't be left on.",
        fixed, keep,
    )  # fmt: skip


def body_fixed_ohm(volts: float) -> float:
    """Give the least resistor in series with body contacts, ohms, a value of E24.

    Keeps the current through the lowest body resistance below `BODY_LIMIT_MA`.
    """
    return at_least(max(volts / BODY_LIMIT_MA * 1000 - BODY_FLOOR_OHM, 1000.0), slack=0.0)


@dataclass(frozen=True)
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


def _changing(pick: Pick, sound: str, seen: _Seen) -> Control:
    """Choose for a steady change: by how its amount moved over the paths, else by its range."""
    low, high = seen.low, seen.high
    measured = amounts(seen.trials, sound, pick.unit)
    if low >= BODY_LEAST_OHM:
        return _body(seen)
    if _moves(measured, SMOOTH.get(pick.unit or "", 0.0)):
        (path_low, amount_low), (path_high, amount_high) = measured[0], measured[-1]
        return _pot(
            "Its amount moves step by step with the resistance: "
            f"{sound_words(sound, amount_high, pick.unit)} over {ohms(path_high)}, "
            f"{sound_words(sound, amount_low, pick.unit)} over {ohms(path_low)}. A knob sets it.",
            seen,
        )
    if len(measured) >= 2:
        return _toggle(
            f"It comes on at once: about the same from {ohms(measured[0][0])} to "
            f"{ohms(measured[-1][0])}, so a knob would only switch it.",
            seen.fixed,
            seen.keep,
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
        seen.fixed,
        seen.keep,
    )


def _moves(measured: Sequence[tuple[float, float]], spread: float) -> bool:
    """Say if the amount rises or falls along three or more paths, by more than the spread."""
    values = [amount for _, amount in measured]
    if len(values) < 3 or max(values) - min(values) <= spread:
        return False
    steps = [b - a for a, b in itertools.pairwise(values)]
    back = sum(s for s in steps if s * (values[-1] - values[0]) < 0)
    return abs(back) <= 0.2 * (max(values) - min(values))


def _keep(low, fixed, trials, least_path_ohm) -> str:
    froze = stopped_ohm(trials)
    if froze is not None and froze < low * 0.98:
        return (
            f"Keep at least {ohms(low)} in the path: over {ohms(froze)} this pair stopped the toy."
        )
    lower = sorted({t.path_ohm for t in trials if t.path_ohm < low * 0.98})
    if lower:
        return (
            f"Keep at least {ohms(low)} in the path: over {ohms(lower[0])} this change wasn't "
            "found again."
        )
    return f"Keep at least {ohms(low)} in the path: the rig never tried less."


def _toggle(why, fixed, keep) -> Control:
    return Control(
        "toggle", "toggle switch, on-off", why, fixed, keep,
        hints=("Use the middle lug and one outer lug.",),
    )  # fmt: skip


def _button(why, fixed, keep) -> Control:
    return Control("push-button", "push-button, closes while pressed", why, fixed, keep)


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
        hints.append("A photocell (a few kΩ in light to about 1 MΩ in the dark) would do too.")
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
        pot,
        tuple(hints),
    )


def _body(seen: _Seen) -> Control:
    """Fit domes, with a resistor that keeps wet fingers from doing what less resistance did."""
    stopped, low = stopped_ohm(seen.trials), seen.low
    lower = any(trial.path_ohm < low * 0.98 for trial in seen.trials)
    if stopped is not None and stopped < low * 0.98:
        fixed = max(body_fixed_ohm(seen.volts), at_least(stopped * 1.05))
        keep = (
            f"Over {ohms(stopped)} this pair stopped the toy: the resistor keeps the path above "
            f"that, however wet the fingers. From there to {ohms(low)} wasn't tried."
        )
    elif lower:
        fixed = body_fixed_ohm(seen.volts)
        keep = (
            f"Over less than {ohms(low)} the change wasn't found; the resistor keeps the current "
            "through the skin small."
        )
    else:
        fixed = max(body_fixed_ohm(seen.volts), at_least(low))
        keep = seen.keep
    worst = seen.volts / (fixed + BODY_FLOOR_OHM) * 1000
    hints = [
        "Two fingertips are 50 kΩ to 2 MΩ, less with damp skin; set the domes a finger apart.",
        f"Even with wet hands no more than {worst:.2g} mA can flow. Cells only, always.",
    ]
    if fixed + BODY_LEAST_OHM > seen.high * 1.02 and seen.at_top:
        hints.append(
            f"The rig tried no more than {ohms(seen.high)}: touch two bare wire ends first and "
            "hear whether skin is enough. If not, fit a toggle and "
            f"{ohms(at_least(low))}."
        )
    hints.append(f"A photocell or a potentiometer of {ohms(PHOTOCELL_DARK_OHM)} would do too.")
    return Control(
        "body contacts",
        "two brass or steel domes",
        f"It needs much resistance: heard over {ohms(low)}"
        + (f" to {ohms(seen.high)}" if seen.high > low * 1.02 else "")
        + ". Skin is in that range, so it can be played by touch.",
        fixed,
        keep,
        hints=tuple(hints),
    )
