"""The sampler's chips: a counter, a memory, a latch on a ladder of resistors.

One sample: the counter's bits stand on the address lines, and the memory finds the code at
the address that it reads there; the code's bits stand on the data lines, and what the latch
reads there goes onto the ladder. The level at the amplifier's input is the solved circuit's.
"""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
import scipy

from rig.bench.simulated.circuit import HIGH, LOW
from rig.bench.simulated.habits import IN_TURN
from rig.bench.simulated.machine import FOREVER, Machine
from rig.bench.simulated.parts import Board
from rig.bench.simulated.sampler.board import COLUMNS, CYCLES_PER_SAMPLE, ROWS, Inside
from rig.bench.simulated.sampler.sounds import ADDRESS_BITS, SIZE
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.wiring import Wiring

_Level = TypeVar("_Level", float, np.ndarray)
_LOUDNESS = 0.5
_MOST_LEVELS = 20_000
_EMPTY = (np.zeros(0), np.zeros(0))


class SamplerChips(Machine):
    """See `rig.bench.simulated.chips.Chips`."""

    def __init__(self, board: Board, wiring: Wiring, seed: int):
        roles = board.roles
        self._inside: Inside = board.inside
        sounds = self._inside.sounds
        self._bits = sounds.bits
        self._codes = sounds.codes.tolist()
        self._middle = 1 << (self._bits - 1)
        self._a = [roles[f"a{i}"] for i in range(ADDRESS_BITS)]
        self._d = [roles[f"d{i}"] for i in range(self._bits)]
        self._b = [roles[f"b{i}"] for i in range(self._bits)]
        self._b_ohm = np.array([board.nets[b].drive.low_ohm for b in self._b])
        self._rail = board.chip_rail
        self._filt, self._led = roles["filt"], roles["led"]
        self._loop, self._half, self._rev = roles["loop"], roles["half"], roles["rev"]
        self._code_bits = (np.arange(1 << self._bits)[:, None] >> np.arange(self._bits)) & 1
        self._levels: dict[tuple, tuple] = {}
        self._tables: dict[tuple | None, tuple] = {}
        lines = [f"a{i}" for i in range(ADDRESS_BITS)] + [f"d{i}" for i in range(self._bits)]
        ladder = [f"{x}{i}" for x in "bl" for i in range(self._bits)]
        sounding = ("osc", *lines, *ladder, "filt", "amp", "led")
        super().__init__(board, wiring, seed, rows=ROWS, columns=COLUMNS, sounding=sounding)
        # measured once, with nothing closed yet
        level, weights, _ = self._ladder()
        self._rest_span = float(weights.sum())
        self._rest_level = level + float(weights[-1])

    @property
    def speaking(self) -> bool:
        """Whether a sound plays."""
        return self._state[3]

    def _start(self) -> None:
        # counter, code on the data lines, code in the latch, playing, the filter's memory
        self._state = 0, 0, self._middle, False, 0.0
        self._begun_at = 0
        self._looping = False
        self._settle()

    def rewired(self) -> None:
        """Take notice of changed closures or keys."""
        super().rewired()
        joined = self._wiring.joined
        self._live_a = [(i, net) for i, net in enumerate(self._a) if net in joined]
        self._live_d = [(i, net) for i, net in enumerate(self._d) if net in joined]
        self._mask_a = sum(1 << i for i, _ in self._live_a)
        self._mask_d = sum(1 << i for i, _ in self._live_d)
        self._mask_c = (1 << self._bits) - 1 if not joined.isdisjoint(self._b) else 0
        self._by_sample = bool(self._mask_a or self._mask_d or self._osc in joined)

    def settle(self) -> None:
        """Put on every line the level that it rests at now."""
        address, data, code, *_ = self._state
        for nets, value in ((self._a, address), (self._d, data), (self._b, code)):
            for i, net in enumerate(nets):
                self._wiring.state[net] = HIGH if value >> i & 1 else LOW

    def _settle(self) -> None:
        address, data, _, playing, _ = self._state
        self._put(address, data)
        state = self._wiring.state
        # the ladder's part of every level is added by superposition
        for net in self._b:
            state[net] = LOW
        state[self._led] = HIGH if playing else LOW

    def _put(self, address: int, data: int) -> None:
        state = self._wiring.state
        for i, net in self._live_a:
            state[net] = address >> i & 1
        for i, net in self._live_d:
            state[net] = data >> i & 1

    def _level(self, net: int) -> float:
        return self._level_with(net, self._state[2])

    def _level_with(self, net: int, code: int) -> float:
        """Give a touched net's level with a code on the ladder.

        The latch's outputs are as strong high as low, so levels superpose: each bit adds
        its volts through the impedance from its output to the net. Where diodes or a limiter
        are joined each code is solved by itself.
        """
        wiring = self._wiring
        if self._mask_c and not wiring.superposes(net):
            state = wiring.state
            for i, b in enumerate(self._b):
                state[b] = code >> i & 1
            level = wiring.level(net)
            for b in self._b:
                state[b] = LOW
            return level
        level = wiring.level(net)
        if self._mask_c:
            for i, b in enumerate(self._b):
                if code >> i & 1:
                    level += wiring.impedance_ohm(net, b) / self._b_ohm[i] * self._rail
        return level

    def _ladder(self) -> tuple[float, np.ndarray, float]:
        """Give the amplifier's level with all bits low, each bit's share, and the filter's R."""
        wiring, amp = self._wiring, self._amp
        weights = np.array([wiring.impedance_ohm(amp, b) for b in self._b]) / self._b_ohm * self._rail
        return wiring.level(amp), weights, wiring.impedance_ohm(self._filt, self._filt)

    def _signal(self, level: _Level) -> _Level:
        """Give a level at the amplifier as a signal, 0 at rest."""
        return (level - self._rest_level) * (2 * _LOUDNESS / self._rest_span)

    def _pressed(self, place: int) -> None:
        starts = self._inside.sounds.starts
        if place < len(starts):
            self._looping = False
            self._begun_at = starts[place]
            _, data, code, _, memory = self._state
            self._state = self._begun_at, data, code, True, memory

    def _variant(self, place: int) -> int:
        count = len(self._inside.sounds.starts)
        if place >= count:
            return place
        return (place + (self._manners.variant(place, min(IN_TURN, count)) or 0)) % count

    def _speak(self) -> None:
        self._pressed(len(self._inside.sounds.starts) - 1)

    def _hush(self) -> None:
        address, data, *_ = self._state
        self._state = address, data, self._middle, False, 0.0

    def _forget(self) -> None:
        super()._forget()
        self._levels = {}

    def _control(self) -> tuple:
        over = not self._high(self._loop)
        if self.speaking and over and self._board.habits.loop_latches:
            self._looping = True
        slow = 1 if self._high(self._half) else 2
        step = 1 if self._high(self._rev) else -1
        return self._begun_at, over or self._looping, slow, step

    def _sound(self, needed: float, settings: tuple) -> tuple[np.ndarray, np.ndarray] | None:
        if not self.speaking:
            self._state = (*self._state[:2], self._middle, False, 0.0)
            return None
        if needed <= 0:
            return _EMPTY
        if self._by_sample:
            return self._one_by_one(needed, settings)
        begun_at, over, slow, step = settings
        hz = self._nominal_hz / CYCLES_PER_SAMPLE / slow
        length = RATE_HZ / hz
        count = math.ceil(needed / length)
        address = self._state[0]
        at = (address + step * np.arange(count)) % SIZE
        codes = self._inside.sounds.codes[at]
        ends = np.flatnonzero(codes == 0)
        playing = True
        if len(ends):
            codes = codes[: ends[0] + 1]
            codes[-1] = self._middle
            at, playing = at[: len(codes)], over
        after = begun_at if len(ends) else int(at[-1] + step) % SIZE
        code = int(codes[-1])
        self._state = after, code, code, playing, self._state[4]
        return self._table()[codes], np.full(len(codes), length)

    def _table(self) -> np.ndarray:
        """Give the signal of every code."""
        key = self._signature, self.speaking
        found = self._tables.get(key)
        if found is None:
            if len(self._tables) > _MOST_LEVELS // 100:
                self._tables.clear()
            level, weights, filter_ohm = self._ladder()
            decay = math.exp(-1 / (RATE_HZ * filter_ohm * self._inside.filter_farad))
            if self._mask_c and not self._wiring.superposes(self._amp):
                codes = range(1 << self._bits)
                levels = np.array([self._level_with(self._amp, code) for code in codes])
            else:
                levels = level + self._code_bits @ weights
            found = self._tables[key] = self._signal(levels), decay
        return found[0]

    def _one_by_one(self, needed: float, settings: tuple) -> tuple[np.ndarray, np.ndarray]:
        """Play where the lines hear each other: each sample follows from the one before."""
        begun_at, over, slow, step = settings
        address, data, code, playing, memory = self._state
        sounds = self._codes
        mask_a, mask_d, mask_c = self._mask_a, self._mask_d, self._mask_c
        unit = CYCLES_PER_SAMPLE * slow * RATE_HZ
        joined, solved = self._wiring.joined, self._solved
        steady = self._osc not in joined
        length = unit / self._nominal_hz
        signals: list[float] = []
        codes: list[int] = []
        lengths: list[float] = []
        filled = 0.0
        while filled < needed and playing:
            seen = address
            if mask_a:
                lines = solved(address & mask_a, data & mask_d, code & mask_c)
                seen = address & ~mask_a | lines[0]
            code_before, data = code, sounds[seen]
            code = data
            if mask_d:
                lines = solved(address & mask_a, data & mask_d, code_before & mask_c)
                code = data & ~mask_d | lines[1]
            if code == 0:
                code, playing, address = self._middle, over, begun_at
            else:
                address = (address + step) % SIZE
            codes.append(code)
            if not steady or self._amp in joined:
                _, _, signal, period = solved(address & mask_a, data & mask_d, code & mask_c)
                signals.append(signal)
                if not steady:
                    length = min(period * unit, FOREVER)
            lengths.append(length)
            filled += length
        self._state = address, data, code, playing, memory
        levels = np.array(signals) if self._amp in joined else self._table()[codes]
        return levels, np.array(lengths)

    def _solved(self, address: int, data: int, code: int) -> tuple[int, int, float, float]:
        """Give what the touched lines are read as, the signal and the clock's period.

        Parameters
        ----------
        address, data, code : int
            Of the counter, the data lines and the latch: their touched bits.
        """
        key = self._signature, address, data, code
        found = self._levels.get(key)
        if found is None:
            if len(self._levels) > _MOST_LEVELS:
                self._levels.clear()
            self._put(address, data)
            thresholds = self._thresholds
            seen_a = sum(
                (self._level_with(n, code) > thresholds[n]) << i for i, n in self._live_a
            )
            seen_d = sum(
                (self._level_with(n, code) > thresholds[n]) << i for i, n in self._live_d
            )
            signal = self._signal(self._level_with(self._amp, code))
            state = self._state
            self._state = (*state[:2], code, *state[3:])
            hz = self._hz()
            self._state = state
            found = seen_a, seen_d, signal, 1 / hz if hz > 0 else math.inf
            self._levels[key] = found
        return found

    def _held(self, made: tuple[np.ndarray, np.ndarray] | None) -> np.ndarray:
        """Turn steps into samples and pass them through the filter's resistor and capacitor."""
        sound = super()._held(made)
        self._table()
        decay = self._tables[self._signature, self.speaking][1]
        sound, memory = scipy.signal.lfilter([1 - decay], [1, -decay], sound, zi=[self._state[4]])
        self._state = (*self._state[:4], float(memory[0]))
        return sound.astype(np.float32)
