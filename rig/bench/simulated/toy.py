"""A simulated toy: the chips of a board, run in virtual time, with their sound."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace

import numpy as np

from rig.bench.simulated.beside import whine
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.contacts import Contacts
from rig.bench.simulated.kinds import KINDS
from rig.bench.simulated.parts import Board
from rig.bench.simulated.sound import RATE_HZ, Amplifier
from rig.bench.simulated.supply import IDLE_MA, PITCH_SHARE, Guard, Supply, speaker_ohm
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
        self._supply = Supply(
            board.volts, board.power, sags_a_s=board.habits.sag_percent_a_minute / 100 / 60
        )
        self._sagged = 0.0
        self._turned_at = round(board.habits.turned_at_s * RATE_HZ)
        self._gain = 1.0
        self._direct_ma = 1000 * board.volts / 2 / speaker_ohm(board.volts)
        self._cell = self._left = _CELL
        self._contacts = Contacts(board, seed)
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
        other._contacts = self._contacts.fork()
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
        self._contacts.press(down, self.ran)
        self._reach()

    def notice_all(self) -> None:
        """Miss no press from now on, for those who ask the toy how it really is."""
        self._contacts.notice_all()

    def _reach(self) -> None:
        """Let the chips have the contacts as they are now."""
        self._wiring.press(self._contacts.reached)
        self._rewired()

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

    @property
    def sounding(self) -> bool:
        """Whether what a press began goes on."""
        return self._powered and self._chips.busy

    def rail_v(self) -> float:
        """Give the rail's voltage, volts."""
        return self._supply.rail_v

    def supply_ma(self) -> float:
        """Give the supply's current of the latest moment, milliamperes."""
        return self._supply.load_ma if self._supply.on else 0.0

    def pad_v(self, pad: str) -> float:
        """Give a pad's voltage against ground as it stands now, volts."""
        with self._settled():
            return self._wiring.reads()[self.board.net_of[pad]] * self._supply.rail_v

    def node_v(self, resistors: Sequence[tuple[int, int, float]], node: int) -> float:
        """Give the voltage now of a node that resistors tie to the board's nets, volts."""
        with self._settled():
            driven = self._amplifier.driven
            # the amplifier's output swings around half of the rail
            moved = {self.board.roles["spk"]: float(driven[-1]) / 2} if len(driven) else {}
            return self._wiring.level_on(resistors, node, moved) * self._supply.rail_v

    @contextmanager
    def _settled(self) -> Iterator[None]:
        """Have the lines as they are at rest just now; some chips go on from another state."""
        state = self._wiring.state
        before = list(state)
        self._chips.settle()
        try:
            yield
        finally:
            state[:] = before

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
            moves_at = self._contacts.next_at()
            if moves_at is not None:
                count = min(count, moves_at - self.ran)
            if self.ran < self._turned_at:
                count = min(count, self._turned_at - self.ran)
            parts.append(self._piece(count))
            samples -= count
            self.ran += count
            self._left -= count
            if moves_at is not None and moves_at <= self.ran:
                self._contacts.move(self.ran)
                self._reach()
            if self.ran == self._turned_at:
                self._gain = 10 ** (self.board.habits.turned_db / 20)
            if not self._left:
                self._end_cell()
        return np.concatenate(parts) if parts else np.zeros(0, np.float32)

    def _piece(self, samples: int) -> np.ndarray:
        signal = self._chips.run(samples) if self._powered else None
        if signal is not None and self._gain != 1.0:
            signal = signal * np.float32(self._gain)
        if signal is None:
            sound = self._amplifier.sound(np.zeros(samples, np.float32), muted=True)
        else:
            sound = self._amplifier.sound(signal, muted=False)
        if len(self._amplifier.driven):
            at = self._cell - self._left
            self._driven[at : at + samples] = self._amplifier.driven
            self._swings = True
        if self._sagged:
            sound *= np.float32(1 - self._sagged)
        if self._powered and self.board.habits.whine_hz is not None:
            sound += whine(self.board.habits, self.ran, samples)
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
        self._sag()
        self._power()
        if self._supply.on and self.guard and self.guard.take(mean_ma, peak_ma, seconds):
            self._wiring.connect(())
            self._contacts.let_go()
            self._reach()
            self._supply.on = False
            self.tripped_at = self.ran
        self._begin_cell()

    def _sag(self) -> None:
        """Let clock and level follow the cells, in steps of 0.1 % so that little is solved anew."""
        sagged = round(self._supply.spent, 3)
        if sagged != self._sagged:
            self._sagged = sagged
            self._chips.set_pace(1 - PITCH_SHARE * sagged)

    def _drawn_ma(self) -> tuple[float, float]:
        if not self._powered:
            return 0.0, 0.0
        mean_ma = IDLE_MA
        if self._wiring.links:
            mean_ma += 1000 * self._wiring.draw_siemens() * self._supply.rail_v
        if self.board.habits.motor_ma and self._chips.speaking:
            mean_ma += self.board.habits.motor_ma
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
                if self.board.habits.falls_back:
                    self._gain = 1.0
            self._rewired()
        elif self._powered and not runs and self._supply.on:
            self.brown_outs += 1
            self._forgot = self._forgot or self.board.power.resets
        if self._powered and not runs and self._contacts.lose_supply():
            self._reach()
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
