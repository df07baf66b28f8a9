"""Two kept sounds of one pair: one control, that gives both."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from making_records import record, seen_twice

from rig.build.evidence import evidence_for
from rig.build.several import by_pair, propose_one
from rig.choose.picks import Pick

LEAST, MOST = 3_600.4, 154_000.4
TOLD = {
    154_000.4: ("loop", 0.2, "s"), 36_000.4: ("timbre", 18.0, "dB"), 10_400.4: ("pitch", -1200.0, "cents"),
    3_600.4: ("drone", 440.0, "Hz"),
}  # fmt: skip


def over(*paths, silent=(), key="moo", first=1):
    """Touches of S-W in which another sound was heard over each path, and nothing over the silent."""
    made = [
        one for at, path in enumerate(paths)
        for one in seen_twice("SW", first + 2 * at, path_ohm=path, key=key, **dict(
            zip(("sound", "amount", "unit"), TOLD[path], strict=True)))
    ]  # fmt: skip
    return made + [record(first + 100 + at, "SW", path_ohm=path, sound="none")
                   for at, path in enumerate(silent)]  # fmt: skip


def control(records, *picks):
    evidence = evidence_for(picks, records, 0.05)
    (kept,) = by_pair(picks, evidence)
    return propose_one(kept, least_path_ohm=LEAST, most_path_ohm=MOST, volts=4.8)


def at(*ohm, **more):
    return [Pick("S-W", at_ohm=one, key="moo", **more) for one in ohm]


def test_sounds_whose_ranges_dont_meet_are_positions_of_a_rotary_switch():
    made = control(over(36_000.4, 3_600.4, silent=[10_400.4]), *at(36_000, 3_600))
    assert (made.kind, made.part) == ("rotary switch", "rotary switch, 1 pole, 3 positions")
    assert [(one.fixed_ohm, one.what) for one in made.positions] == [
        (3_900, "drones at 440 Hz over 3.6 kΩ"), (39_000, "other timbre, by 18 dB over 36 kΩ")]
    assert made.resistors == ((3_900, False), (39_000, False))
    assert (made.fixed_ohm, made.pot_ohm) == (3_900, None)
    assert made.why == (
        "Two sounds of one pair: drones at 440 Hz over 3.6 kΩ; other timbre, by 18 dB over 36 kΩ. A "
        "position for each, and one left free as off.")
    assert made.keep == "Keep at least 3.6 kΩ in the path: the rig never tried less."
    assert any("non-shorting" in hint for hint in made.hints)


def test_neighbours_are_one_knob_over_both_ranges():
    made = control(over(36_000.4, 10_400.4), *at(36_000, 10_400))
    assert (made.kind, made.fixed_ohm, made.pot_ohm) == ("potentiometer", 11_000, 50_000)
    assert "Two sounds of one pair whose ranges meet: pitch down an octave" in made.why
    assert any("no off" in hint for hint in made.hints)
    assert made.positions == ()


def test_three_sounds_are_neighbours_only_if_all_are():
    all_meet = control(over(154_000.4, 36_000.4, 10_400.4), *at(36_000, 154_000, 10_400))
    assert (all_meet.kind, all_meet.fixed_ohm) == ("potentiometer", 11_000)
    parted = control(over(154_000.4, 36_000.4, 3_600.4, silent=[10_400.4]), *at(36_000, 154_000, 3_600))
    assert [one.fixed_ohm for one in parted.positions] == [3_900, 39_000, 150_000]


def test_a_path_in_between_that_belongs_to_no_kept_sound_parts_them():
    made = control(over(36_000.4, 10_400.4, 3_600.4), *at(36_000, 3_600))
    assert made.kind == "rotary switch"


def test_sounds_with_two_keys_are_positions():
    records = over(36_000.4) + over(10_400.4, key="woof", first=5)
    made = control(records, Pick("S-W", at_ohm=36_000, key="moo"), Pick("S-W", at_ohm=10_400, key="woof"))
    assert made.kind == "rotary switch"


def test_one_resistance_for_two_keys_is_one_plain_control():
    records = over(36_000.4) + over(36_000.4, key="woof", first=5)
    made = control(records, Pick("S-W", at_ohm=36_000, key="moo"), Pick("S-W", at_ohm=36_000, key="woof"))
    assert (made.kind, made.fixed_ohm, made.positions) == ("toggle", 39_000, ())


def test_two_resistances_of_one_sound_are_a_knob_through_both():
    paths = (36_000.4, 10_400.4, 3_600.4)
    records = [one for n, path in enumerate(paths)
               for one in seen_twice("SW", 1 + 2 * n, path_ohm=path, amount=-400.0 * (n + 1))]
    made = control(records, *at(3_600, 36_000))
    assert (made.kind, made.fixed_ohm, made.pot_ohm) == ("potentiometer", 3_900, 50_000)


def test_a_value_of_the_persons_own_is_a_position_and_theirs():
    made = control(over(36_000.4), *at(36_000, 470))
    assert made.resistors == ((470, True), (39_000, False))
    assert made.positions[0].what == "your own value, over 470 Ω"
    assert "470 Ω: Your value: less than the rig ever tried." in made.keep
    once = [*over(36_000.4), record(9, "SW", path_ohm=10_400.4, sound="loop", amount=0.3, unit="s")]
    assert control(once, *at(36_000, 10_400)).positions[0].what == (
        "loops every 0.30 s over 10.4 kΩ, heard once")


@pytest.mark.parametrize(("wish", "kind", "says"), [
    ("potentiometer", "potentiometer", "You wish for a potentiometer. Two sounds of one pair whose"),
    ("toggle", "rotary switch", "You wish for a toggle. It gives one of these only. Two sounds"),
])  # fmt: skip
def test_a_wish_is_given_where_it_can_be_and_answered(wish, kind, says):
    records = over(36_000.4, 3_600.4, silent=[10_400.4])
    made = control(records, *at(3_600), *at(36_000, control=wish))
    assert made.kind == kind
    assert made.why.startswith(says)


def test_without_a_value_for_one_the_other_stands_alone():
    assert control([], Pick("S-W"), Pick("S-W", key="moo")).part == "not touched"
    stops = [record(1, "SW", sound="none", after="freeze", path_ohm=3_600.4)]
    made = control(stops, Pick("S-W"), Pick("S-W", at_ohm=36_000))
    assert (made.kind, made.fixed_ohm, made.yours) == ("push-button", 36_000, True)


def test_pairs_stand_in_the_order_of_their_first_pick():
    picks = [Pick("S-W", at_ohm=1e3), Pick("A-B"), Pick("S-W", at_ohm=2e3)]
    assert [(one.pick.pair, len(one.picks)) for one in by_pair(picks, evidence_for(picks, [], 0.05))] == [
        ("S-W", 2), ("A-B", 1)]


@given(st.lists(st.sampled_from(sorted(TOLD)), min_size=2, max_size=4, unique=True), st.data())
def test_whatever_is_kept_every_sound_is_reached_and_nothing_lower(paths, data):
    silent = data.draw(st.lists(st.sampled_from(sorted(set(TOLD) - set(paths)) or [1e6]), unique=True))
    kept = data.draw(st.lists(st.sampled_from(paths), min_size=2, unique=True))
    made = control(over(*paths, silent=silent), *at(*(float(f"{one:.3g}") for one in kept)))
    low = min(kept)

    def floor(path):
        less = any(one < path for one in (*paths, *silent))
        return 0.9 * path if less else path  # where less was tried and the toy lived a little less will do

    assert made.fixed_ohm * 0.95 >= 0.99 * floor(low)
    if made.positions:
        for path, (ohm, yours) in zip(sorted(kept), made.resistors, strict=True):
            assert not yours
            assert 0.99 * floor(path) <= ohm * 0.95 and ohm <= path * 1.2
    else:
        assert made.fixed_ohm + made.pot_ohm >= max(kept) * 0.95
        tried = [path for path in (*paths, *silent) if low < path < max(kept)]
        assert set(tried) <= set(kept)
