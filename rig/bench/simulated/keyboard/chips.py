"""The keyboard's chip: notes by dividing the clock, an envelope, a tune."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rig.bench.simulated.circuit import BIAS, HIGH, LOW, OPEN
from rig.bench.simulated.habits import IN_TURN
from rig.bench.simulated.keyboard.board import (
    CHIP_HZ,
    COLUMNS,
    ROWS,
    TUNE_PLACE,
    TUNE_STEP_S,
    Inside,
)
from rig.bench.simulated.machine import FOREVER, LOOK, Machine
from rig.bench.simulated.parts import Board
from rig.bench.simulated.sound import RATE_HZ, rest_level, rest_share
from rig.bench.simulated.wiring import Wiring

_SILENT_BELOW = 0.06
"""Envelope level below which nothing passes, fraction of the chip's rail."""

_VIB_LOOKS = 4
_LOUDNESS = 0.75
_REST = (0, 0, 0, False, False)
_ALL_BITS = [(i & 1, i >> 1 & 1, i >> 2) for i in range(8)]
_COUNT = np.arange(LOOK * 4)
_MOST_CYCLES = 5_000
_EMPTY = (np.zeros(0), np.zeros(0))


class KeyboardChips(Machine):
    """See `rig.bench.simulated.chips.Chips`."""

    def __init__(self, board: Board, wiring: Wiring, seed: int):
        roles = board.roles
        self._inside: Inside = board.inside
        self._q = [roles[f"q{i}"] for i in range(3)]
        self._mix, self._env, self._tone = roles["mix"], roles["env"], roles["tone"]
        self._vib, self._led = roles["vib"], roles["led"]
        self._loop, self._oct = roles["loop"], roles["oct"]
        self._tone_ohm = board.nets[self._tone].drive.bias_ohm
        self._rest = rest_share(board, self._tone)
        self._rest_level = rest_level(board)
        self._rail = board.chip_rail
        self._env_rest = _at_rest(board, self._env)
        self._cycles: dict[tuple, tuple] = {}
        self._levels: dict[tuple, tuple] = {}
        sounding = ("osc", "q0", "q1", "q2", "mix", "env", "tone", "amp", "vib", "led")
        super().__init__(board, wiring, seed, rows=ROWS, columns=COLUMNS, sounding=sounding)

    @property
    def speaking(self) -> bool:
        """Whether a note sounds."""
        return self._env_level > _SILENT_BELOW * self._rail and self._divider > 0

    @property
    def busy(self) -> bool:
        """Whether a note sounds, or a tune goes on."""
        return self.speaking or self._tune_at is not None

    @property
    def _env_level(self) -> float:
        return self._state[1]

    def _start(self) -> None:
        # driver states of q0 q1 q2 and what the lower two dividers read last; the envelope
        self._state = _REST, 0.0
        self._gate = False
        self._divider = 0.0
        self._tune_at: int | None = None
        self._tune_left = 0
        self._looping = False
        self._hold_looks = 0
        self._looks = 0
        self._settle()

    def _settle(self) -> None:
        self._put(self._state[0])

    def _put(self, bits: Sequence[int]) -> None:
        state, sounding = self._wiring.state, self.speaking
        for net, bit in zip(self._q, bits[:3], strict=True):
            state[net] = HIGH if bit else LOW
        state[self._env] = HIGH if self._gate else OPEN
        state[self._led] = HIGH if sounding else LOW
        state[self._vib] = HIGH if sounding and self._looks // _VIB_LOOKS % 2 else LOW
        state[self._tone] = BIAS

    def _level(self, net: int) -> float:
        level = self._wiring.level(net)
        if self._env in self._touched:
            # the capacitor holds its own voltage (substitution theorem)
            wiring, env = self._wiring, self._env
            share = wiring.impedance_ohm(net, env) / wiring.impedance_ohm(env, env)
            level += share * (self._env_level - wiring.level(env))
        return level

    def _note(self, place: int) -> None:
        semitones = self._inside.semitones[place]
        top_hz = 4 * self._inside.base_hz * 2 ** (semitones / 12)
        self._divider = float(round(CHIP_HZ / top_hz / 2))
        self._looks = 0

    def _pressed(self, place: int) -> None:
        self._looping = False
        self._tune_at = None
        if place == TUNE_PLACE:
            self._tune_at, self._tune_left = 0, 0
        elif place < len(self._inside.semitones):
            self._note(place)

    def _variant(self, place: int) -> int:
        count = len(self._inside.semitones)
        if place >= count:
            return place
        return (place + (self._manners.variant(place, IN_TURN) or 0)) % count

    def _speak(self) -> None:
        # the tune's second half, which every chip knows whether or not it has a key
        self._pressed(TUNE_PLACE)
        self._tune_at = len(self._inside.tune) // 2

    def _hush(self) -> None:
        self._tune_at = None
        self._divider = 0.0
        self._hold_looks = 0

    def _hold(self) -> None:
        if self._tune_at is None:
            self._hold_looks = round(self._board.press_ms * RATE_HZ / 1000 / LOOK)

    def _forget(self) -> None:
        super()._forget()
        self._cycles, self._levels = {}, {}

    def _play_tune(self, at: int) -> None:
        """Go on with the tune, whose next note is `at`.

        Each note has its share of the step, then its key is up.
        """
        step_looks = round(TUNE_STEP_S * RATE_HZ / LOOK)
        if self._tune_left <= 0:
            if at >= len(self._inside.tune):
                asked = not self._high(self._loop)
                self._looping = self._looping or (asked and self._board.habits.loop_latches)
                if not (asked or self._looping):
                    self._tune_at = None
                    return
                at = 0
            place = self._inside.tune[at]
            self._tune_at = at + 1
            self._tune_left = step_looks
            if place >= 0:
                self._note(place)
            self._rest_now = place < 0
        self._tune_left -= 1
        self._gate = not self._rest_now and self._tune_left > step_looks // 2

    def _control(self) -> tuple:
        self._gate = bool(self._down - {TUNE_PLACE} - self._on - self._unheard)
        if self._hold_looks:
            self._hold_looks -= 1
            self._gate = True
        if self._tune_at is not None:
            self._play_tune(self._tune_at)
        self._looks += 1
        divider = self._divider
        if divider > 1 and not self._high(self._oct):
            divider /= 2
        vib = self._vib in self._wiring.joined and self._looks // _VIB_LOOKS % 2 == 1
        return self._gate, divider, vib

    def _sound(self, needed: float, settings: tuple) -> tuple[np.ndarray, np.ndarray] | None:
        gate, divider, vib = settings
        bits, _ = self._state
        level = self._follow_envelope(gate)
        if divider == 0 or level <= _SILENT_BELOW * self._rail:
            # what is left in the capacitor is below the chip's notice
            rests = not self._gate and self._env not in self._touched
            self._state = _REST, 0.0 if rests else level
            return None
        self._state = bits, level
        if needed <= 0:
            return _EMPTY
        gain = (level / self._rail - _SILENT_BELOW) / (1 - _SILENT_BELOW)
        around = self._signature, vib, (gate, level) if self._env in self._touched else None
        found = self._cycles.get((bits, around))
        if found is None:
            if len(self._cycles) > _MOST_CYCLES:
                self._cycles.clear()
                self._levels.clear()
            found = self._cycles[bits, around] = self._cycle(bits, around)
        lead, offsets, mixes, cycles, after = found
        lengths = cycles * divider * RATE_HZ
        count, turns = len(offsets), 1
        turn = float(lengths[lead:].sum())
        if turn < FOREVER:
            turns = 1 + max(0, math.ceil((needed - float(lengths.sum())) / turn))
        which = _COUNT[: lead + turns * (count - lead)]
        if turns > 1:
            which = np.where(which < lead, which, lead + (which - lead) % (count - lead))
        lengths = lengths[which]
        taken = int(lengths.cumsum().searchsorted(needed)) + 1
        which, lengths = which[:taken], lengths[:taken]
        self._state = after[which[-1]], level
        return offsets[which] + gain * mixes[which], lengths

    def _follow_envelope(self, gate: bool) -> float:
        """Charge or leak the envelope's capacitor for the time of one look; gives its level.

        Where lines that talk are joined to it, their mean over all states of the dividers
        is what it follows.
        """
        wiring, env = self._wiring, self._env
        if env in self._touched:
            siemens = amps = 0.0
            states = _ALL_BITS if self.speaking else [_REST]
            for bits in states:
                self._put(bits)
                ohm = wiring.impedance_ohm(env, env)
                siemens += 1 / ohm
                amps += wiring.level(env) / ohm
            count = len(states)
        else:
            aim, ohm = self._env_rest[gate]
            siemens, amps, count = 1 / ohm, aim / ohm, 1
        aim, ohm = amps / siemens, count / siemens
        decay = math.exp(-LOOK / RATE_HZ / (ohm * self._inside.env_farad))
        return aim + (self._env_level - aim) * decay

    def _cycle(self, bits: tuple, around: tuple) -> tuple:
        """Follow the dividers from where they are until they repeat.

        Parameters
        ----------
        bits : tuple
            States of q0 q1 q2, and what the lower two dividers read last.
        around : tuple
            All else that the levels hang on.

        Returns
        -------
        lead : int
            Steps before the part that repeats.
        offsets, mixes, cycles : ndarray
            Of each step: what the lines add at the amplifier, what the mixer gives, and the
            step's seconds for each unit of the note's divider.
        after : list of tuple
            The dividers' state with each step.
        """
        seen: dict[tuple, int] = {}
        steps: list[tuple] = []
        after: list[tuple] = []
        while bits not in seen:
            seen[bits] = len(after)
            q0, q1, q2, read_0, read_1 = bits
            q0 ^= 1
            now_0 = self._solved((q0, q1, q2), around)[0]
            if read_0 and not now_0:
                q1 ^= 1
            now_1 = self._solved((q0, q1, q2), around)[1]
            if read_1 and not now_1:
                q2 ^= 1
            steps.append(self._solved((q0, q1, q2), around)[2:])
            bits = (q0, q1, q2, now_0, now_1)
            after.append(bits)
        offsets, mixes, seconds = np.array(steps).T
        return seen[bits], offsets, mixes, seconds, after

    def _solved(self, bits: tuple[int, int, int], around: tuple) -> tuple:
        """Give what q0 and q1 are read as, offset and mix at the amplifier, and the clock's
        period, while the dividers stand so."""
        found = self._levels.get((bits, around))
        if found is None:
            self._put(bits)
            share = self._wiring.impedance_ohm(self._amp, self._tone) / self._tone_ohm
            hz = self._hz()
            found = self._levels[bits, around] = (
                self._high(self._q[0]),
                self._high(self._q[1]),
                (self._level(self._amp) - self._rest_level) / self._rest,
                (self._level(self._mix) / self._rail - 0.5) * _LOUDNESS * share / self._rest,
                1 / hz if hz > 0 else FOREVER,
            )
        return found


def _at_rest(board: Board, env: int) -> tuple[tuple[float, float], ...]:
    """Give where the envelope's node goes with nothing bridged, and through which resistance:
    with no key down, and with one."""
    found = []
    for gate in (OPEN, HIGH):
        state = [net.idle for net in board.nets]
        state[env] = gate
        rest = board.circuit.bridged([], whole=True)
        levels, impedance_ohm = rest.solved(state)
        place = rest.place[env]
        found.append((float(levels[place]), float(impedance_ohm[place, place])))
    return tuple(found)
