"""verified.yaml: what `padsweep verify` last heard of each control of the finished build.

The program writes it, whole or not at all; what was built otherwise since counts no more.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from rig.errors import ConfigError
from rig.project.changing import change_text
from rig.project.yaml_strict import Document, read_yaml

VERIFIED = "verified.yaml"
HEADING = (
    "# What `padsweep verify` heard of the finished build. The program writes this file; without it,\n"
    "# nothing has been tried.\n"
)
NOT_TRIED = "not tried"


@dataclass(frozen=True)
class Verified:
    """What one control came to.

    Parameters
    ----------
    pair : str
    built : str
        What the sheet said was fitted.
    verdict : str
        A word or two; see `rig.verify.decide.Name`.
    words : str
        What was heard.
    next_step : str
        What to look at, or to try.
    at : str
        When, UTC, ISO 8601; "" where it wasn't tried.
    rounds : int
        How often it was gone through: 2 with the one five minutes later.
    heard : tuple of dict
        What each press showed: `setting`, and the fields of `rig.verify.telling.Told`.
    """

    pair: str
    built: str
    verdict: str = NOT_TRIED
    words: str = ""
    next_step: str = ""
    at: str = ""
    rounds: int = 0
    heard: tuple[dict[str, Any], ...] = ()

    @property
    def told(self) -> str:
        """Say it in a line: "right, 31 May 2031"; the day is UTC's."""
        return f"{self.verdict}, {self.at[:10]}" if self.at else self.verdict


@dataclass(frozen=True)
class Build:
    """All that is known of a build.

    Parameters
    ----------
    controls : tuple of Verified
        In the sheet's order.
    toy : str
        What was heard of the toy with all controls open, in words.
    is_itself : bool
        It sounds as in the sweep then.
    is_done : bool
        The going-through came to its end.
    """

    controls: tuple[Verified, ...] = ()
    toy: str = ""
    is_itself: bool = True
    is_done: bool = False

    def of(self, pair: str, built: str) -> Verified:
        """Give what is known of a control, as it is built now."""
        found = (one for one in self.controls if (one.pair, one.built) == (pair, built))
        return next(found, Verified(pair, built))

    def with_one(self, one: Verified) -> Build:
        """Give the same with what a control came to in its place, or added."""
        others = [other for other in self.controls if other.pair != one.pair]
        place = next((n for n, other in enumerate(self.controls) if other.pair == one.pair), len(others))
        return replace(self, controls=(*others[:place], one, *others[place:]))


NOT_VERIFIED = Build()
"""Before anything was heard of it."""


def load_build(folder: Path) -> Build:
    """Read verified.yaml of a project folder; without one nothing is known.

    Raises
    ------
    ConfigError
        The file can't be used; names file and line.
    """
    path = Path(folder) / VERIFIED
    if not path.exists():
        return Build()
    document = read_yaml(path)
    data = document.data
    if not isinstance(data, dict) or not isinstance(data.get("controls"), list):
        raise _unusable(document, ())
    return Build(
        tuple(_control(document, n, one) for n, one in enumerate(data["controls"])),
        str(data.get("toy", "")), data.get("is_itself") is True, data.get("is_done") is True,
    )


def _control(document: Document, number: int, data: Any) -> Verified:
    names = [one.name for one in fields(Verified)]
    where = ("controls", number)
    if not isinstance(data, dict) or set(data) != set(names):
        raise _unusable(document, where)
    heard = data["heard"] or []
    texts = [data[name] for name in names if name not in ("rounds", "heard")]
    good = isinstance(heard, list) and all(isinstance(one, dict) for one in heard)
    if not good or not isinstance(data["rounds"], int) or not all(isinstance(one, str) for one in texts):
        raise _unusable(document, where)
    return Verified(**data | {"heard": tuple(heard)})


def _unusable(document: Document, where: tuple) -> ConfigError:
    return ConfigError(
        f"{document.where(where)}: isn't what `padsweep verify` writes: take the file away and verify again"
    )


def save_build(folder: Path, build: Build) -> None:
    """Write verified.yaml: the old one or the new one, whole.

    Raises
    ------
    ConfigError
        It can't be written.
    """
    change_text(Path(folder) / VERIFIED, lambda _: _text(build))


def _text(build: Build) -> str:
    lines = [HEADING + f"toy: {_quoted(build.toy)}", f"is_itself: {_quoted(build.is_itself)}",
             f"is_done: {_quoted(build.is_done)}",
             "controls:" if build.controls else "controls: []"]  # fmt: skip
    for one in build.controls:
        lines += _lines(one)
    return "\n".join(lines) + "\n"


def _lines(one: Verified) -> Sequence[str]:
    told = {name.name: getattr(one, name.name) for name in fields(one) if name.name != "heard"}
    lines = [f"  {name}: {_quoted(value)}" for name, value in told.items()]
    lines[0] = "- " + lines[0].lstrip()
    lines.append("  heard:" if one.heard else "  heard: []")
    return lines + [f"  - {json.dumps(press, ensure_ascii=False)}" for press in one.heard]


def _quoted(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)
