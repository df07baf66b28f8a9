"""picks.yaml: written by the program, edited by hand, and read strictly."""

import string
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.choose import Find, keep, load_picks, note, remove, skip
from rig.choose.picks import PICKS, Pick, tidy_pair
from rig.errors import ConfigError

FIND = Find("C", "F", "loop", "runs on", 0.3141, "s", 3_000.0, 47_000.0, 4.2, (11, 12), 12, 3)


def write(folder, text):
    (folder / PICKS).write_text(text, "utf-8")


def test_no_file_and_an_empty_one_hold_no_picks(tmp_path):
    assert load_picks(tmp_path) == []
    write(tmp_path, "# nothing yet\n\n")
    assert load_picks(tmp_path) == []
    keep(tmp_path, FIND)
    assert (tmp_path / PICKS).read_text().startswith("# nothing yet\n")


def test_a_kept_find_is_read_back(tmp_path):
    keep(tmp_path, FIND, 'a "robot": stutters # loud')
    assert load_picks(tmp_path) == [Pick(
        "C-F", 'a "robot": stutters # loud', "loop", "runs on", 0.3141, "s", 3_000.0, 47_000.0,
        12)]
    assert (tmp_path / PICKS).read_text().endswith("""\
- pair: C-F
  note: "a \\"robot\\": stutters # loud"
  sound: loop
  after: runs on
  amount: 0.3141
  unit: s
  path_min_ohm: 3000
  path_max_ohm: 47000
  touch: 12
""")


def test_keeping_again_renews_what_was_found_but_not_the_note_or_place(tmp_path):
    keep(tmp_path, FIND, "first")
    skip(tmp_path, "A-B")
    keep(tmp_path, Find("C", "F", "pitch", "answers", None, None, 1.0, 2.0, 9.0, (30,), 30, None))
    assert [(one.pair, one.note, one.sound, one.touch) for one in load_picks(tmp_path)] == [
        ("C-F", "first", "pitch", 30)]
    keep(tmp_path, FIND, "second")
    assert load_picks(tmp_path, skipped=True)[0].note == "second"


def test_skipped_ones_are_kept_apart_and_can_come_back(tmp_path):
    keep(tmp_path, FIND, "mine")
    skip(tmp_path, "f-c")
    assert load_picks(tmp_path) == []
    (aside,) = load_picks(tmp_path, skipped=True)
    assert (aside.skip, aside.note, aside.sound) == (True, "mine", "loop")
    keep(tmp_path, FIND)
    assert load_picks(tmp_path)[0].note == "mine"


def test_notes_and_removal(tmp_path):
    keep(tmp_path, FIND)
    skip(tmp_path, "A-B")
    note(tmp_path, "C-F", "later thought")
    assert load_picks(tmp_path)[0].note == "later thought"
    assert remove(tmp_path, "F-C") is True
    assert remove(tmp_path, "C-F") is False
    assert [one.pair for one in load_picks(tmp_path, skipped=True)] == ["A-B"]
    with pytest.raises(ConfigError, match="C-F is not in it"):
        note(tmp_path, "C-F", "gone")


def test_a_persons_comments_and_order_stay(tmp_path):
    text = """\
# my picks for the cow

# the best one, for the left ear
- pair: F-C   # swapped leads
  note: 'growls'

# the second, under the hat
- {pair: A-B, note: hiccup}
# the end"""
    write(tmp_path, text)
    keep(tmp_path, Find("G", "H", "cut", "answers", -20.0, "dB", 1.0, 1.0, 2.0, (1,), 1, None))
    after = (tmp_path / PICKS).read_text()
    assert after.startswith(text + "\n- pair: G-H\n")
    keep(tmp_path, FIND)
    after = (tmp_path / PICKS).read_text()
    for line in ("# my picks for the cow", "# the best one", "# the second, under the hat",
                 "{pair: A-B, note: hiccup}", "# the end"):
        assert after.count(line) == 1
    assert [one.pair for one in load_picks(tmp_path)] == ["C-F", "A-B", "G-H"]
    assert load_picks(tmp_path)[0].note == "growls"


@pytest.mark.parametrize(("text", "words"), [
    ("pair: C-F\n", r"picks\.yaml:1: must be a list"),
    ("- C-F\n", r":1: a pick begins with its pair"),
    ("- note: x\n", r":1: a pick begins with its pair"),
    ("- pair: C\n", r":1: 'C' is no pair"),
    ("- pair: C-C\n", r":1: 'C-C' is no pair"),
    ("- pair: C-F\n  nots: x\n", r":2: unknown `nots`: did you mean note"),
    ("- pair: C-F\n  sound: lop\n", r":2: sound can't be lop: did you mean loop"),
    ("- pair: C-F\n  after: runs\n", r":2: after can't be runs: did you mean runs on"),
    ("- pair: C-F\n  path_min_ohm: 3 kohm\n", r":2: path_min_ohm must be a number"),
    ("- pair: C-F\n  path_max_ohm: -3\n", r":2: path_max_ohm must be at least 0"),
    ("- pair: C-F\n  amount: 1e999\n", r":2: amount must be a number"),
    ("- pair: C-F\n  touch: 1.5\n", r":2: touch must be the number of a touch"),
    ("- pair: C-F\n  touch: true\n", r":2: touch must be a number"),
    ("- pair: C-F\n  note: 12\n", r":2: note must be text"),
    ("- pair: C-F\n  skip: yes\n", r":2: skip must be true or false"),
    ("- pair: C-F\n- pair: A-B\n- pair: F-C\n", r":3: C-F is there twice \(first in line 1\)"),
    ("- pair: C-F\n  note: a\n  note: b\n", r":3: .*twice"),
    ("- pair: [C\n", r":\d: "),
])
def test_mistakes_are_named_with_their_line(tmp_path, text, words):
    write(tmp_path, text)
    for act in (load_picks, lambda folder: keep(folder, FIND), lambda f: remove(f, "A-B")):
        with pytest.raises(ConfigError, match=words) as caught:
            act(tmp_path)
        assert "\n" not in str(caught.value)
        assert str(tmp_path / PICKS) in str(caught.value)
    assert (tmp_path / PICKS).read_text() == text


@pytest.mark.parametrize("text", ["[{pair: C-F}]\n", "  - pair: C-F\n  - pair: A-B\n"])
def test_layouts_that_cant_be_changed_in_place_are_read_but_never_rewritten(tmp_path, text):
    write(tmp_path, text)
    assert load_picks(tmp_path)[0].pair == "C-F"
    with pytest.raises(ConfigError, match="can't be changed by the program"):
        keep(tmp_path, FIND)
    assert (tmp_path / PICKS).read_text() == text


@pytest.mark.parametrize(("typed", "pair"), [
    ("c-f", "C-F"), ("F-C", "C-F"), (" AA-B ", "B-AA"), ("Z-AA", "Z-AA")])
def test_pairs_as_people_type_them(typed, pair):
    assert tidy_pair(typed) == pair


LETTERS = st.text(string.ascii_uppercase, min_size=1, max_size=2)
TEXTS = st.text(st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="\u2028\u2029"))
AMOUNTS = st.floats(-1e6, 1e6).map(lambda value: float(f"{value:.4g}"))
OHMS = st.floats(0, 1e9).map(lambda value: float(f"{value:.4g}"))


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(LETTERS, LETTERS, TEXTS, AMOUNTS, OHMS, st.booleans()), max_size=6))
def test_anything_kept_or_skipped_is_read_back(entries):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        expected = {}
        for one, other, text, amount, ohm, aside in entries:
            if one == other:
                continue
            pair = tidy_pair(f"{one}-{other}")
            find = Find(*pair.split("-"), "drone", "answers", amount, "Hz", ohm, ohm, 2.0, (1,),
                        1, None)
            keep(folder, find, text)
            if aside:
                skip(folder, pair)
            expected[pair] = (text, amount, ohm, aside)
        read = load_picks(folder, skipped=True)
        assert {one.pair: (one.note, one.amount, one.path_min_ohm, one.skip)
                for one in read} == expected
        assert [one.pair for one in read] == list(expected)
