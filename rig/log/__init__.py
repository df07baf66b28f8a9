"""The log: the only writer of a sweep, its rows in SQLite and its takes as FLAC files."""

from rig.log.records import Event, Record
from rig.log.store import SweepLog
from rig.log.verify import verify

__all__ = ["Event", "Record", "SweepLog", "verify"]
