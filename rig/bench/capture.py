"""Sound capture: one stream, opened once, kept running, its samples counted.

PortAudio's own thread hands blocks to a bounded queue; when nobody reads (between two
touches) the oldest blocks are dropped, and as every block carries its place in the
stream, a reader that missed one sees the gap. Overflow flags of the sound system are
kept, but some systems lose sound without raising any: so samples are counted against
the clock as well.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import ModuleType
from typing import Any

import numpy as np

from rig.bench.base import Chunk
from rig.errors import BenchError, CaptureLost, MissingLibrary

BLOCK_S = 0.02
QUEUE_S = 30.0
STALL_S = 2.0
"""No block for this long: the stream has stopped."""

SETTLE_S = 0.3
"""The first blocks of a stream are thrown away: sound systems lose some while they start."""

SYSTEM_S_CHOICE = "default"

LOSS_S = 0.1
"""Sound that stays this far behind the clock is missing; blocks jitter by about 10 ms."""


@dataclass(frozen=True)
class _Block:
    first_sample: int
    data: np.ndarray
    lost: bool


class LossCounter:
    """Notices missing sound by counting samples against the clock.

    A block may come late when the computer is busy and the next ones catch up; missing
    sound stays missing. So the lag counts only when it stays up for half a second. Slow
    drift between the two clocks (below 0.2 %) is followed, not counted.

    Parameters
    ----------
    rate_hz : int
        Nominal sampling rate, Hz.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._samples = 0
        self._base: float | None = None
        self._recent: deque[tuple[float, float]] = deque()

    def feed(self, now_s: float, samples: int) -> bool:
        """Count a block that arrived at `now_s`; True when sound was missing before it."""
        self._samples += samples
        lag = now_s * self._rate_hz - self._samples
        self._base = lag if self._base is None else min(lag, self._base + 0.002 * samples)
        self._recent.append((now_s, lag))
        # Keep one entry from before the half second, so that the window is really covered.
        while len(self._recent) > 1 and self._recent[1][0] <= now_s - 0.5:
            self._recent.popleft()
        if now_s - self._recent[0][0] < 0.5:
            return False
        least = min(lag for _, lag in self._recent)
        if least - self._base <= LOSS_S * self._rate_hz:
            return False
        self._base = least
        return True


class Capture:
    """A running two-channel recording. Make one with `Capture.open`.

    Parameters
    ----------
    rate_hz : int
        Sampling rate, Hz.
    sound_channel, marker_channel : int
        Channels of the device, counted from 1; the same number means no marker channel.
    clock : callable
        Gives seconds, to count samples against.
    stall_s : float
        How long to wait for a block before the stream counts as stopped, s.
    """

    def __init__(
        self,
        rate_hz: int,
        sound_channel: int,
        marker_channel: int,
        *,
        clock: Callable[[], float] = time.monotonic,
        stall_s: float = STALL_S,
    ) -> None:
        self.rate_hz = rate_hz
        self.overflows = 0
        self.device = ""
        self._sound = sound_channel - 1
        self._marker = marker_channel - 1
        self._clock = clock
        self._stall_s = stall_s
        self._blocks: deque[_Block] = deque(maxlen=round(QUEUE_S / BLOCK_S))
        self._arrived = threading.Condition()
        self._counted = 0
        self._loss = LossCounter(rate_hz)
        self._next_sample = 0
        self._stream: Any = None  # of the library, which has no types

    @classmethod
    def open(
        cls,
        device: str,
        rate_hz: int = 48_000,
        sound_channel: int = 1,
        marker_channel: int = 2,
        *,
        library: ModuleType | None = None,
        clock: Callable[[], float] = time.monotonic,
        stall_s: float = STALL_S,
        settle_s: float = SETTLE_S,
    ) -> Capture:
        """Open a sound device by its name and wait until it gives sound steadily.

        Parameters
        ----------
        device : str
            Name of the input device, whole or a part that fits only one; "default" where
            none is called so is the system's own choice.
        rate_hz, sound_channel, marker_channel
            As for the class.
        library : module, optional
            What gives streams; the sounddevice library when left out.
        clock, stall_s
            As for the class.
        settle_s : float
            How much sound to throw away first, s.

        Raises
        ------
        MissingLibrary
            PortAudio or its Python library isn't there.
        BenchError
            No such device, or not with these channels or this rate.
        CaptureLost
            The device was opened but gives no sound.
        """
        sounddevice = _load() if library is None else library
        channels = max(sound_channel, marker_channel)
        index, name = _find_device(sounddevice, device, channels)
        capture = cls(rate_hz, sound_channel, marker_channel, clock=clock, stall_s=stall_s)
        capture.device = name
        try:
            capture._stream = sounddevice.InputStream(
                device=index,
                samplerate=rate_hz,
                channels=channels,
                dtype="float32",
                blocksize=round(rate_hz * BLOCK_S),
                latency=0.1,
                callback=capture.take_block,
            )
            capture._stream.start()
        except sounddevice.PortAudioError as error:
            capture.close()
            raise BenchError(_cannot_record(name, channels, rate_hz, error)) from error
        try:
            chunk = capture.read()
            while chunk.first_sample + len(chunk.sound) < settle_s * rate_hz:
                chunk = capture.read()
        except BaseException:
            capture.close()
            raise
        return capture

    def take_block(self, data: np.ndarray, frames: int, _times: object, flags: object) -> None:
        """Queue one block; called by PortAudio's thread.

        Parameters
        ----------
        data : ndarray of float32, shape (frames, channels)
        frames : int
        flags : object
            True in a condition when the sound system says that it dropped something.
        """
        overflow = bool(flags)
        self.overflows += overflow
        missing = self._loss.feed(self._clock(), frames)
        block = _Block(self._counted, data.copy(), overflow or missing)
        self._counted += frames
        with self._arrived:
            self._blocks.append(block)
            self._arrived.notify()

    def skip(self) -> None:
        """Forget what is queued: the next `read` gives sound that arrives from now on."""
        with self._arrived:
            self._blocks.clear()
            self._next_sample = self._counted

    def read(self) -> Chunk:
        """Wait for sound and give all that is there.

        Blocks that were dropped from the queue are filled with silence, and the chunk
        says `lost`, so that places in the stream stay true.

        Raises
        ------
        CaptureLost
            Nothing arrived within the stall time.
        """
        with self._arrived:
            if not self._arrived.wait_for(lambda: len(self._blocks) > 0, self._stall_s):
                raise CaptureLost(
                    f"sound device '{self.device}' stopped giving sound for {self._stall_s:g} s: "
                    "plug it in again or choose another in rig.yaml"
                )
            blocks = list(self._blocks)
            self._blocks.clear()
        first, pieces, lost = self._next_sample, [], False
        for block in blocks:
            gap = block.first_sample - self._next_sample
            if gap > 0:
                pieces.append(np.zeros((gap, block.data.shape[1]), dtype=np.float32))
                lost = True
            pieces.append(block.data)
            lost = lost or block.lost
            self._next_sample = block.first_sample + len(block.data)
        data = np.concatenate(pieces)
        return Chunk(
            first,
            np.ascontiguousarray(data[:, self._sound]),
            np.ascontiguousarray(data[:, self._marker]),
            lost,
        )

    def close(self) -> None:
        """Stop recording and give the device back; never raises."""
        stream, self._stream = self._stream, None
        if stream is not None:
            with contextlib.suppress(Exception):
                stream.abort()
            with contextlib.suppress(Exception):
                stream.close()


def joined(chunks: Sequence[Chunk]) -> Chunk:
    """Join pieces that follow each other in the stream; at least one."""
    return Chunk(
        chunks[0].first_sample,
        np.concatenate([one.sound for one in chunks]),
        np.concatenate([one.marker for one in chunks]),
        any(one.lost for one in chunks),
    )


def check_input(
    device: str,
    rate_hz: int,
    sound_channel: int,
    marker_channel: int,
    *,
    library: ModuleType | None = None,
) -> str:
    """Look whether a sound device is there and can record so, without recording.

    Parameters
    ----------
    device, rate_hz, sound_channel, marker_channel, library
        As for `Capture.open`.

    Returns
    -------
    str
        The device's whole name.

    Raises
    ------
    MissingLibrary
        PortAudio or its Python library isn't there.
    BenchError
        No such device, or not with these channels or this rate.
    """
    sounddevice = _load() if library is None else library
    channels = max(sound_channel, marker_channel)
    index, name = _find_device(sounddevice, device, channels)
    try:
        sounddevice.check_input_settings(
            device=index, channels=channels, dtype="float32", samplerate=rate_hz
        )
    except sounddevice.PortAudioError as error:
        raise BenchError(_cannot_record(name, channels, rate_hz, error)) from error
    return str(name)


def _cannot_record(name: str, channels: int, rate_hz: int, error: BaseException) -> str:
    return (
        f"sound device '{name}' can't record {channels} channel(s) at {rate_hz} Hz "
        f"({_one_line(error)}): set sound in rig.yaml"
    )


def _load() -> ModuleType:
    # Only here: importing it loads PortAudio, which simulated benches don't need.
    try:
        import sounddevice
    except ImportError as error:
        raise MissingLibrary(
            "the Python library sounddevice isn't there: pip install sounddevice"
        ) from error
    except OSError as error:
        raise MissingLibrary(
            "PortAudio isn't installed: on Debian or Ubuntu 'sudo apt install libportaudio2', "
            "elsewhere see portaudio.com"
        ) from error
    return sounddevice


def _find_device(sounddevice: ModuleType, wanted: str, channels: int) -> tuple[int, str]:
    inputs = [
        (index, entry["name"], entry["max_input_channels"])
        for index, entry in enumerate(sounddevice.query_devices())
        if entry["max_input_channels"] > 0
    ]
    fits = [entry for entry in inputs if entry[1] == wanted] or [
        entry for entry in inputs if wanted.lower() in entry[1].lower()
    ]
    if not fits and wanted == SYSTEM_S_CHOICE and inputs:
        with contextlib.suppress(sounddevice.PortAudioError, ValueError):  # there may be none
            chosen = sounddevice.query_devices(kind="input")["name"]
            fits = [entry for entry in inputs if entry[1] == chosen][:1]
    there = ", ".join(f"'{name}'" for _, name, _ in inputs) or "none"
    if len(fits) != 1:
        what = "isn't there" if not fits else "fits more than one"
        raise BenchError(
            f"sound device '{wanted}' {what} (inputs there are: {there}): "
            "plug it in or set sound.device in rig.yaml"
        )
    index, name, has = fits[0]
    if has < channels:
        raise BenchError(
            f"sound device '{name}' has {has} input channel(s), channel {channels} is asked for: "
            "set sound_channel and marker_channel in rig.yaml, or use a stereo line input"
        )
    return index, name


def _one_line(error: BaseException) -> str:
    return " ".join(str(error).split())
