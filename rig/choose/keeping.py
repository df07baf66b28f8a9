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
# The sounds kept for building, in your order, and those set aside (set_aside: true).
# Edit as you like. A pair is enough; what was heard of it comes from the sweep each time.
# at_ohm (ohms) and key say which of its sounds is meant; without them it's the best one.
# Yours to add: name, note (in quotes), control (toggle, push-button, potentiometer, photocell,
# body contacts).
"""
_LAYOUT = (
    "can't be changed by the program as it is written: let each pick begin with `- ` in a line of "
    "its own"
)


Change = tuple[Pick | None, Pick | None]
"""An entry that is there, or None, and what it becomes; None takes it out."""


class EditedMeanwhile(ConfigError):
    """An entry was changed since it was read, in just what was to be changed; nothing is written.

    Parameters
    ----------
    message : str
    mine : Pick or None
        What was to be written.
    theirs : Pick or None
        What is there by now; None: it was taken out.
    """

    def __init__(self, message: str, mine: Pick | None, theirs: Pick | None) -> None:
        super().__init__(message)
        self.mine = mine
        self.theirs = theirs


def keep(
    folder: Path, pair: str, note: str | None = None, *, at_ohm: float | None = None,
    key: str | None = None, entry: Pick | None = None,
) -> None:
    """Keep a sound; its entry keeps its place and the person's words and wishes.

    Parameters
    ----------
    folder : Path
        The project folder.
    pair : str
    note : str, optional
        The person's words; without, those that are there stay.
    at_ohm, key : optional
        The resistance (ohms) and key of the sound; without both the pair, as it is there.
    entry : Pick, optional
        The entry that is about it, where it isn't the one of this resistance and key.
    """

    def kept(mine: Sequence[Pick]) -> list[Change]:
        old = _entry(mine, at_ohm, key, entry)
        is_narrowed = old is not None and old.set_aside and old.at_ohm is None and at_ohm is not None
        if old is None or (is_narrowed and old.key not in (None, key)):
            return [(None, Pick(tidy_pair(pair), at_ohm=at_ohm, key=key, note=note or ""))]
        new = replace(old, note=old.note if note is None else note, set_aside=False)
        if is_narrowed:  # what was set aside is the whole pair, what is kept one of its sounds
            new = replace(new, at_ohm=at_ohm, key=key)
        return [(old, new)]

    _change(folder, pair, kept)


def retune(folder: Path, entry: Pick, at_ohm: float) -> None:
    """Give an entry another resistance; the person's words and wishes stay.

    Parameters
    ----------
    folder : Path
        The project folder.
    entry : Pick
        As it was read; where it has gone meanwhile a new one is written.
    at_ohm : float
        The resistance, ohms. Where another entry has it already for this key nothing changes.
    """

    def retuned(mine: Sequence[Pick]) -> list[Change]:
        new = replace(entry, at_ohm=at_ohm)
        if any(one.spot == new.spot and not one.set_aside for one in mine):
            return []
        old = next((one for one in mine if one.spot == entry.spot), None)
        return [(None, new) if old is None else (old, replace(old, at_ohm=at_ohm, set_aside=False))]

    _change(folder, entry.pair, retuned)


def set_aside(
    folder: Path, pair: str, *, at_ohm: float | None = None, key: str | None = None,
    entry: Pick | None = None, others: bool = False,
) -> None:
    """Set a sound aside, or a whole pair; the person's words about it stay.

    Parameters
    ----------
    folder : Path
        The project folder.
    pair : str
    at_ohm, key, entry : optional
        As for `keep`; without any of them all of the pair is set aside.
    others : bool
        The pair has sounds that none of its entries is about: it gets one for all of it.
    """

    def aside(mine: Sequence[Pick]) -> list[Change]:
        if at_ohm is None and key is None and entry is None:
            changes: list[Change] = [(one, replace(one, set_aside=True)) for one in mine]
            if not mine or (others and all(one.at_ohm is not None for one in mine)):
                changes.append((None, Pick(tidy_pair(pair), set_aside=True)))
            return changes
        old = _entry(mine, at_ohm, key, entry)
        if old is None:
            return [(None, Pick(tidy_pair(pair), at_ohm=at_ohm, key=key, set_aside=True))]
        new = replace(old, set_aside=True)
        if old.at_ohm is None and at_ohm is not None:
            new = replace(new, at_ohm=at_ohm, key=key)
        return [(old, new)]

    _change(folder, pair, aside)


def note(folder: Path, pair: str, text: str) -> None:
    """Change the note of a pair's entry. Raises `ConfigError` if the pair has none."""

    def noted(mine: Sequence[Pick]) -> list[Change]:
        old = _entry(mine, None, None, None)
        if old is None:
            raise ConfigError(f"{Path(folder) / PICKS}: {pair} is not in it; keep it first")
        return [(old, replace(old, note=text))]

    _change(folder, pair, noted)


def remove(folder: Path, pair: str, entry: Pick | None = None) -> bool:
    """Take an entry out again, or all of a pair; says if there was one."""

    def removed(mine: Sequence[Pick]) -> list[Change]:
        return [(one, None) for one in mine if entry is None or one.spot == entry.spot]

    return bool(_change(folder, pair, removed))


def merge(folder: Path, was: Pick | None, wanted: Pick | None) -> Pick | None:
    """Change an entry that was read a while ago; what others have changed since stays.

    It is looked up by its pair, resistance and key, and merged field by field: what is as it was
    read becomes as it is wanted.

    Parameters
    ----------
    folder : Path
        The project folder.
    was : Pick or None
        The entry as it was read; None: there was none.
    wanted : Pick or None
        What it is to become; None takes it out.

    Returns
    -------
    Pick or None
        The entry as it stands there now.

    Raises
    ------
    EditedMeanwhile
        Both changed the same of it, each in another way.
    ConfigError
        The file can't be read or written.
    """
    known = was or wanted
    if known is None:
        return None
    path = Path(folder) / PICKS

    def merged(mine: Sequence[Pick]) -> list[Change]:
        there = next((one for one in mine if one.spot == known.spot), None)
        if wanted is None:
            if there not in (None, was):
                raise _edited(path, None, there, known)
            return [(there, None)] if there else []
        if there is None:
            if was is not None:
                raise _edited(path, wanted, None, known)
            return [(None, wanted)]
        before = was or Pick(known.pair, at_ohm=known.at_ohm, key=known.key)
        values = {}
        for name in FIELDS:
            old, new, now = (getattr(one, name) for one in (before, wanted, there))
            if old not in (new, now) and new != now:
                raise _edited(path, wanted, there, known, name)
            values[name] = new if now == old else now
        return [(there, Pick(**values))]

    changes = _change(folder, known.pair, merged)
    return changes[0][1] if changes else None


def _edited(
    path: Path, mine: Pick | None, theirs: Pick | None, known: Pick, name: str = ""
) -> EditedMeanwhile:
    if theirs is None:
        what = "was taken out of it"
    else:
        what = f"has another {name.replace('_', ' ') or 'text'} by now"
    return EditedMeanwhile(f"{path}: {known.label} {what}; nothing was written: "
                           "say which of the two counts", mine, theirs)


def _entry(
    mine: Sequence[Pick], at_ohm: float | None, key: str | None, entry: Pick | None
) -> Pick | None:
    """Give the entry that is meant, of one pair's."""
    spot = (at_ohm, key) if entry is None else entry.spot[1:]
    there = next((one for one in mine if one.spot[1:] == spot), None)
    if there is None and spot == (None, None):
        return next(iter(mine), None)
    return there


def _change(
    folder: Path, pair: str, act: Callable[[Sequence[Pick]], list[Change]]
) -> list[Change]:
    """Change a pair's entries; gives what was changed."""
    path, wanted = Path(folder) / PICKS, tidy_pair(pair)
    changes: list[Change] = []

    def changed(text: str) -> str:
        nonlocal changes
        picks = parse_picks(text, path)
        changes = act([one for one in picks if one.pair == wanted])
        for old, new in changes:
            if new != old:
                text = _changed(text or HEADING, path, parse_picks(text, path), old, new)
        return text

    change_text(path, changed)
    return changes


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
            if value not in (None, False) and (value or name == "key")}  # fmt: skip


def _written(name: str, value: str | bool | float, path: Path) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.10g}"
    if name == "pair":
        return value
    quoted = json.dumps(value, ensure_ascii=False)
    parse_yaml(quoted, path)  # tells of characters that couldn't be read again
    return quoted
