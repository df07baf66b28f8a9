"""Every word of the judge is said to a person in words of their own."""

import pytest

from rig.outcomes import AFTERS, SOUNDS, after_words, sound_words

UNITS = {
    "blip": ["dB"], "pitch": ["cents"], "level": ["dB"], "timbre": ["dB"], "cut": ["dB", "s"],
    "drone": ["dB", "Hz"], "loop": ["s"],
}  # fmt: skip
"""What the judge gives with each word."""


def test_the_units_are_those_of_every_word_that_has_an_amount():
    assert {*UNITS, "none", "lost"} == set(SOUNDS)


@pytest.mark.parametrize(("sound", "unit"), [(s, u) for s, units in UNITS.items() for u in units])
@pytest.mark.parametrize("amount", [0.7, -0.7])
def test_no_amount_is_told_by_the_bare_word(sound, unit, amount):
    assert sound_words(sound, amount, unit) != f"{sound} {amount:g} {unit}"


@pytest.mark.parametrize("after", AFTERS)
def test_each_way_to_be_left_but_answering_has_its_words(after):
    assert bool(after_words(after)) == (after != "answers")
