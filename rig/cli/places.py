"""The command `places`: where the pads are on the photo of the board, without any editor."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from rig.cli.console import console, print_commands
from rig.cli.readable import one_line
from rig.cli.tables import Column, print_table
from rig.errors import ConfigError
from rig.project import Toy, load_project
from rig.project.grid import GRID, write_grid
from rig.project.nets import BOARD
from rig.project.place_words import read_scale, read_table, read_words
from rig.project.places import ADD_A_PHOTO, Place, Places, load_places
from rig.project.placing import set_places

NAMED = 12
"""So many pads are named in a line, at most."""


def register(app: typer.Typer) -> None:
    """Add `places` to the command line."""
    app.command("places")(places)


def places(
    given: Annotated[
        list[str] | None,
        typer.Argument(metavar="PAD=X,Y", help="Places of pads, such as C=420,310 F=980,655."),
    ] = None,
    project: Annotated[Path, typer.Option(help="The project folder.")] = Path("."),
    table: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Places from a file: pad,x,y.")
    ] = None,
    scale: Annotated[
        str | None,
        typer.Option(metavar='"X,Y X,Y MM"', help="Two points, and the mm between them."),
    ] = None,
    listing: Annotated[bool, typer.Option("--list", help="List the pads and leave.")] = False,
) -> None:
    """Say where the pads are on the photo of the board, board.jpg in the project folder.

    Without any option it writes board-grid.png, the photo with a grid to read places off.
    They are in pixels of the upright photo, from its top left, and go into board.yaml.

    Example: padsweep places --project my-toy C=420,310 F=980,655
    """
    toy = load_project(project).toy
    there = load_places(project)
    out = console()
    is_change = bool(given) or table is not None or scale is not None
    if listing and not is_change:
        _list(out, toy, there)
        return
    if there is None:
        raise ConfigError(f"{project} has no photo of the board: {ADD_A_PHOTO}")
    if not is_change:
        _grid(out, project, toy, there)
        return
    pads = read_words(given or [], toy.pads, there)
    if table is not None:
        more = _from_table(table, toy, there)
        twice = next((letter for letter in more if letter in pads), None)
        if twice:
            raise ConfigError(f"pad {twice} is given here and in {table}: take one out")
        pads |= more
    mm_per_unit = None if scale is None else read_scale(scale, there)
    now = set_places(project, there, pads, mm_per_unit)
    if pads:
        out.print(f"{project / BOARD}: {_count(len(pads))} placed; {_missing(toy, now)}")
    if mm_per_unit is not None:
        out.print(f"{project / BOARD}: {mm_per_unit:g} mm per unit, so the picture shows "
                  f"{now.width * mm_per_unit:.0f} x {now.height * mm_per_unit:.0f} mm")
    if listing:
        _list(out, toy, now)


def _from_table(file: Path, toy: Toy, there: Places) -> dict[str, Place]:
    """Read a table of places; each bad line is told, and then nothing is taken."""
    found, troubles = read_table(file, toy.pads, there)
    if len(troubles) == 1:
        raise ConfigError(troubles[0])
    if troubles:
        for trouble in troubles:
            print(one_line(trouble), file=sys.stderr)
        raise ConfigError(f"{file}: {len(troubles)} lines can't be used, so nothing was written")
    return found


def _grid(out: Console, project: Path, toy: Toy, there: Places) -> None:
    step = write_grid(project, there)
    out.print(f"{project / GRID}: {there.picture}, {there.width:g} wide and {there.height:g} high, "
              f"with a line every {step:g}")
    out.print(_missing(toy, there))
    out.print("open it, read off x (along the top) and y (down the side) of each pad, then:")
    letters = [letter for letter in toy.pads if letter not in there.pads] or list(toy.pads)
    x, y = (round(side * 0.4 / step) * step for side in (there.width, there.height))
    print_commands(out, {
        f"padsweep places {letters[0]}={x:g},{y:g}": "places a pad, or several",
        "padsweep places": "draws the grid anew, with the pads on it",
        "padsweep places --help": "places from a table, and the scale in mm",
    })


def _list(out: Console, toy: Toy, there: Places | None) -> None:
    known = {} if there is None else there.pads
    rows = [(pad, f"{known[pad].x:.10g}", f"{known[pad].y:.10g}", toy.pads[pad].note)
            for pad in toy.pads if pad in known]  # fmt: skip
    rows += [(pad, "-", "-", toy.pads[pad].note) for pad in toy.pads if pad not in known]
    columns = [Column("pad", stays=True), Column("x", stays=True), Column("y", stays=True),
               Column("where")]  # fmt: skip
    print_table(out, columns, rows)


def _missing(toy: Toy, there: Places) -> str:
    """Say which pads have no place."""
    letters = [letter for letter in toy.pads if letter not in there.pads]
    if not letters:
        return "every pad has a place"
    more = f" and {len(letters) - NAMED} more" if len(letters) > NAMED else ""
    return f"without a place: {', '.join(letters[:NAMED])}{more}"


def _count(number: int) -> str:
    return "1 pad" if number == 1 else f"{number} pads"
