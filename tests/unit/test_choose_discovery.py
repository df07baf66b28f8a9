"""One p value a pair, and the rate of false ones among the pairs that are kept."""

import numpy as np
import pytest
from making_records import baseline, record
from scipy.stats import binomtest

from rig.choose import finds
from rig.choose.discovery import doubtful, pair_p_value, q_values
from rig.choose.summary import unsure_words


def confirming(*p_values, sound="pitch"):
    return [record(i, kind="confirm", sound=sound if p < 0.5 else "none", p_value=p)
            for i, p in enumerate(p_values, 1)]


def test_later_touches_weigh_less_and_what_was_not_heard_weighs_nothing():
    assert pair_p_value(confirming(1e-4)) == pytest.approx(2e-4)
    assert pair_p_value(confirming(0.9, 1e-4)) == pytest.approx(6e-4)
    assert pair_p_value(confirming(0.9, 0.9, 1e-4)) == pytest.approx(12e-4)
    assert pair_p_value(confirming(1e-4, 1e-6)) == pytest.approx(6e-6)
    assert pair_p_value(confirming(1e-9, sound="none")) == 1.0
    assert pair_p_value([]) == 1.0


def test_an_unbridged_pair_keeps_its_level_however_touching_stops():
    """Touch until it is heard below 0.06, as a sweep does, up to twelve times over four paths."""
    rng = np.random.default_rng(3)
    below = 0
    for _ in range(1_000):
        made = []
        for _ in range(12):
            made.append(rng.uniform())
            if made[-1] < 0.06 and rng.random() < 0.5:
                break
        below += pair_p_value(confirming(*made)) <= 0.05
    assert binomtest(below, 1_000, 0.05, alternative="greater").pvalue > 0.01


def test_the_rate_of_false_finds_is_held_over_many_sweeps():
    rng = np.random.default_rng(4)
    for level in (0.05, 0.2):
        rates = []
        for _ in range(400):
            p = {(str(i), ""): rng.uniform() if i >= 20 else 10 ** rng.uniform(-6, -2)
                 for i in range(100)}
            kept = [pair for pair, q in q_values(p).items() if q <= level]
            rates.append(np.mean([int(i) >= 20 for i, _ in kept]) if kept else 0.0)
        assert np.mean(rates) <= level + 3 * np.std(rates) / 20


def test_a_stricter_level_keeps_fewer_and_says_which_are_left():
    touches = []
    for place, p_value in enumerate([1e-6, 1e-3, 0.02]):
        pads = "A" + "BCD"[place]
        touches += [record(2 * place + 1, pads), record(2 * place + 2, pads, "confirm",
                                                        p_value=p_value)]
    assert {f.pair for f in finds(touches, 0.05)} == {"A-B", "A-C", "A-D"}
    assert {f.pair for f in finds(touches, 0.01)} == {"A-B", "A-C"}
    (surest,) = finds(touches, 0.001)
    assert (surest.pair, surest.p_value, surest.q_value) == ("A-B", 2e-6, pytest.approx(6e-6))
    assert doubtful({("A", "B"): 2e-6, ("A", "D"): 0.04, ("B", "C"): 1.0}, 0.05) == [("A", "D")]


def test_a_freeze_needs_no_p_value():
    (find,) = finds([record(1, sound="cut", after="freeze"),
                     record(2, kind="confirm", p_value=0.06)], 0.05)
    assert (find.stop, find.sound, find.p_value) == ("freeze", "none", None)


def test_what_so_few_clean_takes_cannot_tell_is_said_in_a_line():
    touches = [baseline(i) for i in range(1, 17)]
    pairs = [(chr(65 + i), chr(65 + j)) for i in range(24) for j in range(i)]
    touches += [record(17 + i, pair, sound="none") for i, pair in enumerate(pairs)]
    touches.append(record(900, pairs[0], "confirm", p_value=0.01))
    assert unsure_words(touches, 30, 0.05) == (
        "1 more came back, not surely enough to be told from chance; with 276 pairs take 356 clean "
        "presses, not 16 (sweep: baseline_takes in rig.yaml)")
    assert unsure_words(touches[:-1], 30, 0.05) == ""
