"""Changing a text file of the project folder, which a person or another padsweep may change too."""

from __future__ import annotations

from codecs import BOM_UTF8
from collections.abc import Callable
from pathlib import Path

from rig.errors import ConfigError
from rig.files import FileLock, replace_text

WAIT_S = 10.0
"""How long another who changes the file is waited for; a change takes some ms."""
TRIES = 20


def lock_name(path: Path) -> str:
    """Give the name of the lock file that stands beside a file which is changed."""
    return f".{path.stem}.lock"


def change_text(path: Path, act: Callable[[str], str]) -> None:
    """Change a text file under its lock, on the text that is there when it is replaced.

    An editor takes no lock: where the file was saved meanwhile, the change is made anew.

    Parameters
    ----------
    path : Path
    act : callable
        Gets the text, "" without a file, and gives the new one; the same: nothing is written.

    Raises
    ------
    ConfigError
        The file can't be read or written, or something else changes it all the time.
    """
    try:
        with FileLock(path.with_name(lock_name(path)), WAIT_S):
            for _ in range(TRIES):
                raw = read_bytes(path)
                text = text_of(raw, path)
                new = act(text)
                mark = "\ufeff" if raw.startswith(BOM_UTF8) else ""
                if new == text or replace_text(path, mark + new, raw):
                    return
    except BlockingIOError:
        raise ConfigError(f"{path}: another padsweep is changing it; let it end first") from None
    except OSError as trouble:
        raise ConfigError(f"{path}: can't be written: {trouble.strerror}") from trouble
    raise ConfigError(f"{path}: something else changes it all the time; let that end first")


def read_bytes(path: Path) -> bytes:
    """Read a file as it is; b"" where there is none. Raises `ConfigError`."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as trouble:
        raise ConfigError(f"{path}: can't be read: {trouble.strerror}") from trouble


def text_of(raw: bytes, path: Path) -> str:
    """Give a file's bytes as text; `path` only names it in messages. Raises `ConfigError`."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as trouble:
        raise ConfigError(f"{path}: not UTF-8 text: save it as UTF-8") from trouble
