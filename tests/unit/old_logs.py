"""A sweep whose log is of version 1, written by the program as it was before version 2.

`tests/logs/version_1` is a simulated talker (seed 2) of which three pads are reached, over two
paths, with short takes. Its first run met a restart of the controller at the third touch of a pair
and ended with Ctrl-C in the ninth; the second, with `--retry`, lost the marker in its second touch
of a pair and ended with Ctrl-C in the fourth, behind a freeze and its recovery.
"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from rig.events import ControllerRestarted, Recovered, Retried, RungTried, SweepStarted, Unsettled

FOLDER = Path(__file__).parents[1] / "logs" / "version_1"
TOUCHES = 21
TOLD = [
    (SweepStarted, None), (Unsettled, 13), (ControllerRestarted, None), (Retried, 18),
    (SweepStarted, None), (Unsettled, 19), (RungTried, None), (RungTried, None), (Recovered, None),
]  # fmt: skip
"""Its events, and the touches that they belong to."""


def copied(folder: Path) -> Path:
    """Copy the project; gives the folder of its sweep."""
    shutil.copytree(FOLDER, folder)
    return folder / "sweeps" / "main"


def told(events) -> list:
    """Give what `TOLD` says of events."""
    return [(type(one), one.touch) for one in events]


def version(database: Path) -> int:
    """Read the version of a log."""
    with closing(sqlite3.connect(database)) as db:
        return db.execute("PRAGMA user_version").fetchone()[0]
