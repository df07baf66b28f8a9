"""What stands on the build sheet, as plain data: both its forms, PDF and HTML, are made from it."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

Paper = Literal["a4", "letter"]
Face = Literal["outside", "inside"]
"""Of the shell: the one that is seen, or the one that the parts are behind."""

Runs = tuple[tuple[str, bool], ...]
"""A sentence in pieces, each with whether it is to stand out."""


class Strong(str):
    """A piece of a sentence that stands out."""

    __slots__ = ()


def runs(*pieces: str) -> Runs:
    """Give a sentence in pieces; those that are `Strong` stand out."""
    return tuple((str(one), isinstance(one, Strong)) for one in pieces if one)


@dataclass(frozen=True)
class Tag:
    """A pick's number, and the colour of its line on the map."""

    number: int
    ink: str


@dataclass(frozen=True)
class Band:
    """A colour band: its name, and the ink that it is printed in."""

    name: str
    ink: str


@dataclass(frozen=True)
class Map:
    """The board's picture, as a data address, and what is drawn over it, both of one size."""

    picture: str
    svg: str
    width_mm: float
    height_mm: float
    caption: str


@dataclass(frozen=True)
class PadNote:
    """A pad that is used, where it is, and the numbers of the picks on it."""

    pad: str
    note: str
    numbers: tuple[int, ...]


@dataclass(frozen=True)
class PickRow:
    """A pair in the table of picks; without a control there is nothing to tick.

    `works` is what the finished build was last heard to do: "" before.
    """

    tag: Tag
    pads: str
    does: tuple[str, ...]
    control: str
    in_series: str
    is_fitted: bool
    works: str = ""


@dataclass(frozen=True)
class Value:
    """A resistor to fit: for what, its value and bands (none where it isn't made as such)."""

    what: str
    text: str
    bands: tuple[Band, ...]


@dataclass(frozen=True)
class Block:
    """All about the control of one pair, with its drawing (empty where none is fitted)."""

    tag: Tag
    pads: str
    does: tuple[str, ...]
    notes: tuple[str, ...]
    where: Runs
    heard: str
    part: str
    why: str
    svg: str = ""
    values: tuple[Value, ...] = ()
    keep: str = ""
    hints: tuple[str, ...] = ()


@dataclass(frozen=True)
class JointRow:
    """Two controls on one pad, what both together join, and what is known of that."""

    tags: tuple[Tag, Tag]
    pad: str
    joins: str
    through: str
    known: Runs


@dataclass(frozen=True)
class Together:
    """Controls that share pads."""

    intro: str
    rows: tuple[JointRow, ...] = ()
    lines: tuple[Runs, ...] = ()


@dataclass(frozen=True)
class SocketRow:
    """A socket of the patch bay: its pad, what stands of it in toy.yaml, and its resistor."""

    pad: str
    note: str
    text: str
    bands: tuple[Band, ...]


@dataclass(frozen=True)
class CordRow:
    """A cord that plays a pick: the sockets that it joins, over how much, and what is heard."""

    tag: Tag
    pads: str
    ohm: str
    plays: str


@dataclass(frozen=True)
class Bay:
    """The patch bay that would do in place of the controls."""

    intro: tuple[str, ...]
    svg: str
    width_mm: float
    sockets: tuple[SocketRow, ...]
    cords: tuple[CordRow, ...]
    lines: tuple[Runs, ...]


@dataclass(frozen=True)
class Drawn:
    """Paragraphs with a drawing: the reset, the line out."""

    lines: tuple[str, ...]
    svg: str
    width_mm: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class PartRow:
    """A line of the parts list."""

    count: int
    part: str
    bands: tuple[Band, ...] = ()
    rating: str = ""
    substitute: str = ""


@dataclass(frozen=True)
class Step:
    """A step of the work: what to do, what to check then, each with a box; what is to be heard."""

    words: Runs
    tag: Tag | None = None
    checks: tuple[str, ...] = ()
    hear: str = ""


@dataclass(frozen=True)
class MeterRow:
    """What a meter is to show, and a blank for what it does show."""

    tag: Tag | None
    what: str
    state: str
    expected: str


@dataclass(frozen=True)
class LugRow:
    """A lug of a part and where it goes."""

    tag: Tag | None
    part: str
    lug: str
    goes: str


@dataclass(frozen=True)
class PanelRow:
    """A control on the shell: its name, usual sizes, and blanks for those of the part at hand."""

    tag: Tag | None
    name: str
    part: str
    hole: str
    depth: str


@dataclass(frozen=True)
class Hole:
    """A hole of the template, drawn at true size."""

    tag: Tag | None
    name: str
    svg: str
    width_mm: float
    height_mm: float


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """The build sheet.

    Parameters
    ----------
    title, under : str
        The toy's name; how much is kept and its supply.
    paper : str
        "a4" or "letter".
    face : str
        Which face of the shell the hole template is for.
    maps : tuple of Map
        None where there is no picture.
    bar_mm : float
        Length of the check bar.
    """

    title: str
    under: str
    paper: Paper
    face: Face
    cautions: tuple[str, ...]
    maps: tuple[Map, ...]
    map_notes: tuple[str, ...]
    pads: tuple[PadNote, ...]
    picks: tuple[PickRow, ...]
    blocks: tuple[Block, ...]
    together: Together | None
    patch_bay: Bay | None
    reset: Drawn
    line_out: Drawn | None
    parts: tuple[PartRow, ...]
    before_work: tuple[str, ...]
    work: tuple[Step, ...]
    meter_notes: tuple[str, ...]
    meter: tuple[MeterRow, ...]
    lug_notes: tuple[str, ...]
    lugs: tuple[LugRow, ...]
    panel_note: str
    panel: tuple[PanelRow, ...]
    face_note: str
    holes: tuple[Hole, ...]
    bar_note: str
    bar_mm: float = 50.0
    note_lines: int = field(default=8)


DRAWN = ("svg", "picture")
"""Fields that are no text for a person."""

_BIDI = {*range(0x202A, 0x202F), *range(0x2066, 0x206A)}
"""Controls that turn the order of the letters behind them round, also of those that aren't theirs."""


def as_data(sheet: Sheet) -> dict[str, Any]:
    """Give the sheet as dictionaries, lists, texts and numbers, as JSON has them.

    White space in texts is one blank; what no page can show (control characters, halves of
    characters) is U+FFFD.
    """
    return {name: _plain(value) for name, value in asdict(sheet).items()}


def texts_of(data: Any) -> list[str]:
    """Give all texts in a sheet's data, but for drawings."""
    if isinstance(data, str):
        return [data]
    if isinstance(data, dict):
        return [text for name, one in data.items() if name not in DRAWN for text in texts_of(one)]
    return [text for one in data for text in texts_of(one)] if isinstance(data, list) else []


def _plain(value: Any, name: str = "") -> Any:
    if isinstance(value, str):
        return value if name in DRAWN else tidy(value)
    if isinstance(value, dict):
        return {key: _plain(one, key) for key, one in value.items()}
    return [_plain(one) for one in value] if isinstance(value, (list, tuple)) else value


def tidy(text: str) -> str:
    """Give a text as it can stand on one line of any page."""
    text = re.sub(r"[^\S\u00a0]+", " ", text)
    return "".join(
        "\ufffd" if unicodedata.category(one) in ("Cc", "Cs") else one
        for one in text if ord(one) not in _BIDI
    )
