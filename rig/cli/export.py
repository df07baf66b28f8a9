"""The command that gives a sweep to other programs: `padsweep export`, as rows or as sounds."""

from __future__ import annotations

import enum
import sys
from collections.abc import Sequence
from pathlib import Path

import typer

from rig.choose import FIND_COLUMNS, Find, find_rows, finds, load_picks
from rig.choose.matching import entry_of
from rig.choose.sounds import MEDLEY, best_of, chosen_of, different_first, write_sounds
from rig.cli.console import console
from rig.cli.tables import what
from rig.errors import RigError
from rig.files import replace_text
from rig.log import Record, SweepLog
from rig.log.export import TOUCH_COLUMNS, as_text, touch_rows
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.project import load_project
from rig.words import duration

CHOICE_COLUMNS = ("take", "choice", "name", "note")
"""Columns of exported finds that aren't the sweep's: a file, and the person's own words."""


class Format(str, enum.Enum):
    """What the rows are written as."""

    csv = "csv"
    json = "json"


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("export")(export)


def export(
    project: Path = typer.Option(Path("."), "--project", help="The project folder."),
    name: str = typer.Option(DEFAULT_NAME, "--name", help="Name of the sweep in the folder."),
    form: Format | None = typer.Option(
        None, "--format", help="csv or json; without it the file's ending says, else csv."
    ),
    only_finds: bool = typer.Option(False, "--finds", help="One row per sound of a pair, best first."),
    every: bool = typer.Option(False, "--all", help="Touches that aren't complete, too."),
    output: Path | None = typer.Option(None, "--output", help="Write to this file."),
    sounds: Path | None = typer.Option(
        None, "--sounds", metavar="FOLDER", help="Write what you kept as WAV files, and a medley."
    ),
    force: bool = typer.Option(False, "--force", help="Overwrite files that are there."),
) -> None:
    """Write the touches of a sweep, or its finds, as CSV or JSON; or sounds as WAV.

    With --sounds each pick becomes two files, the toy's own sound and the bend, as they were
    recorded; medley.wav plays the best eight different ones, equally loud.

    Example: padsweep export --project my-toy --finds --output finds.csv

    Example: padsweep export --project my-toy --sounds sounds
    """
    if sounds is not None:
        others = {"--finds": only_finds, "--all": every, "--format": form, "--output": output}
        given = next((option for option, value in others.items() if value), None)
        if given:
            raise RigError(f"{given} is about rows, --sounds about recordings: give one of them")
        _export_sounds(sounds, project, name, force)
        return
    form = chosen_format(form, output)
    if only_finds and every:
        raise RigError("--all is about touches: give it without --finds")
    loaded = load_project(project)
    log = SweepLog.open(sweep_folder(loaded, name), read_only=True)
    records = log.records()
    below = f"{log.folder.relative_to(loaded.folder).as_posix()}/"
    if only_finds:
        found = finds(records, loaded.rig.sweep.false_discovery)
        rows = with_choices(find_rows(found), found, records, loaded.folder, below)
        text = as_text(rows, (*FIND_COLUMNS, *CHOICE_COLUMNS), form.value)
    else:
        rows = touch_rows(records, incomplete=every, below=below)
        text = as_text(rows, TOUCH_COLUMNS, form.value)
    if output is None:
        sys.stdout.write(text)
    else:
        write_new(output, text, force)


def _export_sounds(target: Path, folder: Path, name: str, force: bool) -> None:
    """Write what was kept, and the medley; say what is where."""
    loaded = load_project(folder)
    picks = load_picks(loaded.folder)
    log = SweepLog.open(sweep_folder(loaded, name), read_only=True)
    records, false_discovery = log.records(), loaded.rig.sweep.false_discovery
    chosen, notes = chosen_of(picks, records, false_discovery)
    for_medley = different_first(chosen, records, false_discovery)
    if not picks:
        for_medley = best_of(records, false_discovery)
    if not for_medley:
        why = "none of what you kept was found in this sweep" if picks else \
            "nothing is kept, and nothing that changes the sound was found"  # fmt: skip
        raise RigError(f"{log.folder}: {why}: there are no sounds to write")
    written = write_sounds(target, chosen, for_medley, log, force)
    out = console()
    for note in notes + written.notes:
        out.print(f"note: {note}")
    if not written.medley and not written.files:
        raise RigError(f"{target}: no take could be read, so nothing was written")
    if not picks:
        out.print("nothing is kept yet, so the medley has the best finds of the sweep; keep what you "
                  "like: padsweep replay")
    if written.files:
        out.print(f"{target}: {len(written.files)} recordings of what you kept")
    if written.medley:
        out.print(f"{target / MEDLEY}: {duration(written.medley_s)}, each plain, then bent:")
    for at_s, find in written.medley:
        out.print(f"  {int(at_s) // 60}:{int(at_s) % 60:02d}  {find.label}  {what(find)}")


def chosen_format(form: Format | None, output: Path | None) -> Format:
    """Give the format that was asked for, by `--format` or by the file's ending.

    Raises
    ------
    RigError
        The two contradict each other.
    """
    ending = "" if output is None else output.suffix.lower().removeprefix(".")
    named = Format(ending) if ending in {one.value for one in Format} else None
    if form is not None and named not in (None, form):
        raise RigError(
            f"{output} would hold {form.value.upper()}: give --format {named.value} or an ending "
            f"of .{form.value}"
        )
    return form or named or Format.csv


def with_choices(
    rows: list[dict], found: Sequence[Find], records: Sequence[Record], folder: Path, below: str
) -> list[dict]:
    """Add to rows of finds the best take's file, and what the person decided and noted."""
    takes = {one.number: below + one.take for one in records if one.take}
    picks = load_picks(folder, set_aside=True)
    entries = [entry_of(picks, found, find) for find in found]
    return [
        row | {"take": takes.get(find.best_touch), "choice": entry and entry.decided,
               "name": entry and entry.name, "note": entry and entry.note}
        for row, find, entry in zip(rows, found, entries, strict=True)
    ]  # fmt: skip


def write_new(path: Path, text: str, force: bool) -> None:
    """Write a file whole or not at all; one that is there only with `force`.

    Raises
    ------
    RigError
        It is there already, or can't be written.
    """
    if path.exists() and not force:
        raise RigError(f"{path}: is there already; give --force to overwrite it")
    try:
        replace_text(path, text)
    except OSError as trouble:
        raise RigError(f"{path}: can't be written: {trouble.strerror}; give another file "
                       "with --output") from trouble
