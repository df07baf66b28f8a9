"""The table of finds, the same wherever it's shown."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.table import Table

from rig.choose import Find
from rig.words import ohms, sound_words

_AFTERWARDS = {
    "answers": "",
    "runs on": "runs on",
    "freeze": "freezes",
    "guarded": "trips the guard",
}


def print_finds(console: Console, found: Sequence[Find], most: int | None = None) -> None:
    """Print finds, best first, as a table that reads well in a pipe too.

    Parameters
    ----------
    console : rich.console.Console
    found : sequence of Find
        In the order of rank.
    most : int, optional
        Show at most so many rows; says how many more there are.
    """
    bends = [find for find in found if find.sound != "none"]
    if not bends:
        console.print("no bends were found")
        return
    table = Table(box=box.SIMPLE_HEAD if console.is_terminal else None, pad_edge=False)
    table.add_column("pads", no_wrap=True)
    table.add_column("what it does", no_wrap=True)
    table.add_column("path", no_wrap=True)
    table.add_column("afterwards", no_wrap=True)
    table.add_column("family", no_wrap=True)
    table.add_column("take", justify="right", no_wrap=True)
    for find in bends[:most]:
        table.add_row(
            f"{find.pads_1}-{find.pads_2}", sound_words(find.sound, find.amount, find.unit),
            span(find.path_min_ohm, find.path_max_ohm), afterwards(find), find.family,
            str(find.best_touch),
        )
    console.print(table)
    if most is not None and len(bends) > most:
        console.print(f"... and {len(bends) - most} more")


def span(low_ohm: float, high_ohm: float) -> str:
    """Say a range of resistance: "3 kΩ" or "3 kΩ to 13 kΩ"."""
    low, high = ohms(low_ohm), ohms(high_ohm)
    return low if low == high else f"{low} to {high}"


def afterwards(find: Find) -> str:
    """Say how the toy is after a find's touches, and over which path it's too much for it."""
    if find.stop and find.after != find.stop:
        return f"{_AFTERWARDS[find.stop]} at {ohms(find.freezes_at_ohm)}"
    return _AFTERWARDS[find.after]
