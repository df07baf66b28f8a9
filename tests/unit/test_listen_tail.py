"""p values of clean takes are what they say: over many baselines, and whatever the toy does."""

import numpy as np
import pytest
from making_logs import bridge
from making_records import record
from phrases import RATE_HZ, SPAN, phrase, take
from scipy.stats import binom

from rig.choose import finds
from rig.listen import Ear
from rig.listen.judging.tail import Tail

BASELINES, FRESH = 2_000, 20


def shares(draw, takes, levels):
    """Give the shares of fresh clean takes at or below each level, over many baselines."""
    rng = np.random.default_rng(21)
    p = np.array([
        [tail.p_value(one) for one in draw(rng, FRESH)]
        for tail in (Tail(draw(rng, takes)) for _ in range(BASELINES))
    ])
    return [float(np.mean(p <= level)) for level in levels]


def lognormal(rng, count):
    return np.exp(rng.normal(0.0, 0.3, count))


def two_kinds_of_phrases(rng, count):
    return np.exp(np.where(rng.random(count) < 0.33, rng.normal(0.8, 0.2, count),
                           rng.normal(0.0, 0.2, count)))


def level_that_varies(rng, count):
    return np.abs(rng.normal(0.0, 1.0, count)) + 0.02


def with_a_beep_in_a_tenth(rng, count):
    return np.exp(np.where(rng.random(count) < 0.1, rng.normal(2.2, 0.2, count),
                           rng.normal(0.0, 0.25, count)))


@pytest.mark.parametrize("draw", [lognormal, level_that_varies])
@pytest.mark.parametrize("takes", [16, 32])
def test_as_many_clean_takes_as_stated_are_at_a_level_or_below(draw, takes):
    levels = np.array([0.05, 0.01, 0.001])
    # A rank comes in steps: with K takes the largest p up to 0.05 is a multiple of 1 / (K + 1).
    steps = 1.0 / (takes + 1)
    reached = np.where(levels >= steps, np.floor(levels / steps) * steps, levels)
    below, above = binom.interval(0.999, BASELINES * FRESH, reached)
    found = np.array(shares(draw, takes, levels)) * BASELINES * FRESH
    # Takes share baselines, so shares vary more than binomial ones: the effective number is
    # smaller, by no more than the fresh takes of one baseline.
    wider = np.sqrt(FRESH) * np.maximum(above - below, 1.0)
    assert np.all(found <= reached * BASELINES * FRESH + wider)
    assert np.all(found[:2] >= 0.4 * reached[:2] * BASELINES * FRESH)


@pytest.mark.parametrize("draw", [two_kinds_of_phrases, with_a_beep_in_a_tenth])
def test_ranks_hold_for_toys_of_several_minds(draw):
    at_17th, = shares(draw, 16, [1 / 17])
    assert at_17th == pytest.approx(1 / 17, rel=0.1)


def test_what_one_clean_take_in_ten_does_needs_many_clean_takes():
    """With 16 it is often not among them: the tail, which can't know of it, says too little."""
    few, = shares(with_a_beep_in_a_tenth, 16, [0.001])
    many, = shares(with_a_beep_in_a_tenth, 48, [0.001])
    assert few > 0.01
    assert many < few / 4


def test_a_p_value_falls_with_distance_and_has_the_ranks_floor_at_the_farthest():
    tail = Tail(np.linspace(1.0, 2.0, 16))
    p = [tail.p_value(one) for one in np.linspace(0.0, 9.0, 200)]
    assert p == sorted(p, reverse=True)
    assert tail.p_value(0.0) == 1.0
    assert tail.p_value(2.0) == pytest.approx(2 / 17)
    assert tail.p_value(2.0 + 1e-9) == pytest.approx(tail.least_rank_p) == pytest.approx(1 / 17)


def music(rng):
    """Give notes of random pitch and start that go on through the whole take."""
    t = np.arange(int(1.9 * RATE_HZ)) / RATE_HZ
    sound = np.zeros(len(t))
    for start_s in np.arange(-rng.uniform(0, 0.3), 1.9, 0.3):
        inside = (t >= start_s) & (t < start_s + 0.3)
        hz = 220.0 * 2 ** (rng.integers(0, 24) / 12)
        sound[inside] += 0.01 * np.sin(2 * np.pi * hz * t[inside])
    return sound


def beep(rng):
    """Give a beep of 0.2 s that a take of 2 s meets once in ten."""
    t = np.arange(int(1.9 * RATE_HZ)) / RATE_HZ
    start_s = rng.uniform(-1.0, 19.0)
    return np.where((t >= start_s) & (t < start_s + 0.2), 0.1 * np.sin(2 * np.pi * 1500 * t), 0.0)


@pytest.mark.parametrize("also", [None, music, beep], ids=["phrases", "music", "beep"])
def test_a_toy_that_does_things_by_itself_gives_no_finds(also):
    rng = np.random.default_rng(22)

    def clean_take():
        sound = phrase(int(rng.integers(4)))
        if also is not None:
            other = also(rng)
            sound = np.pad(sound, (0, max(0, len(other) - len(sound))))[: len(other)] + other
        return take(sound, rng)

    ear = Ear(RATE_HZ)
    for _ in range(48):  # as many as a sweep comes to when hits don't come back
        ear.learn("moo", clean_take(), SPAN)
    records = []

    def touch(pads, kind):
        judged = ear.judge("moo", clean_take(), SPAN)
        records.append(record(
            len(records) + 1, pads, kind, judged.sound, p_value=judged.p_value,
            score=judged.score, touch=bridge(*pads),
        ))
        return judged.sound != "none"

    pads = [(chr(65 + i), chr(65 + j)) for i in range(9) for j in range(i)]
    for pair in pads:
        if touch(pair, "sweep"):
            for _ in range(3):
                if touch(pair, "confirm"):
                    break
    assert finds(records) == []


def test_clean_presses_at_intervals_carry_the_baseline_along_with_a_drift():
    rng = np.random.default_rng(23)

    def at_db(level_db):
        return take(10 ** (level_db / 20) * phrase(1), rng)

    left, carried = Ear(RATE_HZ), Ear(RATE_HZ)
    for _ in range(16):
        sound = at_db(0.0)
        left.learn("moo", sound, SPAN)
        carried.learn("moo", sound, SPAN)
    for level_db in np.arange(-0.5, -5.5, -0.5):
        check = at_db(level_db)
        assert carried.judge("moo", check, SPAN).sound == "none"
        carried.learn("moo", check, SPAN)
    tired = at_db(-5.0)
    assert left.judge("moo", tired, SPAN).sound == "level"
    assert carried.judge("moo", tired, SPAN).sound == "none"
    assert carried.judge("moo", at_db(0.0), SPAN).sound == "none"
