"""What is heard while pads are held: played where the bench has no toy to hear, and recorded."""

from __future__ import annotations

import time
import wave
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import numpy as np

from rig.bench import Bench
from rig.cli.player import LivePlayer, quietly
from rig.errors import BenchError, RigError
from rig.pcm import to_pcm

AHEAD_S = 0.5
"""A simulated toy that is so far ahead (it was brought back) isn't waited for."""


class Heard:
    """Takes the sound of a bench, piece by piece."""

    def __init__(self) -> None:
        self.takers: list[Callable[[np.ndarray], object]] = []

    def take(self, sound: np.ndarray) -> None:
        """Give sound (float32, full scale 1.0) to whoever wants it."""
        for taker in list(self.takers):
            taker(sound)

    @contextmanager
    def recorded(self, path: Path | None, rate_hz: int) -> Iterator[None]:
        """Write what is heard into a WAV file of 16-bit mono, which must not be there yet.

        Raises
        ------
        RigError
            It is there already, or can't be made.
        """
        with ExitStack() as open_files:
            if path is not None:
                try:
                    file = open_files.enter_context(path.open("xb"))
                except FileExistsError:
                    raise RigError(f"{path}: is there already; give another name") from None
                except OSError as trouble:
                    raise RigError(f"{path}: can't be written: {trouble.strerror}") from trouble
                written = open_files.enter_context(wave.open(file, "wb"))
                written.setnchannels(1)
                written.setsampwidth(2)
                written.setframerate(rate_hz)
                self.takers.append(lambda sound: written.writeframes(to_pcm(sound).tobytes()))
            yield

    @contextmanager
    def played(self, rate_hz: int, tell: Callable[[str], object]) -> Iterator[None]:
        """Play what is heard; where there is no output that is told, once."""
        try:
            player = LivePlayer(rate_hz)
        except BenchError as trouble:
            tell(f"{trouble}; --record FILE.wav writes what is heard")
            yield
            return

        self.takers.append(player.take)
        try:
            with quietly():  # a sound system may complain at any moment
                yield
        finally:
            player.close()


class Pace:
    """Keeps a simulated toy in step with the world's time.

    Parameters
    ----------
    bench : Bench
    """

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._begin()

    def _begin(self) -> None:
        self._apart_s = self._bench.now_s() - time.monotonic()

    def wait(self) -> None:
        """Wait until the world's clock has come to where the bench's is."""
        ahead_s = self._bench.now_s() - time.monotonic() - self._apart_s
        if abs(ahead_s) > AHEAD_S:
            self._begin()
        elif ahead_s > 0:
            time.sleep(ahead_s)
