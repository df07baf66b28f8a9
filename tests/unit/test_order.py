"""The likeliest pair next: smoothed counts, the plan's own order among equals."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.sweep.order import Shown, likeliest, shown_by
from rig.sweep.steps import Step


def step(pair, series_ohm=10_000.0, key="red"):
    return Step("sweep", key, tuple(pair), series_ohm)


DUE = [step(pair) for pair in ("AB", "AC", "AD", "BC", "BD", "CD")]


def test_nothing_known_keeps_the_plan_s_order():
    assert likeliest(DUE, {}) == DUE[0]


def test_a_pad_that_has_shown_something_comes_first():
    shown = shown_by([(("C", "X"), True, False), (("A", "X"), False, False)])
    assert likeliest(DUE, shown) == step("BC")


def test_a_pad_that_showed_nothing_comes_after_one_never_touched():
    shown = shown_by([(("A", "X"), False, False), (("B", "Y"), False, False)])
    assert likeliest(DUE, shown) == step("CD")


def test_freezes_cost_time():
    hit, hit_and_stop = Shown(4, 1, 0), Shown(4, 1, 3)
    assert likeliest(DUE, {"A": hit_and_stop, "C": hit}) != DUE[1]
    assert likeliest([step("AB"), step("BC")], {"A": hit_and_stop, "C": hit}) == step("BC")


def test_among_equals_a_tip_may_stay_where_it_is():
    assert likeliest(DUE, {}, held=("B", "D")) == step("BD")


def test_clock_pads_come_last_and_one_path_is_finished_before_the_next():
    assert likeliest(DUE, {"A": Shown(1, 1, 0)}, last=("A",)) == step("BC")
    assert likeliest([step("AB")], {}, last=("A",)) == step("AB")
    due = [step("AB", 100_000.0), step("CD", 10_000.0)]
    assert likeliest(due, {"C": Shown(3, 3, 0)}) == due[0]


@given(st.lists(st.tuples(st.sampled_from(["AB", "AC", "BD", "CD"]), st.booleans(),
                          st.booleans()), max_size=40))
def test_no_other_that_is_due_promises_more(made):
    """Counted and worked out here anew, from what the touches showed."""
    shown = shown_by((tuple(pair), hit, stop) for pair, hit, stop in made)
    counts = {
        pad: (sum(pad in pair for pair, _, _ in made),
              sum(pad in pair and hit for pair, hit, _ in made),
              sum(pad in pair and stop for pair, _, stop in made)) for pad in "ABCD"
    }  # fmt: skip
    assert {pad: (one.touches, one.hits, one.stops) for pad, one in shown.items()} == {
        pad: told for pad, told in counts.items() if told[0]}

    def share(count, of, prior):  # as if touched three times more, with the share of all pads
        return (count + 3 * prior) / (of + 3)

    touches, *all_shown = (sum(told[i] for told in counts.values()) for i in range(3))
    means = [share(count, touches, 0.05) for count in all_shown]

    def promise(one):
        hit, stop = (
            math.prod(share(counts[pad][i + 1], counts[pad][0], mean) for pad in one.pads) / mean
            for i, mean in enumerate(means)
        )
        return hit / (15 + 45 * min(stop, 1))

    most = max(map(promise, DUE))
    assert promise(likeliest(DUE, shown)) == pytest.approx(most, rel=1e-9)
