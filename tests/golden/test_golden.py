"""Sweeps of six toys leave the logs that they left before; `golden.py` sweeps all sixty.

A change that is meant to change a log writes the hashes anew: `golden.py --write`.
"""

from __future__ import annotations

import pytest
from golden import BOARDS, first_difference, read_hashes
from golden_boards import IN_TESTS
from golden_sweeps import swept
from golden_text import rounded, sha256


def test_every_board_has_its_hash():
    assert list(read_hashes()) == list(BOARDS)


@pytest.mark.parametrize("name", list(BOARDS)[:IN_TESTS])
def test_a_sweep_leaves_the_log_that_it_left_before(name):
    text, touches = swept(BOARDS[name])
    assert (sha256(text), touches) == read_hashes()[name]


def test_numbers_are_rounded_and_words_are_not():
    made = {"score": 0.123456, "p_value": 1.2345e-9, "db": [-0.0, 1.23456789], "touch": 1234567}
    kept = {"score": 0.123, "p_value": 1.2e-9, "db": [0.0, 1.23457], "touch": 1234567}
    assert rounded(made) == kept


def test_the_first_line_that_differs_is_shown():
    assert first_difference("a\nb\n", "a\nb\n") == ""
    assert first_difference("a\nb\n", "a\nc\n") == "line 2\n  was b\n  is  c"
    assert first_difference("a\n", "a\nc\n") == "line 2\n  was (nothing)\n  is  c"
