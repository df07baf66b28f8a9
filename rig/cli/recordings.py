"""What `padsweep judge` does with recordings that no rig made."""

from __future__ import annotations

import enum
import glob
import json
from collections.abc import Sequence
from pathlib import Path

import typer

from rig.cli.console import console
from rig.errors import RigError
from rig.listen import LEAST_RATE_HZ, Judged, Recordings, common_rate_hz
from rig.log.sound_files import read_recording
from rig.words import sound_words


class Form(str, enum.Enum):
    """How judgements are written."""

    text = "text"
    json = "json"


class SeveralValues(typer.core.TyperCommand):
    """A command whose `--before` and `--after` take all values up to the next option."""

    SEVERAL = ("--before", "--after")

    def parse_args(self, ctx, args: list[str]) -> list[str]:
        """Repeat the option before each of its values, which is what the parser knows."""
        out: list[str] = []
        option, first = None, True
        for word in args:
            if word.startswith("-"):
                name, _, value = word.partition("=")
                option, first = name if name in self.SEVERAL else None, not value
            elif option is not None:
                if not first:
                    out.append(option)
                first = False
            out.append(word)
        return super().parse_args(ctx, out)


def judge_recordings(before: Sequence[str], after: Sequence[str], form: Form) -> None:
    """Judge recordings against those from before, and print what each does.

    Raises
    ------
    RigError
        A file can't be judged, or there is none.
    """
    befores = {path: read_recording(path, LEAST_RATE_HZ) for path in files("--before", before)}
    afters = {path: read_recording(path, LEAST_RATE_HZ) for path in files("--after", after)}
    rate_hz = common_rate_hz([rate for _, rate in (*befores.values(), *afters.values())])
    try:
        ear = Recordings(list(befores.values()), rate_hz)
    except ValueError as trouble:
        what, at = trouble.args
        raise RigError(f"{list(befores)[at]}: {what}; record the toy's own sound") from None
    rows = [_row(path, ear.judge(*one), list(befores)) for path, one in afters.items()]
    if form is Form.json:
        typer.echo(json.dumps(rows, indent=2, ensure_ascii=False, allow_nan=False))
        return
    out = console()
    for row in rows:
        p_value = "" if row["p_value"] is None else f"  (p {row['p_value']:.2g})"
        out.print(f"{row['file']}: {row['description']}{p_value}")
    for note in dict.fromkeys(row["note"] for row in rows if row["note"]):
        out.print(note)


def files(option: str, named: Sequence[str]) -> list[Path]:
    """Give the files that are named, those that a pattern stands for in order; each once.

    Raises
    ------
    RigError
        A pattern fits no file.
    """
    found: dict[Path, None] = {}
    for name in named:
        paths = [Path(name)]
        if not paths[0].exists() and glob.has_magic(name):
            paths = [Path(one) for one in sorted(glob.glob(name))]
            if not paths:
                raise RigError(f"{option} {name}: no file fits")
        found |= dict.fromkeys(paths)
    return list(found)


def _row(path: Path, judged: Judged, befores: Sequence[Path]) -> dict:
    one = judged.judgement
    words = sound_words(one.sound, one.amount, one.unit)
    return {
        "file": str(path), "sound": one.sound, "amount": one.amount, "unit": one.unit,
        "p_value": one.p_value, "description": words,
        "nearest": None if judged.nearest is None else str(befores[judged.nearest]),
        "note": judged.note, "measures": one.measures,
    }
