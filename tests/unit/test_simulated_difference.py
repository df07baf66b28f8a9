"""The measure of the truth: how far two sounds are apart, and what was done to one."""

import numpy as np
import pytest
from scipy.signal import lfilter, resample

from rig.bench.simulated.board import make_board
from rig.bench.simulated.difference import band_levels_db, change, difference_db
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.toy import SimulatedToy, switch_on

CLOSED_S = 1.2


def apart_db(reference: np.ndarray, sound: np.ndarray) -> float:
    return difference_db(band_levels_db(reference), band_levels_db(sound))


def done(reference: np.ndarray, sound: np.ndarray) -> str:
    both = band_levels_db(reference), band_levels_db(sound)
    return change(reference, sound, CLOSED_S, *both)


def noise(seed: int = 0, seconds: float = 1.0) -> np.ndarray:
    generator = np.random.Generator(np.random.PCG64(seed))
    return 0.1 * generator.standard_normal(round(RATE_HZ * seconds))


def test_a_tone_lies_in_its_third_octave_with_its_level():
    tone = 0.1 * np.sqrt(2) * np.sin(2 * np.pi * 1000 * np.arange(RATE_HZ) / RATE_HZ)
    levels = band_levels_db(tone)
    assert levels.shape[1] == 18
    assert np.argmax(levels[3]) == 10
    assert levels[3, 10] == pytest.approx(-20.0, abs=0.1)
    assert np.max(np.delete(levels[3], 10)) < -60


@pytest.mark.parametrize(("change_db", "audible"), [(1.0, False), (2.5, False), (3.5, True)])
def test_a_level_change_is_measured_as_what_it_is(change_db, audible):
    sound = noise()
    found = apart_db(sound, sound * 10 ** (-change_db / 20))
    assert found == pytest.approx(change_db, abs=0.01)
    assert (found > 3.0) == audible


def test_the_same_sound_differs_by_nothing_and_a_click_is_too_short():
    sound = noise()
    assert apart_db(sound, sound) == 0.0
    clicked = sound.copy()
    clicked[20000:20050] += 0.5
    cut = sound.copy()
    cut[20000:30000] = 0.0
    assert apart_db(sound, cut) > 20
    assert apart_db(sound, clicked) < apart_db(sound, cut)


def test_what_lies_40_db_below_the_toy_does_not_count():
    loud, quiet = noise(), noise(1) * 1e-4
    reference = np.concatenate([loud, quiet])
    assert apart_db(reference, np.concatenate([loud, quiet * 5])) == 0.0


@pytest.fixture(scope="module", params=[0, 3, 8])
def phrase(request) -> np.ndarray:
    """A talker's words of a second and more, and the quiet behind them."""
    toy = SimulatedToy(make_board(request.param, 24), 1)
    switch_on(toy)
    toy.keys({toy.board.keys[0]})
    toy.run(RATE_HZ // 5)
    toy.keys(set())
    return toy.run(round(1.7 * RATE_HZ)).astype(float)


def closed(reference: np.ndarray, changed: np.ndarray) -> np.ndarray:
    """Put a changed sound in while the touch is closed."""
    sound = reference.copy()
    stop = round(CLOSED_S * RATE_HZ)
    sound[:stop] = changed[:stop]
    return sound


def test_silence_is_a_cut(phrase):
    assert done(phrase, closed(phrase, phrase * 0.05)) == "cut"


def test_a_steady_tone_is_a_drone(phrase):
    tone = 0.2 * np.sign(np.sin(2 * np.pi * 233 * np.arange(len(phrase)) / RATE_HZ))
    assert done(phrase, closed(phrase, tone)) == "drone"


def test_a_syllable_again_and_again_is_a_loop(phrase):
    period = RATE_HZ * 3 // 10
    again = np.tile(phrase[:period], 6)[: len(phrase)]
    assert done(phrase, closed(phrase, again)) == "loop"


@pytest.mark.parametrize("semitones", [-5, -1, 2, 7])
def test_what_runs_faster_or_slower_is_pitch(phrase, semitones):
    moved = resample(phrase, round(len(phrase) / 2 ** (semitones / 12)))
    moved = np.concatenate([moved, np.zeros(len(phrase))])[: len(phrase)]
    assert done(phrase, closed(phrase, moved)) == "pitch"


@pytest.mark.parametrize("gain", [0.4, 2.5])
def test_louder_or_softer_is_level(phrase, gain):
    assert done(phrase, closed(phrase, gain * phrase)) == "level"


def test_duller_is_timbre(phrase):
    dull = lfilter([0.03], [1, -0.97], phrase)
    dull *= np.std(phrase) / np.std(dull)
    assert done(phrase, closed(phrase, dull)) == "timbre"


def test_what_is_over_soon_is_a_blip(phrase):
    sound = phrase.copy()
    sound[19200:28800] = noise(seconds=0.2)
    assert done(phrase, sound) == "blip"
