"""The command `page`: the board and the finds in a browser on this machine."""

from __future__ import annotations

import sys
import threading
import webbrowser
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from rig.cli.benches import at_bench
from rig.cli.called import PROGRAM
from rig.cli.console import console
from rig.cli.readable import one_line
from rig.cli.sweep import CAUTIONS
from rig.cli.unforeseen import unforeseen
from rig.errors import RigError
from rig.log.opening import DEFAULT_NAME
from rig.project import load_project

PORT = 8127


def register(app: typer.Typer) -> None:
    """Add `page` to the command line."""
    app.command("page")(page)


def page(
    ctx: typer.Context,
    project: Annotated[Path, typer.Option(help="The project folder.")] = Path("."),
    name: Annotated[str, typer.Option(help="Name of the sweep in the folder.")] = DEFAULT_NAME,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port on this machine; 0: any free one.")
    ] = PORT,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Only say the address.")
    ] = False,
) -> None:
    """Show a sweep and its finds on a page in your browser: hear, compare, keep, name.

    Before the first sweep it is where pads are placed on the photo of the board. It listens on
    this machine alone, and its address holds a token of the folder. A sweep may be running
    meanwhile. Ctrl-C ends it.

    Example: padsweep page --project my-toy
    """
    from rig.page import Announced, Benches, serve
    from rig.page.server import LEAST_PORT

    if 0 < port < LEAST_PORT:
        raise RigError(f"--port must be 0 or {LEAST_PORT} to 65535, is {port}")
    loaded = load_project(project)
    out = console()

    def announce(where: Announced) -> None:
        out.print(f"the page of {loaded.toy.name}: {where.address}", soft_wrap=True)
        out.print("Ctrl-C ends it")
        sys.stdout.flush()
        if not no_browser:
            threading.Thread(target=_show, args=(where.once,), daemon=True).start()

    def note(error: BaseException) -> str:
        told = one_line(unforeseen(error, ctx.obj))
        with suppress(OSError):
            print(f"{PROGRAM}: {told}", file=sys.stderr, flush=True)
        return told

    cautions = CAUTIONS if loaded.rig.bench == "hardware" else ""
    had = Benches(partial(at_bench, loaded, gives_way=True), cautions)
    serve(loaded, name, port, announce, note, had)


def _show(address: str) -> None:
    """Open an address in a browser, but in none that would take this terminal."""
    with suppress(webbrowser.Error, OSError):
        browser = webbrowser.get()
        if type(browser) is not webbrowser.GenericBrowser:
            browser.open(address)
