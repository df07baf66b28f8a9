"""A simulated toy: the chips of a board, run in virtual time, with their sound."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from rig.bench.simulated.board import KINDS, Board
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.sound import RATE_HZ, Amplifier
from rig.bench.simulated.supply import Supply
from rig.bench.simulated.wiring import Wiring

_STEP_UNSTEADY = RATE_HZ // 200
_IDLE_MA, _TALK_MA = 1.8, 26.0


class SimulatedToy:
    """A toy whose behaviour follows from what its inputs read.

    Parameters
    ----------
    board : Board
    seed : int
        Of the toy's own chance: which phrases it picks.
    """

    def __init__(self, board: Board, seed: int):
        self.board = board
        self._wiring = Wiring(board)
        self._chips = KINDS[board.kind].chips(board, self._wiring, seed)
        self._amplifier = Amplifier(board)
        self._supply = Supply(board.volts)
        self._powered = False
        self._forgot = True

    def fork(self) -> SimulatedToy:
        """Copy the toy with all its state: the copy goes on as this one would."""
        other = SimulatedToy.__new__(SimulatedToy)
        other.__dict__.update(self.__dict__)
        other._wiring = self._wiring.fork()
        other._chips = self._chips.fork(other._wiring)
        other._amplifier = self._amplifier.fork()
        other._supply = Supply(self._supply.volts, self._supply.on, self._supply.rail_v)
        return other

    def connect(self, links: Sequence[Link]) -> None:
        """Replace all closures by these; an empty list opens everything."""
        self._wiring.connect(links)
        self._rewired()

    def keys(self, down: Collection[str]) -> None:
        """Replace the set of keys held down.

        Raises
        ------
        ValueError
            The toy has no such key.
        """
        for key in sorted(down):
            if key not in self.board.keys:
                raise ValueError(f"{self.board.name} has no key {key!r}")
        self._wiring.press(down)
        self._rewired()

    def supply(self, on: bool) -> None:
        """Switch the supply; off bleeds the rail."""
        self._supply.on = on

    def rail_v(self) -> float:
        """Give the rail's voltage, volts."""
        return self._supply.rail_v

    def supply_ma(self) -> float:
        """Give the supply's current, milliamperes."""
        if not self._supply.on:
            return 0.0
        return _TALK_MA if self._powered and self._chips.speaking else _IDLE_MA

    def pad_v(self, pad: str) -> float:
        """Give a pad's voltage against ground as it stands now, volts."""
        self._chips.settle()
        return self._wiring.reads()[self.board.net_of[pad]] * self._supply.rail_v

    def run(self, samples: int) -> np.ndarray:
        """Let time pass and give the toy's sound, without noise.

        Parameters
        ----------
        samples : int
            At 48 kHz.

        Returns
        -------
        ndarray of float32, shape (samples,), within -1..1
        """
        heard = np.zeros(samples, np.float32)
        muted = True
        at = 0
        while at < samples:
            end = samples
            if not self._supply.steady:
                end = min(samples, at + _STEP_UNSTEADY)
                self._supply.advance((end - at) / RATE_HZ)
                self._power()
            if self._powered:
                signal = self._chips.run(end - at)
                if signal is not None:
                    heard[at:end] = signal
                    muted = False
            at = end
        return self._amplifier.sound(heard, muted)

    def _power(self) -> None:
        if self._supply.forgets:
            self._forgot = True
        runs = self._supply.runs
        if runs and not self._powered:
            if self._forgot:
                self._chips.power_on()
                self._forgot = False
            self._rewired()
        self._powered = runs

    def _rewired(self) -> None:
        self._chips.rewired()
        self._amplifier.rewire(self._wiring)


def switch_on(toy: SimulatedToy) -> None:
    """Switch a toy's supply on, let it start, press what turns it on."""
    toy.supply(True)
    toy.run(round((toy.board.boot_ms / 1000 + 0.3) * RATE_HZ))
    for key in toy.board.on:
        toy.keys({key})
        toy.run(RATE_HZ // 8)
        toy.keys(set())
        toy.run(RATE_HZ // 8)
