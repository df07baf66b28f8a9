"""Values that channels of the series bank make side by side: more of them than channels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import combinations

MOST_TOGETHER = 3
"""Channels whose coils the controller's current budget has room for."""
ALIKE = 0.01
"""What is asked for may differ by so much from what channels make: less than any resistor's own
tolerance."""


def channels(bank: Sequence[float], series_ohm: float) -> tuple[int, ...] | None:
    """Give the channels that make a value, the fewest that do, or None where none do.

    Parameters
    ----------
    bank : sequence of float
        Values of channels 1, 2, 3 ..., ohms.
    series_ohm : float
        What is wanted, ohms.

    Returns
    -------
    tuple of int or None
        Channels from 1, in their order.
    """
    for number, made_ohm in _made(tuple(bank)):
        if abs(made_ohm - series_ohm) <= ALIKE * series_ohm:
            return number
    return None


def made_ohm(bank: Sequence[float]) -> list[float]:
    """Give all that channels make, alone and side by side, those of the fewest channels first, ohms."""
    return [ohm for _, ohm in _made(tuple(bank))]


def nearest_ohm(bank: Sequence[float], series_ohm: float) -> float:
    """Give the value that channels can make and is nearest by ratio to one above 0, ohms."""
    made = (ohm for _, ohm in _made(tuple(bank)) if ohm > 0)
    return min(made, key=lambda ohm: max(ohm / series_ohm, series_ohm / ohm), default=0.0)


def counted_ohm(bank: Sequence[float], series_ohm: float) -> float:
    """Give what the controller counts with: the least of the channels, divided by how many they are.

    Never more than what they make, and what it refuses must not be begun.
    """
    together = channels(bank, series_ohm) or ()
    if len(together) < 2:
        return series_ohm
    return min(bank[number - 1] for number in together) / len(together)


def joined_ohm(bank: Sequence[float]) -> list[float]:
    """Give all values that two channels or more make side by side, ohms, ascending."""
    return sorted({ohm for number, ohm in _made(tuple(bank)) if len(number) > 1})


@lru_cache(maxsize=64)
def _made(bank: tuple[float, ...]) -> list[tuple[tuple[int, ...], float]]:
    return list(_all(bank))


def _all(bank: tuple[float, ...]) -> Iterator[tuple[tuple[int, ...], float]]:
    """Give all sets of channels with what they make, the smallest sets first."""
    for number, ohm in enumerate(bank, 1):
        yield (number,), ohm
    not_bare = [(number, ohm) for number, ohm in enumerate(bank, 1) if ohm > 0]
    for count in range(2, MOST_TOGETHER + 1):
        for together in combinations(not_bare, count):
            siemens = sum(1 / ohm for _, ohm in together)
            yield tuple(number for number, _ in together), 1 / siemens
