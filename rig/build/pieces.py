"""Pieces that every part of the sheet is made of: number tags, colour bands, lists."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rig.build.drawings import ink_of
from rig.build.fitting import Control
from rig.build.series import bands, nearest
from rig.choose.picks import Pick
from rig.words import ohms

BAND_INKS = {
    "black": "#111", "brown": "#7a4a21", "red": "#c8281e", "orange": "#ee7d1a",
    "yellow": "#f2d21f", "green": "#2f8f3c", "blue": "#2458b0", "violet": "#7c3f9e",
    "grey": "#8c8c8c", "white": "#fff", "gold": "#c9a227",
}  # fmt: skip


@dataclass(frozen=True)
class Fitted:
    """A pair that gets a control, with its number on the sheet and the least resistor before it."""

    number: int
    pick: Pick
    control: Control
    ohm: float


def fitted(picks: Sequence[Pick], controls: Sequence[Control]) -> list[Fitted]:
    """Give the picks that get a control; numbers count from 1."""
    return [
        Fitted(number, pick, control, control.fixed_ohm)
        for number, (pick, control) in enumerate(zip(picks, controls, strict=True), 1)
        if control.fixed_ohm is not None
    ]


def in_series(control: Control) -> str:
    """Give the resistors in series, "" where there is no control."""
    return ", ".join(ohms(ohm) + (" (yours)" if yours else "") for ohm, yours in control.resistors)


def items(lines: Sequence[str]) -> str:
    """Give lines of HTML as a list."""
    return "<ul>" + "".join(f"<li>{line}</li>" for line in lines) + "</ul>"


def number_tag(number: int) -> str:
    """Give a pick's number in its frame and colour."""
    ink, _ = ink_of(number)
    return f'<span class="number" style="color:{ink};border-color:{ink}">{number}</span>'


def bands_drawn(ohm: float) -> str:
    """Give a 5 % resistor's bands as colours and words; "" for a value that isn't made."""
    if nearest(ohm) != ohm:
        return ""
    colours = (*bands(ohm), "gold")
    strips = "".join(f'<span style="background:{BAND_INKS[c]}"></span>' for c in colours)
    return f'<span class="bands">{strips}</span> {", ".join(colours)}'
