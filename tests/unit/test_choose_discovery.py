"""One p value a pair, and the rate of false ones among the pairs that are kept."""

from dataclasses import replace

import numpy as np
import pytest
from making_logs import BASELINE
from making_records import baseline, record
from scipy.stats import binomtest

from rig.choose import finds
from rig.choose.discovery import doubtful, pair_p_value, q_values
from rig.choose.summary import unsure_words


def confirming(*p_values, sound="pitch"):
    return [record(i, kind="confirm", sound=sound if p < 0.5 else "none", p_value=p)
            for i, p in enumerate(p_values, 1)]


def counting(as_far, stages="", known=24, first=1, **more):
    """Confirming touches that count, by how many calibrating takes lie at least as far."""
    stages = stages or "1" * len(as_far)
    return [
        record(n, kind="confirm", sound="none" if far > known // 20 else "pitch", p_value=0.5,
               facts={"stage": int(stage)}, measures={"calibrating": known, "as_far": far}, **more)
        for n, (far, stage) in enumerate(zip(as_far, stages, strict=True), first)
    ]


def p_of(*touches):
    return pair_p_value(touches, {one.number for one in touches})


def test_what_counts_is_how_many_lie_beyond_all_but_a_twentieth_of_the_calibrating_takes():
    # Of 24 one may lie farther: 4 of the 2925 orders of 24 + 3 have all three there.
    assert p_of(*counting([0, 1, 0])) == pytest.approx(4 / 2925)
    assert p_of(*counting([0, 2, 0])) == pytest.approx((4 + 3 * 23) / 2925)
    # Of 19 none.
    assert p_of(*counting([0, 0, 0], known=19)) == pytest.approx(1 / 1540)
    assert p_of(*counting([0, 1, 0], known=19)) > 0.01
    assert p_of(*counting([5, 9, 9])) == 1.0


def test_a_second_stage_counts_together_with_the_first():
    three = [0, 9, 9, 0, 0, 9]
    assert p_of(*counting(three, "111222")) == pytest.approx(0.0173, abs=1e-4)
    assert p_of(*counting([0, 0, 9, 0, 0, 0], "111222")) == pytest.approx(0.00148, abs=1e-5)
    assert p_of(*counting([9, 9, 9, 0, 0, 0], "111222")) == 1.0


def test_touches_that_do_not_count_say_nothing():
    touches = counting([0, 0, 0, 0])
    assert pair_p_value(touches, {1, 2, 3}) == p_of(*touches[:3])
    assert pair_p_value(touches, set()) is None
    assert pair_p_value([], set()) is None


def test_touches_with_several_keys_count_together():
    two = [*counting([0, 0]), *counting([0, 0], first=3, key="woof", known=12)]
    assert p_of(*two) == pytest.approx((3 / 325) * (1 / 91), rel=1e-6)


def test_in_older_logs_later_touches_weigh_less_and_what_was_not_heard_weighs_nothing():
    def p_value(*p_values, **more):
        return pair_p_value(confirming(*p_values, **more), ())

    assert p_value(1e-4) == pytest.approx(2e-4)
    assert p_value(0.9, 1e-4) == pytest.approx(6e-4)
    assert p_value(0.9, 0.9, 1e-4) == pytest.approx(12e-4)
    assert p_value(1e-4, 1e-6) == pytest.approx(6e-6)
    assert p_value(1e-9, sound="none") == 1.0


def test_an_unbridged_pair_keeps_its_level_in_two_stages():
    """Touch as a sweep does: three times, and three times more where one or two were heard."""
    rng = np.random.default_rng(3)
    below = 0
    for _ in range(3_000):
        known, fresh = rng.lognormal(size=24), rng.lognormal(size=6)
        as_far = [int(np.sum(known >= one)) for one in fresh]
        heard = sum(one <= 1 for one in as_far[:3])
        made = as_far if 0 < heard < 3 else as_far[:3]
        below += p_of(*counting(made, "111222"[: len(made)])) <= 0.05
    assert binomtest(below, 3_000, 0.05, alternative="greater").pvalue > 0.01


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


def test_what_cannot_be_told_from_chance_is_said_in_a_line():
    touches = [baseline(i) for i in range(1, 17)]
    touches += [record(17, "AB"), record(18, "AC", sound="none")]
    unsure = record(30, "AB", "confirm", p_value=0.1)
    assert unsure_words([*touches, unsure], 0.05) == (
        "1 more came back, not surely enough to be told from chance")
    assert unsure_words(touches, 0.05) == ""


def test_only_pairs_that_went_to_confirming_share_the_level():
    """Any number of others that were touched once takes nothing from those."""
    sure = [*(record(n, "AB") for n in (1,)), *counting([0, 0, 0], first=4)]
    checks = {n: record(n, kind="check", sound="none", touch=BASELINE, pads_1="", pads_2="",
                        path_ohm=None) for n in (3, 5, 7, 9)}
    made = [sure[0], *(one for pair in zip(
        (checks[n] for n in (3, 5, 7)), sure[1:], strict=True) for one in pair), checks[9]]
    made = [replace(one, number=n) for n, one in enumerate(made, 1)]
    others = [record(100 + n, ("Q", f"Q{n}"), sound="none") for n in range(300)]
    (find,) = finds([*made, *others], 0.002)
    assert find.q_value == find.p_value == pytest.approx(4 / 2925)
