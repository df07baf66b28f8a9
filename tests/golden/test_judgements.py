"""The ear says of takes made here what it said before; `judgements.py` compares to the last digit.

A change that is meant to change a judgement writes them anew:
`judgements.py --write tests/golden/judgements.json`.
"""

from __future__ import annotations

import json

from judgements import STORED, differences, judgements

WITHIN = {"amount": 1e-2, "score": 1e-4, "p": 1e-3}
"""Scores differ in their seventh digit from one processor to another, chances in their fifth."""


def test_the_ear_judges_as_it_did_before():
    words, largest = differences(json.loads(STORED.read_text()), judgements())
    assert not words
    for what, within in WITHIN.items():
        assert largest[what] <= within, what


def test_a_difference_is_seen():
    one = {"sound": "cut", "unit": "dB", "amount": -20.0, "score": 8.0, "p": 1e-6, "measures": {}}
    before = {"a": one, "b": one, "c": one}
    now = {"a": one | {"sound": "level"}, "b": one | {"p": 2e-6}}
    words, largest = differences(before, now)
    assert words == ["a: was cut, is level", "c: not any more"]
    assert largest["p"] == 0.5
    assert largest["score"] == 0.0
