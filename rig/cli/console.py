"""Where all commands print: plain words, unwrapped and uncoloured in a pipe."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from typing import Any

from rich.console import Console
from rich.text import Text

from rig.cli.called import as_called, names_command
from rig.cli.readable import holdable


class Screen(Console):
    """Prints commands as they can be pasted, and only what the output can hold.

    Text is replaced before it is laid out, so that columns are as wide as what stands in them.
    """

    def print(self, *objects: Any, soft_wrap: bool | None = None, **how: Any) -> None:
        """Print as rich does; a line with a command to paste isn't folded."""
        if any(isinstance(one, str) and names_command(one) for one in objects):
            soft_wrap = True
        told = [as_called(one) if isinstance(one, str) else one for one in objects]
        super().print(*told, soft_wrap=soft_wrap, **how)

    def render_str(self, text: str, **how: Any) -> Text:
        """Make a rich text of a string, be it printed or a table's cell."""
        return super().render_str(holdable(text, self.encoding), **how)


def console() -> Console:
    """Give the console of this run; it takes no marks in what is printed for its own."""
    plain: dict[str, Any] = {"highlight": False, "markup": False, "emoji": False}
    if sys.stdout.isatty():
        return Screen(**plain)
    return Screen(**plain, color_system=None, width=200, soft_wrap=True)


def print_commands(out: Console, commands: Mapping[str, str]) -> None:
    """Print commands to paste, each with what it does: beside it, or above on a narrow screen.

    Parameters
    ----------
    out : rich.console.Console
    commands : mapping of str to str
        A command as `padsweep COMMAND ...`, and what it does.
    """
    shown = {as_called(command): what for command, what in commands.items()}
    widest = max(map(len, shown))
    beside = not out.is_terminal or 4 + widest + max(map(len, shown.values())) <= out.width
    for command, what in shown.items():
        line = f"  {command:<{widest}}  {what}" if beside else f"  {what}:\n    {command}"
        out.print(line, soft_wrap=True)
