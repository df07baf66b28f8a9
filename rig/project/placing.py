"""Places of pads as a person gives them, and the change of board.yaml that takes them in."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from rig.errors import ConfigError
from rig.project.changing import change_text
from rig.project.hints import nearest, shown
from rig.project.nets import BOARD
from rig.project.places import Place, Places, checked_places, has_places, is_inside, places_text
from rig.project.places import place_text as _text
from rig.project.yaml_edit import set_entry
from rig.project.yaml_strict import parse_yaml

HEADING = "Where the pads are on {picture}. `padsweep places` writes here, and so may you."
COLUMNS = ["pad", "x", "y"]
_NUMBER = re.compile(r"[-+]?(\d{1,9}\.?\d{0,9}|\.\d{1,9})", re.ASCII)
_HOW = "write C=420,310"
_LAYOUT = (
    "can't be changed by the program as it is written: let each pad be a line like "
    "`C: {x: 420, y: 310}` below `pads:`"
)


def read_words(words: Sequence[str], pads: Iterable[str], places: Places) -> dict[str, Place]:
    """Read places from words like `C=420,310`.

    Parameters
    ----------
    words : sequence of str
    pads : iterable of str
        The toy's.
    places : Places
        The picture that the points must lie on.

    Raises
    ------
    ConfigError
        A word is no place, its pad isn't one of the toy's or is given twice, or its point lies
        outside the picture.
    """
    found: dict[str, Place] = {}
    for word in words:
        letter, equals, point = word.partition("=")
        if not equals:
            raise ConfigError(f"{shown(word)} is no place of a pad: {_HOW}")
        numbers = point.split(",")
        if len(numbers) != 2:
            raise ConfigError(f"{shown(word)}: after the = two numbers are needed: {_HOW}")
        try:
            letter, place = _place(letter, numbers, pads, places)
        except ValueError as trouble:
            raise ConfigError(f"{shown(word)}: {trouble}") from None
        if letter in found:
            raise ConfigError(f"{shown(word)}: pad {letter} is given twice: take one out")
        found[letter] = place
    return found


def read_table(
    file: Path, pads: Iterable[str], places: Places
) -> tuple[dict[str, Place], list[str]]:
    """Read places from a table of pad, x and y; a first line that names them is read over.

    Parameters
    ----------
    file : Path
        Cells parted by `,` or `;`.
    pads : iterable of str
        The toy's.
    places : Places
        The picture that the points must lie on.

    Returns
    -------
    found : dict of str to Place
    troubles : list of str
        What is wrong, a line each, with its place in the file.

    Raises
    ------
    ConfigError
        The file can't be read.
    """
    try:
        text = file.read_bytes().decode("utf-8-sig")
    except OSError as trouble:
        raise ConfigError(f"{file}: can't be read: {trouble.strerror}") from None
    except UnicodeDecodeError:
        raise ConfigError(f"{file}: not UTF-8 text: save it as CSV in UTF-8") from None
    found: dict[str, Place] = {}
    first: dict[str, int] = {}
    troubles: list[str] = []
    for number, line in enumerate(text.splitlines(), 1):
        try:
            cells = _cells(line)
            if not cells or (not first and not troubles and [c.lower() for c in cells] == COLUMNS):
                continue
            if len(cells) != len(COLUMNS):
                raise ValueError(f"{len(cells)} columns; a line is pad,x,y or pad;x;y, such as "
                                 "C,420,310 (a decimal point, no comma)")
            letter, place = _place(cells[0], cells[1:], pads, places)
            if letter in first:
                raise ValueError(f"pad {letter} is there twice (first in line {first[letter]}): "
                                 "take one out")
        except ValueError as trouble:
            troubles.append(f"{file}:{number}: {trouble}")
            continue
        found[letter], first[letter] = place, number
    if not found and not troubles:
        raise ConfigError(f"{file}: no places in it: a line is pad,x,y, such as C,420,310")
    return found, troubles


def read_scale(text: str, places: Places) -> float:
    """Read two points and their distance, "420,310 980,655 25", as mm per unit.

    Raises
    ------
    ConfigError
        It isn't that, or the points are one or lie outside the picture.
    """
    parts = text.split()
    numbers = [one for part in parts for one in part.split(",")]
    if [part.count(",") for part in parts] != [1, 1, 0] or not all(map(_NUMBER.fullmatch, numbers)):
        raise ConfigError(f"--scale can't be {shown(text)}: give two points and the mm between "
                          'them, --scale "420,310 980,655 25"')
    x1, y1, x2, y2, mm = map(float, numbers)
    for x, y in ((x1, y1), (x2, y2)):
        if not is_inside(Place(x=x, y=y), places):
            raise ConfigError(f"--scale: {x:g},{y:g} {_outside(places)}")
    apart = math.dist((x1, y1), (x2, y2))
    if not apart:
        raise ConfigError("--scale: both points are the same: take two that are far apart")
    if mm <= 0:
        raise ConfigError(f"--scale: the distance must be above 0 mm, is {mm:g}")
    return float(f"{mm / apart:.4g}")


def set_places(
    folder: Path, places: Places, pads: Mapping[str, Place], mm_per_unit: float | None = None
) -> Places:
    """Take places, and the scale if one is given, into board.yaml; all else in it stays.

    Parameters
    ----------
    folder : Path
        The project folder.
    places : Places
        As they were loaded; of a picture without board.yaml they begin it.
    pads : mapping of str to Place
    mm_per_unit : float or None

    Returns
    -------
    Places
        As they are now.

    Raises
    ------
    ConfigError
        The file can't be written, or holds another picture by now.
    """
    file = Path(folder) / BOARD
    after = places

    def changed(text: str) -> str:
        nonlocal after
        before = places
        begun = text.strip() and has_places(parse_yaml(text, file))
        if begun:
            before = checked_places(parse_yaml(text, file))
            if _frame(before) != _frame(places):
                raise ConfigError(f"{file}: its picture was changed meanwhile: place pads anew")
        scale = before.mm_per_unit if mm_per_unit is None else mm_per_unit
        after = before.model_copy(
            update={"pads": {**before.pads, **pads}, "mm_per_unit": scale}
        )
        heading = HEADING.format(picture=after.picture)
        return _edited(text, before, after, file) if begun else text + places_text(after, heading)

    change_text(file, changed)
    return after


def _edited(text: str, before: Places, after: Places, file: Path) -> str:
    """Give the text of board.yaml with what differs between the two."""
    if after.mm_per_unit != before.mm_per_unit:
        text = set_entry(text, ["mm_per_unit"], f"{after.mm_per_unit:.10g}")
    for letter, place in after.pads.items():
        if letter not in before.pads:
            text = set_entry(text, ["pads", letter], _text(place))
        elif place != before.pads[letter]:
            text = set_entry(text, ["pads", letter, "x"], f"{place.x:.10g}")
            text = set_entry(text, ["pads", letter, "y"], f"{place.y:.10g}")
    try:
        as_meant = checked_places(parse_yaml(text, file)) == after
    except ConfigError:
        as_meant = False
    if not as_meant:
        raise ConfigError(f"{file}: {_LAYOUT}")
    return text


def _frame(places: Places) -> tuple[str, float, float]:
    return places.picture, places.width, places.height


def _cells(line: str) -> list[str]:
    """Part a line of a table; empty cells at its end are a spreadsheet's. Raises ValueError."""
    try:
        parted = next(csv.reader([line], delimiter=";" if ";" in line else ","), [])
    except csv.Error:
        raise ValueError("can't be read: is this a CSV file?") from None
    cells = [cell.strip() for cell in parted]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _place(
    letter: str, numbers: Sequence[str], pads: Iterable[str], places: Places
) -> tuple[str, Place]:
    """Give a pad and its place; ValueError says in words what is wrong."""
    letter, pads = letter.strip().upper(), list(pads)
    if letter not in pads:
        raise ValueError(f"there is no pad {shown(letter)} in toy.yaml: {nearest(letter, pads)}")
    for number in numbers:
        if not _NUMBER.fullmatch(number.strip()):
            raise ValueError(f"{shown(number.strip()) or 'nothing'} is no number: write it with a "
                             "decimal point, if any, and no unit")
    x, y = map(float, numbers)
    place = Place(x=x, y=y)
    if not is_inside(place, places):
        raise ValueError(f"{x:g},{y:g} {_outside(places)}")
    return letter, place


def _outside(places: Places) -> str:
    return (f"lies outside the picture: {places.picture} is {places.width:g} wide and "
            f"{places.height:g} high")
