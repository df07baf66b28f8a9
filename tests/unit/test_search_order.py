"""The orders of search that a benchmark plays over boards, on one worked out by hand."""

import random
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

from search_order import (
    Shows,
    at_once,
    learned,
    merged,
    passes,
    play,
    shuffled,
    times_to,
    told,
    true_first,
)

NOTHING, HIT, STOP = (False, False), (True, False), (False, True)


def shows(pair, nets, *touches):
    return Shows(tuple(pair), frozenset(nets), touches)


BOARD = [
    shows("AB", {1, 2}, NOTHING, NOTHING), shows("AC", {1, 3}, NOTHING, STOP),
    shows("AD", {1, 4}, NOTHING, HIT), shows("BC", {2, 3}, NOTHING, NOTHING),
    shows("BD", {1, 4}, HIT, STOP), shows("CD", {3, 4}, NOTHING, NOTHING),
]  # fmt: skip
TOUCHES_S = 12 * 2.2 + 2 * 4.0 + 2 * 3 * 2.2


def order_of(order):
    return ["".join(one.pair) for one, place in order if place == 0]


def test_every_order_takes_as_long_in_all():
    for order in (passes, at_once, learned, true_first):
        made = list(order(BOARD))
        assert len(made) == len(set(made)) == 12
        assert play(made)[1] == pytest.approx(TOUCHES_S)


def test_times_are_counted_as_they_pass():
    # AB to BC over the highest 4 touches, BD's with its three; CD, AB, AC and its recovery, AD's
    found_s, _ = play(passes(BOARD))
    assert found_s == pytest.approx({("B", "D"): 8 * 2.2, ("A", "D"): 11 * 2.2 + 4.0 + 4 * 2.2})
    # AB 2, AC 2 and its recovery, AD 2 and three more; BC 2, BD and three more
    found_s, _ = play(at_once(BOARD))
    assert found_s == pytest.approx({("A", "D"): 9 * 2.2 + 4.0, ("B", "D"): 15 * 2.2 + 4.0})


def test_a_family_is_found_with_its_first_pair():
    *bends, family_80, family_95, whole_s = told(BOARD, at_once(BOARD))
    assert bends == pytest.approx([15 * 2.2 + 4.0] * 2)
    assert (family_80, family_95) == pytest.approx((9 * 2.2 + 4.0,) * 2)
    assert whole_s == pytest.approx(TOUCHES_S)


def test_merged_touches_one_pair_for_two_nets_and_finds_the_others_with_it():
    whole = [*BOARD, shows("AE", {1}, HIT, HIT)]  # within one net there is nothing to touch
    order = list(merged(whole))
    assert sorted(order_of(order)) == ["AB", "AC", "AD", "BC", "CD"]
    found_s, _ = play(order)
    assert set(found_s) == {("A", "D")}
    bends_80, bends_95, *_ = told(BOARD, merged(BOARD))
    assert (bends_80, bends_95) == pytest.approx((found_s["A", "D"],) * 2)


def test_the_orders_are_what_they_say():
    assert order_of(at_once(BOARD)) == ["AB", "AC", "AD", "BC", "BD", "CD"]
    assert order_of(true_first(BOARD)) == ["AD", "BD", "AB", "AC", "BC", "CD"]
    # CD's pads are still new when A and B have shown nothing; BD's have shown no stop after AC
    assert order_of(learned(BOARD)) == ["AB", "CD", "AC", "BD", "AD", "BC"]
    mixed = order_of(shuffled(BOARD, random.Random(1)))
    assert mixed != order_of(at_once(BOARD))
    assert sorted(mixed) == order_of(at_once(BOARD))


def test_a_share_is_there_with_the_pair_that_completes_it():
    assert times_to(range(1, 11)) == [8, 10]
    assert times_to([7.0]) == [7.0, 7.0]
    assert times_to(range(1, 21)) == [16, 19]
