"""True peaks against what the standard says of measuring them."""

import math

import numpy as np
import pytest

from rig.choose.sounds import true_peak

# ITU-R BS.1770-4, annex 2 (from memory, no copy was at hand): at n times the rate a tone of
# frequency f, as a share of the sampling rate, is read too low by at most 20 log10 cos(pi f / n).
OVERSAMPLED = 4


@pytest.mark.parametrize("share", [0.05, 0.125, 0.25, 0.333, 0.4])
@pytest.mark.parametrize("phase", np.linspace(0, math.pi, 7))
def test_a_tone_is_read_too_low_by_no_more_than_the_standard_says(share, phase):
    n = np.arange(4800)
    tone = np.sin(2 * math.pi * share * n + phase) * np.hanning(len(n)) ** 0.1
    off_db = 20 * math.log10(true_peak(tone))
    # 0.1 dB more for the ripple of the interpolating filter.
    assert 20 * math.log10(math.cos(math.pi * share / OVERSAMPLED)) - 0.1 <= off_db <= 0.1


def test_a_tone_between_its_samples_is_seen():
    # a quarter of the rate at 45 degrees: all samples at 0.707, -3 dB
    tone = np.sin(math.pi / 2 * np.arange(4800) + math.pi / 4) * np.hanning(4800) ** 0.1
    assert np.abs(tone).max() == pytest.approx(math.sqrt(0.5), abs=1e-4)
    assert true_peak(tone) == pytest.approx(1.0, abs=0.01)
