"""A baseline that lasts: so many clean takes at most, and the same however it was come by."""

from dataclasses import replace
from functools import cache

import numpy as np
import phrases
import pytest
from phrases import RATE_HZ, SPAN, bent, take

from rig.listen import THRESHOLDS, Baseline, Ear
from rig.listen.judging import kept as kept_module
from rig.listen.judging.kept import Kept

# A third of what is kept in earnest, so that it's soon over.
T = replace(THRESHOLDS.judging, kept_takes=24, first_takes=9, latest_takes=6)
phrase = cache(phrases.phrase)
MANY = T.kept_takes + 12


@pytest.fixture(autouse=True)
def fewer(monkeypatch):
    monkeypatch.setattr(kept_module, "T", T)


def learnt(count, which=lambda i: i % 3, seed=31):
    rng = np.random.default_rng(seed)
    return Kept.of(((take(phrase(which(i)), rng), SPAN) for i in range(count)), RATE_HZ)


def test_no_more_takes_are_kept_than_stated_and_those_are_spread_over_the_time():
    kept = learnt(MANY)
    numbers = [one.unlaid.number for one in kept.takes]
    assert len(numbers) == T.kept_takes
    assert kept.learnt == MANY
    assert numbers == sorted(numbers)
    assert numbers[: T.first_takes] == list(range(T.first_takes))
    assert numbers[-T.latest_takes :] == list(range(MANY - T.latest_takes, MANY))
    assert np.diff(numbers).max() <= 9  # of each phrase, every third take, one in three or more
    assert kept.local_db.shape == (T.kept_takes, T.kept_takes)


def test_a_phrase_that_is_seldom_heard_stays():
    kept = learnt(MANY, which=lambda i: 7 if i in (12, 18) else 1)
    assert {12, 18} <= {one.unlaid.number for one in kept.takes}
    assert Baseline(kept).heard_once == []


def test_how_far_takes_are_apart_is_the_same_as_measured_anew():
    kept = learnt(T.first_takes + 12)
    step_by_step = [kept.local_db, kept.mean_db, kept.lead_in_db]
    kept._forget()
    kept.compare_all()
    for before, anew in zip(step_by_step, [kept.local_db, kept.mean_db, kept.lead_in_db], strict=True):
        np.testing.assert_allclose(before, anew, rtol=1e-5, atol=1e-5)


def test_the_same_takes_give_the_same_ear_whether_it_was_asked_meanwhile_or_not():
    rng = np.random.default_rng(32)
    asked, silent = Ear(RATE_HZ), Ear(RATE_HZ)
    for i in range(MANY):
        sound = take(phrase(i % 3), rng)
        for ear in (asked, silent):
            ear.learn("moo", sound, SPAN)
        if i >= T.least_takes and not i % 2:
            asked.judge("moo", take(phrase(0), rng), SPAN)
    fresh = take(bent(phrase(1), lambda rest: 0.8 * rest), rng)
    assert asked.judge("moo", fresh, SPAN) == silent.judge("moo", fresh, SPAN)


def test_the_floor_follows_a_room_that_becomes_louder():
    rng = np.random.default_rng(33)
    kept = learnt(T.first_takes + 4)
    before = kept.noise_db
    for _ in range(3 * T.kept_takes):
        kept.add(take(phrase(0), rng, noise_dbfs=-50.0), SPAN)
    assert np.median(kept.noise_db - before) == pytest.approx(12.0, abs=3.0)
    assert kept.floor_db == pytest.approx(kept.noise_db + T.floor_over_noise_db, abs=1e-4)


def test_beginnings_that_no_kept_take_has_are_forgotten():
    rng = np.random.default_rng(34)
    kept = Kept(RATE_HZ)
    for i in range(MANY):  # each begins otherwise
        kept.add(take(phrase(100 + i), rng), SPAN)
    assert len(kept.aligner) <= T.kept_takes
