"""The ear on sounds made here, with changes whose kind and amount are known."""

from dataclasses import replace

import numpy as np
import pytest
from phrases import (
    BEFORE_S,
    LEAD_IN_S,
    LENGTH_S,
    RATE_HZ,
    SPAN,
    bent,
    held,
    loop,
    phrase,
    take,
)

from rig.listen import (
    AS_FAR,
    AS_WITH_LEAD,
    BESIDE_LEAD,
    CALIBRATING,
    Baseline,
    Ear,
    is_silent,
    over_db,
    tone_hz,
    with_lead,
)
from rig.listen.judging.kept import Kept


@pytest.fixture(scope="module")
def ear():
    rng = np.random.default_rng(5)
    ear = Ear(RATE_HZ)
    for i in range(15):
        ear.learn("moo", take(phrase(i % 3), rng), SPAN)
    return ear


def test_clean_takes_are_none(ear):
    rng = np.random.default_rng(6)
    judged = [ear.judge("moo", take(phrase(i % 3), rng), SPAN) for i in range(60)]
    assert {j.sound for j in judged} == {"none"}


def test_p_values_of_clean_takes_are_not_small(ear):
    rng = np.random.default_rng(7)
    p = [ear.judge("moo", take(phrase(i % 3), rng), SPAN).p_value for i in range(100)]
    # Of 100 clean takes about one may be at or below 0.01; four or more would have a
    # chance of 2 % (binomial), so the p values are not too small.
    assert np.sum(np.array(p) <= 0.01) < 4


def test_what_a_press_brought_forth(ear):
    rng = np.random.default_rng(8)
    baseline = ear.baseline("moo")
    assert baseline.answer(take(phrase(1), rng), SPAN.press) == "known"
    assert baseline.answer(take(np.zeros(1), rng), SPAN.press) == "none"
    # A phrase that was never heard: the toy answers all the same.
    assert baseline.answer(take(phrase(77), rng), SPAN.press) == "strange"
    # One that begins with a beat, and then pauses, as well.
    beat = np.concatenate([phrase(77)[: int(0.055 * RATE_HZ)], np.zeros(RATE_HZ // 5)])
    assert baseline.answer(take(beat, rng, jitter_s=0.0), SPAN.press) == "strange"
    # A drone that goes on whatever is pressed is no answer.
    drone = 0.1 * np.sin(2 * np.pi * 300 * np.arange(RATE_HZ * 2) / RATE_HZ)
    going_on = take(np.zeros(1), rng) + drone[: int(LENGTH_S * RATE_HZ)].astype(np.float32)
    assert baseline.answer(going_on, SPAN.press) == "none"
    with pytest.raises(ValueError, match="too few"):
        baseline.answer(take(phrase(1), rng)[:4800], SPAN.press)


def test_a_drone_like_the_beginning_of_a_phrase_is_no_answer(ear):
    rng = np.random.default_rng(8)
    baseline = ear.baseline("moo")
    # The first syllable's own tone, somewhat softer, held since before the press.
    colour_rng = np.random.default_rng(1)
    colour_rng.uniform(0.11, 0.2)
    f0, colour = colour_rng.uniform(110, 280), colour_rng.uniform(0.3, 1.0, 14)
    t = np.arange(int(LENGTH_S * RATE_HZ)) / RATE_HZ
    hung = sum(c * np.sin(2 * np.pi * f0 * (k + 1) * t) for k, c in enumerate(colour))
    room = take(np.zeros(1), rng)
    assert baseline.answer((room + 0.02 * hung).astype(np.float32), SPAN.press) == "none"
    # A phrase that begins while another tone still sounds is one.
    left_over = 0.005 * np.sin(2 * np.pi * 3000 * t)
    answered = take(phrase(1), rng) + left_over.astype(np.float32)
    assert baseline.answer(answered, SPAN.press) == "known"


@pytest.mark.parametrize("which", [0, 1, 2])
@pytest.mark.parametrize(
    ("change", "sound", "amount", "within"),
    [
        (lambda rest: 0.001 * rest, "cut", None, None),
        (loop(0.21), "loop", 0.21, 0.005),
        (loop(0.36), "loop", 0.36, 0.005),
        (held, "drone", 180.0, 2.0),
        (lambda rest: 0.25 * rest, "level", -12.04, 1.0),
        (lambda rest: 2.0 * rest, "level", 6.02, 1.0),
    ],
    ids=["cut", "loop0.21", "loop0.36", "drone", "quieter", "louder"],
)
def test_a_known_change_is_named_and_measured(ear, which, change, sound, amount, within):
    rng = np.random.default_rng(9)
    judged = ear.judge("moo", take(bent(phrase(which), change), rng), SPAN)
    assert judged.sound == sound, judged
    assert judged.p_value == 1 / 16
    if amount is not None:
        assert judged.amount == pytest.approx(amount, abs=within)


@pytest.mark.parametrize("which", [0, 1, 2])
@pytest.mark.parametrize("period_s", [0.7, 0.8, 0.9, 0.95])
def test_a_loop_that_is_not_even_heard_twice_is_one(ear, which, period_s):
    rng = np.random.default_rng(14)
    sound = np.concatenate([phrase(which), phrase(which + 20)])
    judged = ear.judge("moo", take(bent(sound, loop(period_s)), rng), SPAN)
    assert judged.sound == "loop", judged
    assert judged.amount == pytest.approx(period_s, abs=0.005)


def at_rate(number, cents):
    """Give a phrase whose clock runs at another rate from the closing on."""
    speed = 2 ** (cents / 1200)
    whole = phrase(number)
    at = int(LEAD_IN_S * RATE_HZ)
    rest = whole[at:]
    place = np.arange(int(len(rest) / speed)) * speed
    return np.concatenate([whole[:at], np.interp(place, np.arange(len(rest)), rest)])


@pytest.mark.parametrize("cents", [-700, -300, 150, 500, 1200])
def test_a_clock_that_runs_at_another_rate_is_a_pitch(ear, cents):
    rng = np.random.default_rng(10)
    judged = ear.judge("moo", take(at_rate(2, cents), rng), SPAN)
    assert judged.sound == "pitch", judged
    assert judged.unit == "cents"
    assert judged.amount == pytest.approx(cents, abs=40)


@pytest.fixture(scope="module")
def loaded():
    """An ear that knows the toy with the leads A, 150 cents lower, and B, 400 cents higher."""
    rng = np.random.default_rng(15)
    ear = Ear(RATE_HZ)
    for i in range(12):
        ear.learn("moo", take(phrase(i % 3), rng), SPAN)
        ear.learn(with_lead("moo", "A"), take(at_rate(i % 3, -150), rng), SPAN)
        ear.learn(with_lead("moo", "B"), take(at_rate(i % 3, 400), rng), SPAN)
    return ear


def test_what_a_lead_explains_is_none_and_names_it(loaded):
    rng = np.random.default_rng(16)
    for number in range(3):
        samples = take(at_rate(number, -150), rng)
        plain = loaded.judge("moo", samples, SPAN)
        assert plain.sound == "pitch" and plain.amount == pytest.approx(-150, abs=40)
        for leads in ("A", "CA", "AB", "BA"):
            judged = loaded.judge("moo", samples, SPAN, leads)
            assert (judged.sound, judged.amount, judged.unit) == ("none", None, None)
            assert judged.measures[AS_WITH_LEAD] == "A"
            assert judged.p_value > plain.p_value and "change_db" not in judged.measures
        assert loaded.judge("moo", samples, SPAN, "B").sound != "none"
        assert loaded.judge("moo", samples, SPAN, "C") == plain  # of which nothing is known
    clean = take(phrase(1), rng)
    assert loaded.judge("moo", clean, SPAN, "A") == loaded.judge("moo", clean, SPAN)


def test_a_change_is_told_beside_the_nearest_lead_and_weighed_among_the_clean_takes(loaded):
    rng = np.random.default_rng(17)
    samples = take(at_rate(2, -350), rng)
    plain, beside = (loaded.judge("moo", samples, SPAN, leads) for leads in ("", "AB"))
    assert plain.amount == pytest.approx(-350, abs=40)
    assert (beside.sound, beside.measures[BESIDE_LEAD]) == ("pitch", "A")
    assert beside.amount == pytest.approx(-200, abs=40)
    assert beside.p_value == plain.p_value
    assert [beside.measures[name] for name in (CALIBRATING, AS_FAR)] == [0, 0]


def test_a_short_hole_is_a_blip(ear):
    def hole(rest):
        out = rest.copy()
        out[int(0.1 * RATE_HZ) : int(0.25 * RATE_HZ)] *= 0.01
        return out

    rng = np.random.default_rng(11)
    assert ear.judge("moo", take(bent(phrase(0), hole), rng), SPAN).sound == "blip"


def test_clipping_is_lost(ear):
    rng = np.random.default_rng(12)
    loud = np.clip(take(30 * phrase(0), rng), -1, 1)
    judged = ear.judge("moo", loud, SPAN)
    assert judged.sound == "lost"
    assert judged.p_value is None


def test_a_phrase_heard_once_is_known_but_not_calibrated_on():
    rng = np.random.default_rng(13)
    takes = [(take(phrase(w), rng), SPAN) for w in (0, 0, 0, 1, 1, 1, 2)]
    baseline = Baseline(Kept.of(takes, RATE_HZ))
    assert baseline.heard_once == [6]
    again = baseline.distance(baseline.align(take(phrase(2), rng), SPAN))
    assert again.nearest == 6
    assert again.both_db < 2 * max(baseline.apart_db)


def test_a_clean_take_that_still_sounded_before_its_press_is_not_the_room():
    rng = np.random.default_rng(15)
    ear = Ear(RATE_HZ)
    for i in range(9):
        samples = take(phrase(0), rng)
        if i == 4:
            samples[: int(BEFORE_S * RATE_HZ)] += phrase(9)[: int(BEFORE_S * RATE_HZ)]
        ear.learn("moo", samples, SPAN)
    assert ear.baseline("moo").noise_level_db < -60
    # A cut is measured down to the room, not to what sounded once.
    judged = ear.judge("moo", take(bent(phrase(0), lambda rest: 0.001 * rest), rng), SPAN)
    assert judged.sound == "cut"
    assert judged.measures["cut_db"] < -30


def test_too_few_clean_takes_are_refused():
    with pytest.raises(ValueError, match="at least 3"):
        Baseline(Kept.of([(np.zeros(9600), SPAN)] * 2, RATE_HZ))


@pytest.mark.parametrize("too_loud_db", [3, 9, 15])
@pytest.mark.parametrize("which", [0, 1, 2])
def test_how_far_a_clipped_sound_went_shows_in_its_flanks(which, too_loud_db):
    rng = np.random.default_rng(16)
    loud = take(phrase(which), rng)
    loud *= 10 ** (too_loud_db / 20) / np.abs(loud).max()
    assert over_db(np.clip(loud, -1, 1)) == pytest.approx(too_loud_db, abs=5)


def test_a_clipped_sine_shows_its_height_and_a_square_wave_nothing():
    t = np.arange(RATE_HZ) / RATE_HZ
    for db in (1, 6, 20):
        sine = 10 ** (db / 20) * np.sin(2 * np.pi * 440 * t)
        # pi / 4 of the height where nothing but the flanks is left
        assert -2.1 < over_db(np.clip(sine, -1, 1)) - db < 0.2
    assert over_db(np.sign(np.sin(2 * np.pi * 440 * t + 0.1))) == 0
    assert over_db(0.5 * np.sin(2 * np.pi * 440 * t)) == 0


@pytest.mark.parametrize("hz", [50, 60, 100, 1003])
def test_a_steady_tone_is_told_from_noise_and_from_the_toy(hz):
    rng = np.random.default_rng(17)
    sound = take(phrase(1), rng)
    t = np.arange(len(sound)) / RATE_HZ
    hum = 0.2 * np.sin(2 * np.pi * hz * t) + 0.1 * np.sin(2 * np.pi * 3 * hz * t)
    assert tone_hz(sound, RATE_HZ) is None
    assert tone_hz(sound + rng.normal(0, 0.3, len(t)), RATE_HZ) is None
    assert tone_hz(sound + hum, RATE_HZ) == pytest.approx(hz, abs=0.5)


def test_only_an_input_without_any_noise_is_silent():
    rng = np.random.default_rng(18)
    assert is_silent(np.zeros(1000))
    assert is_silent(np.full(1000, 0.3))
    assert not is_silent(rng.normal(0, 1e-6, 1000).astype(np.float32))


def test_a_take_that_the_guard_cut_short_is_judged_like_any_other(ear):
    rng = np.random.default_rng(31)
    cut = take(bent(phrase(1), np.zeros_like), rng)
    opened = replace(SPAN, open=SPAN.close + 1)
    assert ear.judge("moo", cut, opened).sound != "none"
