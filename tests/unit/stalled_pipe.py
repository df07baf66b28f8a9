"""A pipe that takes nothing more: what a pager does that nobody scrolls."""

from __future__ import annotations

import fcntl
import os
from typing import Self

LEAST_BYTES = 4096


class StalledPipe:
    """The smallest pipe that the system makes, in a `with` statement.

    `write` is given to a process as its output; nobody reads until `read_rest`.
    """

    def __enter__(self) -> Self:
        self.reads, self.write = os.pipe()
        fcntl.fcntl(self.write, fcntl.F_SETPIPE_SZ, LEAST_BYTES)
        return self

    def __exit__(self, *_: object) -> None:
        self.close_write()
        self.close_read()

    def close_read(self) -> None:
        """Leave: whoever writes is told that nobody reads any more."""
        if self.reads is not None:
            os.close(self.reads)
        self.reads = None

    def close_write(self) -> None:
        """Leave the process alone with the pipe, so that it ends when the process does."""
        if self.write is not None:
            os.close(self.write)
        self.write = None

    def read_upto(self, word: str) -> str:
        """Read until a word has come; gives all that came."""
        said = b""
        while word.encode() not in said:
            came = os.read(self.reads, LEAST_BYTES)
            assert came, f"the output ended without {word!r}: {said!r}"
            said += came
        return said.decode()

    def fill(self) -> int:
        """Fill it to the last byte; gives how many fitted."""
        # Opened once more, so that the process' own end goes on waiting.
        handle = os.open(f"/proc/self/fd/{self.write}", os.O_WRONLY | os.O_NONBLOCK)
        filled = 0
        try:
            while True:
                filled += os.write(handle, b"." * 64 if filled < LEAST_BYTES - 64 else b".")
        except BlockingIOError:
            return filled
        finally:
            os.close(handle)

    def read_rest(self) -> str:
        """Read until the process ends."""
        self.close_write()
        said = b""
        while came := os.read(self.reads, 1 << 16):
            said += came
        return said.decode()
