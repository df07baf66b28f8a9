"""Where all commands print: plain words, unwrapped and uncoloured in a pipe."""

from __future__ import annotations

import sys

from rich.console import Console


def console() -> Console:
    """Give the console of this run; it takes no marks in what is printed for its own."""
    if sys.stdout.isatty():
        return Console(highlight=False, markup=False)
    return Console(highlight=False, markup=False, color_system=None, width=200, soft_wrap=True)
