"""The command `padsweep`: gathers the commands and turns errors into one line."""

from __future__ import annotations

import signal
import sys

import typer

from rig import __version__
from rig.cli import build, choose, demo, export, judge, project, sweep
from rig.errors import RigError

app = typer.Typer(
    name="padsweep",
    help="Find, choose and plan the bends of a battery sound toy.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


@app.callback(invoke_without_command=True)
def _top(
    version: bool = typer.Option(False, "--version", help="Print the version and leave."),
) -> None:
    if version:
        typer.echo(f"padsweep {__version__}")
        raise typer.Exit


for group in (demo, project, sweep, choose, build, judge, export):
    group.register(app)


def _stop(signum, frame) -> None:
    raise KeyboardInterrupt


def run() -> None:
    """Run the command line; leaves with 0, a RigError's exit code, or 130 after Ctrl-C."""
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _stop)
    try:
        app(standalone_mode=True)
    except RigError as error:
        print(f"padsweep: {error}", file=sys.stderr)
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        print("padsweep: stopped", file=sys.stderr)
        sys.exit(130)
    except BrokenPipeError:
        sys.exit(141)
