"""Measuring through the controller: ohms between pads with the supply off, volts of a pad."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from rig.bench.base import RAIL_DOWN_V
from rig.bench.controller import Controller
from rig.errors import BenchError

SETTLE_S = 0.02
"""Contacts bounce for a ms; a lead's 100 pF behind 470 kohm takes a quarter of one, a line's own
capacitor more. The controller waits 2 ms itself before it converts."""

STEADY_S = 0.05
"""So long a reading is made again until it stays: a capacitor that fills reads as more each time."""

OPEN_OHM = 9e37
"""The controller says 9.9E37 where nothing is joined."""

STAYS, STAYS_V = 0.01, 0.03
"""Two resistances that differ by a smaller share are one, and two voltages by two steps, volts."""


class Sensing:
    """What the controller's senses are read with.

    Parameters
    ----------
    controller : Controller
    wait : callable
        Lets so many seconds pass and keeps the controller's dead-man fed.
    """

    def __init__(self, controller: Controller, wait: Callable[[float], None]) -> None:
        self._controller = controller
        self._wait = wait

    def ohm(self, channels: str, series: str = "0") -> float:
        """Read what is between the buses until it stays, ohms; infinite where it's open.

        Parameters
        ----------
        channels : str
            The pads that are closed, as a channel list; "" for none.
        series : str
            Channels of the bank.

        Raises
        ------
        BenchError
            The toy is supplied, or its rail isn't down.
        """
        if self._controller.query("OUTPut?") != "0" or self._rail_v() >= RAIL_DOWN_V:
            raise BenchError(
                "resistances are measured with the toy off: its supply is on, or its rail isn't down"
            )
        with self._closed(channels, series):
            readings = [self._read_ohm()]
            for _ in range(round(STEADY_S / SETTLE_S)):
                self._wait(SETTLE_S)
                readings.append(self._read_ohm())
                if _same(*readings[-2:]):
                    break
        return readings[-1]

    def volts(self, channels: str, series: str = "0", times: int = 1) -> list[float]:
        """Read bus 1 so many times in a row once it stays, volts; what never stays is read all the same."""
        with self._closed(channels, series):
            before_v = self._read_v()
            for _ in range(round(STEADY_S / SETTLE_S)):
                self._wait(SETTLE_S)
                now_v = self._read_v()
                if abs(now_v - before_v) <= STAYS_V:
                    break
                before_v = now_v
            return [self._read_v() for _ in range(times)]

    def _read_v(self) -> float:
        return self._controller.decimal("MEASure:VOLTage:BUS1?")

    def _rail_v(self) -> float:
        return self._controller.decimal("MEASure:VOLTage?")

    def _read_ohm(self) -> float:
        ohm = self._controller.decimal("MEASure:RESistance?")
        return math.inf if ohm >= OPEN_OHM else ohm

    @contextmanager
    def _closed(self, channels: str, series: str) -> Iterator[None]:
        """Close pads and the bank's channels, and open them whatever happens."""
        self._controller.command(f"ROUTe:SERies {series}")
        try:
            if channels:
                self._controller.command(f"ROUTe:CLOSe (@{channels})")
            self._wait(SETTLE_S)
            yield
        finally:
            self._controller.send("ROUTe:OPEN:ALL")
        self._controller.check_errors("after measuring")


def _same(one: float, other: float) -> bool:
    return one == other or abs(one - other) <= STAYS * max(one, 1.0)


def series_text(channels: Sequence[int]) -> str:
    """Give channels of the bank as the controller takes them."""
    return ",".join(map(str, channels))
