"""The command `sheet`: the build sheet of the picks, as PDF and as HTML."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from rig.build.content import Sheet
from rig.build.files import write_sheets
from rig.build.pieces import in_series
from rig.build.several import by_pair
from rig.build.sheet import make_sheet, proposals, see
from rig.build.verified import load_build
from rig.choose.picks import load_picks
from rig.cli.console import console
from rig.cli.tables import Column, print_table, where
from rig.errors import ConfigError
from rig.log import SweepLog
from rig.log.opening import DEFAULT_NAME
from rig.log.stream import read_events
from rig.project import load_project
from rig.project.places import load_places

PDF, HTML = "sheet.pdf", "sheet.html"


class Size(StrEnum):
    """Sizes of paper."""

    a4 = "a4"
    letter = "letter"


def register(app: typer.Typer) -> None:
    """Add `sheet` to the command line."""
    app.command("sheet")(sheet)


def sheet(
    project: Annotated[Path, typer.Option(help="The project folder.")] = Path("."),
    name: Annotated[
        str, typer.Option(help="Name of the sweep the picks come from.")
    ] = DEFAULT_NAME,
    out: Annotated[
        Path | None,
        typer.Option(help="Write this file alone, .pdf or .html (both, in the project folder)."),
    ] = None,
    paper: Annotated[Size, typer.Option(help="Size of the paper.")] = Size.a4,
    inside: Annotated[
        bool,
        typer.Option("--inside/--outside", help="Face of the shell that the hole template is for."),
    ] = False,
    line_out: Annotated[
        bool, typer.Option("--line-out", help="Plan a line-out jack too.")
    ] = False,
) -> None:
    """Write the build sheet of the picks: what to fit where, with values, reasons and order.

    Example: padsweep sheet --project my-toy --paper letter --line-out
    """
    if out is not None and out.suffix.lower() not in (".pdf", ".html"):
        raise ConfigError(f"--out {out}: a sheet is .pdf or .html: name it so")
    loaded = load_project(project)
    picks = load_picks(project)
    folder = project / "sweeps" / name
    records, events = None, []
    if (folder / "log.db").exists():
        records = SweepLog.open(folder, read_only=True).records()
        events = read_events(folder)
    seen = see(loaded, picks, records, events)
    controls = proposals(loaded, picks, seen)
    made = make_sheet(
        loaded, picks, load_places(project), seen, paper=paper.value,
        face="inside" if inside else "outside", with_line_out=line_out, controls=controls,
        build=load_build(project),
    )  # fmt: skip
    targets = [out] if out is not None else [project / PDF, project / HTML]
    write_sheets({target: _as(made, target) for target in targets})
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
    if any(map(_is_pdf, targets)):
        from rig.build.paper import missing, missing_words

        if lacking := missing(made):
            say.print(missing_words(lacking))
    say.print(f"the sheet: {' and '.join(map(str, targets))} ({_print_it(paper)})")


def _is_pdf(target: Path) -> bool:
    return target.suffix.lower() == ".pdf"


def _as(made: Sheet, target: Path) -> bytes:
    if _is_pdf(target):
        from rig.build.paper import pdf_of

        return pdf_of(made)
    from rig.build.page import html_of

    return html_of(made).encode()


def _print_it(paper: Size) -> str:
    return f"print it on {'A4' if paper is Size.a4 else 'Letter'} at 100 %"
