"""picks.yaml: written by the program, edited by hand, and read strictly."""

import json
import string
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.choose import keep, load_picks, note, remove, set_aside
from rig.choose.picks import CONTROLS, PICKS, Pick, tidy_pair
from rig.errors import ConfigError


def write(folder, text):
    (folder / PICKS).write_text(text, "utf-8")


def test_no_file_and_an_empty_one_hold_no_picks(tmp_path):
    assert load_picks(tmp_path) == []
    write(tmp_path, "# nothing yet\n\n")
    assert load_picks(tmp_path) == []
    keep(tmp_path, "C-F")
    assert (tmp_path / PICKS).read_text().startswith("# nothing yet\n")


def test_a_kept_pair_is_read_back(tmp_path):
    keep(tmp_path, "C-F", 'a "robot": stutters # loud')
    assert load_picks(tmp_path) == [Pick("C-F", note='a "robot": stutters # loud')]
    assert (tmp_path / PICKS).read_text().endswith("""\
- pair: C-F
  note: "a \\"robot\\": stutters # loud"
""")


def test_a_person_may_write_words_and_wishes_and_keeping_again_leaves_them(tmp_path):
    text = """\
- pair: F-C
  at_ohm: 4700
  key: leaf
  name: "robot"
  control: potentiometer
"""
    write(tmp_path, text)
    keep(tmp_path, "C-F")
    assert (tmp_path / PICKS).read_text() == text  # nothing was to be changed
    keep(tmp_path, "C-F", "growls")
    assert load_picks(tmp_path) == [
        Pick("C-F", at_ohm=4700.0, key="leaf", name="robot", note="growls",
             control="potentiometer")]


def test_what_earlier_versions_copied_from_the_sweep_is_read_over(tmp_path):
    write(tmp_path, """\
- pair: C-F
  note: "mine"
  sound: loop
  after: runs on
  amount: 0.3141
  unit: s
  path_min_ohm: 3000
  path_max_ohm: 47000
  touch: 12
- pair: A-B
  skip: true
""")
    assert load_picks(tmp_path, set_aside=True) == [
        Pick("C-F", note="mine"), Pick("A-B", set_aside=True)]


def test_keeping_again_leaves_the_note_and_the_place(tmp_path):
    keep(tmp_path, "C-F", "first")
    set_aside(tmp_path, "A-B")
    keep(tmp_path, "C-F")
    assert load_picks(tmp_path) == [Pick("C-F", note="first")]
    keep(tmp_path, "C-F", "second")
    assert load_picks(tmp_path, set_aside=True)[0].note == "second"


def test_those_set_aside_are_kept_apart_and_can_come_back(tmp_path):
    keep(tmp_path, "C-F", "mine")
    set_aside(tmp_path, "f-c")
    assert load_picks(tmp_path) == []
    (aside,) = load_picks(tmp_path, set_aside=True)
    assert (aside.set_aside, aside.note) == (True, "mine")
    keep(tmp_path, "C-F")
    assert load_picks(tmp_path)[0].note == "mine"


def test_notes_and_removal(tmp_path):
    keep(tmp_path, "C-F")
    set_aside(tmp_path, "A-B")
    note(tmp_path, "C-F", "later thought")
    assert load_picks(tmp_path)[0].note == "later thought"
    assert remove(tmp_path, "F-C") is True
    assert remove(tmp_path, "C-F") is False
    assert [one.pair for one in load_picks(tmp_path, set_aside=True)] == ["A-B"]
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
    keep(tmp_path, "G-H")
    after = (tmp_path / PICKS).read_text()
    assert after.startswith(text + "\n- pair: G-H\n")
    keep(tmp_path, "C-F", "growls")
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
    ("- pair: C\n", r":1: 'C' is one pad, and controls are planned for two pads only"),
    ("- pair: C-C\n", r":1: 'C-C' is no pair"),
    ("- pair: C-F\n  nots: x\n", r":2: unknown `nots`: did you mean note"),
    ("- pair: C-F\n  control: knob\n", r":2: control can't be knob: there is only: toggle"),
    ("- pair: C-F\n  control: togle\n", r":2: control can't be togle: did you mean toggle"),
    ("- pair: C-F\n  at: 3600\n", r":2: unknown `at`: there is only: pair, at_ohm"),
    ("- pair: C-F\n  at_ohm: 3.6k\n", r":2: at_ohm must be a number, is 3.6k: write 3600"),
    ("- pair: C-F\n  at_ohm: -3\n", r":2: at_ohm must be 1 to 10,000,000, is -3"),
    ("- pair: C-F\n  at_ohm: 1e999\n", r":2: at_ohm must be 1 to 10,000,000, is inf"),
    ("- pair: C-F\n  at_ohm: true\n", r":2: at_ohm must be a number"),
    ("- {pair: C-F, note: loops, then stops}\n",
     r':1: .*quotes: write `- {pair: C-F, note: "loops, then stops"}`'),
    ("- pair: C-F\n  note: loops: nice\n", r':2: .*quotes: write `note: "loops: nice"`'),
    ("- pair: C-F\n  note: 12\n", r":2: note must be text"),
    ("- pair: C-F\n  key: 1\n", r":2: key must be text"),
    ("- pair: C-F\n  set_aside: yes\n", r":2: set_aside must be true or false"),
    ("- pair: C-F\n- pair: A-B\n- pair: F-C\n", r":3: C-F is there twice \(first in line 1\)"),
    ("- {pair: C-F, at_ohm: 3600, key: moo}\n- {pair: F-C, key: moo, at_ohm: 3.6e3}\n",
     r":2: C-F 3\.6k moo is there twice \(first in line 1\)"),
    ("- pair: C-F\n  note: a\n  note: b\n", r":3: .*twice"),
    ("- pair: [C\n", r":\d: "),
])
def test_mistakes_are_named_with_their_line(tmp_path, text, words):
    write(tmp_path, text)
    for act in (load_picks, lambda folder: keep(folder, "C-F"), lambda f: remove(f, "A-B")):
        with pytest.raises(ConfigError, match=words) as caught:
            act(tmp_path)
        assert "\n" not in str(caught.value)
        assert str(tmp_path / PICKS) in str(caught.value)
    assert (tmp_path / PICKS).read_text() == text


SEVERAL = """\
- pair: C-F   # the best
- pair: C-F
  at_ohm: 3600
  key: moo   # falls
- {pair: C-F, at_ohm: 3600, key: woof}
- pair: C-F
  at_ohm: 36000
"""


def test_a_pair_may_stand_there_several_times_and_only_one_entry_changes(tmp_path):
    write(tmp_path, SEVERAL)
    picks = load_picks(tmp_path)
    assert [one.label for one in picks] == ["C-F", "C-F 3.6k moo", "C-F 3.6k woof", "C-F 36k"]
    keep(tmp_path, "F-C", "low", at_ohm=3600.0, key="moo")
    set_aside(tmp_path, "C-F", at_ohm=36_000.0)
    assert (tmp_path / PICKS).read_text() == SEVERAL.replace(
        "# falls\n", '# falls\n  note: "low"\n') + "  set_aside: true\n"
    keep(tmp_path, "C-F", at_ohm=470.0, key="")
    assert (tmp_path / PICKS).read_text().endswith('- pair: C-F\n  at_ohm: 470\n  key: ""\n')
    assert load_picks(tmp_path)[-1] == Pick("C-F", at_ohm=470.0, key="")
    assert remove(tmp_path, "C-F", picks[2])
    assert not remove(tmp_path, "C-F", picks[2])
    assert len(load_picks(tmp_path, set_aside=True)) == 4


def test_a_whole_pair_is_set_aside_and_taken_out_with_all_its_entries(tmp_path):
    write(tmp_path, SEVERAL + "- pair: A-B\n")
    set_aside(tmp_path, "C-F")
    assert [one.pair for one in load_picks(tmp_path)] == ["A-B"]
    assert len(load_picks(tmp_path, set_aside=True)) == 5
    assert remove(tmp_path, "C-F")
    assert (tmp_path / PICKS).read_text() == "- pair: A-B\n"
    write(tmp_path, "- {pair: C-F, at_ohm: 3600}\n")
    set_aside(tmp_path, "C-F", others=True)
    assert (tmp_path / PICKS).read_text() == (
        "- {pair: C-F, at_ohm: 3600, set_aside: true}\n- pair: C-F\n  set_aside: true\n")


SOUNDS = st.lists(st.tuples(
    st.sampled_from(["C-F", "A-B"]), st.floats(1, 1e7).map(lambda ohm: float(f"{ohm:.3g}")),
    st.sampled_from([None, "", "moo", "3", "yes: no"]), st.booleans(),
), max_size=8)  # fmt: skip


@settings(max_examples=40)
@given(SOUNDS)
def test_sounds_that_are_kept_and_set_aside_are_read_back(sounds):
    with tempfile.TemporaryDirectory() as name:
        expected = {}
        for pair, at_ohm, key, aside in sounds:
            spot = pair, at_ohm, key
            (set_aside if aside else keep)(Path(name), pair, at_ohm=at_ohm, key=key)
            expected[spot] = Pick(pair, at_ohm=at_ohm, key=key, set_aside=aside)
        assert load_picks(Path(name), set_aside=True) == list(expected.values())


@pytest.mark.parametrize("text", ["[{pair: C-F}]\n", "- pair: C-F\n...\n"])
def test_layouts_that_cant_be_changed_in_place_are_read_but_never_rewritten(tmp_path, text):
    write(tmp_path, text)
    assert load_picks(tmp_path)[0].pair == "C-F"
    with pytest.raises(ConfigError, match="can't be changed by the program") as told:
        keep(tmp_path, "G-H")
    assert "\n" not in str(told.value)
    assert (tmp_path / PICKS).read_text() == text


@pytest.mark.parametrize(("typed", "pair"), [
    ("c-f", "C-F"), ("F-C", "C-F"), (" AA-B ", "B-AA"), ("Z-AA", "Z-AA")])
def test_pairs_as_people_type_them(typed, pair):
    assert tidy_pair(typed) == pair


LETTERS = st.text(string.ascii_uppercase, min_size=1, max_size=2)
TEXTS = st.text(st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="\u2028\u2029"))
OHMS = st.none() | st.floats(1, 1e7).map(lambda value: float(f"{value:.10g}"))


@settings(max_examples=30)
@given(st.lists(st.tuples(LETTERS, LETTERS, TEXTS, TEXTS, OHMS, st.sampled_from([None, *CONTROLS]),
                          st.booleans()), max_size=6))
def test_anything_a_person_writes_and_the_program_changes_is_read_back(entries):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        expected = {}
        for one, other, text, called, ohm, control, aside in entries:
            if one == other:
                continue
            pair = tidy_pair(f"{one}-{other}")
            keep(folder, pair, text)
            lines = [f"  at_ohm: {ohm:.10g}\n"] if ohm else []
            lines += [f"  control: {control}\n"] if control else []
            lines += [f"  name: {json.dumps(called, ensure_ascii=False)}\n"] if called else []
            if pair not in expected:  # as a person would, behind the entry just made
                path = folder / PICKS
                path.write_text(path.read_text("utf-8") + "".join(lines), "utf-8")
                expected[pair] = Pick(
                    pair, at_ohm=ohm, name=called, note=text, control=control)
            if aside:
                set_aside(folder, pair)
            expected[pair] = replace(expected[pair], note=text, set_aside=aside)
        assert load_picks(folder, set_aside=True) == list(expected.values())
