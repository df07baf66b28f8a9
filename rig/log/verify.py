"""Is a log what was written? Rows, chain, numbers, and every take's bytes."""

from __future__ import annotations

import hashlib
from pathlib import Path

import soundfile

from rig.log import takes
from rig.log.database import DATABASE, reading, row_problems
from rig.log.store import SweepLog


def verify(log: SweepLog) -> list[str]:
    """Check the whole of a log against itself and its takes on the disk.

    Parameters
    ----------
    log : SweepLog

    Returns
    -------
    list of str
        One line for each thing wrong; empty when all is whole.

    Raises
    ------
    LogError
        The database itself can't be read.
    """
    log.flush()
    with reading(log.folder / DATABASE) as db:
        problems = row_problems(db)
        rows = db.execute(
            "SELECT number, take, take_samples, take_sha256, rate_hz FROM touch "
            "WHERE take IS NOT NULL AND number NOT IN (SELECT touch FROM dropped) "
            "ORDER BY number"
        ).fetchall()
    known = set()
    for number, take, samples, sha256, rate_hz in rows:
        known.add(take)
        trouble = _take_trouble(log.folder / take, samples, sha256, rate_hz)
        if trouble:
            problems.append(f"touch {number}: {take} {trouble}")
    folder = log.folder / takes.TAKES
    for path in sorted(folder.iterdir()) if folder.is_dir() else ():
        relative = path.relative_to(log.folder).as_posix()
        if relative not in known:
            problems.append(f"{relative} belongs to no touch")
    return problems


def _take_trouble(path: Path, samples: int, sha256: str, rate_hz: int) -> str | None:
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return "is missing"
    except OSError as trouble:
        return f"can't be read: {trouble.strerror}"
    if hashlib.sha256(content).hexdigest() != sha256:
        return "is not as it was written"
    try:
        info = soundfile.info(path)
    except RuntimeError as trouble:
        return f"can't be read as FLAC: {trouble}"
    if (info.frames, info.samplerate, info.channels) != (samples, rate_hz, 1):
        return f"holds {info.frames} samples, {samples} were logged"
    return None
