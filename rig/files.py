"""Files that are whole on the disk or not there at all, however the program ends."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import Self

_LOOK_S = 0.02


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


def replace_text(path: Path, text: str, was: bytes | None = None) -> bool:
    """Put a text file in the place of the one that may be there; see `replace_file`."""
    return replace_file(path, text.encode(), was)


def replace_file(path: Path, content: bytes, was: bytes | None = None) -> bool:
    """Put a file in the place of the one that may be there: the old or the new, whole.

    Parameters
    ----------
    path : Path
    content : bytes
    was : bytes or None
        What must still be there, looked at last of all (b"": nothing); None: whatever it is.

    Returns
    -------
    bool
        Whether it was replaced: not where something else than `was` is there by now.

    Raises
    ------
    OSError
        The disk refused; the old file, if any, is as it was.
    """
    new = path.with_name(path.name + ".new")
    try:
        write_whole(new, content)
        if was is not None and (path.read_bytes() if path.exists() else b"") != was:
            new.unlink()
            return False
        new.replace(path)
        flush_folder(path.parent)
    except OSError:
        new.unlink(missing_ok=True)
        raise
    return True


class FileLock:
    """Holds a lock file until `release`; the system drops it when its process dies.

    Parameters
    ----------
    path : Path
        The file, made where there is none. It is never removed, and nothing is written to it.
    wait_s : float
        How long to wait for another who holds it.

    Raises
    ------
    BlockingIOError
        Another holds it.
    OSError
        It can't be opened for writing.
    """

    def __init__(self, path: Path, wait_s: float = 0.0) -> None:
        self._handle: int | None = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        until_s = time.monotonic() + wait_s
        while True:
            try:
                _lock(self._handle)
                return
            except OSError as trouble:
                if time.monotonic() >= until_s:
                    self.release()
                    raise BlockingIOError(f"{path}: another holds it") from trouble
            time.sleep(_LOOK_S)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.release()

    def release(self) -> None:
        """Give the lock back; a second call does nothing."""
        if self._handle is not None:
            os.close(self._handle)
            self._handle = None


def _lock(handle: int) -> None:
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
