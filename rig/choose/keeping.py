"""Changing picks.yaml, which a person or another padsweep may be changing too.

Only the entry in question changes; all else stays as it is written, byte for byte.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from rig.choose.picks import ALSO, FIELDS, PICKS, Pick, parse_picks, tidy_pair
from rig.errors import ConfigError
from rig.project.changing import change_text
from rig.project.yaml_edit import append_item, is_list, remove_item, set_value
from rig.project.yaml_strict import parse_yaml

HEADING = """\
# The pairs kept for building, in your order, and pairs set aside (set_aside: true).
# Edit as you like. A pair is enough; what was heard of it comes from the sweep each time.
# Yours to add: name, note (in quotes), control (toggle, push-button, potentiometer, photocell,
# body contacts), at_ohm (the resistance that you want in it, ohms), key (the one to go by).
"""
_LAYOUT = (
    "can't be changed by the program as it is written: let each pick begin with `- ` in a line of "
    "its own"
)


def keep(folder: Path, pair: str, note: str | None = None) -> None:
    """Keep a pair; an entry there already keeps its place and the person's words and wishes."""

    def kept(old: Pick | None) -> Pick:
        old = old or Pick(tidy_pair(pair))
        return replace(old, note=old.note if note is None else note, set_aside=False)

    _change(folder, pair, kept)


def set_aside(folder: Path, pair: str) -> None:
    """Set a pair aside; the person's words about it stay."""
    _change(folder, pair, lambda old: replace(old or Pick(tidy_pair(pair)), set_aside=True))


def note(folder: Path, pair: str, text: str) -> None:
    """Change the note of an entry. Raises `ConfigError` if the pair has none."""

    def noted(old: Pick | None) -> Pick:
        if old is None:
            raise ConfigError(f"{Path(folder) / PICKS}: {pair} is not in it; keep it first")
        return replace(old, note=text)

    _change(folder, pair, noted)


def remove(folder: Path, pair: str) -> bool:
    """Take a pair's entry out again; says if there was one."""
    return _change(folder, pair, lambda _: None) is not None


def _change(folder: Path, pair: str, act: Callable[[Pick | None], Pick | None]) -> Pick | None:
    """Change one pair's entry; gives the one that was there."""
    path, wanted = Path(folder) / PICKS, tidy_pair(pair)
    old: Pick | None = None

    def changed(text: str) -> str:
        nonlocal old
        picks = parse_picks(text, path)
        old = next((one for one in picks if one.pair == wanted), None)
        new = act(old)
        return text if new == old else _changed(text or HEADING, path, picks, old, new)

    change_text(path, changed)
    return old


def _changed(
    text: str, path: Path, picks: Sequence[Pick], old: Pick | None, new: Pick | None
) -> str:
    """Give the text with one entry changed, added (no `old`) or taken out (no `new`)."""
    expected = list(picks)
    if not is_list(text):
        raise ConfigError(f"{path}: {_LAYOUT}")
    if old is None:
        assert new is not None
        expected.append(new)
        text = append_item(text, _values(new, path))
    elif new is None:
        place = expected.index(old)
        del expected[place]
        text = remove_item(text, place)
    else:
        place = expected.index(old)
        expected[place] = new
        for name in FIELDS:
            value = getattr(new, name)
            if value != getattr(old, name):
                names = name, *(other for other, one in ALSO.items() if one == name)
                text = set_value(text, place, names, _written(name, value, path))
    try:
        as_meant = parse_picks(text, path) == expected
    except ConfigError:
        as_meant = False
    if not as_meant:
        raise ConfigError(f"{path}: {_LAYOUT}")
    return text


def _values(pick: Pick, path: Path) -> dict[str, str]:
    """Give what is to be written of a new pick."""
    told = {name: getattr(pick, name) for name in FIELDS}
    return {name: _written(name, value, path) for name, value in told.items()
            if value not in (None, False, "")}  # fmt: skip


def _written(name: str, value: str | bool, path: Path) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if name == "pair":
        return value
    quoted = json.dumps(value, ensure_ascii=False)
    parse_yaml(quoted, path)  # tells of characters that couldn't be read again
    return quoted
