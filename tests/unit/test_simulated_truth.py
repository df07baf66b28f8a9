"""The truth of a simulated board, and the limit it goes by."""

import json
import subprocess
import sys
from itertools import combinations

import numpy as np
import pytest

from rig.bench.simulated.board import make_board
from rig.bench.simulated.truth import band_levels_db, difference_db

RATE_HZ = 48000


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
    found = difference_db(sound, sound * 10 ** (-change_db / 20))
    assert found == pytest.approx(change_db, abs=0.01)
    assert (found > 3.0) == audible


def test_the_same_sound_differs_by_nothing_and_a_click_is_too_short():
    sound = noise()
    assert difference_db(sound, sound) == 0.0
    clicked = sound.copy()
    clicked[20000:20050] += 0.5
    cut = sound.copy()
    cut[20000:30000] = 0.0
    assert difference_db(sound, cut) > 20
    assert difference_db(sound, clicked) < difference_db(sound, cut)


def test_what_lies_40_db_below_the_toy_does_not_count():
    loud, quiet = noise(), noise(1) * 1e-4
    reference = np.concatenate([loud, quiet])
    assert difference_db(reference, np.concatenate([loud, quiet * 5])) == 0.0


def test_the_command_prints_bends_and_freezes():
    run = subprocess.run(
        [sys.executable, "-m", "rig.bench.simulated.truth", "--seed", "3", "--pads", "9"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    said = json.loads(run.stdout)
    board = make_board(3, 9)
    pairs = {tuple(pair) for pair in combinations(board.letters, 2)}
    for word in ("bends", "freezes"):
        assert said[word]
        assert {tuple(pair) for pair in said[word]} < pairs
    assert said["limit"]["limit_db"] == 3.0
    net_of = board.net_of
    assert all(net_of[one] != net_of[two] for one, two in said["bends"])
    # a clock joined to the rail over a few kilohms runs too fast for any of these chips
    clock = {p.letter for p in board.pads if p.net == board.roles["osc"]}
    plus = {p.letter for p in board.pads if p.net == board.roles["vcc"]}
    wanted = {tuple(sorted((one, two))) for one in clock for two in plus}
    assert wanted <= {tuple(pair) for pair in said["freezes"]}
