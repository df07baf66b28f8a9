"""Takes come back as they were given, and a name always means a whole file."""

import errno
import os

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from rig.errors import DiskFull, LogError
from rig.log import takes
from rig.pcm import FULL_SCALE, from_pcm, packed, to_pcm, unpacked

STEPS = hnp.arrays(np.int16, st.integers(1, 5000), elements=st.integers(-32768, 32767))


@given(STEPS)
def test_pcm_steps_come_back_exactly(pcm):
    assert np.array_equal(to_pcm(from_pcm(pcm)), pcm)


@given(STEPS)
def test_what_a_take_holds_is_kept_in_half_the_room(pcm):
    held = packed(from_pcm(pcm))
    assert held.nbytes == 2 * len(pcm)
    assert np.array_equal(unpacked(held), from_pcm(pcm))


@given(hnp.arrays(np.float32, st.integers(1, 300), elements=st.floats(-2, 2, width=32)))
def test_any_samples_are_kept_exactly(samples):
    assert np.array_equal(unpacked(packed(samples)), samples)


@given(hnp.arrays(np.float32, st.integers(1, 300),
                  elements=st.floats(-1, 1 - 1 / 32768, width=32)))
def test_any_sample_comes_back_within_half_a_step(samples):
    error = np.abs(from_pcm(to_pcm(samples)) - samples)
    assert error.max() <= 0.5 / FULL_SCALE


def test_what_lies_beyond_full_scale_is_clipped_not_wrapped():
    assert to_pcm(np.array([-3.0, 1.0, 7.0])).tolist() == [-32768, 32767, 32767]


@pytest.fixture
def folder(tmp_path):
    (tmp_path / takes.TAKES).mkdir()
    return tmp_path


@pytest.mark.parametrize("length", [1, 15, 4096, 4097, 20_000])
def test_a_take_is_read_back_bit_for_bit(folder, length):
    pcm = np.random.default_rng(length).integers(-32768, 32768, length).astype(np.int16)
    stored = takes.write_take(folder, 7, from_pcm(pcm), 48_000)
    samples, rate_hz = takes.read_take(folder / stored.path)
    assert (stored.path, stored.samples, rate_hz) == ("takes/000007.flac", length, 48_000)
    assert samples.dtype == np.float32
    assert np.array_equal(to_pcm(samples), pcm)
    assert os.listdir(folder / takes.TAKES) == ["000007.flac"]


def test_a_take_cut_short_or_missing_is_named(folder):
    stored = takes.write_take(folder, 1, np.zeros(9000, np.float32), 48_000)
    path = folder / stored.path
    path.write_bytes(path.read_bytes()[:20])
    with pytest.raises(LogError, match=r"000001\.flac: the take can't be read as FLAC"):
        takes.read_take(path)
    path.unlink()
    with pytest.raises(LogError, match=r"000001\.flac: the take is missing"):
        takes.read_take(path)


def test_no_room_leaves_nothing_behind(folder):
    room = os.statvfs(folder)
    more_than_there_is = room.f_blocks * room.f_frsize * 2
    with pytest.raises(DiskFull, match="no room left") as caught:
        takes.write_take(folder, 1, np.zeros(9000, np.float32), 48_000, more_than_there_is)
    assert "\n" not in str(caught.value)
    assert os.listdir(folder / takes.TAKES) == []


def test_another_trouble_of_the_disk_says_which(tmp_path):
    trouble = takes.disk_error(OSError(errno.EIO, os.strerror(errno.EIO)), tmp_path)
    assert not isinstance(trouble, DiskFull)
    assert os.strerror(errno.EIO) in str(trouble)


def test_numbers_and_names_are_each_others_inverse(tmp_path):
    for number in (1, 999_999, 1_000_000):
        assert takes.take_number(tmp_path / takes.take_path(number)) == number
    for other in ("x.flac", "000001.part", "1.flac", "000001.flac.bak"):
        assert takes.take_number(tmp_path / other) is None
