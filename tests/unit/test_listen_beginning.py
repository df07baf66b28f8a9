"""Where a recording's sound begins, on sounds made here."""

import numpy as np
import pytest

from rig.listen import onset

RATE_HZ = 24_000


def recording(begins_s, room_dbfs, seed, rate_hz=RATE_HZ, length_s=1.5):
    """A buzz of six partials, -20 dBFS or so, over white room noise."""
    rng = np.random.default_rng(seed)
    out = rng.normal(0.0, 10 ** (room_dbfs / 20), round(length_s * rate_hz))
    t = np.arange(round(0.6 * rate_hz)) / rate_hz
    buzz = 0.03 * sum(np.sin(2 * np.pi * 190 * k * t + k) for k in (1, 2, 3, 5, 8, 13))
    at = round(begins_s * rate_hz)
    out[at : at + len(t)] += buzz
    return out.astype(np.float32)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 24_000, 44_100, 48_000])
@pytest.mark.parametrize("room_dbfs", [-70, -50, -40])
def test_it_is_found_at_any_rate_in_any_room(rate_hz, room_dbfs):
    for seed, begins_s in enumerate((0.15, 0.333, 0.71)):
        found = onset(recording(begins_s, room_dbfs, seed, rate_hz), rate_hz)
        assert found / rate_hz == pytest.approx(begins_s, abs=0.012)


def test_a_recording_that_begins_with_the_sound():
    assert onset(recording(0.0, -60, 3), RATE_HZ) <= 0.01 * RATE_HZ


@pytest.mark.parametrize("room_dbfs", [-80, -50, -20])
def test_the_room_alone_is_no_beginning(room_dbfs):
    room = np.random.default_rng(4).normal(0.0, 10 ** (room_dbfs / 20), RATE_HZ * 2)
    assert onset(room, RATE_HZ) is None


def test_zeros_are_no_room_where_there_is_one():
    sound = recording(0.5, -50, 5)
    sound[: round(0.2 * RATE_HZ)] = 0.0
    assert onset(sound, RATE_HZ) / RATE_HZ == pytest.approx(0.5, abs=0.012)


def test_zeros_are_the_room_where_there_is_no_other():
    sound = np.zeros(RATE_HZ, np.float32)
    sound[6000:20000] = recording(0.0, -90, 6, length_s=0.6)[:14000]
    assert onset(sound, RATE_HZ) / RATE_HZ == pytest.approx(0.25, abs=0.012)
    assert onset(np.zeros(RATE_HZ), RATE_HZ) is None


def test_a_click_is_no_beginning():
    sound = recording(0.5, -60, 7)
    sound[4800:4850] += 0.5
    assert onset(sound, RATE_HZ) / RATE_HZ == pytest.approx(0.5, abs=0.012)


def test_what_is_too_short_has_none():
    assert onset(np.ones(100), RATE_HZ) is None
