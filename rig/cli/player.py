"""Plays takes through the machine's sound output, where there is one."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import ModuleType

import numpy as np

from rig.errors import BenchError, MissingLibrary

LIVE_LATENCY_S = 0.1
CUSHION_S, LIVE_BEHIND_S = 0.1, 0.5
"""Of sound that goes on so much waits before it begins anew, and so much at most."""


class Player:
    """The default sound output.

    Raises
    ------
    MissingLibrary
        PortAudio isn't installed.
    BenchError
        There is no output device.
    """

    def __init__(self) -> None:
        sounddevice = _portaudio()
        try:
            with quietly():
                sounddevice.query_devices(kind="output")
        except (sounddevice.PortAudioError, ValueError) as trouble:
            raise BenchError("no sound output was found, so nothing can be played") from trouble
        self._device = sounddevice

    def play(self, samples: np.ndarray, rate_hz: int, wait: bool = False) -> None:
        """Play samples (float, full scale 1.0), ending what still plays; may wait for the end.

        Raises
        ------
        BenchError
            The device refuses.
        """
        try:
            with quietly():
                self._device.play(samples, rate_hz)
            if wait:
                self._device.wait()
        except self._device.PortAudioError as trouble:
            raise BenchError(f"the sound output failed: {trouble.args[0]}") from trouble

    def stop(self) -> None:
        """End what plays."""
        with suppress(self._device.PortAudioError):
            self._device.stop()


class LivePlayer:
    """The default sound output, for sound that goes on: what is given is played as it comes.

    Parameters
    ----------
    rate_hz : int

    Raises
    ------
    BenchError
        There is no output, or none of this rate; `MissingLibrary` without PortAudio.
    """

    def __init__(self, rate_hz: int) -> None:
        sounddevice = _portaudio()
        self._trouble = sounddevice.PortAudioError
        self._waiting = np.zeros(0, np.float32)
        self._is_filling = True
        self._cushion, self._most = (round(s * rate_hz) for s in (CUSHION_S, LIVE_BEHIND_S))
        self._lock = threading.Lock()
        try:
            with quietly():
                self._stream = sounddevice.OutputStream(
                    samplerate=rate_hz, channels=1, dtype="float32", latency=LIVE_LATENCY_S,
                    callback=self.give_block,
                )
                self._stream.start()
        except (sounddevice.PortAudioError, ValueError) as trouble:
            raise BenchError("no sound output was found, so nothing can be played") from trouble

    def take(self, samples: np.ndarray) -> None:
        """Play samples (float32, full scale 1.0) behind what plays; never waits for the device."""
        with self._lock:
            # Where the output's clock is slower than ours the oldest of what waits is left out.
            self._waiting = np.concatenate([self._waiting, samples])[-self._most :]

    def give_block(self, out: np.ndarray, frames: int, _times: object, _flags: object) -> None:
        """Fill one block, with silence where nothing waits; called by PortAudio's thread.

        Parameters
        ----------
        out : ndarray of float32, shape (frames, 1)
        frames : int
        """
        with self._lock:
            self._is_filling = self._is_filling and len(self._waiting) < self._cushion
            count = 0 if self._is_filling else min(frames, len(self._waiting))
            out[:count, 0] = self._waiting[:count]
            out[count:] = 0
            self._waiting = self._waiting[count:]
            self._is_filling = count < frames

    def close(self) -> None:
        """End what plays and give the output back."""
        with suppress(self._trouble):
            self._stream.abort()
            self._stream.close()


def cannot_play() -> str | None:
    """Say in a line what to install so that takes can be heard; None where nothing is missing."""
    try:
        _portaudio()
    except MissingLibrary as trouble:
        return str(trouble)
    return None


def _portaudio() -> ModuleType:
    try:
        with quietly():
            import sounddevice
    except OSError as trouble:
        raise MissingLibrary(
            "PortAudio is missing, nothing can be played: sudo apt-get install libportaudio2"
        ) from trouble
    return sounddevice


@contextmanager
def quietly() -> Iterator[None]:
    """Keep the sound system's own chatter about devices it lacks off the terminal."""
    sys.stderr.flush()
    kept = os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
