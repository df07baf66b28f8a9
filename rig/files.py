"""Files that are whole on the disk or not there at all, however the program ends."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write a file and flush it to the disk."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0),
                     0o644)
    try:
        rest = memoryview(content)
        while rest:
            rest = rest[os.write(handle, rest):]
        flush_handle(handle)
    finally:
        os.close(handle)


def flush_handle(handle: int) -> None:
    """Flush an open file as far down as the system can."""
    if sys.platform == "darwin":  # fsync stops at the drive's cache there
        import fcntl

        fcntl.fcntl(handle, fcntl.F_FULLFSYNC)
    else:
        os.fsync(handle)


def flush_folder(folder: Path) -> None:
    """Flush a folder's entries, where the system has such a thing."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def make_folder(folder: Path) -> None:
    """Make a folder with its parents, and flush each parent that got a new entry."""
    new = [one for one in (folder, *folder.parents) if not one.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    for one in reversed(new):
        flush_folder(one.parent)


def replace_text(path: Path, text: str) -> None:
    """Put a text file in the place of the one that may be there: the old or the new, whole.

    Raises
    ------
    OSError
        The disk refused; the old file, if any, is as it was.
    """
    new = path.with_name(path.name + ".new")
    try:
        write_whole(new, text.encode())
        new.replace(path)
        flush_folder(path.parent)
    except OSError:
        new.unlink(missing_ok=True)
        raise
