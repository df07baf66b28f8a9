"""A log's touches as rows for other programs, and rows as CSV or JSON text."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rig.log.records import Record

TOUCH_COLUMNS = ("touch", "pads_1", "pads_2", "path_ohm", "key", "sound", "after", "amount",
                 "unit", "score", "p_value", "started_at", "take")
FORMATS = ("csv", "json")


def touch_rows(
    records: Iterable[Record], *, incomplete: bool = False, below: str = ""
) -> list[dict[str, Any]]:
    """Give touches as rows of `TOUCH_COLUMNS`.

    Parameters
    ----------
    records : iterable of Record
    incomplete : bool
        Also those of which it isn't known how the toy was afterwards.
    below : str
        Put before the path of each take, such as "sweeps/main/".

    Returns
    -------
    list of dict
        `touch` is the lasting number. A baseline has no pads but for a lead that is on;
        neither it nor a lead alone has a path.
    """
    return [
        {
            "touch": one.number,
            "pads_1": one.pads_1,
            "pads_2": one.pads_2,
            "path_ohm": one.path_ohm,
            "key": one.key,
            "sound": one.sound,
            "after": one.after,
            "amount": one.amount,
            "unit": one.unit,
            "score": one.score,
            "p_value": one.p_value,
            "started_at": one.started_at,
            "take": None if one.take is None else below + one.take,
        }
        for one in records
        if one.complete or incomplete
    ]


def as_text(rows: Sequence[Mapping[str, Any]], columns: Sequence[str], form: str) -> str:
    """Write rows as text.

    Parameters
    ----------
    rows : sequence of mapping
    columns : sequence of str
    form : str
        "csv" (RFC 4180 with a heading, lines ended by a bare newline, empty for nothing) or
        "json" (a list of objects, null for nothing). Numbers that are none are left out.

    Raises
    ------
    ValueError
        Another form.
    """
    plain = [{name: _finite(row[name]) for name in columns} for row in rows]
    if form == "json":
        return json.dumps(plain, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    if form != "csv":
        raise ValueError(f"{form} is none of {FORMATS}")
    text = io.StringIO()
    out = csv.DictWriter(text, columns, lineterminator="\n")
    out.writeheader()
    out.writerows(plain)
    return text.getvalue()


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value
