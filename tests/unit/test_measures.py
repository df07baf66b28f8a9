"""What `measure` gives whatever the sound is."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.listen.levels import frame_levels
from rig.listen.measures import measure

RATE_HZ = 48_000


@pytest.mark.parametrize(
    ("sound", "rate_hz", "why"),
    [
        (np.zeros((100, 2)), RATE_HZ, "one row"),
        (np.zeros(0), RATE_HZ, "one row"),
        (np.array([0.0, np.nan]), RATE_HZ, "finite"),
        (np.zeros(100), 4000, "8000 Hz at least"),
    ],
)
def test_what_can_t_be_measured_is_refused(sound, rate_hz, why):
    with pytest.raises(ValueError, match=why):
        measure(sound, rate_hz)


@settings(max_examples=60)
@given(
    length=st.integers(1, 30_000),
    rate_hz=st.sampled_from([8000, 11_025, 22_050, 44_100, 48_000, 50_000, 96_000]),
    scale=st.sampled_from([0.0, 1e-6, 0.1, 1.0]),
    kind=st.sampled_from(["noise", "constant", "impulse"]),
)
def test_any_sound_has_as_many_values_as_frames(length, rate_hz, scale, kind):
    sound = {
        "noise": np.random.default_rng(length).normal(size=length),
        "constant": np.ones(length),
        "impulse": np.eye(1, length, length // 2)[0],
    }[kind]
    heard = measure(scale * sound, rate_hz)
    frames = 1 + max(0, length - heard.size) // heard.hop
    assert heard.mel_db.shape == (frames, 26)
    for name in ("rms_dbfs", "peak_dbfs", "zero_crossings", "centroid_hz", "roll_off_hz",
                 "flatness", "onset_db", "f0_hz", "aperiodicity", "time_s", "voiced"):
        assert getattr(heard, name).shape == (frames,), name
    for name in ("rms_dbfs", "peak_dbfs", "mel_db", "flatness", "onset_db", "aperiodicity"):
        assert np.isfinite(getattr(heard, name)).all(), name
    assert len(heard.momentary_lkfs) == max(0, length * 10 // rate_hz - 3)


@pytest.mark.parametrize(("hop", "size"), [(480, 1024), (128, 256), (100, 201), (100, 64)])
def test_levels_are_those_of_each_frame_however_hops_fit_in(hop, size):
    count = 9
    sound = np.random.default_rng(hop).normal(0, 0.2, (count + size // hop) * hop)
    mean_square, peak, crossings = frame_levels(sound.astype(np.float32), count, hop, size)
    frames = np.lib.stride_tricks.sliding_window_view(sound, size)[::hop][:count]
    np.testing.assert_allclose(mean_square, np.mean(frames**2, axis=1), rtol=1e-5)
    np.testing.assert_allclose(peak, np.abs(frames).max(axis=1), rtol=1e-6)
    assert (crossings == np.count_nonzero(np.diff(frames < 0, axis=1), axis=1)).all()


def test_a_louder_sound_differs_in_level_alone():
    noise = np.random.default_rng(1).normal(0, 0.02, RATE_HZ)
    soft, loud = measure(noise, RATE_HZ), measure(4 * noise, RATE_HZ)
    for name in ("rms_dbfs", "peak_dbfs", "mel_db", "momentary_lkfs", "whole_rms_dbfs",
                 "whole_peak_dbfs", "loudness_lkfs"):
        rise = getattr(loud, name) - getattr(soft, name)
        assert rise == pytest.approx(20 * np.log10(4), abs=1e-3), name
    for name in ("centroid_hz", "flatness", "aperiodicity"):
        assert getattr(loud, name) == pytest.approx(getattr(soft, name), rel=1e-4), name
    for name in ("zero_crossings", "roll_off_hz"):
        assert (getattr(loud, name) == getattr(soft, name)).all(), name


def test_an_event_lies_in_the_frames_around_its_time():
    sound = np.zeros(RATE_HZ)
    sound[RATE_HZ // 2 :] = np.random.default_rng(2).normal(0, 0.1, RATE_HZ // 2)
    heard = measure(sound, RATE_HZ)
    assert heard.time_s[np.argmax(heard.onset_db)] == pytest.approx(0.5, abs=0.011)
    before = heard.rms_dbfs[heard.time_s < 0.5 - heard.size / 2 / RATE_HZ]
    assert before == pytest.approx(np.full(len(before), -120.0), abs=1e-3)
