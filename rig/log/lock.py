"""One writer per sweep."""

from __future__ import annotations

from pathlib import Path

from rig.errors import LogError
from rig.files import FileLock

LOCK = "lock"


def lock_sweep(folder: Path) -> FileLock:
    """Take the lock of a sweep's folder; raises `LogError` if another process is writing it."""
    path = folder / LOCK
    try:
        return FileLock(path)
    except BlockingIOError as trouble:
        raise LogError(f"{folder}: another padsweep is writing this sweep; "
                       "let it end or stop it first") from trouble
    except OSError as trouble:
        raise LogError(f"{path}: can't be opened for writing ({trouble.strerror}); "
                       "check the folder's permissions") from trouble
