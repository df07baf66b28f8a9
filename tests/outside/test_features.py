"""Every measure of a sound against librosa's of the same frames, on recorded speech and on
made-up sounds: equal within 1e-4, roll-off within one bin, zero crossings within one.

Parameters, the same on both sides (48 kHz; other rates alike): frames of 1024 samples, 480
apart, the first at sample 0 (`center=False`); periodic Hann window and transform in float64,
the rest in float32 here and in float64 there; powers scaled so that a full-scale sine's add up to 1, with a floor of 1e-12; 26
mel bands from 90 to 9000 Hz, HTK's formula, peaks of 1 (`norm=None`); centroid and 85 % roll-off
of magnitudes, flatness of powers; onset strength of the mel bands in dB, mean, lag of one frame;
YIN from 50 to 2000 Hz over 20 ms, threshold 0.1, 48 kHz being halved before (scipy's
`resample_poly` with 21 taps of `firwin`, 5 kHz). The YIN is that of librosa 0.10, which sums over
a window of fixed length as the paper does; later ones sum up to the frame's end only.
"""

from pathlib import Path

import librosa
import numpy as np
import pytest
import scipy.signal
import soundfile

from rig.listen.features import BAND_HIGH_HZ, BAND_LOW_HZ, BANDS
from rig.listen.measures import measure

# Speech of a person, 48 kHz, shipped with Debian's alsa-utils.
SPEECH = sorted(Path("/usr/share/sounds/alsa").glob("*_*.wav"))
RATE_HZ = 48_000
CLOSE = 1e-4
FLOOR = 1e-12


def made_up(rate_hz):
    """Sounds whose measures are extreme: periodic, noisy, stepped, quiet, loud, short."""
    rng = np.random.default_rng(1)
    t = np.arange(int(1.3 * rate_hz)) / rate_hz
    sweep = 0.4 * np.sin(2 * np.pi * (60 * t + 900 * t**2))
    noise = rng.normal(0, 0.1, len(t))
    return {
        "sine": 0.999 * np.sin(2 * np.pi * 440 * t),
        "square": 0.3 * np.sign(np.sin(2 * np.pi * 231.7 * t + 0.1)),
        "sweep": sweep,
        "noise": noise,
        "noisy sweep": sweep + 0.1 * noise,
        "clicks": (rng.random(len(t)) < 2e-3) * 0.9 + 1e-4 * noise,
        "faint": 1e-3 * sweep + 1e-4 * noise,
        "off centre": 0.5 + 0.2 * noise,
        "short": sweep[: int(0.03 * rate_hz)],
    }


def sounds():
    for path in SPEECH:
        yield pytest.param((RATE_HZ, lambda p=path: soundfile.read(p)[0]), id=path.stem)
    for rate_hz in (48_000, 44_100, 16_000):
        for name in made_up(8000):
            make = lambda r=rate_hz, n=name: made_up(r)[n]
            yield pytest.param((rate_hz, make), id=f"{name}-{rate_hz}")


class Reference:
    """librosa's view of a sound: its frames and spectrum once for all measures."""

    def __init__(self, sound, rate_hz):
        # What we measure is float32: give librosa the very same samples, in float64.
        self.sound = sound.astype(np.float32).astype(np.float64)
        self.rate_hz = rate_hz
        self.hop = round(0.010 * rate_hz)
        self.size = 1 << round(np.log2(0.0213 * rate_hz))
        self.frames = {"frame_length": self.size, "hop_length": self.hop, "center": False}
        window = librosa.filters.get_window("hann", self.size)
        self.magnitude = np.abs(
            librosa.stft(self.sound, n_fft=self.size, hop_length=self.hop, center=False,
                         dtype=np.complex128)
        ) * 2.0 / np.sqrt(self.size * np.sum(window**2))
        self.mel = librosa.feature.melspectrogram(
            S=self.magnitude**2, sr=rate_hz, n_fft=self.size, n_mels=BANDS, fmin=BAND_LOW_HZ,
            fmax=BAND_HIGH_HZ, htk=True, norm=None,
        )

    def f0_hz(self):
        down = {48_000: 2, 44_100: 1, 16_000: 1}[self.rate_hz]
        low = self.sound
        if down > 1:
            taps = scipy.signal.firwin(10 * down + 1, 5000, fs=self.rate_hz)
            low = scipy.signal.resample_poly(self.sound, 1, down, window=taps)
        hop = self.hop // down
        # librosa compares from each frame's second sample on, takes correlations and energies
        # below 1e-6 as zero, and has no frames past the end.
        low = 1e3 * np.pad(low, (1, 4 * hop + 1))
        return librosa.yin(
            low, fmin=self.rate_hz / down / (2 * hop), fmax=2000, sr=self.rate_hz / down,
            frame_length=4 * hop + 1, win_length=2 * hop, hop_length=hop, trough_threshold=0.1,
            center=False,
        )[: self.magnitude.shape[1]]


@pytest.fixture(params=sounds(), scope="module")
def both(request):
    """Our measures of a sound, and librosa's."""
    rate_hz, make = request.param
    sound = make()
    return measure(sound, rate_hz), Reference(sound, rate_hz)


def assert_close(ours, reference, least=0.0):
    np.testing.assert_allclose(ours, reference, rtol=CLOSE, atol=least)


def test_rms(both):
    ours, ref = both
    # librosa's is re 1.0, ours re a full-scale sine, whose root mean square is 1/sqrt(2).
    reference = librosa.feature.rms(y=ref.sound, **ref.frames)[0]
    assert_close(10 ** (ours.rms_dbfs / 20) / np.sqrt(2), reference, least=1e-6)


def test_peak(both):
    ours, ref = both
    frames = librosa.util.frame(ref.sound, frame_length=ref.size, hop_length=ref.hop)
    reference = np.abs(frames).max(axis=0)
    assert_close(10 ** (ours.peak_dbfs / 20), reference, least=1e-6)


def test_zero_crossings(both):
    ours, ref = both
    rate = librosa.feature.zero_crossing_rate(ref.sound, **ref.frames)[0]
    assert np.abs(ours.zero_crossings - rate * ref.size).max() <= 1 + 1e-9


def test_mel_bands(both):
    ours, ref = both
    reference = librosa.power_to_db(ref.mel, amin=FLOOR, top_db=None)
    # In power, since dB go through zero.
    assert_close(10 ** (ours.mel_db.T / 10), 10 ** (reference / 10))


def test_centroid(both):
    ours, ref = both
    reference = librosa.feature.spectral_centroid(
        S=ref.magnitude, sr=ref.rate_hz, n_fft=ref.size
    )[0]
    sounding = ref.magnitude.any(axis=0)
    assert_close(ours.centroid_hz[sounding], reference[sounding])
    assert np.isnan(ours.centroid_hz[~sounding]).all()


def test_roll_off(both):
    ours, ref = both
    reference = librosa.feature.spectral_rolloff(
        S=ref.magnitude, sr=ref.rate_hz, n_fft=ref.size, roll_percent=0.85
    )[0]
    sounding = ref.magnitude.any(axis=0)
    bin_hz = ref.rate_hz / ref.size
    assert np.abs(ours.roll_off_hz - reference)[sounding].max() <= bin_hz * 1.001
    assert np.isnan(ours.roll_off_hz[~sounding]).all()


def test_flatness(both):
    ours, ref = both
    reference = librosa.feature.spectral_flatness(S=ref.magnitude, amin=FLOOR, power=2.0)[0]
    assert_close(ours.flatness, reference)


def test_onset_strength(both):
    ours, ref = both
    reference = librosa.onset.onset_strength(
        S=librosa.power_to_db(ref.mel, amin=FLOOR, top_db=None), sr=ref.rate_hz, center=False,
        lag=1, max_size=1, detrend=False, aggregate=np.mean,
    )
    assert_close(ours.onset_db, reference, least=CLOSE)


def test_fundamental(both):
    ours, ref = both
    reference = ref.f0_hz()
    assert len(reference) == len(ours)
    assert_close(ours.f0_hz[ours.voiced], reference[ours.voiced])


def test_the_speech_is_there_and_has_voiced_frames():
    assert len(SPEECH) >= 8
    voiced = sum(measure(soundfile.read(p)[0], RATE_HZ).voiced.sum() for p in SPEECH)
    assert voiced > 200
