"""`padsweep sheet` as a test runs it: errors raised as they are."""

import typer
from typer.testing import CliRunner

from rig.cli import build


def sheet_command(*arguments):
    """Run the command; gives what it prints, and raises what it meets."""
    app = typer.Typer(pretty_exceptions_enable=False)
    build.register(app)
    app.callback()(lambda: None)
    result = CliRunner().invoke(app, ["sheet", *map(str, arguments)])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.output
