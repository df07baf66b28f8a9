"""Which pairs count as finds, what is said of each, and in which order."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from making_logs import BASELINE, LINE, bridge

from rig.bench.base import Connection, Touch
from rig.choose import FIND_COLUMNS, find_rows, finds
from rig.choose.rank import letter_order
from rig.listen import STOPS
from rig.log import Record


def record(number, pads="AB", kind="sweep", sound="pitch", after="answers", path_ohm=12_000.0,
           **more):
    """A usable record of one pad to one pad."""
    one, other = pads
    known = Record(
        number=number, plan_key="", kind=kind, touch=bridge(one, other), pads_1=one, pads_2=other,
        path_ohm=path_ohm, key="moo", started_at="", timeline=LINE, rate_hz=48_000,
        take=f"takes/{number:06d}.flac", take_samples=1, offsets={}, fault=None, facts={},
        complete=after is not None, after=after, sound=sound,
        amount=300.0 if sound == "pitch" else None, unit="cents" if sound == "pitch" else None,
        score=2.0, p_value=1e-4, judge="test",
    )
    return replace(known, **more)


def baseline(number, **more):
    """A baseline's record."""
    return record(number, kind="baseline", sound="none", touch=BASELINE, pads_1="", pads_2="",
                  path_ohm=None, **more)


def seen_twice(pads="AB", first=1, **more):
    """The least that makes a find."""
    return [record(first, pads, **more), record(first + 1, pads, "confirm", **more)]


def test_a_hit_counts_only_once_it_came_back():
    assert finds([record(1)]) == []
    assert finds([record(1), record(2, kind="confirm", sound="none")]) == []
    assert finds([record(1), record(2, kind="confirm", path_ohm=99.0)]) == []
    assert finds([record(1), record(2)]) == []
    (find,) = finds(seen_twice())
    assert (find.pair, find.sound, find.amount, find.unit, find.after, find.touches) == (
        "A-B", "pitch", 300.0, "cents", "answers", (1, 2))


def test_a_phrase_that_comes_seldom_may_need_several_tries():
    (find,) = finds([record(1), record(2, kind="confirm", sound="none"),
                     record(3, kind="confirm")])
    assert find.touches == (1, 3)


@pytest.mark.parametrize("spoilt", [
    {"fault": "dropout"}, {"sound": "lost"}, {"complete": False, "after": None}, {"sound": None},
])
def test_touches_that_cant_be_used_never_count(spoilt):
    first, second = seen_twice()
    assert finds([replace(first, **spoilt), second]) == []
    assert finds([first, replace(second, **spoilt)]) == []


def test_a_stop_counts_though_its_take_is_lost():
    (find,) = finds([record(1, sound="lost", after="freeze", p_value=None, score=None)])
    assert (find.sound, find.after) == ("none", "freeze")
    bent = seen_twice(first=2, path_ohm=99_000.0)
    (find,) = finds([record(1, sound="lost", after="freeze", p_value=None, score=None), *bent])
    assert (find.sound, find.after_at_worst, find.touches) == ("pitch", "freeze", (2, 3))


def test_both_orders_of_the_leads_are_one_pair():
    (find,) = finds([record(1, "FC"), record(2, "CF", "confirm")])
    assert (find.pads_1, find.pads_2) == ("C", "F")


def test_letters_beyond_z_come_behind_it():
    touches = [replace(one, pads_1="AA", pads_2="Z", touch=bridge("AA", "Z"))
               for one in seen_twice()]
    assert finds(touches)[0].pair == "Z-AA"
    assert sorted(["AB", "B", "AA", "Z"], key=letter_order) == ["B", "Z", "AA", "AB"]


def test_the_range_covers_every_path_where_it_came_back():
    touches = [*seen_twice(first=1, path_ohm=50_000.0), *seen_twice(first=3, path_ohm=3_000.0),
               record(5, path_ohm=500.0), record(6, path_ohm=500.0, kind="confirm", sound="none")]
    (find,) = finds(touches)
    assert (find.path_min_ohm, find.path_max_ohm) == (3_000.0, 50_000.0)


def test_a_pair_that_bends_above_and_freezes_below_is_a_bend_with_its_limit_told():
    touches = [*seen_twice(first=1, path_ohm=50_000.0),
               *seen_twice(first=3, path_ohm=13_000.0, sound="cut", after="freeze")]
    (find,) = finds(touches)
    assert (find.sound, find.after, find.path_min_ohm, find.freezes_at_ohm) == (
        "pitch", "answers", 50_000.0, 13_000.0)


def test_a_freeze_counts_at_once_but_its_sound_only_when_heard_again():
    (find,) = finds([record(1, sound="cut", after="freeze")])
    assert (find.after, find.stop, find.sound, find.amount) == ("freeze", "freeze", "none", None)
    (find,) = finds([record(1, sound="cut", after="freeze"),
                     record(2, kind="confirm", sound="none")])
    assert (find.stop, find.sound) == ("freeze", "none")
    (find,) = finds(seen_twice(sound="cut", after="freeze"))
    assert (find.after, find.sound, find.freezes_at_ohm) == ("freeze", "cut", 12_000.0)


def test_the_row_of_a_pair_tells_its_worst():
    touches = [*seen_twice(first=1, path_ohm=50_000.0),
               record(3, path_ohm=13_000.0, sound="none", after="freeze")]
    (row,) = find_rows(finds(touches))
    assert (row["sound"], row["after"], row["path_min_ohm"]) == ("pitch", "freeze", 50_000.0)


def test_what_is_offered_lies_above_any_path_that_stopped_the_toy():
    froze_once = [record(1, sound="cut", after="freeze"), record(2, kind="confirm", sound="cut")]
    (find,) = finds(froze_once)
    assert (find.sound, find.after, find.touches) == ("cut", "freeze", (1,))
    (find,) = finds([*froze_once, *seen_twice(first=3, path_ohm=90_000.0)])
    assert (find.after, find.stop, find.path_min_ohm) == ("answers", "freeze", 90_000.0)


def test_a_sound_heard_twice_is_told_though_the_freeze_itself_was_silent():
    (find,) = finds([*seen_twice(), record(3, kind="confirm", sound="none", after="freeze")])
    assert (find.sound, find.stop) == ("pitch", "freeze")


def test_running_on_counts_though_nothing_else_was_heard():
    (find,) = finds(seen_twice(sound="none", after="runs on"))
    assert find.after == "runs on"


def test_groups_and_held_pairs_are_no_pairs():
    held = Touch((*bridge().connections, Connection(("C",), ("D",), 0.0)))
    assert finds([replace(one, touch=held, pads_1="A / C", pads_2="B / D")
                  for one in seen_twice()]) == []


def test_the_best_touch_has_a_take_and_the_nearest_baseline_of_its_key():
    touches = [baseline(1), baseline(2, key="woof"), baseline(8, fault="dropout"), baseline(9),
               record(4, score=9.0, take=None), record(5, kind="confirm", score=3.0)]
    (find,) = finds(touches)
    assert (find.best_touch, find.baseline_touch, find.score) == (5, 1, 3.0)


def test_wanted_ones_come_first_and_freezes_last():
    touches = [*seen_twice("AB", 1, sound="level"), *seen_twice("AC", 3, sound="loop"),
               *seen_twice("AD", 5, sound="drone", after="freeze", score=50.0),
               *seen_twice("AE", 7, sound="blip", after="runs on"),
               *seen_twice("AF", 9, sound="pitch")]
    order = [(one.sound, one.after) for one in finds(touches)]
    assert order[0] == ("loop", "answers")
    assert order[1] == ("blip", "runs on")
    assert order[2:] == [("pitch", "answers"), ("level", "answers"), ("drone", "freeze")]


def test_many_alike_dont_crowd_out_the_others():
    touches = []
    for place, pad in enumerate("BCDEFGHIJ"):
        touches += seen_twice("A" + pad, 1 + 2 * place, sound="loop", amount=0.25, unit="s")
    touches += seen_twice("KL", 21) + seen_twice("MN", 23, sound="timbre")
    assert {one.sound for one in finds(touches)[:5]} == {"loop", "pitch", "timbre"}


def test_the_surer_of_two_alike_comes_first():
    found = finds([*seen_twice("AB", 1, score=1.1), *seen_twice("CD", 3, score=6.0)])
    assert [one.pair for one in found] == ["C-D", "A-B"]


SPOTS = st.lists(st.tuples(
    st.sampled_from(["AB", "BA", "CD", "AC"]), st.sampled_from(["sweep", "confirm"]),
    st.sampled_from(["none", "pitch", "loop", "cut", "lost"]),
    st.sampled_from(["answers", "runs on", "freeze", None]), st.sampled_from([1e3, 1e4]),
), max_size=14)


@settings(deadline=None)
@given(SPOTS)
def test_whatever_was_made_the_finds_hold_together(spots):
    records = [record(n, pads, kind, sound, after, path)
               for n, (pads, kind, sound, after, path) in enumerate(spots, 1)]
    by_number = {one.number: one for one in records}
    found = finds(records)
    assert len({one.pair for one in found}) == len(found)
    stopping = [one.after in STOPS for one in found]
    assert stopping == sorted(stopping)
    for find in found:
        assert find.best_touch in find.touches
        assert find.path_min_ohm <= find.path_max_ohm
        for number in find.touches:
            one = by_number[number]
            assert one.complete
            assert one.sound is not None
            assert one.sound != "lost" or one.after in STOPS
            assert {one.pads_1, one.pads_2} == {find.pads_1, find.pads_2}
            assert (one.after in STOPS) == (find.after in STOPS)
    shuffled = finds(reversed(records))
    assert [one.pair for one in shuffled] == [one.pair for one in found]


def test_rows_have_exactly_the_columns():
    (row,) = find_rows(finds(seen_twice()))
    assert tuple(row) == FIND_COLUMNS == (
        "pads_1", "pads_2", "sound", "after", "amount", "unit", "path_min_ohm", "path_max_ohm",
        "score", "p_value", "q_value", "family")
