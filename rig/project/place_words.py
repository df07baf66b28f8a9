"""Places of pads as a person writes them: words, a table, two points and their distance."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from rig.errors import ConfigError
from rig.project.hints import nearest, shown
from rig.project.places import Place, Places, is_inside

COLUMNS = ["pad", "x", "y"]
_NUMBER = re.compile(r"[-+]?(\d{1,9}\.?\d{0,9}|\.\d{1,9})", re.ASCII)
_HOW = "write C=420,310"


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
    try:
        return mm_per_unit_of(Place(x=x1, y=y1), Place(x=x2, y=y2), mm, places)
    except ValueError as trouble:
        raise ConfigError(f"--scale: {trouble}") from None


def mm_per_unit_of(one: Place, other: Place, mm: float, places: Places) -> float:
    """Give the scale of a picture by two points on it and the mm between them, mm per unit.

    Raises
    ------
    ValueError
        The points are one or lie outside the picture, or the distance isn't above 0 mm.
    """
    for point in (one, other):
        if not is_inside(point, places):
            raise ValueError(f"{point.x:g},{point.y:g} {_outside(places)}")
    apart = math.dist((one.x, one.y), (other.x, other.y))
    if not apart:
        raise ValueError("both points are the same: take two that are far apart")
    if mm <= 0:
        raise ValueError(f"the distance must be above 0 mm, is {mm:g}")
    return float(f"{mm / apart:.4g}")


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
