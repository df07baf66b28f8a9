"""The notation of seeds on the command lines of benchmarks."""

import argparse

import pytest
from seeds import add_seeds, seeds, taking_turns


@pytest.mark.parametrize(("words", "numbers"), [
    ("7", [7]), ("9000-9003", [9000, 9001, 9002, 9003]), ("3,8-10", [3, 8, 9, 10]),
    ("8-9, 3", [8, 9, 3]), ("5-5", [5]),
])
def test_numbers_and_ranges(words, numbers):
    assert seeds(words) == numbers


@pytest.mark.parametrize(("words", "said"), [
    ("300:306", "write numbers and ranges"), ("", "write numbers"), ("3,", "write numbers"),
    ("-3", "write numbers"), ("x", "write numbers"), ("9-7", "goes down: write 7-9"),
    ("1-5,3", "twice"),
])
def test_what_is_written_otherwise_is_refused(words, said):
    with pytest.raises(argparse.ArgumentTypeError, match=said):
        seeds(words)


def test_the_option_says_its_notation_and_reads_its_default():
    parser = argparse.ArgumentParser()
    add_seeds(parser, "1000-1002")
    assert parser.parse_args([]).seeds == [1000, 1001, 1002]
    assert parser.parse_args(["--seeds", "4,6"]).seeds == [4, 6]
    said = " ".join(parser.format_help().split())
    assert "numbers and ranges, both ends included: 9000-9019 or 3,8-10 (1000-1002)" in said


def test_the_kinds_take_turns():
    assert taking_turns([4, 5, 6], ["talker", "sampler"]) == [
        ("talker", 4), ("sampler", 5), ("talker", 6)]
