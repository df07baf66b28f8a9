"""Whose turn it is at a project's bench: one at a time, and who holds pads for a tab gives way.

The lock is the system's, so a process that dies has no turn any more. Two small files beside it say who
has it, and who wants it of one that gives way; they only tell, nothing hangs on them.
"""

from __future__ import annotations

import json
import os
import time
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from rig.errors import BenchError
from rig.files import FileLock, replace_text

LOCK, HOLDER, WANTED = ".bench.lock", ".bench.holder", ".bench.wanted"
GIVE_WAY_S = 15.0
"""So long is waited for one who gives way: it opens everything within 2 s, and its rail is watched."""


class Turn:
    """The bench of a project, for as long as a `with` statement lasts.

    Parameters
    ----------
    folder : Path
        The project's.
    who : str
        Who has it then, in a few words: "the command sweep".
    gives_way : bool
        It looks at `wanted` and leaves; others are waited for by nobody.

    Raises
    ------
    BenchError
        Another has it; says who and since when.
    """

    def __init__(self, folder: Path, who: str, *, gives_way: bool = False) -> None:
        self._folder = folder
        self._lock = _locked(folder, who, gives_way)
        since = f"{datetime.now(UTC).astimezone():%H:%M, %d %b}"
        told = {"who": who, "since": since, "gives_way": gives_way}
        with suppress(OSError):
            replace_text(folder / HOLDER, json.dumps(told))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(OSError):
            (self._folder / HOLDER).unlink(missing_ok=True)
        self._lock.release()


def wanted(folder: Path) -> str:
    """Say who waits for the bench of one that gives way; "" for nobody."""
    path = folder / WANTED
    try:
        if time.time() - path.stat().st_mtime > GIVE_WAY_S:
            return ""  # it was killed while it waited
        told = path.read_text("utf-8", "replace")[:100]
    except OSError:
        return ""
    return told if told and told.isprintable() else "another command"


def _locked(folder: Path, who: str, gives_way: bool) -> FileLock:
    path = folder / LOCK
    try:
        try:
            return FileLock(path)
        except BlockingIOError:
            if gives_way or not _holder(folder).get("gives_way"):
                raise
        try:
            replace_text(folder / WANTED, who)
            return FileLock(path, GIVE_WAY_S)
        finally:
            (folder / WANTED).unlink(missing_ok=True)
    except BlockingIOError:
        there = _holder(folder)
        since = f" since {there['since']}" if "since" in there else ""
        raise BenchError(
            f"{there.get('who', 'another command')} has this bench{since}: let it end, or stop it first"
        ) from None
    except OSError as trouble:
        raise BenchError(f"{path}: can't be opened for writing ({trouble.strerror}); check the "
                         "folder's permissions") from trouble


def _holder(folder: Path) -> dict:
    """Give what the one who has the bench tells of itself."""
    with suppress(OSError, ValueError):
        handle = os.open(folder / HOLDER, os.O_RDONLY)
        try:
            told = json.loads(os.read(handle, 1000))
        finally:
            os.close(handle)
        if isinstance(told, dict) and all(str(one).isprintable() for one in told.values()):
            return told
    return {}
