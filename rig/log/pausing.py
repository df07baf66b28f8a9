"""The wish that a sweep pause: a small file in its folder, which the run looks for between touches.

It isn't in the log, whose only writer is the run. The page writes it, a command does, or a person who
makes an empty file of that name; the sweep waits for as long as it is there.
"""

from __future__ import annotations

import json
import os
import secrets
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from rig.errors import LogError
from rig.files import flush_folder, write_whole

PAUSE = "pause"
MOST_BYTES = 1000
SOMEBODY = "by hand"
"""Who asked, where the file doesn't say."""
_PLAIN = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)


@dataclass(frozen=True)
class Wish:
    """A sweep is asked to pause.

    Parameters
    ----------
    asked : str
        Where that was, in a few words: "on the page".
    at : str
        UTC, ISO 8601.
    """

    asked: str
    at: str


def ask_to_pause(sweep: Path, asked: str) -> Wish:
    """Ask a sweep to pause; who asked first stays. The file is whole or not there at all.

    Parameters
    ----------
    sweep : Path
        Its folder, which must be there.
    asked : str
        See `Wish`.

    Raises
    ------
    LogError
        It can't be written.
    """
    there = pause_wished(sweep)
    if there is not None:
        return there
    made = Wish(asked, datetime.now(UTC).isoformat(timespec="milliseconds"))
    new = sweep / f"{PAUSE}.{secrets.token_hex(4)}"
    try:
        write_whole(new, json.dumps(asdict(made)).encode())
        new.replace(sweep / PAUSE)
        flush_folder(sweep)
    except OSError as trouble:
        with suppress(OSError):
            new.unlink(missing_ok=True)
        raise LogError(f"{sweep / PAUSE}: can't be written ({trouble.strerror}); "
                       "Ctrl-C where the sweep runs leaves it safe too") from trouble
    return made


def let_go_on(sweep: Path) -> Wish | None:
    """Take the wish away; gives what it was, None where there was none.

    Raises
    ------
    LogError
        It can't be removed.
    """
    there = pause_wished(sweep)
    try:
        (sweep / PAUSE).unlink(missing_ok=True)
    except OSError as trouble:
        raise LogError(f"{sweep / PAUSE}: can't be removed ({trouble.strerror}); "
                       "remove it by hand") from trouble
    return there


def pause_wished(sweep: Path) -> Wish | None:
    """Give the wish; None where there is none. One that can't be read is a wish all the same."""
    path = sweep / PAUSE
    try:
        made_s = path.lstat().st_mtime
    except OSError:
        return None
    told: object = None
    with suppress(OSError, ValueError, RecursionError):
        handle = os.open(path, _PLAIN)
        try:
            told = json.loads(os.read(handle, MOST_BYTES))
        finally:
            os.close(handle)
    if isinstance(told, dict) and set(told) == {"asked", "at"} and all(
        isinstance(one, str) and one.isprintable() for one in told.values()
    ):
        with suppress(ValueError):
            datetime.fromisoformat(told["at"])
            return Wish(**told)
    return Wish(SOMEBODY, datetime.fromtimestamp(made_s, UTC).isoformat(timespec="milliseconds"))
