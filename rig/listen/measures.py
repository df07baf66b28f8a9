"""Everything that is measured of a take, frame by frame and as a whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rig.listen.features import HOP_S, WINDOW_S
from rig.listen.levels import frame_levels
from rig.listen.loudness import loudness
from rig.listen.pitch import fundamentals, padded
from rig.listen.spectrum import onset_strength, spectral_measures

LEAST_RATE_HZ = 8000
SILENCE = 1e-6
"""Amplitude that counts as silence, -120 dB."""


@dataclass(frozen=True)
class Measures:
    """The measures of one sound.

    Frame i is the `size` samples from sample i·`hop` on; what follows the last whole frame is
    in none. Levels are dBFS as AES17 has it: a full-scale sine has a level of 0 dBFS, its peak
    too; -120 dB is silence. All arrays are float32 if not said otherwise.

    Parameters
    ----------
    rate_hz : int
    hop, size : int
        Samples from frame to frame (10 ms) and in a frame (the power of two nearest to
        21.3 ms; 1024 at 48 kHz).
    rms_dbfs, peak_dbfs : ndarray, shape (frames,)
        Root mean square and largest magnitude of the frame's samples.
    zero_crossings : ndarray of int32, shape (frames,)
        Changes of sign between neighbours within the frame; zero counts as positive.
    mel_db : ndarray, shape (frames, BANDS)
        Power in each mel band, dB re a full-scale sine, through a Hann window.
    centroid_hz, roll_off_hz : ndarray, shape (frames,)
        Mean frequency, weighted by the magnitudes, and the bin at or below which 85 % of the
        magnitudes lie; NaN where there is nothing but zeros.
    flatness : ndarray, shape (frames,)
        Geometric over arithmetic mean of the bins' powers: 0 (a tone) to 1 (white, or silent).
    onset_db : ndarray, shape (frames,)
        Rise since the frame before, averaged over the mel bands, falls counting as 0.
    f0_hz : ndarray, shape (frames,)
        Fundamental, 50 to 2000 Hz; NaN where the frame isn't voiced. It is looked
        for up to 40 ms from the frame's start on; past the sound's end there is silence.
    aperiodicity : ndarray, shape (frames,)
        0 (periodic) to about 1 (noise).
    momentary_lkfs : ndarray, shape (blocks,)
        Loudness of every 0.4 s, 0.1 s apart.
    whole_rms_dbfs, whole_peak_dbfs : float
        Levels of the whole sound.
    loudness_lkfs : float
        Gated loudness of the whole sound; NaN below 0.4 s and below -70 LKFS.
    """

    rate_hz: int
    hop: int
    size: int
    rms_dbfs: np.ndarray
    peak_dbfs: np.ndarray
    zero_crossings: np.ndarray
    mel_db: np.ndarray
    centroid_hz: np.ndarray
    roll_off_hz: np.ndarray
    flatness: np.ndarray
    onset_db: np.ndarray
    f0_hz: np.ndarray
    aperiodicity: np.ndarray
    momentary_lkfs: np.ndarray
    whole_rms_dbfs: float
    whole_peak_dbfs: float
    loudness_lkfs: float

    def __len__(self) -> int:
        return len(self.rms_dbfs)

    @property
    def voiced(self) -> np.ndarray:
        """Which frames have a fundamental, ndarray of bool, shape (frames,)."""
        return np.isfinite(self.f0_hz)

    @property
    def time_s(self) -> np.ndarray:
        """The middle of each frame, s from the sound's start, shape (frames,)."""
        return (np.arange(len(self)) * self.hop + self.size / 2) / self.rate_hz


def measure(sound: np.ndarray, rate_hz: int) -> Measures:
    """Measure a mono sound.

    Parameters
    ----------
    sound : ndarray of float, shape (n,)
        Full scale is 1.0. One shorter than a frame is followed by silence.
    rate_hz : int
        Sample rate, at least 8000 Hz.

    Returns
    -------
    Measures

    Raises
    ------
    ValueError
        When the sound isn't one row of finite samples or the rate is too low.
    """
    sound = np.asarray(sound, dtype=np.float32)
    if sound.ndim != 1 or not len(sound):
        raise ValueError(f"a sound is one row of samples, not of shape {sound.shape}")
    if rate_hz < LEAST_RATE_HZ:
        raise ValueError(f"{rate_hz} Hz is too low a rate: {LEAST_RATE_HZ} Hz at least")
    size = 1 << round(np.log2(WINDOW_S * rate_hz))
    hop = round(HOP_S * rate_hz)
    energy = np.vdot(sound, sound)
    if not np.isfinite(energy):
        raise ValueError("a sound has only finite samples")
    count = 1 + max(0, len(sound) - size) // hop
    around = padded(sound, (count + size // hop) * hop)
    mean_square, peak, zero_crossings = frame_levels(around, count, hop, size)
    mel_db, centroid_hz, roll_off_hz, flatness = spectral_measures(
        np.lib.stride_tricks.sliding_window_view(around, size)[::hop][:count], rate_hz
    )
    f0_hz, aperiodicity = fundamentals(sound, count, hop, rate_hz)
    momentary_lkfs, loudness_lkfs = loudness(sound, rate_hz)
    return Measures(
        rate_hz, hop, size,
        rms_dbfs=_level_dbfs(mean_square),
        peak_dbfs=_dbfs(peak),
        zero_crossings=zero_crossings,
        mel_db=mel_db,
        centroid_hz=centroid_hz,
        roll_off_hz=roll_off_hz,
        flatness=flatness,
        onset_db=onset_strength(mel_db),
        f0_hz=f0_hz,
        aperiodicity=aperiodicity,
        momentary_lkfs=momentary_lkfs,
        whole_rms_dbfs=float(_level_dbfs(energy / len(sound))),
        whole_peak_dbfs=float(_dbfs(max(sound.max(), -sound.min()))),
        loudness_lkfs=loudness_lkfs,
    )


def _dbfs(amplitude):
    return (20.0 * np.log10(np.maximum(amplitude, SILENCE), dtype=np.float64)).astype(np.float32)


def _level_dbfs(mean_square):
    """Give the level of a mean square; that of a full-scale sine is a half."""
    return _dbfs(np.sqrt(2.0 * mean_square))
