"""A simulated toy: the chips of a board, run in virtual time, with their sound."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from rig.bench.simulated import sequencer as seq
from rig.bench.simulated.board import Board
from rig.bench.simulated.circuit import BIAS, OPEN, Link
from rig.bench.simulated.sound import RATE_HZ, Amplifier
from rig.bench.simulated.supply import Supply
from rig.bench.simulated.voice import FRAME_SAMPLES, Voice
from rig.bench.simulated.wiring import Wiring

_ONE = 1 << 32
_FRAME_END = FRAME_SAMPLES * _ONE
_CYCLES_PER_SAMPLE = 80
_STEP_UNSTEADY = RATE_HZ // 200
_DYNAMIC_LOSS_SAMPLES = RATE_HZ // 50
_COUNT = np.arange(2048)
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
        rng = np.random.Generator(np.random.PCG64([seed, 0x70F]))
        self._sequencer = seq.Sequencer(board, self._wiring, int(rng.integers(1 << 32)))
        self._voice = Voice()
        self._amplifier = Amplifier(board)
        self._supply = Supply(board.volts)
        roles = board.roles
        self._osc, self._amp = roles["osc"], roles["amp"]
        self._mute, self._half = roles["mute"], roles["half"]
        self._powered = False
        self._forgot = True
        # a toy isn't in step with the bench's clock
        self._phase = int(rng.integers(FRAME_SAMPLES)) * _ONE
        self._samples: np.ndarray | None = None
        self._offset = 0.0
        self._last = 0.0
        self._stopped = 0
        self._step = -1
        self._rewired()

    def fork(self) -> SimulatedToy:
        """Copy the toy with all its state: the copy goes on as this one would."""
        other = SimulatedToy.__new__(SimulatedToy)
        other.__dict__.update(self.__dict__)
        other._wiring = self._wiring.fork()
        other._sequencer = self._sequencer.fork(other._wiring)
        other._voice = self._voice.fork()
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
        return _TALK_MA if self._powered and self._sequencer.speaking else _IDLE_MA

    def pad_v(self, pad: str) -> float:
        """Give a pad's voltage against ground as it stands now, volts."""
        self._sequencer.bus.settle()
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
        held = np.empty(samples, np.float32)
        self._silent: list[slice] = []
        self._hear_mute()
        at = 0
        while at < samples:
            end = samples
            if not self._supply.steady:
                end = min(samples, at + _STEP_UNSTEADY)
                self._supply.advance((end - at) / RATE_HZ)
                self._power()
            if self._powered:
                self._run_chips(held, at, end)
            else:
                self._silent.append(slice(at, end))
            at = end
        for part in self._silent:
            held[part] = 0.0
        muted = self._silent == [slice(0, samples)]
        return self._amplifier.sound(held, muted)

    def _hear_mute(self) -> None:
        """Read the amplifier's mute input, which may hang on a line that talks."""
        self._muted = self._wiring.high(self._mute)

    def _put(self, held: np.ndarray, at: int, end: int, values) -> None:
        """Hand a piece of the voice to the amplifier, or nothing while it is muted."""
        if not self._muted:
            held[at:end] = values
        elif self._silent and self._silent[-1].stop == at:
            self._silent[-1] = slice(self._silent[-1].start, end)
        else:
            self._silent.append(slice(at, end))

    def _power(self) -> None:
        if self._supply.forgets:
            self._forgot = True
        runs = self._supply.runs
        if runs and not self._powered:
            if self._forgot:
                self._sequencer.power_on()
                self._voice.reset()
                self._samples = None
                self._forgot = False
            self._rewired()
        self._powered = runs

    def _rewired(self) -> None:
        self._sequencer.bus.rewire(self._wiring)
        self._amplifier.rewire(self._wiring)
        self._set_clock()

    def _set_clock(self) -> None:
        """Work out how fast the chips run, from what the clock's node sees now."""
        wiring, clock = self._wiring, self.board.clock
        hz = clock.nominal_hz()
        if self._osc in wiring.touched:
            self._sequencer.bus.settle()
            wiring.state[self._osc] = OPEN
            aim = wiring.level(self._osc)
            hz = clock.hz(aim, wiring.impedance_ohm(self._osc, self._osc))
        # while it runs, the node hangs between its thresholds whatever is joined to it
        wiring.state[self._osc] = BIAS if hz > 0 else OPEN
        if hz > clock.nominal_hz() * self.board.habits.crash_ratio:
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

    def _run_chips(self, held: np.ndarray, at: int, end: int) -> None:
        while at < end:
            if self._step == 0:
                self._put(held, at, end, self._last + self._offset)
                self._stopped += end - at
                if self._stopped > _DYNAMIC_LOSS_SAMPLES and self.board.habits.dynamic:
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
                self._last = float(voice[-1])
                if self._offset:
                    voice += self._offset
                self._put(held, at, at + count, voice)
            self._phase += self._step * count
            at += count

    def _tick(self) -> None:
        frame = self._sequencer.tick()
        self._samples = self._voice.frame(frame, self._sequencer.transpose)
        self._offset = 0.0
        touched = self._wiring.touched
        if self._osc in touched or self._half in touched:
            self._set_clock()
        if self._mute in touched:
            self._hear_mute()
        if self._amp in touched:
            self._sequencer.bus.settle()
            self._offset = self._amplifier.offset(self._wiring)


def switch_on(toy: SimulatedToy) -> None:
    """Switch a toy's supply on, let it start, press what turns it on."""
    toy.supply(True)
    toy.run(round((toy.board.boot_ms / 1000 + 0.3) * RATE_HZ))
    for key in toy.board.on:
        toy.keys({key})
        toy.run(RATE_HZ // 8)
        toy.keys(set())
        toy.run(RATE_HZ // 8)
