"""Marker pulses are found to the sample, however the stream is cut, and tie the timeline."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.bench.base import Timeline
from rig.bench.marker import PulseFinder, find_pulses, tie
from rig.errors import CaptureLost

RATE_HZ = 48_000
PULSE = 240


def recording(edges, length, level=0.5, noise=0.0, seed=1):
    marker = np.random.default_rng(seed).normal(0.0, 1.0, length).astype(np.float32) * noise
    for edge in edges:
        marker[edge : edge + PULSE] += level
    return marker


def test_two_pulses_are_found_to_the_sample():
    marker = recording([1_000, 90_000], 96_000, noise=0.01)
    assert find_pulses(marker, RATE_HZ, 500) == [1_500, 90_500]


def test_clicks_and_hum_are_no_pulses():
    marker = 0.05 * np.sin(2 * np.pi * 50 * np.arange(48_000) / RATE_HZ).astype(np.float32)
    marker[10_000:10_020] = 0.9
    assert find_pulses(marker, RATE_HZ) == []


def test_a_pulse_that_sags_through_a_transformer_counts_once():
    # High-pass at 20 Hz: the pulse droops to about half and undershoots behind.
    droop = 0.5 * np.exp(-2 * np.pi * 20 * np.arange(PULSE) / RATE_HZ)
    marker = np.zeros(9_600, dtype=np.float32)
    marker[3_000 : 3_000 + PULSE] = droop
    marker[3_000 + PULSE : 4_000] = -0.2
    assert find_pulses(marker, RATE_HZ) == [3_000]


def test_a_recording_that_begins_inside_a_pulse_leaves_it_out():
    marker = recording([0, 5_000], 9_600)
    assert find_pulses(marker, RATE_HZ) == [5_000]


@settings(max_examples=60)
@given(
    edges=st.lists(st.integers(1, 18), min_size=0, max_size=5, unique=True),
    offset=st.integers(0, 900),
    cuts=st.lists(st.integers(0, 20_000), max_size=25),
)
def test_cutting_the_stream_anywhere_changes_nothing(edges, offset, cuts):
    edges = [1_000 * edge + offset for edge in sorted(edges)]
    marker = recording(edges, 21_000, noise=0.01)
    finder = PulseFinder(RATE_HZ)
    found = []
    borders = [0, *sorted(cuts), len(marker)]
    for begin, end in itertools.pairwise(borders):
        found += finder.feed(marker[begin:end], begin)
    assert found == edges


def test_a_gap_in_the_stream_makes_no_edge():
    finder = PulseFinder(RATE_HZ)
    assert finder.feed(np.zeros(100, dtype=np.float32), 0) == []
    # The stream goes on inside a pulse whose edge fell into the gap.
    assert finder.feed(np.full(200, 0.5, dtype=np.float32), 5_000) == []


TIMELINE = Timeline(
    press_us=60_000, close_us=300_000, release_us=180_000, open_us=1_500_000, end_us=2_000_000
)


@given(ratio=st.floats(0.992, 1.008), start=st.integers(0, 10**10))
def test_steps_land_in_proportion_for_any_clock(ratio, start):
    end = start + round(96_000 * ratio)
    tied = tie(TIMELINE, start, end, RATE_HZ)
    assert (tied.start, tied.end) == (start, end)
    assert abs(tied.press - start - 0.03 * (end - start)) <= 1
    assert abs(tied.close - start - 0.15 * (end - start)) <= 1
    assert abs(tied.release - start - 0.09 * (end - start)) <= 1
    assert abs(tied.open - start - 0.75 * (end - start)) <= 1
    assert tied.clock_ratio == pytest.approx(ratio, abs=1e-5)


def test_steps_that_never_happened_stay_none():
    line = Timeline(press_us=None, close_us=None, release_us=None, open_us=None, end_us=800_000)
    tied = tie(line, 10, 10 + 38_400, RATE_HZ)
    assert (tied.press, tied.close, tied.release, tied.open) == (None, None, None, None)


@pytest.mark.parametrize("samples", [-1_200, 1_200, -96_000, -200_000])
def test_missing_or_doubled_sound_is_lost(samples):
    with pytest.raises(CaptureLost) as caught:
        tie(TIMELINE, 1_000, 1_000 + 96_000 + samples, RATE_HZ)
    assert "\n" not in str(caught.value)


def test_with_the_clocks_known_one_lost_block_of_10_ms_shows():
    end = 1_000 + 96_096
    known = tie(TIMELINE, 1_000, end, RATE_HZ).clock_ratio
    tie(TIMELINE, 1_000, end, RATE_HZ, known)
    with pytest.raises(CaptureLost):
        tie(TIMELINE, 1_000, end - 480, RATE_HZ, known)
