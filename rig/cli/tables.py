"""How finds are shown, the same everywhere: tables that lose nothing on a narrow screen."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from rig.choose import Find
from rig.choose.telling import afterwards, path_words, pressed, what, where
from rig.cli.readable import holdable
from rig.outcomes import AFTERS
from rig.project import Toy

GAP = "  "
LEGEND = "path: all the resistance between the two pads"


@dataclass(frozen=True)
class Column:
    """A column of a table.

    Parameters
    ----------
    heading : str
    stays : bool
        It's shown whole on any screen. The others go below their row, the last first, where
        the screen is too narrow.
    label : str
        Stands before a cell that went below its row.
    """

    heading: str
    stays: bool = False
    label: str = ""


def lay_out(
    columns: Sequence[Column], rows: Sequence[Sequence[str]], width: int | None
) -> list[list[str]]:
    """Lay a table out; what doesn't fit beside each other stands below its row.

    Parameters
    ----------
    columns : sequence of Column
    rows : sequence of sequence of str
        A cell for each column.
    width : int or None
        Of the screen, characters; None: without bound.

    Returns
    -------
    list of list of str
        The heading's line, then each row's lines.
    """
    widths = [max(map(cell_len, cells)) for cells in zip([c.heading for c in columns], *rows,
                                                         strict=True)]  # fmt: skip
    beside = [
        at for at, column in enumerate(columns) if column.stays or any(row[at] for row in rows)
    ]

    def total() -> int:
        return sum(widths[at] for at in beside) + len(GAP) * (len(beside) - 1)

    for at in reversed(range(len(columns))):
        if width is not None and total() > width and at in beside and not columns[at].stays:
            beside.remove(at)
    below = [at for at in range(len(columns)) if at not in beside]
    indent = " " * min(widths[beside[0]] + len(GAP), 8)

    def line(cells: Sequence[str]) -> str:
        padded = (cells[at] + " " * (widths[at] - cell_len(cells[at])) for at in beside)
        return GAP.join(padded).rstrip()

    laid = [[line([column.heading for column in columns])]]
    for cells in rows:
        rest = "; ".join(columns[at].label + cells[at] for at in below if cells[at])
        wide = cell_len(rest) - len(rest)  # letters that take two columns
        wrapped = textwrap.wrap(rest, max(10, (width or 200) - len(indent) - wide))
        laid.append([line(cells), *(indent + one for one in wrapped)])
    return laid


def print_table(
    console: Console, columns: Sequence[Column], rows: Sequence[Sequence[str]]
) -> None:
    """Print a table: on a terminal within its width, in a pipe with one line a row."""
    held = [[holdable(cell, console.encoding) for cell in row] for row in rows]
    laid = lay_out(columns, held, console.width if console.is_terminal else None)
    for first, (line, *below) in enumerate(laid):
        console.print(Text(line, "" if first else "bold"), soft_wrap=True)
        for one in below:
            console.print(Text(one, "dim"), soft_wrap=True)


def print_finds(
    console: Console, found: Sequence[Find], toy: Toy, most: int | None = None,
    choices: Mapping[str, str] | None = None,
) -> None:
    """Print finds, best first.

    Parameters
    ----------
    console : rich.console.Console
    found : sequence of Find
        In the order of rank.
    toy : Toy
        Its pads' notes are shown.
    most : int, optional
        Show at most so many rows; says how many more there are.
    choices : mapping of str to str, optional
        What the person decided about some of them, by their labels.
    """
    if not found:
        console.print("nothing was found")
        return
    alike = Counter(find.family for find in found)
    shown = found[:most]
    columns = [
        Column("pads", stays=True), Column("what it does", stays=True), Column("key"), Column("path"),
        Column("afterwards"), Column("choice"), Column("alike"),
        Column("take", label="take "), Column("where"),
    ]  # fmt: skip
    rows = [
        (
            find.label, what(find), pressed(find, found),
            path_words(find), afterwards(find),
            (choices or {}).get(find.label, ""), _alike(find, alike), str(find.best_touch),
            where(toy, find.pads),
        )
        for find in shown
    ]  # fmt: skip
    print_table(console, columns, rows)
    if len(found) > len(shown):
        console.print(f"... and {len(found) - len(shown)} more")
    console.print(LEGEND)


def _alike(find: Find, alike: Mapping[str, int]) -> str:
    """Say which find this one is like: the best of its family; how many are, beside that."""
    if find.family != find.label:
        return "" if find.family in AFTERS else f"like {find.family}"
    return f"{alike[find.family] - 1} alike" if alike[find.family] > 1 else ""
