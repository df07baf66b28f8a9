"""Which sound a person names, which one an entry of picks.yaml is about, and how both are kept."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from making_records import record, seen_twice

from rig.choose import Session, finds, load_picks
from rig.choose.find import over
from rig.choose.matching import decision, entry_of, find_named, find_of, named
from rig.choose.picks import PICKS, Pick
from rig.choose.replay import decided, keep_find, set_find_aside, set_pair_aside, undo_find
from rig.errors import ConfigError
from rig.words import ohms, short_ohms


def sounds():
    """S-W loops over 36 kΩ and over 3.6 and 10.4 kΩ falls; once over 1.2 kΩ; A-B and D-E beside."""
    return [
        *seen_twice("SW", 1, path_ohm=36_000.4, sound="loop", amount=0.2, unit="s", score=9.0),
        *seen_twice("SW", 3, path_ohm=10_400.4, amount=-1200.0, score=8.0),
        *seen_twice("SW", 5, path_ohm=3_600.4, amount=-2400.0, score=3.0),
        record(7, "SW", path_ohm=1_200.4, amount=-2500.0),
        *seen_twice("SW", 8, path_ohm=10_400.4, key="woof", sound="cut", amount=0.85, unit="s"),
        *seen_twice("AB", 10, path_ohm=3_600.4, sound="drone", amount=440.0, unit="Hz"),
        record(12, "DE", path_ohm=3_600.4, sound="none", after="freeze"),
    ]


FOUND = finds(sounds())


def test_the_made_up_sweep_has_these_sounds():
    assert {(one.label, one.sound, one.heard_ohm, one.seen_once_ohm) for one in FOUND} == {
        ("S-W 36k", "loop", (36_000.4,), ()),
        ("S-W 10.4k moo", "pitch", (3_600.4, 10_400.4), (1_200.4,)),
        ("S-W 10.4k woof", "cut", (10_400.4,), ()),
        ("A-B", "drone", (3_600.4,), ()), ("D-E", "none", (), ())}
    assert next(one for one in FOUND if one.pair == "S-W").label == "S-W 36k"


@pytest.mark.parametrize(("text", "spot"), [
    ("S-W", ("S-W", None, None)), (" w - s ", ("S-W", None, None)),
    ("S-W 3.6k", ("S-W", 3600.0, None)), ("S-W 3k6", ("S-W", 3600.0, None)),
    ("S-W 3600", ("S-W", 3600.0, None)), ("s-w 3.6 kΩ", ("S-W", 3600.0, None)),
    ("s-w 3.6 k\N{OHM SIGN}", ("S-W", 3600.0, None)), ("S-W 3,6k", ("S-W", 3600.0, None)),
    ("S-W 3.6kohm blue", ("S-W", 3600.0, "blue")), ("S-W 470R", ("S-W", 470.0, None)),
    ("S-W 4R7", ("S-W", 4.7, None)), ("S-W 1M5 big red", ("S-W", 1.5e6, "big red")),
    ("S-W 3600 Moo", ("S-W", 3600.0, "Moo")), ("S-W 3600 Red", ("S-W", 3600.0, "Red")),
    ("S-W blue", ("S-W", None, "blue")), ("a+b-c 10k", ("A+B-C", 10_000.0, None)),
    ("C-D / A-B 10k moo", ("A-B / C-D", 10_000.0, "moo")),
])  # fmt: skip
def test_sounds_as_people_type_them(text, spot):
    told = named(text)
    assert (told.pair, told.at_ohm, told.key) == spot


@given(st.floats(1.0, 9.9e6), st.sampled_from([short_ohms, ohms, lambda ohm: f"{ohm:.10g}"]))
def test_a_resistance_is_read_as_it_is_shown(ohm, show):
    assert named(f"S-W {show(ohm)} moo").at_ohm == pytest.approx(ohm, rel=0.006)


@pytest.mark.parametrize(("text", "label", "path_ohm", "amount"), [
    ("S-W", "S-W 36k", 36_000.4, 0.2), ("S-W 36k", "S-W 36k", 36_000.4, 0.2),
    ("S-W 3k6", "S-W 3.6k moo", 3_600.4, -2400.0), ("S-W 1.2k", "S-W 1.2k moo", 1_200.4, -2500.0),
    ("S-W 10.4k woof", "S-W 10.4k woof", 10_400.4, 0.85), ("S-W woof", "S-W 10.4k woof", 10_400.4, 0.85),
    ("b-a 3.5k", "A-B", 3_600.4, 440.0),
])  # fmt: skip
def test_a_sound_is_found_by_its_name(text, label, path_ohm, amount):
    find = find_named(FOUND, text)
    assert (find.label, find.best_path_ohm, find.amount) == (label, path_ohm, amount)


@pytest.mark.parametrize(("text", "words"), [
    ("S-W 5k", r"over 5 kΩ: there is only: 1.2 kΩ \(seen once\), 3.6 kΩ, 10.4 kΩ, 36 kΩ$"),
    ("S-W 3.6k woof", r"S-W: nothing was heard over 3.6 kΩ: there is only: 10.4 kΩ$"),
    ("S-W 3.6k wof", r"S-W: nothing was heard with key wof: did you mean woof\?"),
    ("D-E 3.6k", r"D-E: nothing was heard over 3.6 kΩ: it does nothing but stop the toy"),
    ("S-X 3.6k", r"nothing was found on S-X: found with these pads: S-W; see"),
    ("nonsense", r"'nonsense' is no pair"),
])  # fmt: skip
def test_where_nothing_was_heard_it_is_said_where_something_was(text, words):
    with pytest.raises(ConfigError, match=words) as told:
        find_named(FOUND, text)
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(("pick", "path_ohm", "sound"), [
    (Pick("S-W"), 36_000.4, "loop"),  # as ever: the best one
    (Pick("S-W", at_ohm=3_600.0), 3_600.4, "pitch"),
    (Pick("S-W", at_ohm=1_200.0), 1_200.4, "pitch"),
    (Pick("S-W", at_ohm=6_000.0), 10_400.4, "pitch"),  # between two of one range: its best
    (Pick("S-W", at_ohm=3_000.0), 10_400.4, "pitch"),  # beside it, by less than 1.3
    (Pick("S-W", at_ohm=300.0), 36_000.4, "loop"),  # near nothing
    (Pick("S-W", at_ohm=10_400.0, key="woof"), 10_400.4, "cut"),
    (Pick("S-W", at_ohm=36_000.0, key="woof"), 10_400.4, "cut"),
    (Pick("S-W", key="woof"), 10_400.4, "cut"),
    (Pick("D-E", key="baa"), 3_600.4, "none"),  # a stop is a stop with any key
])  # fmt: skip
def test_an_entry_stands_for_the_sound_whose_range_holds_its_resistance(pick, path_ohm, sound):
    find = find_of(pick, FOUND)
    assert (find.best_path_ohm, find.sound) == (path_ohm, sound)


def test_an_entry_for_a_key_that_showed_nothing_has_no_find():
    assert find_of(Pick("S-W", key="baa"), FOUND) is None
    assert find_of(Pick("C-F"), FOUND) is None


def sound(label):
    return next(one for one in FOUND if one.label == label)


def kept(folder):
    return [(one.label, one.set_aside) for one in load_picks(folder, set_aside=True)]


def test_each_sound_is_kept_with_its_resistance_and_key(tmp_path):
    keep_find(tmp_path, FOUND, find_named(FOUND, "S-W"))
    keep_find(tmp_path, FOUND, find_named(FOUND, "S-W 3.6k"), "falls")
    assert (tmp_path / PICKS).read_text("utf-8").split("\n- ", 1)[1] == """\
pair: S-W
  at_ohm: 36000
  key: "moo"
- pair: S-W
  at_ohm: 3600
  key: "moo"
  note: "falls"
"""
    keep_find(tmp_path, FOUND, find_named(FOUND, "S-W 3.6k"))
    assert kept(tmp_path) == [("S-W 36k moo", False), ("S-W 3.6k moo", False)]
    entries = load_picks(tmp_path)
    assert decided(entries, FOUND, sound("S-W 10.4k moo")) == "kept as S-W 3.6k moo"
    keep_find(tmp_path, FOUND, sound("S-W 10.4k moo"))  # the same sound over another path
    keep_find(tmp_path, FOUND, sound("D-E"))
    assert kept(tmp_path)[2:] == [("S-W 10.4k moo", False), ("D-E", False)]


OLD = '- pair: S-W   # mine\n  name: "Grumble"\n  control: toggle\n'


def test_an_old_entry_means_the_pair_as_ever(tmp_path):
    (tmp_path / PICKS).write_text(OLD)
    (entry,) = load_picks(tmp_path)
    assert [decision([entry], FOUND, one) is not None for one in FOUND if one.pair == "S-W"] == [True] * 3
    keep_find(tmp_path, FOUND, find_named(FOUND, "S-W"))
    assert (tmp_path / PICKS).read_text() == OLD
    assert decided([entry], FOUND, sound("S-W 36k")) == "kept"
    assert decided([entry], FOUND, sound("S-W 10.4k woof")) == "kept as S-W 36k"
    keep_find(tmp_path, FOUND, sound("S-W 10.4k woof"))
    assert (tmp_path / PICKS).read_text() == OLD + '- pair: S-W\n  at_ohm: 10400\n  key: "woof"\n'


def test_an_old_value_of_the_persons_own_stays_theirs(tmp_path):
    own = "- pair: S-W\n  at_ohm: 470\n  name: mine\n"
    (tmp_path / PICKS).write_text(own)
    (entry,) = load_picks(tmp_path)
    assert decided([entry], FOUND, sound("S-W 36k")) == "kept"
    assert decided([entry], FOUND, sound("S-W 10.4k woof")) == "kept as S-W 36k"
    keep_find(tmp_path, FOUND, find_named(FOUND, "S-W"))
    assert (tmp_path / PICKS).read_text() == own
    keep_find(tmp_path, FOUND, find_named(FOUND, "S-W 36k"), exact=True)
    assert kept(tmp_path) == [("S-W 470", False), ("S-W 36k moo", False)]
    (tmp_path / PICKS).write_text(own + "  set_aside: true\n")
    keep_find(tmp_path, FOUND, sound("S-W 10.4k woof"))  # another sound leaves it aside
    assert kept(tmp_path) == [("S-W 470", True), ("S-W 10.4k woof", False)]
    keep_find(tmp_path, FOUND, find_named(FOUND, "S-W"))  # it comes back as the person's own
    assert kept(tmp_path) == [("S-W 470", False), ("S-W 10.4k woof", False)]


def test_a_key_that_a_person_set_aside_stays_when_another_is_kept(tmp_path):
    aside = "- pair: S-W\n  key: moo\n  set_aside: true\n"
    (tmp_path / PICKS).write_text(aside)
    keep_find(tmp_path, FOUND, sound("S-W 10.4k woof"))
    assert (tmp_path / PICKS).read_text() == aside + '- pair: S-W\n  at_ohm: 10400\n  key: "woof"\n'


def test_a_path_below_any_resistor_is_kept_as_the_least(tmp_path):
    found = finds(seen_twice("SW", path_ohm=0.4))
    keep_find(tmp_path, found, found[0])
    assert load_picks(tmp_path) == [Pick("S-W", at_ohm=1.0, key="moo")]
    assert find_of(load_picks(tmp_path)[0], found) == found[0]


def test_a_value_of_the_persons_own_within_a_range_is_that_sound_kept(tmp_path):
    own = "- pair: S-W\n  at_ohm: 6000\n"
    (tmp_path / PICKS).write_text(own)
    keep_find(tmp_path, FOUND, sound("S-W 10.4k moo"))
    assert (tmp_path / PICKS).read_text() == own
    set_find_aside(tmp_path, FOUND, sound("S-W 10.4k moo"))
    assert (tmp_path / PICKS).read_text().startswith(own + "  set_aside: true\n")


def test_a_sound_that_is_kept_over_another_path_is_set_aside_and_taken_back_as_one(tmp_path):
    find = find_named(FOUND, "S-W 3.6k")
    keep_find(tmp_path, FOUND, find)
    assert not undo_find(tmp_path, FOUND, sound("S-W 10.4k moo"), exact=True)
    set_find_aside(tmp_path, FOUND, sound("S-W 10.4k moo"))
    assert kept(tmp_path) == [("S-W 3.6k moo", True)]
    assert undo_find(tmp_path, FOUND, sound("S-W 10.4k moo"))
    assert kept(tmp_path) == []


def test_one_sound_is_set_aside_and_taken_back_or_the_whole_pair(tmp_path):
    keep_find(tmp_path, FOUND, sound("S-W 36k"), "mine")
    set_find_aside(tmp_path, FOUND, sound("S-W 10.4k woof"))
    assert kept(tmp_path) == [("S-W 36k moo", False), ("S-W 10.4k woof", True)]
    entries = load_picks(tmp_path, set_aside=True)
    assert [decided(entries, FOUND, one) for one in map(sound, (
        "S-W 36k", "S-W 10.4k woof", "S-W 10.4k moo"))] == ["kept", "set aside", ""]
    assert undo_find(tmp_path, FOUND, sound("S-W 10.4k woof"))
    assert not undo_find(tmp_path, FOUND, sound("S-W 10.4k woof"))
    assert kept(tmp_path) == [("S-W 36k moo", False)]
    set_pair_aside(tmp_path, FOUND, "S-W")
    assert kept(tmp_path) == [("S-W 36k moo", True), ("S-W", True)]
    entries = load_picks(tmp_path, set_aside=True)
    assert {decided(entries, FOUND, one) for one in FOUND if one.pair == "S-W"} == {"set aside"}
    keep_find(tmp_path, FOUND, sound("S-W 36k"))
    assert load_picks(tmp_path) == [Pick("S-W", at_ohm=36_000.0, key="moo", note="mine")]
    keep_find(tmp_path, FOUND, sound("S-W 10.4k moo"))
    assert kept(tmp_path) == [("S-W 36k moo", False), ("S-W 10.4k moo", False)]


def test_a_pair_set_aside_by_its_pair_alone_needs_no_second_entry(tmp_path):
    set_pair_aside(tmp_path, FOUND, "S-W")
    set_pair_aside(tmp_path, FOUND, "A-B")
    assert kept(tmp_path) == [("S-W", True), ("A-B", True)]
    assert {entry_of(load_picks(tmp_path, set_aside=True), FOUND, one).pair
            for one in FOUND if one.pair != "D-E"} == {"S-W", "A-B"}


def test_setting_an_old_entrys_sound_aside_leaves_the_pairs_others(tmp_path):
    (tmp_path / PICKS).write_text(OLD)
    set_find_aside(tmp_path, FOUND, sound("S-W 36k"))
    assert kept(tmp_path) == [("S-W 36k moo", True)]
    assert load_picks(tmp_path, set_aside=True)[0].name == "Grumble"


def test_going_through_leaves_out_what_was_decided_and_steps_along_a_pair(tmp_path):
    keep_find(tmp_path, FOUND, sound("S-W 10.4k woof"))
    session = Session(FOUND, None, tmp_path)
    assert {one.label for one in session.found} == {"S-W 36k", "S-W 10.4k moo", "A-B", "D-E"}
    while session.current.label != "S-W 10.4k moo":
        session.move(1)
    heard = []
    while True:
        heard.append((session.current.label, session.current.best_touch, session.is_once))
        if not session.step(-1):
            break
    assert heard == [("S-W 10.4k moo", 3, False), ("S-W 3.6k moo", 5, False), ("S-W 1.2k moo", 7, True)]
    session.keep()
    assert [session.step(1) for _ in range(4)] == [True, True, True, False]
    assert (session.current.label, session.current.sound) == ("S-W 36k", "loop")
    session.set_aside()
    assert kept(tmp_path) == [
        ("S-W 10.4k woof", False), ("S-W 1.2k moo", False), ("S-W 36k moo", True)]
    assert session.undo()
    assert kept(tmp_path)[-1] == ("S-W 1.2k moo", False)
    session.move(1)
    assert not session.is_along


def test_a_pair_that_only_stops_the_toy_has_nowhere_to_step(tmp_path):
    session = Session([sound("D-E")], None, tmp_path)
    assert not session.step(1)
    session.keep()
    assert load_picks(tmp_path) == [Pick("D-E")]


def test_a_moved_sound_keeps_the_place_of_its_range():
    find = sound("S-W 10.4k moo")
    assert {over(find, one).place for one in find.along} == {find.place}
