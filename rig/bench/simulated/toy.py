"""A simulated toy: the chips of a board, run in virtual time, with their sound."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from rig.bench.simulated.circuit import Link
from rig.bench.simulated.kinds import KINDS
from rig.bench.simulated.parts import Board
from rig.bench.simulated.sound import RATE_HZ, Amplifier
from rig.bench.simulated.supply import IDLE_MA, Guard, Supply, speaker_ohm
from rig.bench.simulated.wiring import Wiring

_CELL, _CELL_BUSY, _CELL_UNSTEADY = RATE_HZ // 10, RATE_HZ // 50, RATE_HZ // 200
"""The supply is looked after once in so many samples, on a grid of the toy's own."""

_BUSY_MA = 60.0
_PEAK_SAMPLES = RATE_HZ // 200


class SimulatedToy:
    """A toy whose behaviour follows from what its inputs read.

    Parameters
    ----------
    board : Board
    seed : int
        Of the toy's own chance: which phrases it picks.
    guard : Guard or None
        The rig's: when it trips it opens every pad and key and cuts the supply.

    Attributes
    ----------
    brown_outs : int
        How often the rail fell too low for the chips though the supply was on.
    ran, tripped_at : int
        Samples that have passed, and passed when the guard tripped last.
    """

    def __init__(self, board: Board, seed: int, guard: Guard | None = None):
        self.board = board
        self.guard = guard
        self.brown_outs = self.ran = self.tripped_at = 0
        self._wiring = Wiring(board)
        self._chips = KINDS[board.kind].chips(board, self._wiring, seed)
        self._amplifier = Amplifier(board)
        self._supply = Supply(board.volts, board.power)
        self._direct_ma = 1000 * board.volts / 2 / speaker_ohm(board.volts)
        self._cell = self._left = _CELL
        self._bounces: tuple[tuple[int, frozenset[str]], ...] = ()
        self._chance = seed & 0xFFFFFFFF
        self._driven = np.zeros(_CELL)
        self._swings = False
        self._powered = False
        self._forgot = True

    def fork(self) -> SimulatedToy:
        """Copy the toy with all its state: the copy goes on as this one would."""
        other = SimulatedToy.__new__(SimulatedToy)
        other.__dict__.update(self.__dict__)
        other._wiring = self._wiring.fork()
        other._chips = self._chips.fork(other._wiring)
        other._amplifier = self._amplifier.fork()
        other._supply = replace(self._supply)
        other.guard = replace(self.guard) if self.guard else None
        other._driven = self._driven.copy()
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
        before = self._wiring.keys
        self._wiring.press(down)
        self._rewired()
        self._bounces = self._bouncing(before, frozenset(down))

    def _bouncing(
        self, before: frozenset[str], after: frozenset[str]
    ) -> tuple[tuple[int, frozenset[str]], ...]:
        """Give when the contacts come and go until they rest, in samples that have passed."""
        span = self.board.habits.bounce_ms * RATE_HZ / 1000
        if before == after or span == 0:
            return ()
        self._chance, moments = self._chance * 1664525 + 1013904223 & 0xFFFFFFFF, []
        for bits in range(0, 32, 8):
            moments.append(self.ran + 1 + round((self._chance >> bits & 255) / 256 * span))
        return tuple(zip(sorted(moments), (before, after) * 2, strict=True))

    def supply(self, on: bool) -> None:
        """Switch the supply; off bleeds the rail."""
        if on and not self._supply.on and self.guard:
            self.guard.switched_on()
        self._supply.on = on
        self._begin_cell()

    @property
    def tripped(self) -> bool:
        """Whether a guard has opened everything and cut the supply."""
        return self.guard is not None and self.guard.tripped

    def rail_v(self) -> float:
        """Give the rail's voltage, volts."""
        return self._supply.rail_v

    def supply_ma(self) -> float:
        """Give the supply's current of the latest moment, milliamperes."""
        return self._supply.load_ma if self._supply.on else 0.0

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
        parts = []
        while samples:
            count = min(samples, self._left)
            if self._bounces:
                count = min(count, self._bounces[0][0] - self.ran)
            parts.append(self._piece(count))
            samples -= count
            self.ran += count
            self._left -= count
            while self._bounces and self._bounces[0][0] <= self.ran:
                self._wiring.press(self._bounces[0][1])
                self._rewired()
                self._bounces = self._bounces[1:]
            if not self._left:
                self._end_cell()
        return np.concatenate(parts) if parts else np.zeros(0, np.float32)

    def _piece(self, samples: int) -> np.ndarray:
        signal = self._chips.run(samples) if self._powered else None
        if signal is None:
            sound = self._amplifier.sound(np.zeros(samples, np.float32), muted=True)
        else:
            sound = self._amplifier.sound(signal, muted=False)
        if len(self._amplifier.driven):
            at = self._cell - self._left
            self._driven[at : at + samples] = self._amplifier.driven
            self._swings = True
        return sound

    def _begin_cell(self) -> None:
        if not self._supply.steady:
            self._cell = _CELL_UNSTEADY
        else:
            self._cell = _CELL_BUSY if self._supply.load_ma > _BUSY_MA else _CELL
        self._left = self._cell
        if self._swings:
            self._driven[:] = 0.0
            self._swings = False

    def _end_cell(self) -> None:
        """Work out what was drawn, and what it did to the rail, the chips and the guard."""
        self._amplifier.calm()
        seconds = self._cell / RATE_HZ
        mean_ma, peak_ma = self._drawn_ma()
        self._supply.load_ma = mean_ma
        self._supply.advance(seconds)
        self._power()
        if self._supply.on and self.guard and self.guard.take(mean_ma, peak_ma, seconds):
            self._wiring.connect(())
            self._wiring.press(())
            self._bounces = ()
            self._rewired()
            self._supply.on = False
            self.tripped_at = self.ran
        self._begin_cell()

    def _drawn_ma(self) -> tuple[float, float]:
        if not self._powered:
            return 0.0, 0.0
        mean_ma = IDLE_MA
        if self._wiring.links:
            mean_ma += 1000 * self._wiring.draw_siemens() * self._supply.rail_v
        peak_ma = mean_ma
        if self._swings:
            driven = self._driven[: self._cell]
            if not self.board.power.direct:
                # the capacitor before the speaker lets only changes through
                driven = driven - np.mean(driven)
            size = np.add.reduceat(np.abs(driven), np.arange(0, len(driven), _PEAK_SAMPLES))
            mean_ma += self._direct_ma * float(np.sum(size)) / self._cell
            # the rail's capacitor evens out what is shorter
            peak_ma += self._direct_ma * float(np.max(size)) / _PEAK_SAMPLES
        return mean_ma, peak_ma

    def _power(self) -> None:
        if self._supply.forgets:
            self._forgot = True
        runs = self._supply.runs(self._powered)
        if runs and not self._powered:
            if self._forgot:
                self._chips.power_on()
                self._forgot = False
            self._rewired()
        elif self._powered and not runs and self._supply.on:
            self.brown_outs += 1
            self._forgot = self._forgot or self.board.power.resets
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
