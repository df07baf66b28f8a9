"""picks.yaml: the pairs a person kept or set aside, in a file that they may edit by hand.

The program changes only the entry it is asked to; other lines and comments stay.
"""

from __future__ import annotations

import itertools
import json
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from rig.choose.rank import Find, letter_order
from rig.errors import ConfigError
from rig.files import replace_text
from rig.listen.judgement import AFTERS, SOUNDS
from rig.project.hints import nearest
from rig.project.yaml_strict import Document, parse_yaml

PICKS = "picks.yaml"
HEADING = """\
# The bends kept for building, in your order, and pairs set aside (skip: true).
# Edit as you like: the pair, and a note in quotes; leave out what you don't know.
"""
_PAIR = re.compile(r"([A-Z]{1,3})-([A-Z]{1,3})")
_ITEM = re.compile(r"^-(?=\s|$)", re.MULTILINE)


@dataclass(frozen=True)
class Pick:
    """A bend that the person has chosen, or set aside.

    Parameters
    ----------
    pair : str
        Two pads, "C-F".
    note : str
        The person's own words.
    sound, after : str or None
        Words of the tables.
    amount : float or None
        In `unit`: cents, dB, s or Hz.
    unit : str or None
    path_min_ohm, path_max_ohm : float or None
        Range of path in which it bends, ohms.
    touch : int or None
        Number of the touch to listen to.
    skip : bool
        Set aside: not to be built, nor shown again.
    """

    pair: str
    note: str = ""
    sound: str | None = None
    after: str | None = None
    amount: float | None = None
    unit: str | None = None
    path_min_ohm: float | None = None
    path_max_ohm: float | None = None
    touch: int | None = None
    skip: bool = False

    @property
    def pads(self) -> tuple[str, str]:
        """The two pads' letters."""
        one, other = self.pair.split("-")
        return one, other


FIELDS = tuple(one.name for one in fields(Pick))


def load_picks(folder: Path, skipped: bool = False) -> list[Pick]:
    """Read the picks of a project folder, in the person's order.

    Parameters
    ----------
    folder : Path
        The project folder; one without picks.yaml has no picks.
    skipped : bool
        Also give the entries with `skip: true`.

    Raises
    ------
    ConfigError
        Something in the file can't be used; names file, line and the nearest valid word.
    """
    path = Path(folder) / PICKS
    picks = _parse(_read(path), path)
    return [pick for pick in picks if skipped or not pick.skip]


def keep(folder: Path, find: Find, note: str | None = None) -> Pick:
    """Keep a find; an entry there already keeps its place and, without a new one, its note."""
    old = _entry(folder, find.pair)
    pick = Pick(
        find.pair, note if note is not None else (old.note if old else ""), find.sound,
        find.after, _rounded(find.amount), find.unit, _rounded(find.path_min_ohm),
        _rounded(find.path_max_ohm), find.best_touch,
    )
    _put(folder, pick)
    return pick


def skip(folder: Path, pair: str) -> Pick:
    """Set a pair aside; its note stays."""
    old = _entry(folder, pair)
    pick = replace(old, skip=True) if old else Pick(tidy_pair(pair), skip=True)
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
    return next((one for one in load_picks(folder, skipped=True) if one.pair == wanted), None)


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
        if name not in FIELDS:
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
    if name in ("sound", "after"):
        words = SOUNDS if name == "sound" else AFTERS
        if value not in words:
            raise ConfigError(f"{name} can't be {value}: {nearest(value, words)}")
        return value
    if name == "skip":
        if not isinstance(value, bool):
            raise ConfigError(f"skip must be true or false, is {value}")
        return value
    if name in ("note", "unit"):
        if not isinstance(value, str):
            raise ConfigError(f'{name} must be text: write it in quotes, {name}: "{value}"')
        return value
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise ConfigError(f"{name} must be a number, is {value}: write it without its unit")
    if name == "touch":
        if not isinstance(value, int) or value < 1:
            raise ConfigError(f"touch must be the number of a touch, is {value}")
        return value
    if name.endswith("_ohm") and value < 0:
        raise ConfigError(f"{name} must be at least 0, is {value}")
    return float(value)


def _place(picks: Sequence[Pick], pair: str) -> int | None:
    return next((index for index, one in enumerate(picks) if one.pair == pair), None)


def _put(folder: Path, pick: Pick) -> None:
    path = Path(folder) / PICKS
    head, items, picks = _entries(path)
    place = _place(picks, pick.pair)
    if place is None:
        items.append(_item(pick))
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
        if name == "note":
            value = json.dumps(value, ensure_ascii=False)
        elif value is True:
            value = "true"
        elif isinstance(value, float):
            value = f"{value:.10g}"
        lines.append(f"{name}: {value}\n")
    return "- " + "  ".join(lines)


def _rounded(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.4g}")


def _write(path: Path, text: str) -> None:
    _parse(text, path)  # never leave a file behind that can't be read again
    try:
        replace_text(path, text)
    except OSError as trouble:
        raise ConfigError(f"{path}: can't be written: {trouble.strerror}") from trouble
