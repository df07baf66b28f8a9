"""From the voice's samples to the air: level at the amplifier's input, amplifier, speaker."""

from __future__ import annotations

import math

import numpy as np
import scipy

from rig.bench.simulated.parts import Board
from rig.bench.simulated.wiring import Wiring

RATE_HZ = 48000
_OUT = 0.85
AMP_BIAS = 0.5
"""Where the amplifier's input rests, fraction of the rail."""

_HOWL_FARAD = 15e-9
_NOTHING = np.zeros(0)


class Amplifier:
    """Sound path of one board; what bridges do to it is taken from the solved circuit.

    Parameters
    ----------
    board : Board

    Attributes
    ----------
    driven : ndarray
        What the amplifier's output was driven to last, 1 being the rail; empty: at rest.
    """

    def __init__(self, board: Board):
        roles = board.roles
        self._amp, self._spk = roles["amp"], roles["spk"]
        self._gain = board.amplifier_gain
        # a small speaker in a plastic shell: a band from about 300 Hz to 4.2 kHz
        low = scipy.signal.butter(1, 300.0, "high", fs=RATE_HZ)
        high = scipy.signal.butter(2, 4200.0, "low", fs=RATE_HZ)
        self._b = np.convolve(low[0], high[0])
        self._a = np.convolve(low[1], high[1])
        self._state = np.zeros(3)
        self._howl_at = 0.0
        self.howl_hz = 0.0
        self.driven = np.zeros(0)

    def fork(self) -> Amplifier:
        """Copy the amplifier with all its state."""
        other = Amplifier.__new__(Amplifier)
        other.__dict__.update(self.__dict__)
        other._state = self._state.copy()
        return other

    def rewire(self, wiring: Wiring) -> None:
        """Take feedback from changed closures."""
        self.howl_hz = 0.0
        if {self._amp, self._spk} <= wiring.touched:
            # the speaker's voltage is `gain` times the input's: fed back in phase, it
            # howls once more than 1/gain of it comes back
            spk_ohm = 10.0
            back = wiring.impedance_ohm(self._amp, self._spk) / spk_ohm
            if back * self._gain > 1.0:
                source_ohm = wiring.impedance_ohm(self._amp, self._amp)
                # phase of a one-pole feedback network, f = 1 / (2 pi R C)
                self.howl_hz = 1.0 / (2 * math.pi * source_ohm * _HOWL_FARAD)

    def sound(self, voice: np.ndarray, muted: bool) -> np.ndarray:
        """Turn the input's signal (full scale 1) into the toy's sound, float32."""
        self.driven = _NOTHING
        if muted:
            voice = np.zeros(len(voice), np.float32)
        elif self.howl_hz:
            at = self._howl_at + np.arange(len(voice)) * (self.howl_hz / RATE_HZ)
            self._howl_at = float((at[-1] + self.howl_hz / RATE_HZ) % 1.0)
            voice = np.where(at % 1.0 < 0.5, 0.35, -0.35) + 0.1 * voice
        elif not voice.any() and not self._state.any():
            return np.zeros(len(voice), np.float32)
        self.driven = np.clip(voice, -1, 1)
        sound, self._state = scipy.signal.lfilter(self._b, self._a, self.driven, zi=self._state)
        return (sound * _OUT).astype(np.float32)

    def calm(self) -> None:
        """Let go of what rings on too softly to matter."""
        if np.abs(self._state).max() < 1e-7:
            self._state = np.zeros(3)


def rest_level(board: Board) -> float:
    """Give where the amplifier's input rests, fraction of the rail, whatever rail its source is on."""
    if board.chip_rail == 1.0:
        return AMP_BIAS
    rest = board.circuit.bridged([], whole=True)
    levels, _ = rest.solved([net.idle for net in board.nets])
    return levels[rest.place[board.roles["amp"]]]


def rest_share(board: Board, source: int) -> float:
    """Give how much of a source's swing reaches the amplifier's input with nothing bridged.

    Parameters
    ----------
    source : int
        A net with a bias whose resistance is the source's own.
    """
    amp = board.roles["amp"]
    rest = board.circuit.bridged([], whole=True)
    _, impedance = rest.solved([net.idle for net in board.nets])
    source_ohm = board.nets[source].drive.bias_ohm
    return float(impedance[rest.place[amp], rest.place[source]]) / source_ohm
