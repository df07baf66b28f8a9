"""The command that gives a sweep to other programs: `padsweep export`."""

from __future__ import annotations

import enum
from pathlib import Path

import typer

from rig.choose import FIND_COLUMNS, find_rows, finds
from rig.cli.sweep import DEFAULT_NAME, sweep_folder
from rig.errors import RigError
from rig.files import replace_text
from rig.log import SweepLog
from rig.log.export import TOUCH_COLUMNS, as_text, touch_rows
from rig.project import load_project


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
    form: Format = typer.Option(Format.csv, "--format", help="csv or json."),
    only_finds: bool = typer.Option(False, "--finds", help="One row per pair, best first."),
    every: bool = typer.Option(False, "--all", help="Touches that aren't complete, too."),
    output: Path | None = typer.Option(None, "--output", help="Write to this file."),
    force: bool = typer.Option(False, "--force", help="Overwrite the file."),
) -> None:
    """Write the touches of a sweep, or its finds, as CSV or JSON.

    Example: padsweep export --project my-toy --finds --format csv --output finds.csv
    """
    loaded = load_project(project)
    if only_finds and every:
        raise RigError("--all is about touches: give it without --finds")
    log = SweepLog.open(sweep_folder(loaded, name), read_only=True)
    records = log.records()
    if only_finds:
        text = as_text(find_rows(finds(records, loaded.rig.sweep.false_discovery)), FIND_COLUMNS, form.value)
    else:
        below = f"{log.folder.relative_to(loaded.folder).as_posix()}/"
        rows = touch_rows(records, incomplete=every, below=below)
        text = as_text(rows, TOUCH_COLUMNS, form.value)
    if output is None:
        typer.echo(text, nl=False)
    else:
        write_new(output, text, force)


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
