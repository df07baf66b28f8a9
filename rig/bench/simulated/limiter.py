"""A path that passes no more than a set current, whatever is across it."""

from __future__ import annotations

from typing import Self


class Limited(float):
    """A resistance, ohms, up to the current that it is limited to.

    The current over it is v / ohm, and stays at the limit where that would be more: two straight
    lines, for a limiter made of two transistors whose knee is a few tens of millivolts wide.

    Parameters
    ----------
    ohm : float
        Below the limit; more than 0.
    limit_a : float
        Either way, amperes; more than 0.
    """

    limit_a: float

    def __new__(cls, ohm: float, limit_a: float) -> Self:
        """Make one.

        Raises
        ------
        ValueError
            The limit isn't above zero.
        """
        if not limit_a > 0:
            raise ValueError(f"a limiter of {limit_a} A, must be above 0")
        made = super().__new__(cls, ohm)
        made.limit_a = float(limit_a)
        return made

    def __eq__(self, other: object) -> bool:
        """Tell it from a plain resistor and from another limit, as memos must."""
        if not isinstance(other, Limited):
            return False
        return float(self) == float(other) and self.limit_a == other.limit_a

    def __ne__(self, other: object) -> bool:
        """Say whether it is another one."""
        return not self == other

    def __hash__(self) -> int:
        """Give the same for two that are alike."""
        return hash((float(self), self.limit_a))

    def passed_a(self, volts: float) -> float:
        """Give the current at a voltage across it, amperes."""
        return max(-self.limit_a, min(self.limit_a, volts / float(self)))
