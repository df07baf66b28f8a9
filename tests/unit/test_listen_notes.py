"""The ear on a toy that plays a note: a tone that dies away, made here and changed by a known amount."""

import numpy as np
import pytest

from rig.listen import THRESHOLDS, Ear, Span

RATE_HZ = 48_000
PRESS_S, CLOSE_S, OPEN_S, LENGTH_S = 0.1, 0.4, 1.2, 2.0
SPAN = Span.from_seconds(PRESS_S, CLOSE_S, OPEN_S, LENGTH_S)
NOTE_HZ = 262.0
AFTER_CLOSING_S = np.maximum(0.0, np.arange(int(LENGTH_S * RATE_HZ)) / RATE_HZ - CLOSE_S)


def take(rng, cents=0.0, decay_s=0.5, changed_decay_s=0.5) -> np.ndarray:
    """Record the note, from the closing on at another pitch and dying away at another rate."""
    starts_s = PRESS_S + rng.uniform(0.0, 0.01)
    t = np.arange(int(LENGTH_S * RATE_HZ)) / RATE_HZ
    hz = NOTE_HZ * np.where(AFTER_CLOSING_S > 0, 2 ** (cents / 1200), 1.0)
    phase = 2 * np.pi * np.cumsum(hz) / RATE_HZ + rng.uniform(0, 2 * np.pi)
    wave = sum(np.sin(k * phase) / k for k in (1, 2, 3, 5, 7))
    dying = -(np.maximum(t - starts_s, 0) - AFTER_CLOSING_S) / decay_s
    dying -= AFTER_CLOSING_S / changed_decay_s
    loud = 0.1 * np.exp(dying) * (t >= starts_s)
    return (loud * wave + rng.normal(0, 5e-4, len(t))).astype(np.float32)


@pytest.fixture(scope="module")
def ear():
    rng = np.random.default_rng(1)
    ear = Ear(RATE_HZ)
    for _ in range(12):
        ear.learn("do", take(rng), SPAN)
    return ear


def judged(ear, **change):
    return ear.judge("do", take(np.random.default_rng(2), **change), SPAN)


def test_the_note_itself_is_none(ear):
    rng = np.random.default_rng(3)
    assert {ear.judge("do", take(rng), SPAN).sound for _ in range(30)} == {"none"}


@pytest.mark.parametrize("cents", [-60.0, -45.0, 45.0, 60.0])
def test_a_note_slightly_out_of_tune_is_a_pitch(ear, cents):
    told = judged(ear, cents=cents)
    assert told.measures["local_db"] < THRESHOLDS.judging.audible_db
    assert told.sound == "pitch", told
    assert told.amount == pytest.approx(cents, abs=10)


@pytest.mark.parametrize("cents", [-12.0, 12.0])
def test_a_note_out_of_tune_by_less_than_anybody_minds_is_none(ear, cents):
    assert judged(ear, cents=cents).sound == "none"


@pytest.mark.parametrize("cents", [-700.0, 400.0])
def test_another_note_is_a_pitch_though_it_is_steady(ear, cents):
    told = judged(ear, cents=cents, changed_decay_s=1e3)
    assert told.sound == "pitch", told
    assert told.amount == pytest.approx(cents, abs=25)


def test_a_note_that_no_longer_dies_away_is_louder(ear):
    told = judged(ear, changed_decay_s=1e3)
    assert told.sound == "level", told
    # Half of what is heard of it has come by 0.8 s: exp(0.8 / 0.5) is 13.9 dB.
    assert told.amount == pytest.approx(13.9, abs=3.0)


def test_a_note_that_dies_away_sooner_is_softer_and_not_cut(ear):
    told = judged(ear, changed_decay_s=0.2)
    assert told.sound == "level", told
    assert told.amount < -3.0


def test_a_note_that_ends_is_cut(ear):
    told = judged(ear, changed_decay_s=0.004)
    assert told.sound == "cut", told
