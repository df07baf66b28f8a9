"""The reset in the battery lead: what it must carry and for how long it is held, as measured."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil

from rig.events import Event, HabitsLearnt, RungTried
from rig.project import Project
from rig.project.electrical import highest_v
from rig.words import ohms

BLEED_OHM = 100.0
"""Empties the rail through the changeover button's second contact (common practice, no source)."""

MARGIN = 4.0
"""Times the measured current, which is a mean: at the peak of a sine a class B stage draws pi times
its mean (integral of a half sine); the rest is for what is louder than what was heard."""

CONTACTS_MA = (100, 200, 500, 1000, 2000, 3000, 5000)
"""What contacts of small push-buttons are made for, d.c. (common practice, no source)."""

HOLD_TIMES = 2
"""Times the longest fall that was measured, rounded up to seconds: our choice."""


@dataclass(frozen=True)
class Power:
    """What a sweep measured of the toy's supply; None: it didn't.

    Parameters
    ----------
    idle_ma, sounding_ma : float or None
        The most that it drew with any key.
    fell_s : float or None
        The longest that its rail took to fall below 0.2 V, with the rig's bleed across it.
    """

    idle_ma: float | None = None
    sounding_ma: float | None = None
    fell_s: float | None = None

    @property
    def most_ma(self) -> float | None:
        """The most that was measured, mA."""
        return max((one for one in (self.idle_ma, self.sounding_ma) if one is not None), default=None)


def measured(events: Iterable[Event]) -> Power:
    """Gather what a sweep's events say of the toy's supply."""
    told = list(events)
    habits = [one for one in told if isinstance(one, HabitsLearnt)]
    falls = [one.rail_fell_s for one in told if isinstance(one, RungTried)]
    return Power(
        _most(one.idle_ma for one in habits), _most(one.sounding_ma for one in habits), _most(falls),
    )  # fmt: skip


def _most(values: Iterable[float | None]) -> float | None:
    return max((one for one in values if one is not None), default=None)


def contacts_ma(power: Power) -> int | None:
    """Give what the button's contacts must be made for, mA d.c.; None where nothing was measured.

    A toy above the largest that is listed gives `MARGIN` times its current.
    """
    if power.most_ma is None:
        return None
    needed = MARGIN * power.most_ma
    return next((one for one in CONTACTS_MA if one >= needed), ceil(needed))


def hold_s(power: Power) -> int | None:
    """Give for how long the changeover button is held, s; None where no fall was measured."""
    return None if power.fell_s is None else max(1, ceil(HOLD_TIMES * power.fell_s))


def rating_words(project: Project, power: Power) -> str:
    """Say what the button's contacts must carry."""
    volts, least = highest_v(project.toy), contacts_ma(power)
    if least is None:
        return (f"contacts for {volts:.3g} V d.c. or more and {MARGIN:g} times the current that the "
                "toy draws: measure it")  # fmt: skip
    return f"contacts for {least} mA or more at {volts:.3g} V d.c."


def current_words(power: Power) -> str:
    """Say what the toy drew."""
    if power.most_ma is None:
        return (
            "What the toy draws wasn't measured: put a multimeter for mA into the battery's plus lead, "
            "read it while the toy sounds loudest: ______\u00a0mA."
        )
    told = [
        f"{ma:.3g} mA {when}"
        for ma, when in ((power.idle_ma, "at rest"), (power.sounding_ma, "sounding")) if ma is not None
    ]
    return (
        f"In the sweep the toy drew {' and '.join(told)}, a mean. Peaks are higher, so the contacts are "
        f"chosen for {MARGIN:g} times as much or more."
    )


def hold_words(power: Power) -> str:
    """Say for how long the button is held."""
    held = hold_s(power)
    if power.fell_s is None or held is None:
        return (
            "How fast the rail falls was not measured. With a multimeter between board plus and "
            "battery minus press the button and count until it shows less than 0.2 V: hold it "
            "longer than that: ______\u00a0s."
        )
    return (
        f"In the sweep the rail fell below 0.2 V within {power.fell_s:.2g} s, with the rig's bleed of "
        f"more than {ohms(BLEED_OHM)} across it. So hold the changeover button for {held} s. Without a "
        "bleed nothing was measured: with the plain button it may take minutes; see with a multimeter "
        "between board plus and battery minus how long, and hold it longer: ______\u00a0s."
    )
