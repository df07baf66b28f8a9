"""Between the simulated toy and the samples: room or line, relays, noise, hum, sound card."""

from __future__ import annotations

import math

import numpy as np

from rig.bench.simulated.sound import RATE_HZ
from rig.project.models import Room as Options

TYPICAL_RMS = 0.1
"""Level of a speaking toy at 0 dB of gain; `room_db` and its neighbours are given below it."""

_NOISE_SAMPLES = 20 * RATE_HZ
_HUM_PARTS = ((1, 1.0), (2, 0.5), (3, 0.35), (5, 0.15))
_ECHO_MS = (0.4, 12.0)
_ECHOES = 6
_CLICK_MS = 8
_RUMBLE_HZ = 400.0


class SoundCard:
    """The toy's samples as a sound card takes them whose clock is a little off.

    Parameters
    ----------
    drift_ppm : float
        How many samples too many the card takes in a million.
    """

    def __init__(self, drift_ppm: float):
        self.ratio = 1.0 + drift_ppm * 1e-6
        self._given = self._had = 0
        self._last = np.zeros(4, np.float32)

    def wants(self, samples: int) -> int:
        """Give how many of the toy's samples the next `samples` of the card need."""
        if self.ratio == 1.0:
            return samples
        # a cubic through four points looks two ahead
        return max(0, math.floor((self._given + samples - 1) / self.ratio) + 3 - self._had)

    def take(self, sound: np.ndarray, samples: int) -> np.ndarray:
        """Turn the toy's samples that were wanted into the card's.

        Parameters
        ----------
        sound : ndarray of float32, shape (wants(samples),)

        Returns
        -------
        ndarray of float32, shape (samples,)
            Third-order Lagrange interpolation at the card's moments.
        """
        if self.ratio == 1.0:
            return sound
        first = self._had - len(self._last)
        line = np.concatenate((self._last, sound))
        self._had += len(sound)
        at = np.arange(self._given, self._given + samples) / self.ratio - first
        self._given += samples
        whole = np.floor(at).astype(np.int64)
        x = (at - whole).astype(np.float32)
        a, b, c, d = (line[whole + i] for i in (-1, 0, 1, 2))
        self._last = line[-4:]
        return (
            -a * x * (x - 1) * (x - 2) / 6
            + b * (x + 1) * (x - 1) * (x - 2) / 2
            - c * (x + 1) * x * (x - 2) / 2
            + d * (x + 1) * x * (x - 1) / 6
        )


class Room:
    """What the toy's sound meets on its way, and what is added to it.

    Parameters
    ----------
    options : rig.project.models.Room
    room_db : float
        Noise below the speaking toy, dB.
    seed : int
        Of the noise and of where the microphone stands.
    chance : numpy.random.Generator
        Picks the pieces of noise.
    """

    def __init__(self, options: Options, room_db: float, seed: int, chance: np.random.Generator):
        self.noise_rms = TYPICAL_RMS * 10 ** (-room_db / 20)
        self._chance = chance
        self._gain = 10 ** (options.gain_db / 20)
        self._clicks: list[int] = []
        self._noise_at = 0
        noise = np.random.Generator(np.random.PCG64([seed, 0x4007]))
        # pieces are taken from it at random: much cheaper than fresh noise, and as white
        self._noise = noise.standard_normal(_NOISE_SAMPLES, np.float32)
        place = np.random.Generator(np.random.PCG64([seed, 0x401C]))
        self._microphone = options.path == "microphone"
        self._echoes: list[tuple[int, float]] = []
        if self._microphone:
            self._noise = _rumbling(self._noise)
            delays_ms = np.sort(place.uniform(*_ECHO_MS, _ECHOES))
            self._echoes = [
                (round(ms * RATE_HZ / 1000), float(sign * 0.5 * math.exp(-ms / 6.0)))
                for ms, sign in zip(delays_ms, place.choice((-1.0, 1.0), _ECHOES), strict=True)
            ]
        self._noise *= np.float32(self.noise_rms)
        self._past = np.zeros(round(_ECHO_MS[1] * RATE_HZ / 1000) + 1, np.float32)
        self._hum: np.ndarray | None = None
        if options.hum_db is not None:
            self._hum = _hum(place, options.hum_hz, TYPICAL_RMS * 10 ** (-options.hum_db / 20))
        self._click = np.zeros(0, np.float32)
        if options.click_db is not None:
            self._click = _click(TYPICAL_RMS * 10 ** (-options.click_db / 20))

    def click(self, sample: int) -> None:
        """Let relays move at a sample of the stream."""
        if len(self._click):
            self._clicks.append(sample)

    def silence(self) -> None:
        """Let what still hangs in the room die away unheard."""
        self._past[:] = 0.0
        self._clicks.clear()

    def heard(self, sound: np.ndarray, first_sample: int) -> np.ndarray:
        """Give what the sound card records, float32 within -1..1.

        Parameters
        ----------
        sound : ndarray of float32, shape (n,)
            The toy alone; it is changed in place.
        first_sample : int
            Its place in the stream.
        """
        for at in self._clicks:
            start = max(0, at - first_sample)
            part = self._click[max(0, first_sample - at) :][: max(0, len(sound) - start)]
            sound[start : start + len(part)] += part
        end = first_sample + len(sound)
        self._clicks = [at for at in self._clicks if at + len(self._click) > end]
        if self._echoes:
            line = np.concatenate((self._past, sound))
            dry = len(self._past)
            for delay, level in self._echoes:
                sound += np.float32(level) * line[dry - delay : len(line) - delay]
            self._past = line[-dry:]
        sound += self._piece(len(sound))
        if self._hum is not None:
            # the pattern holds a whole second, so that it goes on without a seam
            sound += self._hum[(first_sample + np.arange(len(sound))) % RATE_HZ]
        if self._gain != 1.0:
            sound *= np.float32(self._gain)
        return np.clip(sound, -1.0, 1.0, out=sound)

    def _piece(self, samples: int) -> np.ndarray:
        if not self._microphone:
            at = int(self._chance.integers(len(self._noise) - RATE_HZ // 10))
            return self._noise[at : at + samples]
        # pieces of rumble from anywhere would have seams
        if self._noise_at + samples > len(self._noise):
            self._noise_at = 0
        at, self._noise_at = self._noise_at, self._noise_at + samples
        return self._noise[at : at + samples]


def _rumbling(white: np.ndarray) -> np.ndarray:
    """Give noise as rooms have it, falling above some 400 Hz, with the power of the white."""
    spectrum = np.fft.rfft(white)
    hz = np.fft.rfftfreq(len(white), 1 / RATE_HZ)
    # made by a discrete Fourier transform it closes upon itself
    spectrum /= np.sqrt(1.0 + (hz / _RUMBLE_HZ) ** 2)
    spectrum[hz < 20.0] = 0.0
    noise = np.fft.irfft(spectrum, len(white)).astype(np.float32)
    return noise / np.sqrt(np.mean(noise**2))


def _hum(place: np.random.Generator, hz: int, rms: float) -> np.ndarray:
    at = np.arange(RATE_HZ) / RATE_HZ
    hum = sum(
        level * np.sin(2 * np.pi * (hz * number * at + place.random()))
        for number, level in _HUM_PARTS
    )
    return (hum * (rms / np.sqrt(np.mean(hum**2)))).astype(np.float32)


def _click(peak: float) -> np.ndarray:
    """Give the click of a reed relay: two contacts' blows 0.6 ms apart, ringing at 3.4 kHz."""
    at = np.arange(RATE_HZ * _CLICK_MS // 1000) / RATE_HZ
    blow = np.sin(2 * np.pi * 3400.0 * at) * np.exp(-at / 1.2e-3)
    again = np.zeros(len(at))
    delay = round(0.6e-3 * RATE_HZ)
    again[delay:] = 0.6 * blow[:-delay]
    both = blow + again
    return (both * (peak / np.abs(both).max())).astype(np.float32)
