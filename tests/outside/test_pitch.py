"""The fundamental against ISO 16 (A = 440 Hz) and the equal-tempered scale."""

import numpy as np
import pytest

from rig.listen.measures.features import frames
from rig.listen.measures.pitch import pitch_track

RATE_HZ = 48_000
# ISO 16: the note A above middle C is 440 Hz. Equal temperament: 2^(n/12) (handbook).
LADDER_HZ = [440.0 * 2.0 ** (n / 12) for n in range(-36, 25)]


def tone(hz, harmonics):
    t = np.arange(int(0.3 * RATE_HZ)) / RATE_HZ
    voice = sum(np.sin(2 * np.pi * hz * k * t) / k for k in range(1, harmonics + 1))
    return (0.2 * voice).astype(np.float32)


@pytest.mark.parametrize("harmonics", [1, 6])
@pytest.mark.parametrize("hz", LADDER_HZ, ids=lambda hz: f"{hz:.1f}Hz")
def test_a_ladder_of_notes_reads_within_5_cents(hz, harmonics):
    f0, _ = pitch_track(tone(hz, harmonics), RATE_HZ, low_hz=50.0)
    assert np.isfinite(f0).all()
    assert np.abs(1200 * np.log2(f0 / hz)).max() < 5.0


def test_noise_has_no_pitch():
    noise = np.random.default_rng(1).normal(0, 0.1, RATE_HZ // 2).astype(np.float32)
    f0, _ = pitch_track(noise, RATE_HZ)
    assert np.isnan(f0).mean() > 0.9


@pytest.mark.parametrize("hz", [250.0, 997.0, 3000.0])
def test_a_full_scale_sine_reads_its_power(hz):
    # A full-scale sine is 0 dBFS (AES17's convention, from memory); its power is shared by
    # two neighbouring bands whose weights add up to one, so their sum keeps it.
    t = np.arange(RATE_HZ) / RATE_HZ
    level = frames(np.sin(2 * np.pi * hz * t).astype(np.float32), RATE_HZ).level_db
    assert np.abs(np.median(level)) < 2.5
