"""Resistor values that can be bought: the preferred series, colour bands, potentiometers."""

from __future__ import annotations

import math
from collections.abc import Sequence

E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
"""Preferred numbers of the 10 % series [1]_.

.. [1] IEC 60063 (from memory).
"""

E24 = (
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
    3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1,
)  # fmt: skip
"""Preferred numbers of the 5 % series, IEC 60063 (from memory)."""

COLOURS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
"""Digits 0 to 9 and powers of ten, IEC 60062 (from memory)."""

POTS_OHM = tuple(m * 10.0**d for d in range(3, 7) for m in (1, 2, 5) if m * 10.0**d <= 2e6)
"""Potentiometers that shops have: 1-2-5 per decade, 1 kohm to 2 Mohm (common practice)."""


def nearest(ohm: float, series: Sequence[float] = E24) -> float:
    """Give the preferred value with the least ratio to `ohm`.

    Parameters
    ----------
    ohm : float
        Above 0.
    series : sequence of float
        Preferred numbers from 1 to below 10, ascending.

    Raises
    ------
    ValueError
        `ohm` isn't above 0.
    """
    return min(_around(ohm, series), key=lambda value: abs(math.log(value / ohm)))


TOLERANCE = 0.05
"""Of the resistors on the sheet, IEC 60062's gold band (from memory)."""


def at_least(ohm: float, series: Sequence[float] = E24, tolerance: float = TOLERANCE) -> float:
    """Give the smallest preferred value of which no part is below `ohm`.

    Parameters
    ----------
    ohm : float
        Above 0.
    tolerance : float
        So much of its value may a part lack.
    """
    return next(value for value in _around(ohm, series) if value * (1 - tolerance) >= ohm)


def nearest_above(
    ohm: float, floor_ohm: float, series: Sequence[float] = E24, tolerance: float = TOLERANCE
) -> float:
    """Give the preferred value nearest to `ohm` of which no part is below `floor_ohm`.

    Parameters
    ----------
    ohm : float
        Above 0.
    floor_ohm : float
        No more than `ohm`.
    tolerance : float
        So much of its value may a part lack.
    """
    return min((value for value in _around(ohm, series) if value * (1 - tolerance) >= floor_ohm),
               key=lambda value: abs(math.log(value / ohm)))  # fmt: skip


def _around(ohm: float, series: Sequence[float]) -> list[float]:
    if not (ohm > 0 and math.isfinite(ohm)):
        raise ValueError(f"a resistance above 0 is needed, not {ohm}")
    decade = math.floor(math.log10(ohm))
    return [
        float(f"{number}e{power}") for power in range(decade - 1, decade + 2) for number in series
    ]


def bands(ohm: float) -> tuple[str, str, str]:
    """Give the colours of a resistor of two figures: first, second, power of ten.

    Parameters
    ----------
    ohm : float
        A value of E24, 1 ohm to 91 Mohm.

    Raises
    ------
    ValueError
        The value has more than two figures or is out of range.
    """
    power = math.floor(math.log10(ohm) + 1e-12) - 1
    figures = round(ohm / 10.0**power, 6)
    if figures != int(figures) or not -1 <= power <= 6:
        raise ValueError(f"{ohm:g} ohm has no bands of two figures and a power of ten")
    first, second = divmod(int(figures), 10)
    return COLOURS[first], COLOURS[second], "gold" if power == -1 else COLOURS[power]


def pot_for(span_ohm: float) -> float:
    """Give the smallest potentiometer that reaches `span_ohm`, or the largest there is."""
    return next((pot for pot in POTS_OHM if pot >= span_ohm * 0.95), POTS_OHM[-1])
