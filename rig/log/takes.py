"""Takes on the disk: 16-bit mono FLAC files, written so that a name means a whole file."""

from __future__ import annotations

import errno
import hashlib
import io
import os
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from rig.errors import DiskFull, LogError
from rig.files import flush_folder, write_whole
from rig.pcm import from_pcm, to_pcm

COMPRESSION = 0.0
"""FLAC's fastest level: 3 % larger than the default on a talking toy, and cheaper to write."""

TAKES = "takes"
TEMPORARY = ".part"
_NAME = re.compile(r"(\d{6,})\.flac")
_FULL = {errno.ENOSPC, errno.EDQUOT}


@dataclass(frozen=True)
class StoredTake:
    """A take that is whole on the disk: path below the sweep's folder, length, SHA-256."""

    path: str
    samples: int
    sha256: str


def take_path(number: int) -> str:
    """Give the path of touch `number`'s take, relative to the sweep's folder."""
    return f"{TAKES}/{number:06d}.flac"


def take_number(path: Path) -> int | None:
    """Give the touch's number from a take's file name, or None for another file."""
    match = _NAME.fullmatch(path.name)
    return int(match.group(1)) if match else None


def as_stored(samples: np.ndarray) -> np.ndarray:
    """Give samples as `read_take` will give them back: judged so, they are judged the same again."""
    return from_pcm(to_pcm(samples))


def encode(pcm: np.ndarray, rate_hz: int) -> bytes:
    """Encode 16-bit mono samples as one FLAC file in memory."""
    whole = io.BytesIO()
    with soundfile.SoundFile(
        whole, "w", rate_hz, 1, "PCM_16", format="FLAC", compression_level=COMPRESSION
    ) as out:
        out.write(pcm)
    return whole.getvalue()


def write_take(
    folder: Path, number: int, samples: np.ndarray, rate_hz: int, reserve_bytes: int = 0
) -> StoredTake:
    """Write a take: temporary name, flush, rename, flush of the folder.

    Parameters
    ----------
    folder : Path
        The sweep's folder.
    number : int
        The touch's number.
    samples : ndarray of float, shape (n,)
        Full scale is 1.0.
    rate_hz : int
    reserve_bytes : int
        Room that must be left on the disk afterwards.

    Raises
    ------
    DiskFull
        No room; nothing of the take is left behind.
    LogError
        The disk refused for another reason.
    """
    pcm = to_pcm(samples)
    whole = encode(pcm, rate_hz)
    relative = take_path(number)
    final = folder / relative
    temporary = final.with_suffix(TEMPORARY)
    try:
        need_room(folder, len(whole) + reserve_bytes)
        write_whole(temporary, whole)
        os.replace(temporary, final)
        flush_folder(final.parent)
    except OSError as trouble:
        temporary.unlink(missing_ok=True)
        final.unlink(missing_ok=True)
        raise disk_error(trouble, final) from trouble
    return StoredTake(relative, len(pcm), hashlib.sha256(whole).hexdigest())


def read_take(path: Path, whole: bytes | None = None) -> tuple[np.ndarray, int]:
    """Read a take.

    Parameters
    ----------
    path : Path
    whole : bytes, optional
        What is in the file, where it has been read already.

    Returns
    -------
    samples : ndarray of float32, shape (n,)
        Full scale 1.0.
    rate_hz : int

    Raises
    ------
    LogError
        The file is missing, or isn't a whole take.
    """
    if whole is None:
        whole = read_bytes(path)
    try:
        pcm, rate_hz = soundfile.read(io.BytesIO(whole), dtype="int16", always_2d=False)
    except (OSError, RuntimeError) as trouble:
        raise _unreadable(path, "can't be read as FLAC") from trouble
    return from_pcm(pcm), rate_hz


def read_bytes(path: Path) -> bytes:
    """Read a take's file as it is.

    Raises
    ------
    LogError
        The file is missing, or the disk can't give it.
    """
    try:
        return path.read_bytes()
    except OSError as trouble:
        what = "can't be read" if path.exists() else "is missing"
        raise _unreadable(path, what) from trouble


def _unreadable(path: Path, what: str) -> LogError:
    return LogError(f"{path}: the take {what}; restore it from a copy of the folder")


def need_room(folder: Path, need_bytes: int) -> None:
    """Raise an ENOSPC OSError when the folder's disk hasn't `need_bytes` left."""
    if not hasattr(os, "statvfs"):
        return
    room = os.statvfs(folder)
    if room.f_bavail * room.f_frsize < need_bytes:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def disk_error(trouble: OSError, where: Path) -> LogError:
    """Turn the system's error into the one that the person reads."""
    if trouble.errno in _FULL:
        return disk_full(where)
    return LogError(f"{where}: can't be written: {trouble.strerror or trouble}; "
                    "check the disk, then sweep again to continue")


def disk_full(where: Path) -> DiskFull:
    """Give the one line about a full disk."""
    return DiskFull(f"{where}: no room left on the disk; what is logged is whole: "
                    "free some space, then sweep again to continue")
