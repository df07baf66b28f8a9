"""Where one sound of a pair ends and another begins, rule by rule, on touches that are made up."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from making_logs import bridge
from making_records import record, seen_twice

from rig.bench.base import Connection
from rig.choose.ranges import ranges, spots
from rig.listen.judging.fingerprint import SIZE

LOUDER = [6.0] * SIZE
QUIETER = [-9.0] * SIZE
DARKER = [0.0, 0.0, 0.0, 0.0, -15.0, -20.0, -25.0, -25.0] * (SIZE // 8)
LADDER = (3_600.0, 10_400.0, 36_000.0, 154_000.0)


def over(path_ohm, change_db=None, first=1, **more):
    """Two touches over one path in which a change was heard, with the shape of it."""
    if change_db is not None:
        more["measures"] = {"change_db": list(change_db)}
    return seen_twice("AB", first, path_ohm=path_ohm, **more)


def numbered(*touches):
    """Give the touches numbers in their order."""
    return [replace(one, number=n) for n, one in enumerate(itertools.chain(*touches), 1)]


def paths(found):
    """Say over which paths each range reaches, and what was seen beside it."""
    return [([spot.path_ohm for spot in one.spots], [spot.path_ohm for spot in one.once])
            for one in found]  # fmt: skip


def test_neighbours_with_nearly_the_same_change_are_one_sound_whatever_its_word():
    nearly = np.array(LOUDER) + np.random.default_rng(1).integers(-1, 2, SIZE)
    made = numbered(over(36_000.0, LOUDER), over(10_400.0, nearly, sound="timbre"))
    assert paths(ranges(made)) == [([36_000.0, 10_400.0], [])]


def test_another_change_is_another_sound():
    made = numbered(over(36_000.0, LOUDER, sound="level"), over(10_400.0, DARKER, sound="timbre"))
    assert paths(ranges(made)) == [([36_000.0], []), ([10_400.0], [])]
    one, other = ranges(made)
    assert (one.path_min_ohm, one.path_max_ohm, other.path_max_ohm) == (36_000, 36_000, 10_400)
    assert [touch.number for touch in other.touches] == [3, 4]


def test_each_path_is_held_against_the_middle_of_all_above_it():
    """A change that creeps is another sound in the end, though each step is small."""
    def louder(db):
        return [db] * SIZE

    steps = [over(ohm, louder(db), sound=word) for ohm, db, word in zip(
        LADDER[::-1], (2.0, 3.0, 4.0, 6.0), ("level", "timbre", "level", "timbre"), strict=True)]
    assert paths(ranges(numbered(*steps))) == [([154_000.0, 36_000.0, 10_400.0], []), ([3_600.0], [])]
    near = numbered(*steps[2:])  # the last two alone are one
    assert paths(ranges(near)) == [([10_400.0, 3_600.0], [])]


@pytest.mark.parametrize(("amounts", "split"), [
    ((200, 500, 900), []), ((900, 500, 500), []), ((200, 900, 500), [2]), ((-200, 300, -300), [2]),
])
def test_one_word_whose_amount_goes_one_way_is_one_sound(amounts, split):
    shapes = (LOUDER, DARKER, QUIETER)
    made = numbered(*(
        over(ohm, shape, amount=float(amount))
        for ohm, shape, amount in zip(LADDER[:0:-1], shapes, amounts, strict=True)
    ))
    downwards = list(LADDER[:0:-1])
    cuts = [0, *split, 3]
    assert [one for one, _ in paths(ranges(made))] == [
        downwards[a:b] for a, b in itertools.pairwise(cuts)]


def test_amounts_in_other_units_or_none_say_nothing_of_their_way():
    for told in ({"amount": None}, {"amount": 2.0, "unit": "dB"}):
        made = numbered(over(36_000.0, LOUDER), over(10_400.0, DARKER, **told))
        assert len(ranges(made)) == 2


def test_without_fingerprints_word_after_and_amount_decide():
    one = over(36_000.0, sound="loop", amount=0.30, unit="s")
    for told, count in [
        ({"sound": "loop", "amount": 0.32, "unit": "s"}, 1),
        ({"sound": "level", "amount": 0.3, "unit": "dB"}, 2),
        ({"sound": "loop", "amount": 0.30, "unit": "Hz"}, 2),
    ]:
        assert len(ranges(numbered(one, over(10_400.0, **told)))) == count
    assert len(ranges(numbered(over(36_000.0, sound="cut"), over(10_400.0, sound="cut")))) == 1
    runs_on = over(10_400.0, sound="cut", after="runs on")
    assert len(ranges(numbered(over(36_000.0, sound="cut"), runs_on))) == 2


def test_one_fingerprint_that_is_missing_is_told_by_the_word():
    made = numbered(over(36_000.0, LOUDER, sound="loop"), over(10_400.0, sound="loop"))
    assert len(ranges(made)) == 1


def test_a_path_with_nothing_heard_between_parts_the_same_sound():
    nothing = [record(0, path_ohm=10_400.0, sound="none")]
    made = numbered(over(36_000.0, LOUDER), nothing, over(3_600.0, LOUDER))
    assert paths(ranges(made)) == [([36_000.0], []), ([3_600.0], [])]


def test_what_was_heard_once_neither_joins_nor_parts():
    once = [record(0, path_ohm=10_400.0, measures={"change_db": DARKER})]
    made = numbered(over(36_000.0, LOUDER), once, over(3_600.0, LOUDER))
    assert paths(ranges(made)) == [([36_000.0, 3_600.0], [10_400.0])]
    assert paths(ranges(numbered(once))) == []


def test_what_was_heard_in_less_than_half_of_its_touches_is_seen_once():
    seldom = [*over(10_400.0, LOUDER), *(record(0, path_ohm=10_400.0, sound="none", kind="confirm")
                                         for _ in range(3))]  # fmt: skip
    made = numbered(over(36_000.0, LOUDER), seldom)
    assert paths(ranges(made)) == [([36_000.0], [10_400.0])]
    half = numbered(over(36_000.0, LOUDER), seldom[:4])
    assert paths(ranges(half)) == [([36_000.0, 10_400.0], [])]


def test_twice_without_a_confirming_touch_is_seen_once():
    hits = [replace(one, kind="sweep") for one in over(10_400.0, LOUDER)]
    assert paths(ranges(numbered(over(36_000.0, LOUDER), hits))) == [([36_000.0], [10_400.0])]


def test_what_was_seen_once_stands_by_the_nearest_range_in_the_ratio_of_paths():
    once = [record(0, path_ohm=10_400.0, measures={"change_db": QUIETER})]
    far, near = over(154_000.0, LOUDER, sound="level"), over(3_600.0, DARKER, sound="timbre")
    assert paths(ranges(numbered(far, once, near))) == [([154_000.0], []), ([3_600.0], [10_400.0])]
    further = [replace(one, path_ohm=30.0, touch=bridge("A", "B", 30.0)) for one in near]
    assert paths(ranges(numbered(far, once, further)))[0] == ([154_000.0], [10_400.0])


def test_nothing_is_offered_at_or_below_a_stop_with_whatever_key():
    for key in ("moo", "woof"):
        stop = [record(0, path_ohm=10_400.0, sound="none", after="freeze", key=key)]
        made = numbered(over(36_000.0, LOUDER), stop, over(10_400.0, LOUDER), over(3_600.0, LOUDER))
        assert paths(ranges(made)) == [([36_000.0], [])]


def test_keys_are_apart():
    woof = over(10_400.0, LOUDER, key="woof")
    made = numbered(over(36_000.0, LOUDER), woof, over(10_400.0, LOUDER))
    assert [(one.key, one.path_min_ohm) for one in ranges(made)] == [
        ("moo", 10_400.0), ("woof", 10_400.0)]


def test_a_lead_alone_is_one_path():
    touch = replace(bridge("A", "B"), connections=(Connection(("A",), (), 0.0),))
    lone = [replace(one, touch=touch, pads_2="", path_ohm=None) for one in seen_twice()]
    (one,) = ranges(lone)
    assert (one.path_min_ohm, one.path_max_ohm, len(one.touches)) == (None, None, 2)
    assert ranges([*lone, replace(lone[0], number=3, after="freeze")]) == []


def test_a_pair_that_falls_then_changes_its_voice_then_is_silent_is_three_sounds():
    made = numbered(
        over(36_000.0, DARKER, sound="timbre", amount=18.0, unit="dB"),
        over(3_600.0, LOUDER, amount=-2400.0),
        over(0.0, [-40.0] * SIZE, sound="cut", amount=0.85, unit="s"),
    )
    assert [(one.spots[0].word, one.path_max_ohm) for one in ranges(made)] == [
        ("timbre", 36_000.0), ("pitch", 3_600.0), ("cut", 0.0)]


SHAPES = st.sampled_from([LOUDER, QUIETER, DARKER, None])
TOUCHES = st.lists(st.builds(
    lambda path, kind, sound, after, amount, shape, key: record(
        0, "AB", kind, sound, after, path, key, amount=amount,
        measures={} if shape is None else {"change_db": shape}),
    st.sampled_from(LADDER), st.sampled_from(["sweep", "confirm", "confirm"]),
    st.sampled_from(["none", "pitch", "pitch", "cut"]),
    st.sampled_from(["answers", "answers", "answers", "runs on", "freeze"]),
    st.sampled_from([None, 100.0, 300.0, 900.0]), SHAPES, st.sampled_from(["moo", "moo", "woof"]),
), max_size=24)  # fmt: skip


@given(TOUCHES, st.randoms())
def test_whatever_was_touched_the_ranges_hold_together(touches, chance):
    made = numbered(touches)
    found = ranges(made)
    stops = [one.path_ohm for one in made if one.stops]
    for key in ("moo", "woof"):
        mine = [one for one in found if one.key == key]
        for above, below in itertools.pairwise(mine):
            assert above.path_min_ohm > below.path_max_ohm
        placed = [spot for one in mine for spot in one.spots]
        offered = [spot for spot in spots(made)
                   if spot.key == key and spot.path_ohm > max(stops, default=0.0)]  # fmt: skip
        assert placed == [spot for spot in offered if spot.counts]
        beside = [spot.path_ohm for one in mine for spot in one.once]
        seldom = [spot.path_ohm for spot in offered if spot.heard and not spot.counts]
        assert sorted(beside) == sorted(seldom if mine else [])
    for one in found:
        assert one.touches
        # Counted anew, from nothing but the touches.
        for path in {touch.path_ohm for touch in one.touches}:
            here = [t for t in made if t.path_ohm == path and t.key == one.key]
            heard = [t for t in here if t.sound != "none" or t.after == "runs on"]
            assert len(heard) >= 2 and 2 * len(heard) >= len(here)
            assert any(t.kind == "confirm" for t in heard)
    mixed = list(made)
    chance.shuffle(mixed)
    assert ranges(mixed) == found
