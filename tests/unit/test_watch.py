"""Watching a stream for the toy's onset and for taps, among handling noise; all sounds made here."""

import numpy as np
import pytest

from rig.listen import frames, loud_level_db
from rig.listen.watch import Watch, stretches, trigger_level_db

RATE_HZ = 48_000
TOY_RMS = 0.1


def room(seconds, seed=1, below_db=40.0):
    rng = np.random.default_rng(seed)
    return rng.normal(0.0, TOY_RMS * 10 ** (-below_db / 20), round(seconds * RATE_HZ))


def buzz(seconds, rms=TOY_RMS):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    wave = sum(np.sin(2 * np.pi * 190 * k * t + k) for k in (1, 2, 3, 5, 8, 13))
    return wave * rms / np.std(wave)


def click(peak, seed=5):
    """A short broadband click of about 5 ms."""
    rng = np.random.default_rng(seed)
    return peak * rng.uniform(-1, 1, 240) * np.exp(-np.arange(240) / 60)


def add(sound, at_s, what):
    at = round(at_s * RATE_HZ)
    sound[at : at + len(what)] += what
    return sound


def watch(sound, clear_s=0.0, chunk=960):
    quiet = frames(room(1.0, seed=99), RATE_HZ)
    toy_db = loud_level_db(frames(buzz(1.0), RATE_HZ).level_db)
    one = Watch(
        RATE_HZ, trigger_level_db(loud_level_db(quiet.level_db), toy_db),
        quiet.mel_db.mean(axis=0), clear_s,
    )
    taps = []
    for at in range(0, len(sound), chunk):
        one.feed(sound[at : at + chunk])
        if one.taps:
            taps.append(one.taps)
    return one, taps


@pytest.mark.parametrize("begins_s", [0.5, 0.837, 1.4])
@pytest.mark.parametrize("chunk", [960, 4800, 48_000])
def test_the_onset_is_found_whatever_the_pieces_are(begins_s, chunk):
    heard, taps = watch(add(room(2.5), begins_s, buzz(0.8)), chunk=chunk)
    assert heard.onset / RATE_HZ == pytest.approx(begins_s, abs=0.015)
    assert not taps


def test_rustle_and_clicks_of_hands_are_no_onset():
    rng = np.random.default_rng(3)
    sound = room(4.0)
    for at_s in (0.3, 1.1, 1.9):  # 20 dB below the toy, 0.4 s long
        add(sound, at_s, rng.normal(0.0, TOY_RMS / 10, round(0.4 * RATE_HZ)))
    for at_s in (0.7, 0.95, 1.6, 1.75):
        add(sound, at_s, click(0.05))
    heard, taps = watch(add(sound, 3.0, buzz(0.8)))
    assert heard.onset / RATE_HZ == pytest.approx(3.0, abs=0.015)
    assert not taps


@pytest.mark.parametrize("count", [2, 3])
@pytest.mark.parametrize("apart_s", [0.15, 0.3, 0.5])
def test_taps_are_counted_once_they_are_over(count, apart_s):
    sound = room(3.0)
    for n in range(count):
        add(sound, 0.5 + n * apart_s, click(0.9, seed=n))
    heard, taps = watch(sound)
    assert set(taps) == {count}
    assert heard.onset is None


@pytest.mark.parametrize("seed", range(8))
def test_soft_taps_are_heard_wherever_they_fall_among_the_windows(seed):
    for late_ms in range(10):
        sound = room(3.0)
        for n in range(2):
            add(sound, 0.5 + n * 0.25 + late_ms / 1000, click(0.8, seed=2 * seed + n))
        assert set(watch(sound)[1]) == {2}, late_ms


def test_one_tap_or_two_far_apart_say_nothing():
    sound = room(4.0)
    for at_s in (0.5, 1.6):
        add(sound, at_s, click(0.9))
    assert watch(sound)[1] == []


def test_a_beep_is_no_tap():
    sound = room(3.0)
    t = np.arange(round(0.02 * RATE_HZ)) / RATE_HZ
    for at_s in (0.5, 0.8):  # narrow: it fills few bands
        add(sound, at_s, 0.8 * np.sin(2 * np.pi * 1500 * t) * np.hanning(len(t)))
    assert watch(sound)[1] == []


def test_a_ticking_toy_is_a_sound_and_no_tapping():
    sound = room(3.0)
    for n in range(12):
        add(sound, 0.5 + n * 0.15, click(0.9, seed=n))
    heard, _ = watch(sound)
    assert heard.onset / RATE_HZ == pytest.approx(0.5, abs=0.015)
    assert heard.taps == 0


def test_the_program_s_own_tone_is_passed_over_and_a_press_too_soon_is_told():
    sound = add(room(2.0), 0.1, buzz(0.08))
    heard, _ = watch(add(sound, 0.9, buzz(0.6)), clear_s=0.45)
    assert heard.onset / RATE_HZ == pytest.approx(0.9, abs=0.015)
    assert not heard.too_soon
    heard, _ = watch(add(room(2.0), 0.2, buzz(1.2)), clear_s=0.45)
    assert heard.too_soon
    assert heard.onset is None


def test_taps_are_heard_though_they_begin_with_the_program_s_own_tone():
    t = np.arange(round(0.15 * RATE_HZ)) / RATE_HZ
    sound = add(room(3.0), 0.05, 0.3 * np.sin(2 * np.pi * 1000 * t) * np.hanning(len(t)))
    for at_s in (0.3, 0.6):
        add(sound, at_s, click(0.9))
    heard, taps = watch(sound, clear_s=0.45)
    assert set(taps) == {2}
    assert heard.onset is None


def test_quiet_is_told_after_the_sound_ended():
    sound = add(room(2.0), 0.2, buzz(0.8))
    assert not watch(sound[: RATE_HZ])[0].quiet()
    assert watch(sound)[0].quiet()


def test_stretches_join_over_short_gaps():
    level = np.full(60, -60.0)
    level[[10, 11, 15, 16, 30]] = -10.0
    found = [(one.first, one.end) for one in stretches(level, -20.0)]
    assert found == [(10, 17), (30, 31)]
    assert stretches(np.full(5, -60.0), -20.0) == []


def test_the_trigger_lies_between_room_and_toy():
    assert trigger_level_db(-60.0) == -48.0
    assert trigger_level_db(-60.0, -20.0) == -35.0
    assert trigger_level_db(-40.0, -30.0) == -28.0  # a loud room
