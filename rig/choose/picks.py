"""picks.yaml: the sounds a person kept or set aside, in a file that they may edit by hand.

Here it is read; `keeping.py` changes it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass, fields
from pathlib import Path
from typing import Any

from rig.errors import ConfigError
from rig.pads import in_order, is_pair, joints_of, letters_of, name_of
from rig.project.changing import read_bytes, text_of
from rig.project.hints import nearest, number_hint
from rig.project.slips import parted_text
from rig.project.yaml_strict import Document, parse_yaml
from rig.words import short_ohms

PICKS = "picks.yaml"
CONTROLS = ("toggle", "push-button", "potentiometer", "stepped switch", "photocell", "body contacts")
"""What may be wished for as `control`."""
AT_LEAST_OHM, AT_MOST_OHM = 1, 10_000_000
"""Range of resistors that shops have (common practice, no source)."""
_FORMER = ("sound", "after", "amount", "unit", "path_min_ohm", "path_max_ohm", "touch")
"""What earlier versions copied from the sweep: read over, since it may not be true any more."""

ALSO = {"skip": "set_aside"}
"""Other names of fields."""


@dataclass(frozen=True)
class Pick:
    """A sound that the person has chosen, or set aside, with their own words and wishes.

    Pair, resistance and key say which; without a resistance it is the pair.

    Parameters
    ----------
    pair : str
        Two pads, "C-F"; or more that are joined at once, as `rig.pads` writes them.
    at_ohm : float or None
        The resistance of the sound that was kept, or that the person wants in the path, ohms; None:
        that of the pair's best sound.
    key : str or None
        The key whose sound counts, "" for none pressed; None: whichever shows it best.
    name, note : str
        The person's own words.
    control : str or None
        One of `CONTROLS`, where the person wishes for one.
    set_aside : bool
        Not to be built, nor shown again.
    """

    pair: str
    _: KW_ONLY
    at_ohm: float | None = None
    key: str | None = None
    name: str = ""
    note: str = ""
    control: str | None = None
    set_aside: bool = False

    @property
    def pads(self) -> tuple[str, ...]:
        """The pads' letters."""
        return letters_of(self.pair)

    @property
    def is_single_pair(self) -> bool:
        """Say whether it is one pad joined to one pad."""
        return is_pair(self.pair)

    @property
    def spot(self) -> tuple[str, float | None, str | None]:
        """Give what it is known by: there is one entry of each."""
        return self.pair, self.at_ohm, self.key

    @property
    def decided(self) -> str:
        """Say what the person decided: "kept" or "set aside"."""
        return "set aside" if self.set_aside else "kept"

    @property
    def label(self) -> str:
        """Name it: "S-W", or with its resistance and key, "S-W 3.6k blue"."""
        size = "" if self.at_ohm is None else short_ohms(self.at_ohm)
        return " ".join(filter(None, (self.pair, size, self.key)))


FIELDS = tuple(one.name for one in fields(Pick))


def load_picks(folder: Path, set_aside: bool = False) -> list[Pick]:
    """Read the picks of a project folder, in the person's order.

    Parameters
    ----------
    folder : Path
        The project folder; one without picks.yaml has no picks.
    set_aside : bool
        Also give those that were set aside.

    Raises
    ------
    ConfigError
        Something in the file can't be used; names file, line and the nearest valid word.
    """
    path = Path(folder) / PICKS
    picks = parse_picks(text_of(read_bytes(path), path), path)
    return [pick for pick in picks if set_aside or not pick.set_aside]


def tidy_pair(text: str) -> str:
    """Give a pair in the letters' order, from what a person typed: "f-c" is "C-F".

    Raises
    ------
    ConfigError
        It isn't two different pads, or more that are joined at once.
    """
    if re.fullmatch("[A-Z]{1,3}", text.strip().upper()):
        raise ConfigError(f"{text!r} is one pad, and controls are planned for two pads only: "
                          "write two, such as C-F")
    try:
        return name_of(in_order(joints_of(text)))
    except ValueError:
        raise ConfigError(f"{text!r} is no pair: write two pads, such as C-F") from None


def parse_picks(text: str, path: Path) -> list[Pick]:
    if not re.search(r"^\s*[^#\s]", text, re.MULTILINE):  # nothing but comments
        return []
    document = parse_yaml(text, path)
    if not isinstance(document.data, list):
        raise ConfigError(f"{document.where()}: must be a list: begin each pick with `- pair: C-F`")
    picks: list[Pick] = []
    for index, item in enumerate(document.data):
        pick = _check(item, index, document)
        first = next((at for at, one in enumerate(picks) if one.spot == pick.spot), None)
        if first is not None:
            raise ConfigError(f"{document.where((index,))}: {pick.label} is there twice (first in "
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
        name = ALSO.get(name, name)
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


def pick_of(values: Mapping[str, Any]) -> Pick:
    """Give the pick that these fields make, as they may stand in the file.

    Raises
    ------
    ConfigError
        A field isn't one of a pick's, or can't have that value.
    """
    if "pair" not in values:
        raise ConfigError("a pick begins with its pair")
    unknown = next((name for name in values if name not in FIELDS), None)
    if unknown is not None:
        raise ConfigError(f"unknown `{unknown}`: {nearest(unknown, FIELDS)}")
    return Pick(**{name: _value(name, value) for name, value in values.items()
                   if value is not None})  # fmt: skip


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

