"""Which touches count: those that lie between two clean presses that sound like the toy."""

from dataclasses import replace

import pytest
from making_logs import BASELINE
from making_records import baseline, record

from rig.choose import finds
from rig.log.between import CHANGED_AFTER, parts
from rig.touches import Target

KINDS = {"b": ("baseline", "none"), "g": ("check", "none"), "o": ("check", "level")}


def rows(text):
    """Make records: b a baseline's take, g a good clean press, o an odd one, l a lost one.

    A capital is a confirming touch of a pair, a digit a touch of another pair that was heard; with !
    behind it the toy was stopped.
    """
    made = []
    for letter in text:
        number = len(made) + 1
        if letter == "!":
            made[-1] = replace(made[-1], after="freeze")
        elif letter in KINDS:
            kind, sound = KINDS[letter]
            made.append(replace(baseline(number), kind=kind, sound=sound))
        elif letter == "l":
            made.append(replace(baseline(number), kind="check", sound="lost", fault="no sound"))
        else:
            kind = "confirm" if letter.isalpha() else "sweep"
            made.append(record(number, ("Z", letter), kind))
    return made


def letters(text, numbers):
    """Mark the records that are meant."""
    plain = text.replace("!", "")
    return "".join(letter if n in numbers else "." for n, letter in enumerate(plain, 1))


@pytest.mark.parametrize(("text", "counting", "calibrating", "reference"), [
    # Every second press of a row calibrates, between two that join the others.
    ("bbgAgBg", "...A.B.", ".......", "bbg.g.g"),
    ("gggggg", "......", ".g.g..", "g.g.g."),
    # A press that calibrates may be odd itself; one behind an odd one doesn't.
    ("gog", "...", ".o.", "g.g"),
    ("goog", "....", "....", "g..g"),
    # Nothing bridged in between, nothing lost just before, and no press left out behind.
    ("g1Ag", "....", "....", "g..g"),
    ("glAg", "....", "....", "g..g"),
    ("gAlg", ".A..", "....", "g..g"),
    ("gABg", "....", "....", "g..g"),
    ("gA", "..", "..", "g."),
    # What stops the toy needs no press behind it; what follows a stop needs one before.
    ("gA!g", ".A.", "...", "g.g"),
    ("1!1g", "...", "...", "..g"),
    # A baseline's takes between change nothing.
    ("gAbg", ".A..", "....", "g.bg"),
])  # fmt: skip
def test_what_counts_calibrates_and_joins(text, counting, calibrating, reference):
    told = parts(rows(text))
    assert letters(text, told.counting) == counting
    assert letters(text, told.calibrating) == calibrating
    assert letters(text, told.reference) == reference


@pytest.mark.parametrize(("text", "void"), [
    ("gAog", ".A.."),  # behind it the toy isn't itself
    ("gAogggAog", ".A......."),  # the second time it is the pair that leaves it so
    ("g12o", "..2."),  # after one odd press the last touch is doubtful, after two all of them
    ("g12oo", ".12.."),
    ("g12g3o", "....3."),  # but not those before a good press,
    ("g12!3oo", "...3.."),  # nor those before the toy was brought back
    ("g1og1og", ".1....."),
])  # fmt: skip
def test_what_is_void(text, void):
    assert letters(text.replace("!", ""), parts(rows(text)).void) == void


@pytest.mark.parametrize(("text", "left"), [
    ("gAg", {}), ("gAog", {2: 1}), ("gAoog", {2: 2}), ("gAoooog", {2: CHANGED_AFTER}),
    ("g1oog", {}), ("gAoogBog", {2: 2, 6: 1}), ("gAooggBog", {2: 2}),
])  # fmt: skip
def test_what_a_touch_left_behind(text, left):
    assert parts(rows(text)).left == left


def test_a_find_says_for_how_long_its_pair_left_the_toy_changed():
    made = rows("g1gAoogggAoogggAg")
    made = [replace(one, touch=replace(one.touch, connections=made[3].touch.connections))
            if one.touch != BASELINE else one for one in made]  # fmt: skip
    (find,) = finds(made)
    assert find.changed_presses == 2
    # The first confirming touch, behind which the toy wasn't itself, isn't shown.
    assert 4 not in find.touches and 10 in find.touches


def test_takes_with_a_lead_on_are_a_baseline_of_their_own():
    with_lead = Target.lone("A", 0.0, "moo").connections
    made = rows("bbgAggg")
    assert parts(made).counting == {4} and parts(made).calibrating == {6}
    made[4] = replace(made[4], kind="baseline", touch=replace(BASELINE, connections=with_lead))
    told = parts(made)
    assert told.loaded == {5} and told.reference == {1, 2, 3, 6}
    # What is bridged on purpose is no press that shows how the toy was before and after.
    assert told.counting == told.calibrating == set()
    made[4] = replace(made[4], after="freeze")
    assert parts(made).loaded == set()


def test_older_logs_tell_by_the_judgement_whether_a_press_was_odd():
    made = rows("gAg")
    assert parts(made).counting == {2}
    # What was heard at the time stands, however the press is judged later.
    marked = [replace(one, facts={"itself": False}) if one.kind == "check" else one for one in made]
    assert not parts(marked).counting
