"""The controls themselves: what to buy, its values and how to wire it, once it's known why."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from rig.build.course import Course
from rig.build.drawer import ANY, Drawer
from rig.build.evidence import Trial, floor_ohm
from rig.build.knob import Knob, choose, moving_share
from rig.build.series import at_least
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


A = {
    "toggle": "a toggle", "push-button": "a push-button", "potentiometer": "a potentiometer",
    "photocell": "a photocell", "body contacts": "body contacts", "stepped switch": "a stepped switch",
    "rotary switch": "a rotary switch",
}  # fmt: skip
"""How a control is said in a sentence."""


@dataclass(frozen=True)
class Position:
    """One position of a rotary or stepped switch.

    Parameters
    ----------
    fixed_ohm : float
        Its resistor, ohms.
    what : str
        The sound that it gives.
    yours : bool
        The value is the person's own.
    """

    fixed_ohm: float
    what: str
    yours: bool = False


@dataclass(frozen=True)
class Control:
    """The part proposed for a pick.

    Parameters
    ----------
    kind : str
        toggle, push-button, potentiometer, photocell, body contacts, rotary switch, stepped switch,
        or leave out.
    part : str
        What to buy.
    why : str
        The reason, a sentence or two.
    fixed_ohm : float or None
        Resistor to fit in series with it, ohms: a value of E24, or the person's own; of several the
        least. None with "leave out" alone.
    keep : str
        Why no less than that, and what would have to be tried.
    pot_ohm : float or None
    hints : tuple of str
        How to wire it, other parts that would do, what to watch.
    yours : bool
        The resistor's value is the person's own.
    positions : tuple of Position
        Of a rotary or stepped switch, from the least resistance up; off is none of them.
    warning : str
        Why what the person wished for can't work; "" where nothing speaks against it.
    knob : Knob or None
        Of a potentiometer: its taper, and what its turn does.
    stops : bool
        It stops the toy, by wish: the reset button ends it.
    """

    kind: str
    part: str
    why: str
    fixed_ohm: float | None = None
    keep: str = ""
    pot_ohm: float | None = None
    hints: tuple[str, ...] = field(default_factory=tuple)
    yours: bool = False
    positions: tuple[Position, ...] = ()
    warning: str = ""
    knob: Knob | None = None
    stops: bool = False

    @property
    def lowers(self) -> bool:
        """Say whether turning right lowers the resistance; of what isn't turned, too."""
        return self.knob is None or self.knob.lowers

    @property
    def reason(self) -> str:
        """Give the reason, with the warning where there is one."""
        return f"{self.why} {self.warning}".strip()

    @property
    def resistors(self) -> tuple[tuple[float, bool], ...]:
        """Give each resistor to fit, ohms, and whether its value is the person's own."""
        if self.positions:
            return tuple((one.fixed_ohm, one.yours) for one in self.positions)
        return () if self.fixed_ohm is None else ((self.fixed_ohm, self.yours),)


def body_fixed_ohm(volts: float) -> float:
    """Give the least resistor in series with body contacts, ohms, a value of E24.

    Keeps the current through the lowest body resistance below `BODY_LIMIT_MA`.
    """
    return at_least(max(volts / BODY_LIMIT_MA * 1000 - BODY_FLOOR_OHM, 1000.0))


@dataclass(frozen=True, kw_only=True)
class Known:
    """What is known of a pick's resistances.

    Parameters
    ----------
    low, high : float
        The range over which it was heard, ohms.
    floor : float
        Below this no part may be, ohms.
    kept : float
        The path that was kept, ohms.
    fixed : float
        Resistor before a control whose own resistance comes to it, ohms.
    steady : float
        Resistor before a switch, ohms.
    keep : str
        Why no less.
    trials : tuple of Trial
        All touches of the pair.
    most : float
        Largest path of the rig, ohms.
    volts : float
        Highest supply, V.
    course : Course or None
        How the sound goes along the resistance, where that is known.
    drawer : Drawer
        What there is to build with.
    """

    low: float
    floor: float
    high: float
    kept: float
    fixed: float
    steady: float
    keep: str
    trials: tuple[Trial, ...]
    most: float
    volts: float
    course: Course | None = None
    drawer: Drawer = ANY

    def floor_of(self, path_ohm: float) -> float:
        """Give below what no part for a path may be; see `floor_ohm`."""
        return floor_ohm(path_ohm, self.trials)

    @property
    def at_top(self) -> bool:
        """Whether it was heard over the largest path that the rig has."""
        return self.high >= self.most * 0.98


def toggle(why: str, seen: Known) -> Control:
    """Fit a switch that stays."""
    return Control(
        "toggle", "toggle switch, on-off", why, seen.steady, seen.keep,
        hints=("Use the middle lug and one outer lug.",),
    )  # fmt: skip


def button(why: str, seen: Known) -> Control:
    """Fit a button."""
    return Control("push-button", "push-button, closes while pressed", why, seen.steady, seen.keep)


def crash_button(why: str, seen: Known) -> Control:
    """Fit a button for what stops the toy and sounds on: nothing that stays on, and the reset beside it."""
    return replace(
        button(why, seen), part="push-button, closes while pressed, beside the reset button", stops=True,
        hints=("Press it, listen, then press the reset button: nothing else ends it.",
               "Put it beside the reset button, never where a hand rests."),
    )  # fmt: skip


def photocell(why: str, seen: Known) -> Control:
    """Fit a photocell."""
    hints = [PHOTOCELL, f"In full light the resistor of {ohms(seen.fixed)} is nearly all there is."]
    if not seen.at_top:
        hints.append(f"Beyond about {ohms(seen.high)} nothing was heard: dark is off.")
    return Control("photocell", "photocell", why, seen.fixed, seen.keep, hints=tuple(hints))


def pot(why: str, seen: Known) -> Control:
    """Fit a knob that goes through the kept path, and no further than the change was heard."""
    high, fixed = seen.high, seen.fixed
    track = seen.course.track if seen.course else []
    knob = choose(low=seen.floor, high=high, kept=seen.kept, track=track, drawer=seen.drawer)
    fixed, size = knob.fixed_ohm, knob.pot_ohm
    hints = [
        "Join the wiper (middle lug) to one outer lug, so that it never opens.",
        (f"Wire it so that turning right {'lowers' if knob.lowers else 'raises'} the resistance and does "
         f"more: a {knob.taper} one spreads that best."),
        f"At its lower end the resistor of {ohms(fixed)} alone is left.",
    ]
    if len(track) >= 3:
        hints.append(f"About {100 * moving_share(knob, track):.0f} % of its turn moves the sound.")
    if fixed > seen.kept:
        hints.append(f"It ends at {ohms(fixed)}, a little above what you kept: less was never heard "
                     "to do the same.")
    if seen.course and seen.course.remembers_ohm:
        hints.append("It remembers: turned down it isn't what it is turned up.")
    if fixed + size < high / 1.05:
        hints.append(f"Turned fully up it is at {ohms(fixed + size)}; it was heard up to {ohms(high)}, "
                     "which the next larger potentiometer would leave.")
    elif fixed + size > high * 1.05 and seen.at_top:
        hints.append(f"The rig tried no more than {ohms(high)}; the knob may do more above it.")
    elif fixed + size > high * 1.05:
        hints.append(f"Beyond about {ohms(high)} this wasn't heard: no potentiometer that shops have "
                     "ends there and reaches what was kept.")
    if high >= 100_000:
        hints.append(f"{PHOTOCELL} One would do too.")
    if high >= BODY_LEAST_OHM:
        ohm = max(fixed, body_fixed_ohm(seen.volts))
        hints.append(f"Body contacts would reach its upper end; fit {ohms(ohm)} in series then.")
    return Control(
        "potentiometer",
        f"potentiometer {ohms(size)} {knob.taper}",
        why,
        fixed,
        seen.keep,
        pot_ohm=size,
        hints=tuple(hints),
        knob=knob,
    )


def body(why: str, seen: Known) -> Control:
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

