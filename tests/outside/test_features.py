"""What the judge measures of a sound, its bands and its pitch, against reference libraries, on
recorded speech and on made-up sounds.

Bands: kaldi-native-fbank, with the same frames (1024 samples at 48 kHz, 480 apart, the first at
sample 0), periodic Hann window and 26 triangles straight over mel from 90 to 9000 Hz; equal in
power within 3e-4 (0.0013 dB). It works in float32 as we do: what lies 80 dB below a frame's strongest band is
left out, since there both have nothing but rounding.

Pitch: librosa 0.10's YIN, which sums over a window of fixed length as the paper does, and its pYIN
(M. Mauch and S. Dixon, ICASSP 2014).
"""

from pathlib import Path

import kaldi_native_fbank
import librosa
import numpy as np
import pytest
import soundfile

from rig.listen.measures.features import BAND_HIGH_HZ, BAND_LOW_HZ, BANDS, SILENCE_DB, frames
from rig.listen.measures.pitch import pitch_track

# Speech of a person, 48 kHz, shipped with Debian's alsa-utils.
SPEECH = sorted(Path("/usr/share/sounds/alsa").glob("*_*.wav"))
RATE_HZ = 48_000
CLOSE = 3e-4
ROUNDING_DB = 80.0


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
        "faint": 1e-2 * sweep + 1e-3 * noise,
        "off centre": 0.5 + 0.2 * noise,
        "short": sweep[: int(0.03 * rate_hz)],
    }


def sounds():
    for path in SPEECH:
        yield pytest.param(RATE_HZ, lambda p=path: soundfile.read(p)[0], id=path.stem)
    for rate_hz in (48_000, 44_100, 32_000):
        for name in made_up(8000):
            make = lambda r=rate_hz, n=name: made_up(r)[n]
            yield pytest.param(rate_hz, make, id=f"{name}-{rate_hz}")


def reference_bands(sound, rate_hz):
    """Give the power of each band, a full-scale sine's power being shared by two of them."""
    size, hop = 1 << round(np.log2(0.0213 * rate_hz)), round(0.010 * rate_hz)
    options = kaldi_native_fbank.FbankOptions()
    options.use_energy = options.use_log_fbank = False
    given = options.frame_opts
    given.samp_freq, given.window_type = rate_hz, "hann"
    # A quarter of a sample more, for lengths are cut off to whole samples.
    given.frame_length_ms = 1000 * (size + 0.25) / rate_hz
    given.frame_shift_ms = 1000 * (hop + 0.25) / rate_hz
    given.dither = given.preemph_coeff = 0
    given.remove_dc_offset = False
    bands = options.mel_opts
    bands.num_bins, bands.low_freq, bands.high_freq = BANDS, BAND_LOW_HZ, BAND_HIGH_HZ
    bank = kaldi_native_fbank.OnlineFbank(options)
    bank.accept_waveform(rate_hz, sound.astype(np.float32).tolist())
    bank.input_finished()
    power = np.array([bank.get_frame(i) for i in range(bank.num_frames_ready)])
    return power * (2 / np.hanning(size + 1)[:-1].sum()) ** 2


@pytest.mark.parametrize(("rate_hz", "make"), list(sounds()))
def test_bands(rate_hz, make):
    sound = make()
    ours, reference = frames(sound, rate_hz), reference_bands(sound, rate_hz)
    floor = 10 ** (SILENCE_DB / 10)  # is added to each band, and to their sum
    assert len(ours) == len(reference)
    power = 10 ** (ours.mel_db.astype(float) / 10)
    heard = reference > reference.max(axis=1, keepdims=True) * 10 ** (-ROUNDING_DB / 10)
    assert heard.sum() >= 0.1 * heard.size
    np.testing.assert_allclose(power[heard], reference[heard] + floor, rtol=CLOSE)
    level = 10 ** (ours.level_db.astype(float) / 10)
    np.testing.assert_allclose(level, reference.sum(axis=1) + floor, rtol=CLOSE)


@pytest.mark.parametrize(("rate_hz", "make"), list(sounds()))
def test_the_pitch_is_that_of_yin(rate_hz, make):
    sound = make().astype(np.float32).astype(float)
    f0_hz, aperiodicity = pitch_track(sound, rate_hz)
    longest, hop = int(np.ceil(rate_hz / 60.0)), round(0.010 * rate_hz)
    # librosa compares from each frame's second sample on, and takes energies below 1e-6 as zero.
    reference = librosa.yin(
        1e3 * np.pad(sound, (1, 2 * longest)), fmin=rate_hz / longest, fmax=2000, sr=rate_hz,
        frame_length=2 * longest + 1, win_length=longest, hop_length=hop, trough_threshold=0.15,
        center=False,
    )[: len(f0_hz)]
    # At the range's upper end the two round the shortest period otherwise.
    sure = np.isfinite(f0_hz) & (aperiodicity < 0.1) & (f0_hz < 1900)
    np.testing.assert_allclose(f0_hz[sure], reference[sure], rtol=1e-3)


def test_the_pitch_of_speech_is_that_of_pyin():
    # The same difference function followed by a search for the likeliest track, which corrects
    # octave errors and goes on through frames that are hardly voiced.
    off, heard = [], []
    for path in SPEECH[:4]:
        sound, rate_hz = soundfile.read(path)
        f0_hz, _ = pitch_track(sound, rate_hz)
        reference_hz, voiced, _ = librosa.pyin(
            np.pad(sound, (0, 1922)), fmin=60, fmax=600, sr=rate_hz, frame_length=1922,
            win_length=960, hop_length=480, center=False,
        )
        length = min(len(f0_hz), len(reference_hz))
        f0_hz, reference_hz, voiced = f0_hz[:length], reference_hz[:length], voiced[:length]
        ours = np.isfinite(f0_hz)
        heard.append(ours[voiced])
        both = voiced & ours
        off.append(np.abs(1200 * np.log2(f0_hz[both] / reference_hz[both])))
    off, heard = np.concatenate(off), np.concatenate(heard)
    assert len(off) > 150
    assert np.mean(off < 50) >= 0.95
    assert heard.mean() >= 0.85


def test_the_speech_is_there_and_has_voiced_frames():
    assert len(SPEECH) >= 8
    voiced = sum(np.isfinite(pitch_track(soundfile.read(p)[0], RATE_HZ)[0]).sum() for p in SPEECH)
    assert voiced > 200
