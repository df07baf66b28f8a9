"""What `padsweep judge` does with recordings that no rig made."""

from __future__ import annotations

import enum
import glob
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from rig.cli.console import console
from rig.cli.usage import Command
from rig.errors import RigError
from rig.listen import (
    LEAST_RATE_HZ,
    MANNER,
    MANNER_AMOUNT,
    MANNER_UNIT,
    Judged,
    Recordings,
    Unlike,
    common_rate_hz,
    is_clipped,
)
from rig.log.sound_files import read_recording
from rig.outcomes import sound_words, told_words


class Form(str, enum.Enum):
    """How judgements are written."""

    text = "text"
    json = "json"


class SeveralValues(Command):
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


HIDES_DB = 25.0
"""Less above its own room than this, a recording hides slight changes from those laid over it."""
QUIETER_DB = 10.0
"""So much more is to be had: another recording has it."""
LEAST_OVER_ROOM_DB = 15.0
"""Where none has even this, much goes unheard."""
OTHER_LEVEL_DB = 3.0
"""Recordings of one sound that differ by more were made at other levels or distances."""


STAYS = "distance and recording level must stay; record again, or leave out what differs"


def judge_recordings(before: Sequence[str], after: Sequence[str], form: Form) -> None:
    """Judge recordings against those from before, and print what each does.

    Raises
    ------
    RigError
        A file can't be used, or there is none; none of those from after can be judged.
    """
    befores = {path: read_recording(path, LEAST_RATE_HZ) for path in files("--before", before)}
    afters = {path: read_recording(path, LEAST_RATE_HZ) for path in files("--after", after)}
    if clipped := [str(path) for path, (sound, _) in befores.items() if is_clipped(sound)]:
        raise RigError(f"{', '.join(clipped)}: clipped, so nothing can be judged against "
                       f"{'it' if len(clipped) == 1 else 'them'}; turn the recording level down "
                       "and record all again")
    rate_hz = common_rate_hz([rate for _, rate in (*befores.values(), *afters.values())])
    try:
        ear = Recordings(list(befores.values()), rate_hz)
    except ValueError as trouble:
        what, at = trouble.args
        raise RigError(f"{list(befores)[at]}: {what}; record the toy's own sound") from None
    paths = [str(path) for path in befores]
    doubts = [*_unlike(ear, paths), *_levels(ear, paths), *_rooms(ear, paths)]
    rows = [_row(path, ear.judge(*one), paths, doubts) for path, one in afters.items()]
    if form is Form.json:
        print(json.dumps(rows, indent=2, ensure_ascii=False, allow_nan=False))
    else:
        _print(rows, doubts)
    if all(row["clipped"] for row in rows):
        raise RigError("none of the recordings from --after can be judged: record them again, "
                       "at a lower level")


def _print(rows: Sequence[dict], doubts: Sequence[Doubt]) -> None:
    out = console()
    doubted = {path for one in doubts for path in one.paths}
    for row in rows:
        beside = f", beside {row['nearest']}" if row["nearest"] in doubted else ""
        out.print(f"{row['file']}: {row['description']}{beside}")
    notes = [one.words for one in doubts] + [row["note"] for row in rows if row["note"]]
    for note in dict.fromkeys(notes):
        out.print(f"note: {note}")


@dataclass(frozen=True)
class Doubt:
    """What may be wrong with the recordings from before, and which of them are to blame."""

    words: str
    paths: Sequence[str] = ()


def _unlike(ear: Recordings, paths: Sequence[str]) -> Iterator[Doubt]:
    """Say which recordings from before are unlike the others, and what they seem to be."""
    unlike = ear.unlike()
    if unlike and len(ear.alike[0]) == 1:
        which = "the two" if len(paths) == 2 else f"no two of the {len(paths)}"
        nearest_db = min(one.apart_db for one in unlike)
        yield Doubt(
            f"{which} recordings from before are {'un' if len(paths) == 2 else ''}alike "
            f"(at least {nearest_db:.0f} dB apart where they differ most): what is said of others may be "
            "no more than that; record each phrase of the toy at least twice, with one key, "
            "distance and recording level"
        )
    elif any(len(one.which) > 1 and not _only_level(ear, one) for one in unlike):
        groups = [_and_more([paths[i] for i in which]) for which in ear.alike if len(which) > 1]
        yield Doubt(
            f"the recordings from before hold {len(groups)} sounds ({'; '.join(groups)}): fine "
            "if all are phrases of one key, else leave out what doesn't belong"
        )
    for one in unlike:
        mine, beside = [paths[i] for i in one.which], paths[one.beside]
        said = sound_words(one.told.sound, one.told.amount, one.told.unit)
        if _only_level(ear, one):
            yield Doubt(f"{_and_more(mine)}: {said} than {beside}, and else the same: {STAYS}",
                        mine)
        elif len(mine) == 1 and len(ear.alike[0]) > 1:
            seems = "" if one.told.sound == "timbre" else f" (beside {beside}: {said})"
            yield Doubt(
                f"{mine[0]}: unlike all others from before, by at least {one.apart_db:.0f} dB where they "
                f"differ most{seems}; if it is a phrase of its own record that again, and if "
                "it is bent, or of another toy or key, leave it out", mine
            )


def _only_level(ear: Recordings, one: Unlike) -> bool:
    """Say whether it is louder or softer as a whole; a sound that dies away otherwise isn't."""
    if one.told.sound != "level" or one.told.amount is None:
        return False
    more_db = ear.clean[one.which[0]].level_db - ear.clean[one.beside].level_db
    return abs(more_db - one.told.amount) < OTHER_LEVEL_DB


def _levels(ear: Recordings, paths: Sequence[str]) -> Iterator[Doubt]:
    """Say which recordings of one sound are louder than others."""
    for group in ear.alike:
        # A loud room leaves only the loudest parts of a sound.
        level_db = {
            i: ear.clean[i].level_db for i in group if ear.clean[i].over_room_db >= HIDES_DB
        }
        if level_db:
            least, most = min(level_db, key=level_db.get), max(level_db, key=level_db.get)
            if (more_db := level_db[most] - level_db[least]) > OTHER_LEVEL_DB:
                yield Doubt(f"{paths[most]}: louder by {more_db:.0f} dB than {paths[least]}, and "
                            f"else the same: {STAYS}")


def _rooms(ear: Recordings, paths: Sequence[str]) -> Iterator[Doubt]:
    """Say over which recordings changes can't be heard, for their rooms' noise."""
    over_db = [one.over_room_db for one in ear.clean]
    best_db = max(over_db)
    for path, mine_db in zip(paths, over_db, strict=True):
        if mine_db < min(HIDES_DB, best_db - QUIETER_DB):
            yield Doubt(
                f"{path}: its sound is only {mine_db:.0f} dB above its room, where that of "
                f"{paths[over_db.index(best_db)]} is {best_db:.0f} dB: it hides changes; record "
                "it again in a quieter room, or leave it out", [path]
            )
    if best_db < LEAST_OVER_ROOM_DB:
        yield Doubt(
            f"no recording from before is more than {best_db:.0f} dB above its room: only large "
            "changes can be heard; record nearer to the toy, or in a quieter room"
        )


def _and_more(named: Sequence[str]) -> str:
    more = len(named) - 1
    return named[0] + (f" and {more} like it" if more else "")


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


def _row(path: Path, judged: Judged, befores: Sequence[str], doubts: Sequence[Doubt]) -> dict:
    one = judged.judgement
    words = told_words(
        one.sound, one.amount, one.unit, manner=one.measures.get(MANNER),
        manner_amount=one.measures.get(MANNER_AMOUNT), manner_unit=one.measures.get(MANNER_UNIT),
    )
    if one.sound == "lost":
        words = "clipped, can't be judged; turn the recording level down"
    return {
        "file": str(path), "sound": one.sound, "amount": one.amount, "unit": one.unit,
        "manner": one.measures.get(MANNER), "p_value": one.p_value, "description": words,
        "nearest": None if judged.nearest is None else befores[judged.nearest],
        "clipped": one.sound == "lost",
        "note": judged.note, "doubts": [doubt.words for doubt in doubts], "measures": one.measures,
    }
