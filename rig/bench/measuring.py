"""What a bench may be able to do beside touches: to measure what its leads are on.

Ohms are measured with the toy's supply off and its rail down, by a source of 0.18 V at most, with
which no junction of the toy conducts; volts as the toy is, supplied or not. Each call closes what it
needs, waits until it has settled, reads, and opens it again. What is read holds the leads' resistors.
A bench that can measure is a `Measures` beside its being a `Bench`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

SENSE_OHM = 3e6
"""A bus hangs on so much to ground while its voltage is read (firmware/README.md, Senses)."""

SENSE_STEP_V = 15 / 1024
"""One step of the converter, volts at a bus, by a reference of 5 V."""

SOURCE_V, SOURCE_OHM = 0.18, 10_000.0
"""The continuity source as the controller counts with it: its voltage and inner resistance."""

SOURCE_STEP_V = 5 / 1024 / 20
"""One step of the converter, volts at the continuity source's node."""


@dataclass(frozen=True)
class Load:
    """What gently pulls at a pad while its voltage is read.

    Parameters
    ----------
    pad : str
        On the other bus; a rail.
    series_ohm : float
        Value of the bank, or made of it, between the buses.
    """

    pad: str
    series_ohm: float


@runtime_checkable
class Measures(Protocol):
    """What a bench does that can measure. All calls may raise `BenchError` and its kinds."""

    def ohm_between(self, one: str, other: str) -> float:
        """Measure what is between two pads, both leads included, ohms; infinite where it's open.

        Raises
        ------
        BenchError
            The toy's supply is on, or its rail isn't down.
        """

    def bank_ohm(self, series_ohm: float) -> float:
        """Measure a value of the bank with no pad closed, ohms; infinite where it reads as open."""

    def pad_v(self, pad: str, load: Load | None = None, times: int = 1) -> list[float]:
        """Measure the voltage on bus 1 with a pad on it, so many times in a row, volts.

        Without a load that is the pad's own, but for what `SENSE_OHM` pulls it down; with one the
        pad's lead is between them. Below 0 V it reads 0.
        """


def steps_ohm(ohm: float) -> float:
    """Give how many ohms one step of the converter is where so many are measured.

    The slope of ohms over the divided voltage V ohm / (ohm + R), with the source's V and R.
    """
    return SOURCE_STEP_V * (ohm + SOURCE_OHM) ** 2 / (SOURCE_V * SOURCE_OHM)
