"""The likeliest pair next: smoothed counts, the plan's own order among equals."""

from hypothesis import given
from hypothesis import strategies as st

from rig.sweep.order import Shown, likeliest, shown_by
from rig.sweep.plan import Step


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
def test_it_always_offers_one_that_is_due(made):
    shown = shown_by((tuple(pair), hit, stop) for pair, hit, stop in made)
    assert likeliest(DUE, shown) in DUE
    assert all(one.hits <= one.touches and one.stops <= one.touches for one in shown.values())
