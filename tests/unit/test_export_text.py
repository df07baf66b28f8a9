"""Exported text is read back by ordinary readers as what was in the log."""

import csv
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from making_logs import BASELINE, add, new_log

from rig.log.export import TOUCH_COLUMNS, as_text, touch_rows

COLUMNS = ("words", "number", "count")
ROWS = st.lists(st.fixed_dictionaries({
    "words": st.none() | st.text(st.characters(exclude_categories=("Cs",),
                                               exclude_characters="\r\x00"), min_size=1),
    "number": st.none() | st.floats(),
    "count": st.integers(),
}), max_size=6)


def finite(value):
    """What a reader can be given of a number."""
    return value if value is not None and abs(value) < float("inf") else None


@given(ROWS)
def test_json_comes_back(rows):
    expected = [row | {"number": finite(row["number"])} for row in rows]
    assert json.loads(as_text(rows, COLUMNS, "json")) == expected


@given(ROWS)
def test_csv_comes_back(rows):
    read = list(csv.DictReader(io.StringIO(as_text(rows, COLUMNS, "csv"), newline="")))
    assert [tuple(row) for row in read] == [COLUMNS] * len(rows)
    for row, back in zip(rows, read, strict=True):
        assert back["words"] == (row["words"] or "")
        number = finite(row["number"])
        assert (float(back["number"]) if back["number"] else None) == number
        assert int(back["count"]) == row["count"]


def test_no_rows_are_a_heading_or_an_empty_list():
    assert as_text([], COLUMNS, "csv") == "words,number,count\n"
    assert as_text([], COLUMNS, "json") == "[]\n"
    with pytest.raises(ValueError, match="xml"):
        as_text([], COLUMNS, "xml")


def test_touches_have_the_columns_and_only_complete_ones_unless_asked(tmp_path):
    with new_log(tmp_path) as log:
        add(log, kind="baseline", touch=BASELINE)
        add(log, sound="loop", amount=0.25, unit="s", after="runs on", score=3.5)
        add(log, after=None)
        records = log.records()
    assert TOUCH_COLUMNS == ("touch", "pads_1", "pads_2", "path_ohm", "key", "sound", "after",
                             "amount", "unit", "score", "p_value", "started_at", "take")
    assert [row["touch"] for row in touch_rows(records)] == [1, 2]
    clean, loop, still_open = touch_rows(records, incomplete=True, below="sweeps/main/")
    assert (clean["pads_1"], clean["pads_2"], clean["path_ohm"]) == ("", "", None)
    assert tuple(loop.values()) == (
        2, "A", "B", 12_000.0, "moo", "loop", "runs on", 0.25, "s", 3.5, 0.01,
        "2031-05-04T03:02:01.000+00:00", "sweeps/main/takes/000002.flac")
    assert (still_open["touch"], still_open["after"]) == (3, None)
