"""picks.yaml: the pairs a person kept or set aside, in a file that they may edit by hand.

The program changes only the entry it is asked to; other lines and comments stay.
"""

from __future__ import annotations

import itertools
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from rig.choose.rank import letter_order
from rig.errors import ConfigError
from rig.files import replace_text
from rig.project.hints import nearest, number_hint
from rig.project.slips import parted_text
from rig.project.yaml_strict import Document, parse_yaml

PICKS = "picks.yaml"
HEADING = """\
# The pairs kept for building, in your order, and pairs set aside (set_aside: true).
# Edit as you like. A pair is enough; what was heard of it comes from the sweep each time.
# Yours to add: name, note (in quotes), control (toggle, push-button, potentiometer, photocell,
# body contacts), at_ohm (the resistance that you want in it, ohms), key (the one to go by).
"""
CONTROLS = ("toggle", "push-button", "potentiometer", "photocell", "body contacts")
"""What may be wished for as `control`."""
AT_LEAST_OHM, AT_MOST_OHM = 1, 10_000_000
"""Range of resistors that shops have (common practice, no source)."""
_PAIR = re.compile(r"([A-Z]{1,3})-([A-Z]{1,3})")
_ITEM = re.compile(r"^-(?=\s|$)", re.MULTILINE)
_FORMER = ("sound", "after", "amount", "unit", "path_min_ohm", "path_max_ohm", "touch")
"""What earlier versions copied from the sweep: read over, since it may not be true any more."""


@dataclass(frozen=True)
class Pick:
    """A pair that the person has chosen, or set aside, with their own words and wishes.

    Parameters
    ----------
    pair : str
        Two pads, "C-F".
    at_ohm : float or None
        The resistance that the person wants in the path, ohms.
    key : str or None
        The key whose sound counts; None: whichever shows it best.
    name, note : str
        The person's own words.
    control : str or None
        One of `CONTROLS`, where the person wishes for one.
    set_aside : bool
        Not to be built, nor shown again.
    """

    pair: str
    at_ohm: float | None = None
    key: str | None = None
    name: str = ""
    note: str = ""
    control: str | None = None
    set_aside: bool = False

    @property
    def pads(self) -> tuple[str, str]:
        """The two pads' letters."""
        one, other = self.pair.split("-")
        return one, other


FIELDS = tuple(one.name for one in fields(Pick))


def load_picks(folder: Path, set_aside: bool = False) -> list[Pick]:
    """Read the picks of a project folder, in the person's order.

    Parameters
    ----------
    folder : Path
        The project folder; one without picks.yaml has no picks.
    set_aside : bool
        Also give the pairs that were set aside.

    Raises
    ------
    ConfigError
        Something in the file can't be used; names file, line and the nearest valid word.
    """
    path = Path(folder) / PICKS
    picks = _parse(_read(path), path)
    return [pick for pick in picks if set_aside or not pick.set_aside]


def keep(folder: Path, pair: str, note: str | None = None) -> Pick:
    """Keep a pair; an entry there already keeps its place and the person's words and wishes."""
    old = _entry(folder, pair) or Pick(tidy_pair(pair))
    pick = replace(old, note=old.note if note is None else note, set_aside=False)
    _put(folder, pick)
    return pick


def set_aside(folder: Path, pair: str) -> Pick:
    """Set a pair aside; the person's words about it stay."""
    pick = replace(_entry(folder, pair) or Pick(tidy_pair(pair)), set_aside=True)
    _put(folder, pick)
    return pick


def note(folder: Path, pair: str, text: str) -> Pick:
    """Change the note of an entry. Raises `ConfigError` if the pair has none."""
    old = _entry(folder, pair)
    if old is None:
        raise ConfigError(f"{Path(folder) / PICKS}: {pair} is not in it; keep it first")
    pick = replace(old, note=text)
    _put(folder, pick)
    return pick


def remove(folder: Path, pair: str) -> bool:
    """Take a pair's entry out again; says if there was one."""
    path = Path(folder) / PICKS
    head, items, picks = _entries(path)
    place = _place(picks, tidy_pair(pair))
    if place is None:
        return False
    del items[place]
    _write(path, head + "".join(items))
    return True


def tidy_pair(text: str) -> str:
    """Give a pair in the letters' order, from what a person typed: "f-c" is "C-F".

    Raises
    ------
    ConfigError
        It isn't two different pads.
    """
    found = _PAIR.fullmatch(text.strip().upper())
    if not found or found[1] == found[2]:
        raise ConfigError(f"{text!r} is no pair: write two pads, such as C-F")
    return "-".join(sorted(found.groups(), key=letter_order))


def _entry(folder: Path, pair: str) -> Pick | None:
    wanted = tidy_pair(pair)
    return next((one for one in load_picks(folder, set_aside=True) if one.pair == wanted), None)


def _read(path: Path) -> str:
    try:
        return path.read_text("utf-8-sig")
    except FileNotFoundError:
        return ""
    except UnicodeDecodeError as trouble:
        raise ConfigError(f"{path}: not UTF-8 text: save it as UTF-8") from trouble
    except OSError as trouble:
        raise ConfigError(f"{path}: can't be read: {trouble.strerror}") from trouble


def _parse(text: str, path: Path) -> list[Pick]:
    if not re.search(r"^\s*[^#\s]", text, re.MULTILINE):  # nothing but comments
        return []
    document = parse_yaml(text, path)
    if not isinstance(document.data, list):
        raise ConfigError(f"{document.where()}: must be a list: begin each pick with `- pair: C-F`")
    picks: list[Pick] = []
    for index, item in enumerate(document.data):
        pick = _check(item, index, document)
        first = _place(picks, pick.pair)
        if first is not None:
            raise ConfigError(f"{document.where((index,))}: {pick.pair} is there twice (first in "
                              f"line {document.line((first,))}): take one out")
        picks.append(pick)
    return picks


def _check(item: Any, index: int, document: Document) -> Pick:
    if not isinstance(item, dict) or "pair" not in item:
        raise ConfigError(f"{document.where((index,))}: a pick begins with its pair: "
                          "write `- pair: C-F`")
    values: dict[str, Any] = {}
    for name, value in item.items():
        where = document.where((index, name))
        if name in _FORMER:
            continue
        name = "set_aside" if name == "skip" else name
        if name not in FIELDS:
            mended = parted_text(document, (index, name))
            if mended:
                raise ConfigError(f"{where}: a text with a comma needs quotes: write `{mended}`")
            raise ConfigError(f"{where}: unknown `{name}`: {nearest(name, FIELDS)}")
        if value is None and name != "pair":
            continue
        try:
            values[name] = _value(name, value)
        except ConfigError as trouble:
            raise ConfigError(f"{where}: {trouble}") from None
    return Pick(**values)


def _value(name: str, value: Any) -> Any:
    if name == "pair":
        return tidy_pair(str(value))
    if name == "set_aside":
        if not isinstance(value, bool):
            raise ConfigError(f"set_aside must be true or false, is {value}")
        return value
    if name == "at_ohm":
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ConfigError(f"at_ohm must be a number, is {value}: "
                              f"{number_hint('at_ohm', str(value))}")
        if not AT_LEAST_OHM <= value <= AT_MOST_OHM:
            raise ConfigError(f"at_ohm must be {AT_LEAST_OHM} to {AT_MOST_OHM:,}, is {value:g}")
        return float(value)
    if not isinstance(value, str):
        raise ConfigError(f'{name} must be text: write it in quotes, {name}: "{value}"')
    if name == "control" and value not in CONTROLS:
        raise ConfigError(f"control can't be {value}: {nearest(value, CONTROLS)}")
    return value


def _place(picks: Sequence[Pick], pair: str) -> int | None:
    return next((index for index, one in enumerate(picks) if one.pair == pair), None)


def _put(folder: Path, pick: Pick) -> None:
    path = Path(folder) / PICKS
    head, items, picks = _entries(path)
    place = _place(picks, pick.pair)
    if place is None:
        items.append(_item(pick))
    elif picks[place] == pick:
        return
    else:
        items[place] = _item(pick) + _after_item(items[place])
    _write(path, head + "".join(items))


def _entries(path: Path) -> tuple[str, list[str], list[Pick]]:
    """Give what is before the first entry, each entry's own lines, and the entries."""
    text = _read(path) or HEADING
    text += "" if text.endswith("\n") else "\n"
    picks = _parse(text, path)
    starts = [found.start() for found in _ITEM.finditer(text)]
    if len(starts) != len(picks):
        raise ConfigError(f"{path}: can't be changed by the program as it is written: let each "
                          "pick begin with `- ` at the start of a line, and no other line so")
    cuts = [*starts, len(text)]
    return text[: cuts[0]], [text[a:b] for a, b in itertools.pairwise(cuts)], picks


def _after_item(item: str) -> str:
    """Give the comments and blank lines behind an entry: they speak of the next one."""
    lines = item.splitlines(keepends=True)
    behind: list[str] = []
    while len(lines) > 1 and (not lines[-1].strip() or lines[-1].startswith("#")):
        behind.insert(0, lines.pop())
    return "".join(behind)


def _item(pick: Pick) -> str:
    lines = []
    for name in FIELDS:
        value = getattr(pick, name)
        if value is None or value is False or value == "":
            continue
        if name in ("key", "name", "note"):
            value = json.dumps(value, ensure_ascii=False)
        elif value is True:
            value = "true"
        elif isinstance(value, float):
            value = f"{value:.10g}"
        lines.append(f"{name}: {value}\n")
    return "- " + "  ".join(lines)


def _write(path: Path, text: str) -> None:
    _parse(text, path)  # never leave a file behind that can't be read again
    try:
        replace_text(path, text)
    except OSError as trouble:
        raise ConfigError(f"{path}: can't be written: {trouble.strerror}") from trouble
