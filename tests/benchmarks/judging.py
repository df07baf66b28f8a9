"""Takes measured per second, beside librosa and pyloudnorm doing the same.

    python tests/benchmarks/judging.py [--takes 20] [--seconds 2.5]

The takes are recorded speech (alsa-utils) at 48 kHz, cut to one length, with a room's noise.
All measure every one of them in turn, several times, on one core: everything that
`rig.listen.measures.Measures` holds, from the same frames. librosa is spared what it can be:
it transforms once, in float32, and reads all spectral measures from that. Its `yin` doesn't
say which frames are voiced; `pyin` does, so both are there. Times are those of the processor;
of the repeats the median counts.
"""

import argparse
import os
import time
from pathlib import Path

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ[name] = "1"

import librosa
import numpy as np
import pyloudnorm
import soundfile

from rig.listen.features import BAND_HIGH_HZ, BAND_LOW_HZ, BANDS
from rig.listen.levels import frame_levels
from rig.listen.loudness import loudness
from rig.listen.measures import measure
from rig.listen.pitch import fundamentals, padded
from rig.listen.spectrum import onset_strength, spectral_measures

RATE_HZ = 48_000
SIZE, HOP = 1024, 480
REPEATS = 15


def takes(number: int, length_s: float) -> list[np.ndarray]:
    """Give takes of speech, each from another place on, 40 dB above white noise."""
    paths = sorted(Path("/usr/share/sounds/alsa").glob("*_*.wav"))
    speech = np.concatenate([soundfile.read(path)[0] for path in paths])
    rng = np.random.default_rng(1)
    length = round(length_s * RATE_HZ)
    speech = np.tile(speech, 1 + 2 * length // len(speech))
    noise = np.sqrt(np.mean(speech**2)) * 1e-2
    starts = rng.integers(0, len(speech) - length, number)
    return [
        (speech[s : s + length] + rng.normal(0, noise, length)).astype(np.float32) for s in starts
    ]


METER = pyloudnorm.Meter(RATE_HZ, filter_class="DeMan")


def reference(sound: np.ndarray, pitch=librosa.yin) -> dict[str, np.ndarray]:
    """Measure a take with librosa, its `yin` or `pyin`, and pyloudnorm."""
    frames = {"frame_length": SIZE, "hop_length": HOP, "center": False}
    magnitude = np.abs(librosa.stft(sound, n_fft=SIZE, hop_length=HOP, center=False))
    magnitude *= np.float32(2.0 / (SIZE * np.sqrt(0.375)))
    mel_db = librosa.power_to_db(
        librosa.feature.melspectrogram(
            S=magnitude**2, sr=RATE_HZ, n_fft=SIZE, n_mels=BANDS, fmin=BAND_LOW_HZ,
            fmax=BAND_HIGH_HZ, htk=True, norm=None,
        ), amin=1e-12, top_db=None,
    )
    spectral = {"S": magnitude, "sr": RATE_HZ, "n_fft": SIZE}
    return {
        "rms": librosa.feature.rms(y=sound, **frames),
        "peak": np.abs(librosa.util.frame(sound, frame_length=SIZE, hop_length=HOP)).max(axis=0),
        "zero_crossings": librosa.feature.zero_crossing_rate(sound, **frames),
        "mel_db": mel_db,
        "centroid_hz": librosa.feature.spectral_centroid(**spectral),
        "roll_off_hz": librosa.feature.spectral_rolloff(**spectral),
        "flatness": librosa.feature.spectral_flatness(S=magnitude, amin=1e-12),
        "onset_db": librosa.onset.onset_strength(S=mel_db, sr=RATE_HZ, center=False),
        "f0_hz": pitch(
            sound, fmin=50, fmax=2000, sr=RATE_HZ, frame_length=2048, win_length=2 * HOP,
            hop_length=HOP, center=False,
        ),
        "loudness_lkfs": METER.integrated_loudness(sound),
    }


def own_parts(sound: np.ndarray) -> dict:
    """Give the parts of `measure`, to be timed one by one on a whole take."""
    count = 1 + (len(sound) - SIZE) // HOP
    around = padded(sound, (count + SIZE // HOP) * HOP)
    windows = np.lib.stride_tricks.sliding_window_view(sound, SIZE)[::HOP]
    return {
        "levels": lambda: frame_levels(around, count, HOP, SIZE),
        "spectrum": lambda: onset_strength(spectral_measures(windows, RATE_HZ)[0]),
        "fundamental": lambda: fundamentals(sound, count, HOP, RATE_HZ),
        "loudness": lambda: loudness(sound, RATE_HZ),
    }


def spent_s(call, *arguments) -> float:
    begun = time.process_time()
    call(*arguments)
    return time.process_time() - begun


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--takes", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=2.5)
    given = parser.parse_args()
    sounds = takes(given.takes, given.seconds)
    sides = {
        "padsweep": (measure, RATE_HZ),
        "librosa with yin": (reference,),
        "librosa with pyin": (reference, librosa.pyin),
    }
    spent_ms = {name: [] for name in sides}
    for repeat in range(REPEATS + 1):  # the first one compiles and fills the caches
        for name, (call, *rest) in sides.items():
            # pYIN takes so long that a single take, twice, has to do.
            mine = sounds[:1] if call is reference and rest else sounds
            if len(mine) < len(sounds) and repeat > 2:
                continue
            total_s = sum(spent_s(call, sound, *rest) for sound in mine)
            if repeat:
                spent_ms[name].append(total_s / len(mine) * 1e3)
    own_ms = np.array(spent_ms["padsweep"])
    for name, each_ms in spent_ms.items():
        middle = np.median(each_ms)
        ratio = np.median(np.array(each_ms) / own_ms[: len(each_ms)])
        print(f"{name:20s}{1e3 / middle:8.1f} takes/s{middle:9.2f} ms a take"
              f"{given.seconds * 1e3 / middle:7.0f} x real time{ratio:7.1f} x our time")
    print(f"{given.takes} takes of {given.seconds} s; where our time goes, ms a take:")
    for name, part in own_parts(sounds[0]).items():
        print(f"  {name:20s}{np.median([spent_s(part) for _ in range(30)]) * 1e3:8.2f} ms")


if __name__ == "__main__":
    main()
