"""What a kill left half done in a sweep's folder."""

from __future__ import annotations

from pathlib import Path

from rig.errors import LogError
from rig.files import make_folder
from rig.log import takes
from rig.log.database import DATABASE, reading
from rig.log.writer import WAITING_TAKES


def remove_leftovers(sweep: Path) -> None:
    """Remove temporary takes, and takes without their row.

    Raises
    ------
    LogError
        There are more of them than a kill leaves: the log has lost its end.
    """
    folder, database = sweep / takes.TAKES, sweep / DATABASE
    with reading(database) as db:
        last = db.execute("SELECT ifnull(max(number), 0) FROM touch").fetchone()[0]
        dropped = {row[0] for row in db.execute("SELECT touch FROM dropped")}
    make_folder(folder)
    ahead = []
    for path in folder.iterdir():
        number = takes.take_number(path)
        if path.suffix == takes.TEMPORARY or number in dropped:
            path.unlink()
        elif number is not None and number > last:
            ahead.append(path)
    if len(ahead) > WAITING_TAKES:
        raise LogError(f"{database}: the log ends at touch {last} but {len(ahead)} later "
                       "takes are there: its end is lost; restore the folder from a copy, "
                       "with log.db-wal if there is one")
    for path in ahead:
        path.unlink()
