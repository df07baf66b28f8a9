"""What a sweep's log says by now, read again only where it has grown."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from rig.choose import Find, finds
from rig.choose.ranges import Spot, spots
from rig.choose.rank import pair_p_values, touched
from rig.events import Event, Progress
from rig.log import Record, SweepLog, read_events
from rig.log.between import parts
from rig.log.database import DATABASE
from rig.log.opening import sweep_folder
from rig.log.stream import standing
from rig.project import Project

LEAST_S = 2.0
"""So long what was read is good enough, however the log grows meanwhile."""
REST = 10
"""Reading takes at most one part in so many of the time: the sweep has the machine."""
PROGRESS_MOST = 500
"""The latest events of progress are enough to tell the pace."""


@dataclass(frozen=True)
class Seen:
    """What a log held when it was read.

    Parameters
    ----------
    version : str
        Differs where the touches do.
    records : sequence of Record
    found : sequence of Find
        In the order of rank.
    """

    version: str = "0"
    records: Sequence[Record] = ()
    found: Sequence[Find] = ()

    @cached_property
    def by_label(self) -> Mapping[str, Find]:
        """Give the finds by their labels."""
        return {one.label: one for one in self.found}

    @cached_property
    def takes(self) -> frozenset[int]:
        """Give the numbers of the touches that have a take."""
        return frozenset(one.number for one in self.records if one.take)

    @cached_property
    def touched(self) -> Sequence[str]:
        """Name every pair, group of pads, and lead alone that was touched."""
        return touched(self.records)

    @cached_property
    def p_values(self) -> Mapping[str, float]:
        """Give the p value of every pair, or group, that went to confirming."""
        return pair_p_values(self.records)

    @cached_property
    def spots(self) -> Mapping[tuple[str, str], Sequence[Spot]]:
        """Give what was made of each pair with each key, path by path, from the lowest up.

        Touches that may not have been the pair's doing are left out, as finds leave them out.
        """
        void = parts(list(self.records)).void
        by_pair: dict[str, list[Record]] = {}
        for one in self.records:
            is_of_a_pair = one.kind in ("sweep", "confirm") and not one.target.is_clean
            if is_of_a_pair and one.counts and (one.stops or one.number not in void):
                by_pair.setdefault(one.target.in_order().name, []).append(one)
        made: dict[tuple[str, str], list[Spot]] = {}
        for pair, touches in by_pair.items():
            for spot in reversed(spots(touches)):
                made.setdefault((pair, spot.key), []).append(spot)
        return made


@dataclass
class Night:
    """A sweep that may be going on.

    Parameters
    ----------
    project : Project
    name : str
        The sweep's.
    clock : callable
        Gives the time of now, s.
    """

    project: Project
    name: str
    clock: Callable[[], float] = time.monotonic
    _seen: Seen = field(default_factory=Seen)
    _events: list[Event] = field(default_factory=list)
    _again_s: float = 0.0
    _is_checked: bool = False
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _events_lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def folder(self) -> Path:
        """Give the sweep's folder."""
        return sweep_folder(self.project, self.name)

    @property
    def is_begun(self) -> bool:
        """Say whether there is a log."""
        return (self.folder / DATABASE).exists()

    def seen(self) -> Seen:
        """Give what the log says of the touches; what is a moment old may be given once more.

        Raises
        ------
        LogError
            The log is damaged, or can't be read.
        """
        with self._lock:
            if self.is_begun and self.clock() >= self._again_s:
                self._read()
            return self._seen

    @property
    def last_seen(self) -> Seen:
        """Give what was read last, however long ago."""
        return self._seen

    def version(self) -> str:
        """Give what `Seen.version` would be if the log were read now. Raises `LogError`."""
        return _version(standing(self.folder)) if self.is_begun else Seen.version

    def version_to_give(self) -> str:
        """Give the version of what `seen` would give now: while it rests, the old one. Raises `LogError`."""
        return self._seen.version if self.clock() < self._again_s else self.version()

    def events(self) -> Sequence[Event]:
        """Give all that was told so far, in order, but for older progress. Raises `LogError`."""
        with self._events_lock:
            if self.is_begun:
                last = self._events[-1].id if self._events else 0
                self._events += read_events(self.folder, last)
                self._events = _without_old_progress(self._events)
            return tuple(self._events)

    def _read(self) -> None:
        if not self._is_checked:
            SweepLog.open(self.folder, read_only=True)
            self._is_checked = True
        version = self.version()
        if version == self._seen.version:
            return
        begun_s = self.clock()
        records = SweepLog(self.folder).records()
        found = finds(records, self.project.rig.sweep.false_discovery)
        self._seen = Seen(version, records, found)
        taken_s = self.clock() - begun_s
        self._again_s = self.clock() + max(LEAST_S, REST * taken_s)


def _without_old_progress(events: list[Event]) -> list[Event]:
    """Leave out progress that nobody asks for any more: there is one for each touch."""
    told = [one.id for one in events if isinstance(one, Progress)]
    if len(told) < 2 * PROGRESS_MOST:
        return events
    return [one for one in events if not isinstance(one, Progress) or one.id >= told[-PROGRESS_MOST]]


def _version(numbers: Sequence[int]) -> str:
    return ".".join(map(str, numbers))
