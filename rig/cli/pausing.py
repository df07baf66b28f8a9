"""The command that has a running sweep pause, and go on: `padsweep pause`."""

from __future__ import annotations

import time
from pathlib import Path

import typer

from rig.cli.console import console
from rig.errors import LogError
from rig.log import read_events
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.log.pausing import ask_to_pause, let_go_on
from rig.log.stream import is_under_way, waits
from rig.project import load_project
from rig.words import clock_words

ASKED = "at a terminal"
PATIENCE_S = 30.0
"""So long a touch and what is left to do for it may take."""
LOOK_S = 0.1


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("pause")(pause)


def pause(
    project: Path = typer.Option(Path("."), "--project", help="The project folder."),
    name: str = typer.Option(DEFAULT_NAME, "--name", help="Name of the sweep in the folder."),
    go_on: bool = typer.Option(False, "--go-on", help="Let the sweep go on."),
) -> None:
    """Have a running sweep pause once its touch is over, with the toy off; or let it go on.

    It waits until the sweep has told that the toy is off. The sweep keeps its place and the bench; to
    end it, press Ctrl-C where it runs.

    Example: padsweep pause --project my-toy
    """
    folder = sweep_folder(load_project(project), name)
    out = console()
    if go_on:
        was = let_go_on(folder)
        told = f"the pause of {clock_words(was.at)} is over" if was else "no pause was asked for"
        out.print(f"{told}: a sweep that waits goes on" if was else told)
        return
    events = read_events(folder) if (folder / "log.db").exists() else []
    if not is_under_way(events):
        raise LogError(f"no sweep is running in {folder}: there is nothing to pause")
    wish = ask_to_pause(folder, ASKED)
    until_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < until_s:
        events += read_events(folder, events[-1].id)
        told_of = waits(events)
        if told_of is not None:
            off = told_of.alarm or "the toy is off and all pads are open"
            out.print(f"paused, asked for {wish.asked} at {clock_words(wish.at)}: {off}")
            out.print("`padsweep pause --go-on` goes on")
            return
        time.sleep(LOOK_S)
    raise LogError(
        f"the sweep hasn't paused within {PATIENCE_S:g} s: it may be bringing the toy back, wait for a "
        "person, or have been ended from outside; it is still asked to, `padsweep pause --go-on` takes "
        "that back"
    )
