"""What a touch did, in a bender's words."""

import pytest

from rig.outcomes import SOUNDS, sound_words
from rig.words import interval


@pytest.mark.parametrize(
    ("cents", "words"),
    [
        (320, "320 cents"), (700, "a fifth (700 cents)"), (712, "a fifth (712 cents)"),
        (725, "725 cents"), (1195, "an octave (1195 cents)"), (40, "40 cents"),
        (100, "a semitone (100 cents)"), (1700, "1700 cents"), (2400, "two octaves (2400 cents)"),
    ],
)
def test_an_interval_has_a_name_where_it_is_one(cents, words):
    assert interval(cents) == words


@pytest.mark.parametrize(
    ("judged", "words"),
    [
        ((None, None, None), "not measured"),
        (("none", None, None), "no change of the sound"),
        (("loop", 0.42, "s"), "loops every 0.42 s"),
        (("pitch", -700.0, "cents"), "pitch down a fifth (700 cents)"),
        (("pitch", 320.0, "cents"), "pitch up 320 cents"),
        (("cut", 0.3, "s"), "goes silent after 0.30 s"),
        (("cut", 0.0, "s"), "stays silent"),
        (("cut", -44.0, "dB"), "cuts the sound by 44 dB"),
        (("drone", 110.0, "Hz"), "drones at 110 Hz"),
        (("drone", -12.3, "dB"), "noise under the sound, -12 dB"),
        (("drone", None, None), "drones without a pitch"),
        (("level", -6.0, "dB"), "quieter by 6 dB"),
    ],
)
def test_each_sound_has_its_words(judged, words):
    assert sound_words(*judged) == words


def test_each_word_of_the_judge_stands_without_an_amount():
    assert {sound: sound_words(sound, None, None) for sound in SOUNDS} == {
        "none": "no change of the sound", "blip": "blip", "pitch": "pitch", "level": "level",
        "timbre": "timbre", "cut": "cut", "drone": "drones without a pitch", "loop": "loop",
        "lost": "lost",
    }  # fmt: skip
