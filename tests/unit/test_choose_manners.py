"""The second word of a find: which it is, how it is said, what it is worth."""

import numpy as np
import pytest
from making_records import baseline, record, seen_twice

from rig.choose import find_rows, finds
from rig.choose.find import over
from rig.choose.manners import REPEATS, is_unpredictable
from rig.listen import MANNER, MANNER_AMOUNT, MANNER_UNIT
from rig.outcomes import MANNERS, SOUNDS, manner_words, sound_words, told_words

AMOUNTS = {
    "slowed": (78.0, "%"), "sped": (130.0, "%"),
    "stutter": (12.5, "Hz"), "chopped": (8.0, "Hz"), "motorboating": (6.0, "Hz"),
    "runs and evolves": (2.5, "s"), "crushed": (2.3, "bit"), "coarse": (6000.0, "Hz"),
    "metallic": (460.0, "Hz"), "buzz": (100.0, "Hz"), "squeal": (3100.0, "Hz"),
    "whine": (1700.0, "Hz"), "stops early": (0.5, "s"), "static": (-17.0, "dB"),
    "crackle": (20.0, "1/s"),
}  # fmt: skip
"""An amount of each manner that is said with one."""
SAID = [("pitch", -827.0, "cents"), ("timbre", 14.0, "dB"), ("level", -6.0, "dB"),
        ("drone", 110.0, "Hz"), ("loop", 0.08, "s"), ("cut", 0.5, "s"), ("none", None, None)]  # fmt: skip


def told(name, amount=None, unit=None):
    """Measures that hold a manner."""
    return {MANNER: name} if amount is None else {
        MANNER: name, MANNER_AMOUNT: amount, MANNER_UNIT: unit}


def test_each_manner_with_a_phrase_is_said_with_its_amount():
    assert set(AMOUNTS) == {name for name, row in MANNERS.items() if row.phrase is not None}
    for name, row in MANNERS.items():
        said = manner_words(name, *AMOUNTS.get(name, (None, None)))
        assert (said == row.plain) == (name not in AMOUNTS), name
        assert 0.0 < row.worth <= 1.0
        assert set(row.says_all) <= set(SOUNDS)
    assert manner_words(None, None, None) == ""


@pytest.mark.parametrize("name", MANNERS)
@pytest.mark.parametrize("sound", SAID, ids=lambda one: one[0])
def test_a_find_is_said_in_a_line_that_a_table_holds(name, sound):
    amount, unit = AMOUNTS.get(name, (None, None))
    said = told_words(*sound, manner=name, manner_amount=amount, manner_unit=unit)
    assert len(said) <= 58
    assert said.startswith(MANNERS[name].plain.split()[0][:5])
    assert "other timbre" not in said


@pytest.mark.parametrize(("sound", "manner", "words"), [
    (("pitch", -827.0, "cents"), ("slowed", 62.0, "%"), "slowed, pitch down 827 cents"),
    (("timbre", 9.0, "dB"), ("slowed", 78.0, "%"), "slowed to 78 %, by 9 dB"),
    (("timbre", 14.0, "dB"), ("crushed", 2.3, "bit"), "crushed to 2.3 bits, by 14 dB"),
    (("timbre", 14.0, "dB"), ("muffled", 20.0, "dB"), "muffled, by 14 dB"),
    (("timbre", 7.0, "dB"), ("coarse", 6006.0, "Hz"), "coarse, held at 6.01 kHz, by 7 dB"),
    (("loop", 0.08, "s"), ("stutter", 12.5, "Hz"), "stutters at 12.5 Hz"),
    (("cut", 0.84, "s"), ("stops early", 0.84, "s"), "stops early, after 0.84 s"),
    (("cut", -24.0, "dB"), ("thin", 26.0, "dB"), "thin, cuts the sound by 24 dB"),
    (("level", 6.0, "dB"), ("distorted", 25.0, "dB"), "distorted, louder by 6 dB"),
    (("level", -4.0, "dB"), ("motorboating", 6.0, "Hz"), "motorboats at 6 Hz"),
    (("drone", -17.3, "dB"), ("static", -17.3, "dB"), "static under the sound, -17 dB"),
    (("drone", 325.0, "Hz"), ("whine", 2600.0, "Hz"), "whines at 2.6 kHz"),
    (("none", None, None), ("unpredictable", None, None), "different each time"),
    (("timbre", 14.0, "dB"), (None, None, None), "other timbre, by 14 dB"),
])  # fmt: skip
def test_what_is_said_with_a_manner(sound, manner, words):
    name, amount, unit = manner
    assert told_words(*sound, manner=name, manner_amount=amount, manner_unit=unit) == words


def test_without_a_manner_nothing_is_said_otherwise():
    for sound, amount, unit in SAID:
        assert told_words(sound, amount, unit) == sound_words(sound, amount, unit)
    assert told_words(None, None, None) == "not measured"


def test_half_of_the_touches_must_have_it_and_the_shown_one_says_how_much():
    crushed = told("crushed", 2.3, "bit")
    (find,) = finds(seen_twice(sound="timbre", amount=9.0, unit="dB", measures=crushed))
    assert (find.manner, find.manner_amount, find.manner_unit) == ("crushed", 2.3, "bit")
    touches = [record(1, sound="timbre", amount=9.0, unit="dB", score=9.0),
               record(2, sound="timbre", amount=9.0, unit="dB", kind="confirm", measures=crushed)]
    (find,) = finds(touches)
    assert (find.best_touch, find.manner, find.manner_amount) == (1, "crushed", 2.3)
    more = record(3, sound="timbre", amount=9.0, unit="dB", kind="confirm")
    (find,) = finds([*touches, more])
    assert (find.manner, find.manner_amount, find.words) == (None, None, "other timbre, by 9 dB")


def test_what_is_shown_over_another_path_has_the_manner_of_that_path():
    touches = [*seen_twice("AB", 1, path_ohm=3e3, amount=-900.0, measures=told("slowed", 60.0, "%")),
               *seen_twice("AB", 3, path_ohm=9e3, amount=-300.0, measures=told("slowed", 84.0, "%"))]
    (find,) = finds(touches)
    assert [one.manner_amount for one in find.along] == [60.0, 84.0]
    assert over(find, find.along[1]).manner_amount == 84.0


def test_rows_say_the_manner_behind_what_was_there():
    (row,) = find_rows(finds(seen_twice(measures=told("slowed", 62.0, "%"))))
    assert [*row][-3:] == ["manner", "manner_amount", "manner_unit"]
    assert [*row.values()][-3:] == ["slowed", 62.0, "%"]
    (row,) = find_rows(finds(seen_twice()))
    assert [*row.values()][-3:] == [None, None, None]


def prints(kinds, seed=1):
    """Touches over one path, with a fingerprint of each kind: the same letter is about the same."""
    rng = np.random.default_rng(seed)
    shapes = {kind: rng.normal(0.0, 8.0, 32) for kind in sorted(set(kinds))}
    return [
        record(at + 2, kind="sweep" if at == 0 else "confirm", sound="timbre", amount=9.0, unit="dB",
               measures={"change_db": (shapes[kind] + rng.normal(0.0, 0.5, 32)).round().tolist()})
        for at, kind in enumerate(kinds)
    ]  # fmt: skip


CLEAN = baseline(1, measures={"mean_db": 0.5})


@pytest.mark.parametrize(("kinds", "is_so"), [
    ("abcd", True), ("abc", True), ("aaaa", False), ("abab", False), ("aabb", False), ("ab", False),
])
def test_what_is_another_sound_each_time_is_told_so(kinds, is_so):
    (find,) = finds([CLEAN, *prints(kinds)])
    assert find.manner == ("unpredictable" if is_so else None)
    if is_so:
        assert find.words == "different each time, by 9 dB"
        assert {one.manner for one in find.along} == {"unpredictable"}


def test_a_toy_that_is_itself_another_one_each_time_tells_nothing():
    restless = baseline(1, measures={"mean_db": 5.0})
    assert finds([restless, *prints("abcd")])[0].manner is None
    assert finds(prints("abcd"))[0].manner is None
    assert not is_unpredictable(prints("ab"), 0.5)
    assert REPEATS == 3

