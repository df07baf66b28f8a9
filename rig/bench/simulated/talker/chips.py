"""The talker's chips: sequencer, speech memory and voice on one clock."""

from __future__ import annotations

import numpy as np

from rig.bench.simulated.circuit import BIAS, OPEN
from rig.bench.simulated.parts import Board
from rig.bench.simulated.sound import RATE_HZ, rest_level, rest_share
from rig.bench.simulated.talker.sequencer import Sequencer
from rig.bench.simulated.talker.voice import CHIP_RATE_HZ, FRAME_SAMPLES, Voice
from rig.bench.simulated.wiring import Wiring

_ONE = 1 << 32
_FRAME_END = FRAME_SAMPLES * _ONE
_CYCLES_PER_SAMPLE = 80
_DYNAMIC_LOSS_SAMPLES = RATE_HZ // 50
_COUNT = np.arange(2048)


class TalkerChips:
    """See `rig.bench.simulated.chips.Chips`.

    Parameters
    ----------
    board : Board
    wiring : Wiring
    seed : int
        Of the chips' own chance: which phrases are picked.
    """

    def __init__(self, board: Board, wiring: Wiring, seed: int):
        rng = np.random.Generator(np.random.PCG64([seed, 0x70F]))
        self._board = board
        self._wiring = wiring
        self._sequencer = Sequencer(board, wiring, int(rng.integers(1 << 32)))
        self._voice = Voice()
        roles = board.roles
        self._osc, self._amp, self._dac = roles["osc"], roles["amp"], roles["dac"]
        self._mute, self._half = roles["mute"], roles["half"]
        self._dac_ohm = board.nets[self._dac].drive.bias_ohm
        self._rest = rest_share(board, self._dac)
        self._rest_level = rest_level(board)
        # a toy isn't in step with the bench's clock
        self._phase = int(rng.integers(FRAME_SAMPLES)) * _ONE
        self._samples: np.ndarray | None = None
        self._offset = 0.0
        self._gain = 1.0
        self._last = 0.0
        self._stopped = 0
        self._step = -1
        self._pace = 1.0
        self.rewired()

    def fork(self, wiring: Wiring) -> TalkerChips:
        """Copy the chips with all their state onto a copy of the wiring."""
        other = TalkerChips.__new__(TalkerChips)
        other.__dict__.update(self.__dict__)
        other._wiring = wiring
        other._sequencer = self._sequencer.fork(wiring)
        other._voice = self._voice.fork()
        return other

    @property
    def speaking(self) -> bool:
        """Whether a phrase is being said."""
        return self._sequencer.speaking

    @property
    def busy(self) -> bool:
        """Whether a phrase is being said."""
        return self._sequencer.speaking

    def set_pace(self, pace: float) -> None:
        """Let the clock run at a share of its frequency, as its supply falls."""
        self._pace = pace
        self._set_clock()

    def power_on(self) -> None:
        """Start as after the supply has been away."""
        self._sequencer.power_on()
        self._voice.reset()
        self._samples = None

    def rewired(self) -> None:
        """Take notice of changed closures or keys."""
        self._sequencer.bus.rewire(self._wiring)
        self._set_clock()
        self._hear_lines()

    def settle(self) -> None:
        """Put on every line the level that it rests at now."""
        self._sequencer.bus.settle()

    def run(self, samples: int) -> np.ndarray | None:
        """Let time pass and give the signal at the amplifier's input, or None where muted."""
        held = np.empty(samples, np.float32)
        self._silent: list[slice] = []
        self._hear_mute()
        self._fill(held)
        if self._silent == [slice(0, samples)]:
            return None
        for part in self._silent:
            held[part] = 0.0
        return held

    def _hear_mute(self) -> None:
        """Read the amplifier's mute input, which may hang on a line that talks."""
        self._muted = self._wiring.high(self._mute)

    def _put(self, held: np.ndarray, at: int, end: int, values: np.ndarray | float) -> None:
        """Hand a piece of the voice to the amplifier, or nothing while it is muted."""
        if not self._muted:
            held[at:end] = values
        elif self._silent and self._silent[-1].stop == at:
            self._silent[-1] = slice(self._silent[-1].start, end)
        else:
            self._silent.append(slice(at, end))

    def _set_clock(self) -> None:
        """Work out how fast the chips run, from what the clock's node sees now."""
        wiring, clock = self._wiring, self._board.clock
        hz = clock.nominal_hz()
        if self._osc in wiring.touched:
            self._sequencer.bus.settle()
            wiring.state[self._osc] = OPEN
            aim = wiring.level(self._osc) / self._board.chip_rail
            r_ohm = wiring.impedance_ohm(self._osc, self._osc)
            hz = clock.hz(aim, r_ohm, wiring.leads(self._osc))
        hz *= self._pace
        # while it runs, the node hangs between its thresholds whatever is joined to it
        wiring.state[self._osc] = BIAS if hz > 0 else OPEN
        if hz > clock.nominal_hz() * self._board.habits.crash_ratio:
            self._sequencer.jam()
        if hz > 0:
            self._stopped = 0
        if not wiring.high(self._half):
            hz /= 2
        chip_hz = hz / _CYCLES_PER_SAMPLE
        step = round(chip_hz / RATE_HZ * _ONE)
        if step != self._step:
            self._step = step
            self._ramp = step * _COUNT

    def _fill(self, held: np.ndarray) -> None:
        at, end = 0, len(held)
        while at < end:
            if self._step == 0:
                self._put(held, at, end, self._last + self._offset)
                self._stopped += end - at
                if self._stopped > _DYNAMIC_LOSS_SAMPLES and self._board.habits.dynamic:
                    self._sequencer.jam()
                return
            if self._phase >= _FRAME_END:
                self._phase -= _FRAME_END
                self._tick()
                continue
            count = min(end - at, len(_COUNT), -((self._phase - _FRAME_END) // self._step))
            if self._samples is None:
                self._put(held, at, at + count, self._offset)
                self._last = 0.0
            else:
                index = (self._ramp[:count] + self._phase) >> 32
                voice = self._samples.take(index, mode="clip")
                if self._gain != 1.0:
                    voice *= self._gain
                self._last = float(voice[-1])
                if self._offset:
                    voice += self._offset
                self._put(held, at, at + count, voice)
            self._phase += self._step * count
            at += count

    def _tick(self) -> None:
        frame = self._sequencer.tick()
        voice = self._voice.frame(frame, self._sequencer.transpose)
        self._samples = self._sequencer.manners.sound(voice, FRAME_SAMPLES, CHIP_RATE_HZ)
        touched = self._wiring.touched
        if self._osc in touched or self._half in touched:
            self._set_clock()
        if self._mute in touched:
            self._hear_mute()
        self._hear_lines()

    def _hear_lines(self) -> None:
        """Work out what touched lines add at the amplifier's input and take from the voice.

        Both are relative to full scale at rest.
        """
        self._offset, self._gain = 0.0, 1.0
        wiring, amp = self._wiring, self._amp
        if amp in wiring.touched:
            self._sequencer.bus.settle()
            share = wiring.impedance_ohm(amp, self._dac) / self._dac_ohm
            self._gain = share / self._rest
            self._offset = (wiring.level(amp) - self._rest_level) / self._rest
