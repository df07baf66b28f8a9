"""Single keys from a terminal, without Enter."""

from __future__ import annotations

import os
import queue
import select
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

REST_OF_KEY_S = 0.02
"""An arrow's further characters follow its first within this."""


def at_terminal() -> bool:
    """Say if a person sits at both ends: keys can be read and seen."""
    return sys.stdin.isatty() and sys.stdout.isatty()


class Keys:
    """Keys that were pressed meanwhile, from a terminal or a pipe; never waits for one."""

    def __init__(self) -> None:
        self._is_open = sys.stdin is not None and not sys.stdin.closed

    def next(self) -> str:
        """Give the next key that was pressed already, "" where none was."""
        if not self._is_open or not _is_waiting():
            return ""
        key = read_key()
        self._is_open = key != ""  # behind the end of a pipe nothing more comes
        return key

    @property
    def is_over(self) -> bool:
        """Whether nothing more can come: the pipe has ended, or the terminal has hung up."""
        return not self._is_open


class Lines:
    """Lines from standard input, read in a thread of its own so that nobody need wait for one."""

    def __init__(self) -> None:
        self._lines: queue.Queue[str | None] = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def next(self, seconds: float | None = None) -> str | None:
        """Give the next line without its end, None behind the last one.

        Raises
        ------
        TimeoutError
            None came within so many seconds; without them it's waited for.
        """
        try:
            return self._lines.get(timeout=seconds)
        except queue.Empty:
            raise TimeoutError from None

    def _read(self) -> None:
        # Not through sys.stdin: its lock, held by a thread that waits, would block Python's own end.
        rest = b""
        while True:
            try:
                read = os.read(sys.stdin.fileno(), 4096)
            except (OSError, ValueError):
                read = b""
            *lines, rest = (rest + read).split(b"\n")
            for line in lines:
                self._lines.put(line.decode("utf-8", "replace").strip())
            if not read:
                if rest:
                    self._lines.put(rest.decode("utf-8", "replace").strip())
                self._lines.put(None)
                return


def _is_waiting() -> bool:
    if os.name == "nt":
        import msvcrt

        return msvcrt.kbhit()  # type: ignore[attr-defined]  # there on Windows
    return bool(select.select([sys.stdin.fileno()], [], [], 0)[0])


def ask_line(prompt: str) -> str:
    """Ask for a line: a terminal edits it as usual meanwhile, a pipe gives its next one.

    Ctrl-D at a terminal leaves, as Ctrl-C does.
    """
    try:
        return _line(prompt)
    except EOFError:
        raise KeyboardInterrupt from None


def _line(prompt: str) -> str:
    if os.name == "nt":
        return input(prompt).strip()
    handle = sys.stdin.fileno()
    if not os.isatty(handle):
        print(prompt, flush=True)
        line = b""
        while (byte := os.read(handle, 1)) not in (b"", b"\n"):
            line += byte
        return line.decode("utf-8", "replace").strip()
    import termios

    single = termios.tcgetattr(handle)
    whole = termios.tcgetattr(handle)
    whole[3] |= termios.ICANON | termios.ECHO
    termios.tcsetattr(handle, termios.TCSADRAIN, whole)
    try:
        return input(prompt).strip()
    finally:
        termios.tcsetattr(handle, termios.TCSADRAIN, single)


@contextmanager
def single_keys() -> Iterator[None]:
    """Let `read_key` have each key at once; Ctrl-C still interrupts."""
    if os.name == "nt" or not sys.stdin.isatty():
        yield
        return
    import termios
    import tty

    handle = sys.stdin.fileno()
    before = termios.tcgetattr(handle)
    try:
        tty.setcbreak(handle, termios.TCSADRAIN)  # what was typed ahead counts
        yield
    finally:
        termios.tcsetattr(handle, termios.TCSADRAIN, before)


def read_key() -> str:
    """Give the next key pressed, "" at the end of input.

    Keys that send several characters (arrows) come as the whole of what they send.
    """
    if os.name == "nt":
        import msvcrt

        return msvcrt.getwch()  # type: ignore[attr-defined]  # there on Windows
    # Not through sys.stdin: its buffer would hold back what follows for `input`.
    handle = sys.stdin.fileno()
    key = os.read(handle, 1)
    if key == b"\x1b":
        while select.select([handle], [], [], REST_OF_KEY_S)[0] and len(key) < 8:
            key += os.read(handle, 1)
    elif key and key[0] >= 0xC0:  # the first of several bytes of one letter
        key += os.read(handle, 1 + (key[0] >= 0xE0) + (key[0] >= 0xF0))
    return key.decode("utf-8", "replace")
