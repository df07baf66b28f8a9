"""The lines between the sequencer and its speech memory: address, data, strobe, busy.

One byte over the bus:

    1  the sequencer puts out the address and raises the strobe
    2  the memory, if it has seen the strobe low since the last byte, takes the address
       as it reads it and raises busy
    3  the sequencer waits to see busy; the memory finds the byte, puts it on the data
       lines, and drops busy
    4  the sequencer waits to see busy low, takes the data lines as it reads them, and
       drops the strobe

Nobody waits with a time limit, as is usual in such toys: a lost edge is a deadlock.
"""

from __future__ import annotations

from rig.bench.simulated.parts import Board
from rig.bench.simulated.talker.memory import ADDRESS_BITS, SIZE
from rig.bench.simulated.wiring import Wiring

IDLE, ASKED, MISSED, BUSY = "idle", "asked", "missed", "busy"


class Bus:
    """The handshake's state; `fetch` is called again until it gives a byte.

    Parameters
    ----------
    board : Board
    wiring : Wiring
    """

    def __init__(self, board: Board, wiring: Wiring):
        self._data = board.inside.data
        roles = board.roles
        self._a = [roles[f"a{i}"] for i in range(ADDRESS_BITS)]
        self._d = [roles[f"d{i}"] for i in range(8)]
        self._stb, self._busy = roles["stb"], roles["busy"]
        self.lines = frozenset((*self._a, *self._d, self._stb, self._busy))
        self.rewire(wiring)
        self.reset()

    def fork(self, wiring: Wiring) -> Bus:
        """Copy the bus onto a copy of the wiring."""
        other = Bus.__new__(Bus)
        other.__dict__.update(self.__dict__)
        other.rewire(wiring)
        return other

    def rewire(self, wiring: Wiring) -> None:
        """Take notice of changed closures."""
        self._wiring = wiring
        touched = wiring.touched
        self._live_a = [(i, net) for i, net in enumerate(self._a) if net in touched]
        self._live_d = [(i, net) for i, net in enumerate(self._d) if net in touched]
        self._live = bool(touched & self.lines)

    def reset(self) -> None:
        """Power-on: nothing asked, the memory ready."""
        state = self._wiring.state
        for net in self.lines:
            state[net] = 0
        self._phase = IDLE
        self._armed = True
        self._held = 0
        self._last = (0, 0)

    def settle(self) -> None:
        """Put the levels of the last byte on the lines: what they are at between bytes."""
        state = self._wiring.state
        address, data = self._last
        for i, net in enumerate(self._a):
            state[net] = address >> i & 1
        for i, net in enumerate(self._d):
            state[net] = data >> i & 1

    def fetch(self, address: int) -> int | None:
        """Ask for a byte, or go on asking; None while the sequencer has to wait."""
        address &= SIZE - 1
        if not self._live and self._phase == IDLE and self._armed:
            data = self._data[address]
            self._last = (address, data)
            return data
        wiring, state = self._wiring, self._wiring.state
        if self._phase == IDLE:
            self._arm()
            self._last = (address, self._last[1])
            for i, net in self._live_a:
                state[net] = address >> i & 1
            state[self._stb] = 1
            self._phase = ASKED
        if self._phase == ASKED:
            if not (self._armed and wiring.high(self._stb)):
                return None
            self._armed = False
            seen = self._last[0]
            for i, net in self._live_a:
                seen = seen & ~(1 << i) | wiring.high(net) << i
            self._held = self._data[seen]
            state[self._busy] = 1
            # the memory needs microseconds; a sequencer that doesn't see busy now never does
            self._phase = BUSY if wiring.high(self._busy) else MISSED
            state[self._busy] = 0
            self._last = (self._last[0], self._held)
            for i, net in self._live_d:
                state[net] = self._held >> i & 1
        if self._phase == MISSED:
            if not wiring.high(self._busy):
                return None
            self._phase = BUSY
        if wiring.high(self._busy):
            return None
        data = self._held
        for i, net in self._live_d:
            data = data & ~(1 << i) | wiring.high(net) << i
        state[self._stb] = 0
        self._phase = IDLE
        self._arm()
        return data

    def _arm(self) -> None:
        if not self._wiring.high(self._stb):
            self._armed = True
