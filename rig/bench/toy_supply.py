"""The toy's supply: switched through the controller, and its rail held against toy.yaml."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator

from rig.bench.base import RAIL_DOWN_V
from rig.bench.controller import SUPPLY_FAULTS, Controller
from rig.errors import BenchError
from rig.project import Project
from rig.project.electrical import rail_range_v

FALL_S = 6.0
"""So long a rail may take to fall: the bleed brings 1,000 uF down from 12.8 V in 0.9 s."""

POLL_S = 0.1
SETTLED_S = 0.05
"""Beyond the blanking, in which the controller lets the toy draw what it likes."""

QUESTIONABLE = {1: "rail voltage", 2: "supply current", 512: "guard latched"}
"""Bits of the controller's questionable condition."""

LOOK_AT = {
    "cells": "the cells (flat, missing, the wrong way round), their clips",
    "bench": "the bench supply (its setting, its limit, the wrong way round), its clips",
}
PULL = {"cells": "pull the cells", "bench": "unplug its bench supply"}


class ToySupply:
    """The supply of one toy.

    Parameters
    ----------
    controller : Controller
        With the supply off.
    project : Project
    wait : callable
        Lets so many seconds pass and keeps the controller's dead-man fed.
    clock : callable
        Gives seconds; never goes back.
    """

    def __init__(
        self,
        controller: Controller,
        project: Project,
        wait: Callable[[float], None],
        clock: Callable[[], float],
    ) -> None:
        self._controller = controller
        self._toy = project.toy
        self._blanking_s = project.rig.guard.inrush_ms / 1000
        self._wait = wait
        self._clock = clock
        self._off_s: float | None = None

    def on(self) -> None:
        """Wait for the rail to be down, switch on, and see that the rail is what it should be.

        Raises
        ------
        BenchError
            It doesn't fall, or isn't what toy.yaml says once it is on: it is off again then.
        GuardTripped
            The toy draws too much.
        """
        if self._controller.query("OUTPut?") != "1":
            *_, volts = self._falling_v(self._clock())
            if volts >= RAIL_DOWN_V:
                raise BenchError(
                    f"the toy's rail is at {volts:.2f} V though its supply is off: look for what "
                    "else feeds it, or for a switch that is shorted, then start again"
                )
            self._off_s = None
            self._controller.command("OUTPut ON")
        self._wait(self._blanking_s + SETTLED_S)
        self._compare()

    def off(self) -> None:
        """Switch off, whatever is under way, and make sure that the controller did it.

        Raises
        ------
        BenchError
            It didn't, or its error queue wasn't empty; the link may be lost too.
        """
        self._controller.urgent("OUTPut OFF")
        if self._off_s is None:
            self._off_s = self._clock()
        if self._controller.query("OUTPut?") != "0":
            raise BenchError(
                f"controller on {self._controller.port} doesn't switch the toy off: {self._pull}"
            )
        self._controller.check_errors("after 'OUTPut OFF'")

    def rail_v(self) -> float:
        """Measure the toy's supply rail, volts."""
        return self._controller.decimal("MEASure:VOLTage?")

    def still_supplied(self) -> str | None:
        """Watch the rail until it is down; give what a person must know where it isn't.

        It never raises: the wait is over at Ctrl-C too, with what was measured by then.
        """
        volts: float | None = None
        with contextlib.suppress(Exception, KeyboardInterrupt):
            since_s = self._clock() if self._off_s is None else self._off_s
            for measured in self._falling_v(since_s):
                volts = measured
        if volts is None:
            return f"the toy may STILL BE SUPPLIED, its rail can't be measured: {self._pull} now"
        if volts >= RAIL_DOWN_V:
            return f"the toy is STILL SUPPLIED ({volts:.2f} V on its rail): {self._pull} now"
        return None

    @property
    def _pull(self) -> str:
        return PULL[self._toy.supply.source]

    def _falling_v(self, since_s: float) -> Iterator[float]:
        """Measure the rail until it is down, or has had time enough since then."""
        while True:
            volts = self.rail_v()
            yield volts
            if volts < RAIL_DOWN_V or self._clock() - since_s >= FALL_S:
                return
            self._wait(POLL_S)

    def _compare(self) -> None:
        """Hold the rail, and what the controller thinks of it, against toy.yaml."""
        volts = self.rail_v()
        errors = self._controller.errors()
        (condition,) = self._controller.numbers("STATus:QUEStionable:CONDition?", 1)
        odd = [words for bit, words in QUESTIONABLE.items() if condition & bit]
        low_v, high_v = rail_range_v(self._toy)
        if low_v <= volts <= high_v and not errors and not odd:
            return
        with contextlib.suppress(BenchError):
            self.off()
        if errors and not any(number in SUPPLY_FAULTS for number, _ in errors):
            self._controller.complain(errors, "after switching the toy on")
        supply = self._toy.supply
        said = [f'{number} "{words}"' for number, words in errors]
        if odd:
            said.append(f"questionable: {', '.join(odd)}")
        raise BenchError(
            f"the toy's rail is at {volts:.2f} V, where {low_v:.2f} to {high_v:.2f} V are to be "
            f"expected (toy.yaml: {supply.volts:g} V from {supply.source}): look at "
            f"{LOOK_AT[supply.source]}, and supply in toy.yaml"
            + (f"; the controller reports {'; '.join(said)}" if said else "")
        )
