"""Which pairs count as finds, what is said of each, and in which order."""

from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from making_logs import bridge
from making_records import baseline, record, seen_twice

from rig.bench.base import Connection
from rig.choose import FIND_COLUMNS, Tally, find_rows, finds, tally
from rig.choose.find import over
from rig.choose.rank import kind_worth, tier
from rig.listen import BESIDE_LEAD, LIKE_KEY, MANNER, MANNER_AMOUNT, MANNER_UNIT
from rig.outcomes import SOUNDS, is_stop
from rig.pads import letter_order


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
    assert (find.sound, find.after, find.path_min_ohm, find.stops_at_ohm) == (
        "pitch", "answers", 50_000.0, 13_000.0)


def test_a_freeze_counts_at_once_but_its_sound_only_when_heard_again():
    (find,) = finds([record(1, sound="cut", after="freeze")])
    assert (find.after, find.stop, find.sound, find.amount) == ("freeze", "freeze", "none", None)
    (find,) = finds([record(1, sound="cut", after="freeze"),
                     record(2, kind="confirm", sound="none")])
    assert (find.stop, find.sound) == ("freeze", "none")
    (find,) = finds(seen_twice(sound="cut", after="freeze"))
    assert (find.after, find.sound, find.stops_at_ohm) == ("freeze", "cut", 12_000.0)


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


def closing(*connections):
    """Two touches that close these (pads on one bus, pads on the other) and show a find."""
    touch = replace(bridge(), connections=tuple(
        Connection(tuple(one), tuple(other), 10e3) for one, other in connections
    ))
    return [replace(one, touch=touch) for one in seen_twice()]


def lone(pad):
    """Two touches of one pad's lead alone that show a find."""
    return [replace(one, path_ohm=None, pads_1=pad, pads_2="") for one in closing((pad, ""))]


def test_a_lead_alone_is_a_find_of_its_pad_and_worth_less_than_a_pair():
    pair = [replace(one, number=one.number + 2) for one in seen_twice("BC")]
    one, other = finds([*lone("A"), *pair])
    assert (one.pair, other.pair) == ("B-C", "A")
    assert (other.pads_1, other.pads_2, other.pads, other.is_lone) == ("A", "", ("A",), True)
    assert other.path_min_ohm is other.path_max_ohm is other.best_path_ohm is None
    assert (other.sound, other.amount, other.touches) == (one.sound, one.amount, (1, 2))
    stopped = [replace(one, after="freeze") for one in lone("A")]
    (find,) = finds(stopped)
    assert (find.stop, find.stops_at_ohm, find.after) == ("freeze", None, "freeze")


def test_what_is_told_beside_a_lead_is_played_beside_it():
    pair = [replace(one, number=one.number + 9) for one in seen_twice("AC")]
    on = [replace(one, kind="baseline", sound="none", number=3) for one in lone("A")[:1]]
    off = [baseline(8)]
    assert finds([*on, *off, *pair])[0].baseline_touch == 8
    beside = [replace(one, measures={BESIDE_LEAD: "A"}) for one in pair]
    assert finds([*on, *off, *beside])[0].baseline_touch == 3


def test_groups_and_held_pairs_are_finds_of_their_own():
    plain = seen_twice("AC", first=3)
    group = closing(("BA", "C"))
    held = [replace(one, number=one.number + 10) for one in closing(("C", "D"), ("B", "A"))]
    found = {one.pair: one for one in finds([*group, *plain, *held])}
    assert set(found) == {"A+B-C", "A-C", "A-B / C-D"}
    assert (found["A+B-C"].pads_1, found["A+B-C"].pads_2) == ("A+B", "C")
    assert found["A-B / C-D"].pads == ("A", "B", "C", "D")
    assert found["A-C"].touches == (3, 4)


def test_the_same_pads_over_other_values_are_other_spots():
    one, other = closing(("AB", "C"))
    low = replace(other.touch, connections=(Connection(("A", "B"), ("C",), 1e3),))
    assert not finds([one, replace(other, touch=low)])


def test_the_best_touch_has_a_take_and_the_nearest_baseline_of_its_key():
    touches = [baseline(1), baseline(2, key="woof"), baseline(8, fault="dropout"), baseline(9),
               record(4, score=9.0, take=None), record(5, kind="confirm", score=3.0)]
    (find,) = finds(touches)
    assert (find.best_touch, find.baseline_touch, find.score) == (5, 1, 3.0)


def along(pads, first, amounts, **more):
    """A find whose amount is another one over each of its paths."""
    return [one for at, amount in enumerate(amounts)
            for one in seen_twice(pads, first + 2 * at, path_ohm=1e3 * 4**at, amount=amount, **more)]


def told_as(manner, amount=None, unit=None):
    """What the judge stores of a manner."""
    return {MANNER: manner} if amount is None else {
        MANNER: manner, MANNER_AMOUNT: amount, MANNER_UNIT: unit}


def test_what_benders_look_for_comes_first_and_what_they_dont_last():
    def same(pads, first, amount, **more):
        return along(pads, first, [amount] * 3, **more)

    wanted = [
        same("AB", 1, 30.0, sound="timbre", unit="dB", measures=told_as("runs and evolves", 2.5, "s")),
        along("AC", 11, [0.1, 0.2, 0.4], sound="loop", unit="s"),
        along("AD", 21, [-1200.0, -600.0, -100.0]),
        same("AE", 31, 9.0, sound="timbre", unit="dB", measures=told_as("scrambled")),
        same("AF", 41, 110.0, sound="drone", after="freeze", unit="Hz"),
        same("AG", 51, 18.0, sound="timbre", unit="dB"),
        same("AH", 61, 9.0, sound="level", unit="dB"),
    ]  # fmt: skip
    unwanted = [
        same("BC", 81, -30.0, sound="cut", unit="dB", score=9.0),
        same("BD", 91, 9.0, sound="blip", unit="dB", score=9.0),
        same("BE", 101, -9.0, sound="level", unit="dB", score=9.0),
        same("BF", 111, 25.0, score=9.0),
    ]
    key = same("BG", 121, 0.3, sound="loop", unit="s", score=9.0, measures={LIKE_KEY: "woof"})
    stop = seen_twice("BH", 131, sound="cut", after="freeze", score=50.0)
    touches = [one for made in [stop, key, *unwanted, *wanted[::-1]] for one in made]
    found = [one.pair for one in finds(touches)]
    assert found[:7] == [f"A-{pad}" for pad in "BCDEFGH"]
    assert sorted(found[7:11]) == ["B-C", "B-D", "B-E", "B-F"]
    assert found[11:] == ["B-G", "B-H"]


def test_what_runs_on_or_has_a_manner_worth_hearing_isnt_last():
    plain = seen_twice("AB", 1, sound="level", amount=-9.0, unit="dB", score=9.0)
    muffled = seen_twice("AC", 3, sound="level", amount=-9.0, unit="dB",
                         measures=told_as("muffled", 12.0, "dB"))  # fmt: skip
    pulsing = seen_twice("AD", 5, sound="level", amount=-4.0, unit="dB",
                         measures=told_as("motorboating", 6.0, "Hz"))  # fmt: skip
    on = seen_twice("AE", 7, sound="blip", after="runs on")
    found = finds([*plain, *muffled, *pulsing, *on])
    assert [tier(one) for one in found] == [0, 0, 1, 1]
    assert [one.pair for one in found[:2]] == ["A-E", "A-D"]


@pytest.mark.parametrize(("amounts", "worth"), [
    ([-1200.0, -600.0, -100.0], SOUNDS["pitch"].set_worth), ([-1200.0, -100.0], SOUNDS["pitch"].worth),
    ([-300.0, -200.0, -100.0], SOUNDS["pitch"].worth),
])  # fmt: skip
def test_a_pitch_travels_over_three_paths_and_far(amounts, worth):
    (find,) = finds(along("AB", 1, amounts))
    assert kind_worth(find) == worth


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


@given(SPOTS)
@example([*[("AB", "sweep", "none", "answers", 1e3)] * 3, ("AB", "sweep", "none", "runs on", 1e3),
          ("AB", "confirm", "cut", "freeze", 1e3), ("CD", "sweep", "none", "freeze", 1e4),
          ("CD", "confirm", "cut", "freeze", 1e4), ("AC", "sweep", "none", "freeze", 1e3)])
def test_whatever_was_made_the_finds_hold_together(spots):
    records = [record(n, pads, kind, sound, after, path)
               for n, (pads, kind, sound, after, path) in enumerate(spots, 1)]
    by_number = {one.number: one for one in records}
    found = finds(records)
    assert len({one.label for one in found}) == len(found)
    for one in found:
        of_pair = [other for other in found if other.pair == one.pair]
        assert (one.label == one.pair) == (len(of_pair) == 1)
        sounding = [other.family for other in of_pair if other.sound != "none"]
        assert len(set(sounding)) == len(sounding)
    numbers = [number for one in found for number in one.touches]
    assert len(numbers) == len(set(numbers))
    tiers = [tier(one) for one in found]
    assert tiers == sorted(tiers)
    assert all(tier(one) == 3 for one in found if is_stop(one.after) and one.sound in ("none", "cut"))
    for find in found:
        assert find.best_touch in find.touches
        assert find.path_min_ohm <= find.path_max_ohm
        for number in find.touches:
            one = by_number[number]
            assert one.complete
            assert one.sound is not None
            assert one.sound != "lost" or is_stop(one.after)
            assert {one.pads_1, one.pads_2} == {find.pads_1, find.pads_2}
            assert (is_stop(one.after)) == (is_stop(find.after))
    shuffled = finds(reversed(records))
    assert [one.label for one in shuffled] == [one.label for one in found]


def test_rows_have_exactly_the_columns():
    (row,) = find_rows(finds(seen_twice()))
    assert tuple(row) == FIND_COLUMNS == (
        "pads_1", "pads_2", "key", "sound", "after", "amount", "unit", "path_min_ohm",
        "path_max_ohm", "best_path_ohm", "stops_at_ohm", "score", "p_value", "q_value", "family",
        "changed_presses", "like_key", "manner", "manner_amount", "manner_unit")
    assert (row["key"], row["best_path_ohm"]) == ("moo", 12_000.0)


def several_sounds(pads="SW", first=1, key="moo"):
    """A pair with another timbre at 36 kΩ, two octaves lower at 3.6 kΩ, silent at 0; no two alike."""
    told = [(36_000.4, "timbre", 18.0, "dB"), (3_600.4, "pitch", -2400.0, "cents"),
            (0.4, "cut", 0.85, "s")]  # fmt: skip
    return [
        one for at, (path, sound, amount, unit) in enumerate(told)
        for one in seen_twice(pads, first + 2 * at, path_ohm=path, sound=sound, amount=amount,
                              unit=unit, key=key)
    ]  # fmt: skip


def test_each_sound_of_a_pair_is_a_find_of_its_own():
    found = {one.label: one for one in finds(several_sounds())}
    assert {label: (one.sound, one.amount, one.path_min_ohm, one.path_max_ohm, one.touches)
            for label, one in found.items()} == {
        "S-W 36k": ("timbre", 18.0, 36_000.4, 36_000.4, (1, 2)),
        "S-W 3.6k": ("pitch", -2400.0, 3_600.4, 3_600.4, (3, 4)),
        "S-W 0.4": ("cut", 0.85, 0.4, 0.4, (5, 6))}
    assert {one.family for one in found.values()} == set(found)
    assert {(one.pair, one.p_value) for one in found.values()} == {("S-W", found["S-W 36k"].p_value)}


def test_a_stop_of_the_pair_stands_on_each_of_its_sounds_and_takes_those_below():
    stop = record(9, "SW", sound="none", after="freeze", path_ohm=1_000.0)
    found = finds([*several_sounds(), stop])
    assert {one.label for one in found} == {"S-W 36k", "S-W 3.6k"}
    assert {(one.stop, one.stops_at_ohm) for one in found} == {("freeze", 1_000.0)}


def test_the_same_sound_with_two_keys_is_told_apart_by_the_key():
    touches = [*seen_twice("SW"), *seen_twice("SW", 3, key="baa", score=1.0)]
    assert [one.label for one in finds(touches)] == ["S-W 12k moo", "S-W 12k baa"]
    third = seen_twice("SW", 5, key="baa", path_ohm=400.0, sound="loop")
    assert {one.label for one in finds([*touches, *third])} == {
        "S-W 12k moo", "S-W 12k baa", "S-W 400"}


def test_two_sounds_of_one_pair_dont_stand_for_one_another():
    alike = {"sound": "loop", "amount": 0.2, "unit": "s"}
    touches = [*seen_twice("AB", 1, path_ohm=36_000.0, **alike),
               record(3, path_ohm=10_000.0, sound="none"),
               *seen_twice("AB", 4, path_ohm=3_000.0, **alike),
               *seen_twice("CD", 6, path_ohm=3_000.0, **alike)]
    found = finds(touches)
    of_pair = [one for one in found if one.pair == "A-B"]
    assert [one.label for one in of_pair if one.family == one.label] == ["A-B 36k", "A-B 3k"]
    assert len({one.family for one in found}) == 2


def test_what_a_sound_is_over_each_of_its_paths_is_known():
    touches = [baseline(1), *seen_twice("SW", 2, path_ohm=36_000.0, amount=-300.0),
               *seen_twice("SW", 4, path_ohm=10_000.0, amount=-900.0, score=9.0),
               record(6, "SW", path_ohm=3_000.0, amount=-1200.0)]
    (find,) = finds(touches)
    assert (find.label, find.best_path_ohm, find.amount) == ("S-W", 10_000.0, -900.0)
    assert (find.heard_ohm, find.seen_once_ohm) == ((10_000.0, 36_000.0), (3_000.0,))
    assert [(one.path_ohm, one.amount, one.touch, one.baseline_touch, one.once)
            for one in find.along] == [
        (3_000.0, -1200.0, 6, 1, True), (10_000.0, -900.0, 4, 1, False),
        (36_000.0, -300.0, 2, 1, False)]
    moved = over(find, find.along[2])
    assert (moved.label, moved.amount, moved.best_touch, moved.best_path_ohm) == (
        "S-W 36k", -300.0, 2, 36_000.0)
    assert (moved.place, moved.path_min_ohm) == (find.place, find.path_min_ohm)
    assert over(find, find.along[1]) == find


def test_a_pair_with_several_sounds_is_counted_once_and_bends_if_any_does():
    touches = [*several_sounds("AB", 1), *several_sounds("AC", 7),
               record(13, "AC", sound="none", after="freeze", path_ohm=0.2),
               *[replace(one, number=one.number + 13) for one in several_sounds("AD")[4:]]]
    found = finds(touches)
    assert len(found) == 7
    told = tally(touches, found, set())
    assert (told.pairs, told.bends, told.silences, told.stop_below, told.stops) == (3, 2, 1, 1, 0)


def test_what_one_key_shows_can_be_asked_for_alone():
    touches = [*seen_twice(), *seen_twice(first=3, key="woof", sound="cut", path_ohm=90_000.0)]
    (find,) = finds(touches, key="woof")
    assert (find.sound, find.key, find.path_min_ohm) == ("cut", "woof", 90_000.0)
    assert finds(touches, key="meow") == []
    stop = record(5, key="meow", path_ohm=91_000.0, sound="none", after="freeze")
    assert finds([*touches, stop], key="woof") == []  # over less than stopped the toy


def test_each_pair_is_counted_once():
    touches = [
        baseline(1), *seen_twice("AB", 2),
        *seen_twice("AC", 4, sound="cut"), record(6, "AC", path_ohm=99.0, after="freeze"),
        *seen_twice("AD", 7, sound="cut", after="freeze"),
        record(9, "AE", after="guarded"), record(10, "AF", sound="none"),
        *seen_twice("AG", 11, sound="none", after="runs on"),
        record(13, "AH", fault="the toy did not answer", complete=False, after=None),
        *seen_twice("AI", 14, sound="drone", after="freeze"),
        *(replace(one, number=one.number + 15) for one in closing(("AB", "C"))),
        *(replace(one, number=one.number + 17) for one in lone("A")),
    ]
    told = tally(touches, finds(touches), recovered={6, 7, 8, 99})
    assert told == Tally(touches=18, pairs=7, groups=1, bends=4, silences=1, stop_below=1, stops=2,
                         lone=1, freezes=5, recovered=3)
