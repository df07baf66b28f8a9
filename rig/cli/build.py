"""The command `sheet`: the build sheet of the picks."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from rig.build.pieces import in_series
from rig.build.several import by_pair
from rig.build.sheet import make_sheet, proposals, see, write_sheet
from rig.choose.picks import load_picks
from rig.cli.console import console
from rig.cli.tables import Column, print_table, where
from rig.log import SweepLog
from rig.log.opening import DEFAULT_NAME
from rig.project import load_project
from rig.project.places import load_places


def register(app: typer.Typer) -> None:
    """Add `sheet` to the command line."""
    app.command("sheet")(sheet)


def sheet(
    project: Annotated[Path, typer.Option(help="The project folder.")] = Path("."),
    name: Annotated[
        str, typer.Option(help="Name of the sweep the picks come from.")
    ] = DEFAULT_NAME,
    out: Annotated[
        Path | None, typer.Option(help="File to write (sheet.html in the project folder).")
    ] = None,
) -> None:
    """Write the build sheet of the picks: what to fit where, with values, reasons and order.

    Example: padsweep sheet --project my-toy
    """
    loaded = load_project(project)
    picks = load_picks(project)
    folder = project / "sweeps" / name
    records = None
    if (folder / "log.db").exists():
        records = SweepLog.open(folder, read_only=True).records()
    seen = see(picks, records, loaded.rig.sweep.false_discovery)
    controls = proposals(loaded, picks, seen)
    target = out or project / "sheet.html"
    write_sheet(target, make_sheet(loaded, picks, load_places(project), seen))
    say = console()
    columns = [Column("pads", stays=True), Column("control", stays=True), Column("in series"),
               Column("where")]  # fmt: skip
    print_table(say, columns, [
        (kept.pick.pair, control.part, in_series(control).replace(" (yours)", ", yours"),
         where(loaded.toy, kept.pick.pads))
        for kept, control in zip(by_pair(picks, seen.evidence), controls, strict=True)
    ])  # fmt: skip
    if records is None:
        say.print(f"there is no sweep {name!r} in this folder, so nothing is known of these pairs")
    say.print(f"the sheet: {target} (open it in a browser and print it)")
