"""A sweep's log as text that is the same on every machine, one line a row.

Rows stand in the order in which they were made, whatever their table; a touch stands ahead of the
first row that speaks of it. Left out are times of day, seals, the program's version, and what is
in the takes' files. Numbers that aren't whole have `DIGITS` significant digits, those of `FEWER`
less. From one processor to another scores differ in their seventh digit and chances in their
fifth, so that no rounding makes them the same for certain: what is hashed leaves them out.
"""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from rig.log.database import DATABASE

DIGITS = 6
FEWER = {"score": 3, "p_value": 2}
NOT_WHOLE = re.compile(r"-?\d+(?:\.\d+(?:e[+-]?\d+)?|e[+-]?\d+)")
LEFT_OUT = {"at", "id", "seal", "started_at", "program", "hash", "take_sha256", "setup"}
TABLES = ("setup", "intent", "withdrawal", "completion", "dropped", "judgement", "event")
"""Those whose rows say when they were written."""


def rounded(value: Any, digits: int = DIGITS) -> Any:
    """Round every number within a value that isn't whole."""
    if isinstance(value, float):
        return float(f"{value:.{digits}g}") + 0.0  # no minus zero
    if isinstance(value, dict):
        return {key: rounded(one, FEWER.get(key, digits)) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [rounded(one, digits) for one in value]
    return value


def line(word: str, what: dict) -> str:
    """Give one line of the text."""
    return f"{word} {json.dumps(rounded(what), sort_keys=True, ensure_ascii=False)}"


def row_line(table: str, row: dict[str, Any]) -> str:
    """Give the line of a row."""
    what = {}
    for name, value in row.items():
        if name.endswith("_json"):
            what[name.removesuffix("_json")] = json.loads(value)
        elif name not in LEFT_OUT and value is not None:
            what[name] = value
    return line(table, what)


def log_lines(folder: Path) -> Iterator[tuple[str, str]]:
    """Give a log's rows in order, each as the time that it carries and its line."""
    with closing(sqlite3.connect(folder / DATABASE)) as db:
        db.row_factory = sqlite3.Row
        touches = [dict(row) for row in db.execute("SELECT * FROM touch ORDER BY number DESC")]
        rows = [(table, dict(row)) for table in TABLES
                for row in db.execute(f"SELECT * FROM {table}")]  # fmt: skip
    at = ""
    for table, row in sorted(rows, key=lambda one: one[1]["at"]):
        at = row["at"]
        while touches and touches[-1]["number"] <= (row.get("touch") or 0):
            yield at, row_line("touch", touches.pop())
        yield at, row_line(table, row)
    while touches:
        yield at, row_line("touch", touches.pop())


def sha256(text: str) -> str:
    """Give the hash of a text without its numbers that aren't whole: of what was done and said."""
    return hashlib.sha256(NOT_WHOLE.sub("~", text).encode()).hexdigest()
