"""A sweep's events as its log holds them, for whoever reads on from where they were."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from rig.events import (
    Event,
    SweepDone,
    SweepGoesOn,
    SweepLeft,
    SweepPaused,
    SweepStarted,
    SweepWaits,
    from_row,
)
from rig.log.database import DATABASE, reading


def read_events(folder: Path, after_id: int = 0) -> list[Event]:
    """Give the events behind number `after_id`, in order, from any process at any time.

    What is told while a sweep runs is there some 0.1 s later, or once the take before it is on
    the disk. Numbers come in order, so asking again behind the last one misses nothing; one may be
    left out.

    Parameters
    ----------
    folder : Path
        The sweep's.
    after_id : int

    Raises
    ------
    LogError
        There is no log, or it can't be read.
    """
    with reading(folder / DATABASE) as db:
        rows = db.execute(
            "SELECT id, at, touch, kind, detail_json FROM event WHERE id > ? ORDER BY id",
            (after_id,),
        )
        return [from_row(row["id"], row["at"], row["touch"], row["kind"],
                         json.loads(row["detail_json"])) for row in rows]


def is_under_way(events: Sequence[Event]) -> bool:
    """Say whether the last run has told that it began and not that it ended.

    One that was killed tells nothing any more, and counts as under way.
    """
    ends = (SweepDone, SweepLeft, SweepPaused)
    last = next((one for one in reversed(events) if isinstance(one, (SweepStarted, *ends))), None)
    return isinstance(last, SweepStarted)


def waits(events: Sequence[Event]) -> SweepWaits | None:
    """Give what a run told that is under way and pauses; None for any other."""
    if not is_under_way(events):
        return None
    marks = (SweepStarted, SweepWaits, SweepGoesOn)
    last = next(one for one in reversed(events) if isinstance(one, marks))
    return last if isinstance(last, SweepWaits) else None


def standing(folder: Path) -> tuple[int, ...]:
    """Give numbers that change with every row about touches: whether a log is worth reading again.

    Raises
    ------
    LogError
        There is no log, or it can't be read.
    """
    with reading(folder / DATABASE) as db:
        return tuple(db.execute(
            "SELECT (SELECT ifnull(max(number), 0) FROM touch), (SELECT count(*) FROM completion), "
            "(SELECT ifnull(max(id), 0) FROM judgement), (SELECT count(*) FROM dropped), "
            "(SELECT ifnull(max(id), 0) FROM setup)"
        ).fetchone())
