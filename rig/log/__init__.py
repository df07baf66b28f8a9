"""The log: the only writer of a sweep, its rows in SQLite and its takes as FLAC files."""

from rig.log.records import Record
from rig.log.store import SweepLog
from rig.log.stream import read_events
from rig.log.verify import verify

__all__ = ["Record", "SweepLog", "read_events", "verify"]
