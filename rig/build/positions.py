"""What a control sounds like at its positions: the takes that were made nearest to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rig.build.fitting import Control
from rig.log import Record
from rig.words import short_ohms

TURNS = (0.0, 0.25, 0.5, 0.75, 1.0)
"""Of a knob: fully left, a quarter of the turn, and so on."""
NEAR_OHM = 1.3
"""A take that is farther from a position, as a ratio, is told to be."""


@dataclass(frozen=True)
class Position:
    """A position of a control, and the take nearest to it.

    Parameters
    ----------
    number, of : int
        From 1, clockwise.
    path_ohm : float
        What the position comes to, ohms.
    record : Record
        The touch whose take is nearest.
    """

    number: int
    of: int
    path_ohm: float
    record: Record

    @property
    def is_far(self) -> bool:
        """Say whether nothing was touched near the position."""
        made = self.record.path_ohm or 0.0
        return max(made, self.path_ohm) > NEAR_OHM * min(made, self.path_ohm)

    @property
    def stem(self) -> str:
        """Name it for a file: "2of5-10.4k"."""
        return f"{self.number}of{self.of}-{short_ohms(self.path_ohm)}"


def paths_of(control: Control) -> list[float]:
    """Give what the positions of a knob or a switch with several come to, clockwise, ohms."""
    if control.knob is not None:
        return [float(control.knob.path_ohm(turn)) for turn in TURNS]
    return [one.fixed_ohm for one in control.positions]


def heard_at(control: Control, pair: str, key: str | None, records: Sequence[Record]) -> list[Position]:
    """Give the take nearest to each position of a control; none where there is no take.

    Parameters
    ----------
    control : Control
    pair : str
    key : str or None
        The key whose sound counts.
    records : sequence of Record
        Of the whole sweep.
    """
    made = [
        one for one in records
        if one.take and one.counts and one.path_ohm and key in (None, one.key)
        and one.target.in_order().name == pair
    ]
    paths = paths_of(control)
    if not made:
        return []
    return [
        Position(number, len(paths), ohm, min(made, key=lambda one: _beside(one, ohm)))
        for number, ohm in enumerate(paths, 1)
    ]


def _beside(one: Record, ohm: float) -> tuple[float, int]:
    assert one.path_ohm is not None
    return round(max(one.path_ohm / ohm, ohm / one.path_ohm), 6), -one.number
