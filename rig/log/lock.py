"""One writer per sweep: a lock that the system drops when its process dies."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from rig.errors import LogError

LOCK = "lock"


class SweepLock:
    """Holds the lock file of a sweep's folder until `release`.

    Parameters
    ----------
    folder : Path
        The sweep's folder.

    Raises
    ------
    LogError
        Another process is writing this sweep.
    """

    def __init__(self, folder: Path) -> None:
        path = folder / LOCK
        try:
            self._handle: int | None = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as trouble:
            raise LogError(f"{path}: can't be opened for writing ({trouble.strerror}); "
                           "check the folder's permissions") from trouble
        try:
            _lock(self._handle)
        except OSError as trouble:
            self.release()
            raise LogError(f"{folder}: another padsweep is writing this sweep; "
                           "let it end or stop it first") from trouble

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
