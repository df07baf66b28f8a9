"""Plays takes through the machine's sound output, where there is one."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import ModuleType

import numpy as np

from rig.errors import BenchError, MissingLibrary


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
