"""The folder's token: whoever can read it may open the page."""

from __future__ import annotations

import os
import re
import secrets
import stat
from contextlib import suppress
from pathlib import Path

TOKEN = ".page-token"
_FORM = re.compile(r"[A-Za-z0-9_-]{43}")
_WITHOUT_LINKS = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)


def folder_token(folder: Path) -> str:
    """Give the token of a project folder, which is made once and only its owner can read.

    One that others could have read is made anew. In a folder that can't be written it holds for
    this run alone.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    str
        256 random bits.
    """
    path = Path(folder) / TOKEN
    there = _read(path)
    if there is not None:
        return there
    made = new_token()
    with suppress(OSError):
        _write(path, made)
    return made


def new_token() -> str:
    """Give a token that nobody can guess."""
    return secrets.token_urlsafe(32)


def _read(path: Path) -> str | None:
    try:
        handle = os.open(path, os.O_RDONLY | _WITHOUT_LINKS)
    except OSError:
        return None
    try:
        facts = os.fstat(handle)
        text = os.read(handle, 100).decode("ascii", "replace").strip()
    except OSError:
        return None
    finally:
        os.close(handle)
    mine = os.name == "nt" or (facts.st_uid == os.geteuid() and not facts.st_mode & 0o077)
    return text if stat.S_ISREG(facts.st_mode) and mine and _FORM.fullmatch(text) else None


def _write(path: Path, token: str) -> None:
    new = path.with_name(f"{path.name}.{secrets.token_hex(4)}")
    handle = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _WITHOUT_LINKS, 0o600)
    try:
        os.write(handle, f"{token}\n".encode())
    finally:
        os.close(handle)
    try:
        os.replace(new, path)  # where a link stands, it is the link that goes
    except OSError:
        new.unlink(missing_ok=True)
        raise
