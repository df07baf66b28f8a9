"""Reading files of the project folder without following a link out of it."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from rig.errors import RigError

MOST_BYTES = 64 << 20
"""A take of a minute has some 6 MB."""

_FILE = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(
    os, "O_BINARY", 0)  # fmt: skip
_FOLDER = _FILE | getattr(os, "O_DIRECTORY", 0)


def read_within(folder: Path, *names: str) -> bytes:
    """Read a plain file below a folder; nothing on the way to it may be a link.

    Parameters
    ----------
    folder : Path
        Trusted as it is.
    *names : str
        The folders and the file, each a plain name.

    Raises
    ------
    RigError
        It is missing, a link, no plain file, or larger than `MOST_BYTES`.
    """
    path = Path(folder).joinpath(*names)
    if any(not name or name in (".", "..") or "/" in name or "\\" in name for name in names):
        raise RigError(f"{path} is no place in the project folder")
    try:
        handle = _opened(Path(folder), names)
    except FileNotFoundError:
        raise RigError(f"{path} is missing; restore it from a copy of the folder") from None
    except OSError as trouble:
        why = "is a link" if path.is_symlink() else f"can't be read: {trouble.strerror}"
        raise RigError(f"{path} {why}: the page reads only files of the folder itself") from trouble
    with os.fdopen(handle, "rb") as file:
        facts = os.fstat(handle)
        if not stat.S_ISREG(facts.st_mode) or facts.st_size > MOST_BYTES:
            raise RigError(f"{path} is no plain file, or larger than {MOST_BYTES >> 20} MB")
        return file.read(MOST_BYTES + 1)


def _opened(folder: Path, names: tuple[str, ...]) -> int:
    if os.open not in os.supports_dir_fd:  # on Windows
        for depth in range(len(names)):
            if folder.joinpath(*names[: depth + 1]).is_symlink():
                raise OSError("a link")
        return os.open(folder.joinpath(*names), _FILE)
    at = os.open(folder, os.O_RDONLY)
    try:
        for name in names[:-1]:
            below = os.open(name, _FOLDER, dir_fd=at)
            os.close(at)
            at = below
        return os.open(names[-1], _FILE, dir_fd=at)
    finally:
        os.close(at)
