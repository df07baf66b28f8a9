"""Make from errors.def the table of errors in PROTOCOL.md and the host's copy of it.

    python3 firmware/generate/errors.py            write both
    python3 firmware/generate/errors.py --check    say whether both are current
"""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import NamedTuple

FIRMWARE = Path(__file__).resolve().parents[1]
PROTOCOL = FIRMWARE / "PROTOCOL.md"
HOST = FIRMWARE.parent / "rig" / "bench" / "controller_errors.py"
BEGIN, END = "<!-- errors -->\n", "<!-- end of errors -->\n"

_ROW = re.compile(r'ERROR\((-?\d+), "([^"]+)", "([^"]+)"\)')


class Error(NamedTuple):
    """One row: number, the standard's or our own text, what a person does about it."""

    number: int
    text: str
    action: str


def read() -> list[Error]:
    """Read errors.def.

    Raises
    ------
    ValueError
        When a row has another form than the rest, or stands twice.
    """
    source = (FIRMWARE / "errors.def").read_text()
    rows = [Error(int(number), text, action) for number, text, action in _ROW.findall(source)]
    if len(rows) != source.count("ERROR("):
        raise ValueError("errors.def has a row that isn't ERROR(number, text, action) on one line")
    if len({row.number for row in rows}) != len(rows):
        raise ValueError("errors.def has a number twice")
    return rows


def protocol(rows: list[Error]) -> str:
    """Give PROTOCOL.md with the table between its markers made anew."""
    before, rest = PROTOCOL.read_text().split(BEGIN)
    _, after = rest.split(END)
    table = "| number | text | what to do |\n|---|---|---|\n"
    table += "".join(f"| {row.number} | {row.text} | {row.action} |\n" for row in rows)
    return before + BEGIN + table + END + after


def host(rows: list[Error]) -> str:
    """Give the host's module."""
    lines = [
        '"""What a person does about each error of the controller, by its number."""',
        "",
        "# Made from firmware/errors.def by firmware/generate/errors.py.",
        "ACTIONS = {",
    ]
    for row in rows:
        line = f'    {row.number}: "{row.action}",'
        if len(line) > 100:
            cut = row.action.rindex(" ", 0, 80) + 1
            first, second = row.action[:cut], row.action[cut:]
            line = f'    {row.number}: (\n        "{first}"\n        "{second}"\n    ),'
        lines.append(line)
    return "\n".join([*lines, "}", ""])


def main() -> int:
    rows = read()
    made = {PROTOCOL: protocol(rows), HOST: host(rows)}
    stale = [path for path, text in made.items() if not path.exists() or path.read_text() != text]
    if "--check" in sys.argv[1:]:
        for path in stale:
            print(f"{path.name} is out of date: run python3 firmware/generate/errors.py")
        return 1 if stale else 0
    for path in stale:
        path.write_text(made[path])
    return 0


if __name__ == "__main__":
    sys.exit(main())
