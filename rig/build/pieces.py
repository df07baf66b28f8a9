"""Pieces that every part of the sheet is made of: number tags, colour bands, what is fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rig.build.board_map import ink_of
from rig.build.content import Band, Tag
from rig.build.fitting import Control
from rig.build.series import bands, nearest
from rig.choose.picks import Pick
from rig.words import ohms

BAND_INKS = {
    "black": "#111111", "brown": "#7a4a21", "red": "#c8281e", "orange": "#ee7d1a",
    "yellow": "#f2d21f", "green": "#2f8f3c", "blue": "#2458b0", "violet": "#7c3f9e",
    "grey": "#8c8c8c", "white": "#ffffff", "gold": "#c9a227",
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


def built_words(control: Control) -> str:
    """Say what the sheet has fitted, in a line."""
    return f"{control.part}, {in_series(control)} in series"


def tag_of(number: int) -> Tag:
    """Give a pick's number with its colour."""
    return Tag(number, ink_of(number)[0])


def bands_of(ohm: float) -> tuple[Band, ...]:
    """Give a 5 % resistor's bands; none for a value that isn't made."""
    if nearest(ohm) != ohm:
        return ()
    try:
        colours = bands(ohm)
    except ValueError:  # below 1 ohm or above 91 Mohm
        return ()
    return tuple(Band(name, BAND_INKS[name]) for name in (*colours, "gold"))


def capital(text: str) -> str:
    """Begin a text with a capital letter."""
    return text[:1].upper() + text[1:]
