"""Single keys from a terminal, without Enter."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


def at_terminal() -> bool:
    """Say if a person sits at both ends: keys can be read and seen."""
    return sys.stdin.isatty() and sys.stdout.isatty()


@contextmanager
def single_keys() -> Iterator[None]:
    """Let `read_key` have each key at once; Ctrl-C still interrupts."""
    if os.name == "nt":
        yield
        return
    import termios
    import tty

    handle = sys.stdin.fileno()
    before = termios.tcgetattr(handle)
    try:
        tty.setcbreak(handle)
        yield
    finally:
        termios.tcsetattr(handle, termios.TCSADRAIN, before)


def read_key() -> str:
    """Give the next key pressed, "" at the end of input.

    Keys that send several characters (arrows) come as the whole of what they send.
    """
    if os.name == "nt":
        import msvcrt

        return msvcrt.getwch()
    # Not through sys.stdin: its buffer would hold back what follows for `input`.
    return os.read(sys.stdin.fileno(), 16).decode("utf-8", "replace")
