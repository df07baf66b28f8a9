"""Pads that the controller keeps closed while a person listens, and the keys pressed meanwhile.

A plain closure opens after ten seconds. Kept (`ROUTe:CLOSe:KEEP`) it has a minute from then on, by
the controller's own clock, so each keeping stands for a person who is there: nothing is kept by a
timer. Once the host is silent the dead-man opens it as anything else.
"""

from __future__ import annotations

from collections.abc import Sequence

from rig.bench.controller import GUARD_LATCHED, GUARD_TRIPS, Controller
from rig.errors import BenchError, HeldTooLong

KEEPS_SINCE = (0, 4)
"""Firmware that knows `ROUTe:CLOSe:KEEP`."""
HELD_TOO_LONG = 102
CONFLICT = -221
"""Nothing is closed any more that could be kept."""


class HeldPads:
    """What is held on one controller.

    Parameters
    ----------
    controller : Controller
    """

    def __init__(self, controller: Controller) -> None:
        self._controller = controller
        self._closed = ""

    def close(self, channels: str, series: str) -> None:
        """Close a channel list over series channels, in place of what is held, and keep it closed.

        With the same pads only the series channels change: a break of some ms, no more.

        Raises
        ------
        BenchError
            The controller refuses it, or its firmware can't keep pads closed.
        GuardTripped
            The guard holds everything open.
        """
        controller = self._controller
        if controller.firmware < KEEPS_SINCE:
            have, need = (".".join(map(str, one)) for one in (controller.firmware, KEEPS_SINCE))
            raise BenchError(
                f"controller on {controller.port} has firmware {have}, holding pads needs {need}: "
                "load the one in firmware/"
            )
        if channels != self._closed:
            self.open()
        self._command(f"ROUTe:SERies {series}")
        if channels != self._closed:
            self._command(f"ROUTe:CLOSe {channels}")
            self._closed = channels
        self.stay()

    def stay(self) -> None:
        """Have what is held stay closed for another minute.

        Raises
        ------
        HeldTooLong
            The controller has opened it by itself.
        GuardTripped
            The guard holds everything open.
        """
        if self._closed:
            self._command("ROUTe:CLOSe:KEEP")

    def open(self) -> None:
        """Open every pad and let every key up."""
        self._closed = ""
        self._command("ROUTe:OPEN:ALL")
        self._command("TOY:KEY:RELease ALL")

    def press(self, keys: Sequence[int]) -> None:
        """Hold these key channels down, and no others."""
        self._command("TOY:KEY:RELease ALL")
        if keys:
            self._command(f"TOY:KEY:PRESs {','.join(map(str, keys))}")

    def look(self) -> None:
        """See whether the controller has opened anything by itself; raises as `stay` does."""
        self._tell("while pads are held")

    def _command(self, message: str) -> None:
        self._controller.send(message)
        self._tell(f"after '{message}'")

    def _tell(self, after: str) -> None:
        errors = self._controller.errors()
        if not errors:
            return
        self._closed = ""
        numbers = {number for number, _ in errors}
        if numbers & {GUARD_LATCHED, *GUARD_TRIPS} or not numbers <= {HELD_TOO_LONG, CONFLICT}:
            self._controller.complain(errors, after)
        if HELD_TOO_LONG in numbers:
            raise HeldTooLong("nobody pressed anything for a minute: the controller opened all pads")
        self._controller.complain(errors, after)
