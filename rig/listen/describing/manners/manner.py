"""What a manner is to those who measure it."""

from __future__ import annotations

from dataclasses import dataclass

MANNER, MANNER_AMOUNT, MANNER_UNIT = "manner", "manner_amount", "manner_unit"
"""Measures: the second word of a change, how much, and in which unit; not there where none is sure."""


@dataclass(frozen=True)
class Manner:
    """A second word for a change, with its amount.

    Parameters
    ----------
    name : str
        A row of `rig.outcomes.MANNERS`.
    amount : float or None
        In `unit`.
    unit : str or None
    fit : float
        The part of the difference that it explains, 0 to 1, where several may.
    """

    name: str
    amount: float | None = None
    unit: str | None = None
    fit: float = 1.0

    @property
    def measures(self) -> dict[str, str | float]:
        """Give it as it is stored."""
        told: dict[str, str | float] = {MANNER: self.name}
        if self.amount is not None and self.unit is not None:
            told |= {MANNER_AMOUNT: float(self.amount), MANNER_UNIT: self.unit}
        return told
