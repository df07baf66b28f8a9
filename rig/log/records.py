"""What a log row says, as objects: the rows' one translation to and from Python."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field
from functools import cached_property, lru_cache
from sys import intern
from typing import Any

import numpy as np

from rig.bench.base import Connection, Stimulus, Timeline, Touch
from rig.outcomes import is_stop
from rig.touches import Target

CONTROL = "control"
"""The kind of a touch that measures what is kept, and of the clean presses around it."""
KINDS = ("baseline", "sweep", "confirm", "check", CONTROL)
"""Why a touch was made."""
STORED_AS = {CONTROL: "check"}
"""What stands in the column of a kind that the schema doesn't name; `PURPOSE` names it then."""
PURPOSE = "purpose"
"""The fact of a row that names its kind, where the column can't."""
WAY = "way"
"""The fact of a touch that measures: "down" or "up" through the resistances."""
ALIKE_MOST = 8192
"""Touches that are held once for all records that made them, which a long log has many of."""


@dataclass(frozen=True)
class Record:
    """One made touch with everything known of it.

    Parameters
    ----------
    number : int
        The touch's lasting number, 1 and up without gaps.
    plan_key : str
        The plan's own name for what was to be made.
    kind : str
        One of `KINDS`.
    touch : Touch
    pads_1, pads_2 : str
        Pads on bus 1 and 2; several joined by "+", connections by " / ", a baseline has "".
    path_ohm : float or None
        The least path of its connections, ohms; None with nothing bridged, as by a lead alone.
    key : str
        Keys pressed, joined by "+"; "" without.
    started_at : str
        UTC, ISO 8601.
    timeline : Timeline
    rate_hz : int
    take : str or None
        Path below the sweep's folder; None without take, or when it was dropped.
    take_samples : int
    offsets : dict of str to int
        Sample of the take at which each step happened.
    fault : str or None
        Why the touch can't be used; such a row is never counted.
    facts : dict
        What the sweep noted when it was made, and the evidence noted at its completion.
    complete : bool
        True once it was seen how the toy was afterwards.
    after : str or None
    sound, amount, unit, score, p_value, measures, judge
        The latest judgement; `sound` is None before the first.
    """

    number: int
    plan_key: str
    kind: str
    touch: Touch
    pads_1: str
    pads_2: str
    path_ohm: float | None
    key: str
    started_at: str
    timeline: Timeline
    rate_hz: int
    take: str | None
    take_samples: int
    offsets: dict[str, int]
    fault: str | None
    facts: dict[str, Any]
    complete: bool = False
    after: str | None = None
    sound: str | None = None
    amount: float | None = None
    unit: str | None = None
    score: float | None = None
    p_value: float | None = None
    measures: dict[str, Any] = field(default_factory=dict)
    judge: str | None = None

    @cached_property
    def target(self) -> Target:
        """Give what was touched, and with which keys."""
        return _target_of(self.touch)

    @property
    def stops(self) -> bool:
        """Say whether the toy needed a reset afterwards."""
        return is_stop(self.after)

    @property
    def counts(self) -> bool:
        """Say whether it shows something of its pair: judged or, its take lost, at least a stop."""
        if self.fault or not self.complete or self.sound is None:
            return False
        return self.sound != "lost" or self.stops


def to_json(value: Any) -> str:
    """Write a value as compact JSON; numpy scalars and arrays become numbers and lists."""
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False, default=_plain)


def _plain(value: Any) -> Any:
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, (set, frozenset)):
        return sorted(value)
    raise TypeError(f"{type(value).__name__} can't be stored in the log")


def touch_to_json(touch: Touch) -> str:
    """Write a touch as JSON."""
    return to_json(asdict(touch))


@lru_cache(ALIKE_MOST)
def touch_from_json(text: str) -> Touch:
    """Read a touch back; those that are alike are one."""
    data = json.loads(text)
    connections = tuple(
        Connection(tuple(one["pads_1"]), tuple(one["pads_2"]), one["series_ohm"])
        for one in data.pop("connections")
    )
    stimulus = data.pop("stimulus")
    return Touch(
        connections, Stimulus(tuple(stimulus["keys"]), stimulus["press_ms"]), **data
    )


def timeline_to_json(timeline: Timeline) -> str:
    """Write a timeline as JSON."""
    return to_json(asdict(timeline))


def timeline_from_json(text: str) -> Timeline:
    """Read a timeline back."""
    return Timeline(**json.loads(text))


def seal(*columns: Any, previous: str = "") -> str:
    """Give the SHA-256 over a row's columns and the seal before it, as hex."""
    text = json.dumps([previous, *columns], separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


@lru_cache(ALIKE_MOST)
def _target_of(touch: Touch) -> Target:
    return Target.of(touch)


def _mapping(text: str | None) -> dict[str, Any]:
    """Read names and values; names are held once for all records."""
    return {intern(name): value for name, value in json.loads(text).items()} if text else {}


def record_from_row(row: Any) -> Record:
    """Make a record of a joined row (see `store.RECORDS_SQL`)."""
    touch = touch_from_json(row["touch_json"])
    target = _target_of(touch)
    facts = _mapping(row["facts_json"])
    evidence = _mapping(row["evidence_json"])
    return Record(
        number=row["number"],
        plan_key=row["plan_key"],
        kind=facts.get(PURPOSE, row["kind"]),
        touch=touch,
        pads_1=target.side(1),
        pads_2=target.side(2),
        path_ohm=row["path_ohm"],
        key=target.key,
        started_at=row["started_at"],
        timeline=timeline_from_json(row["timeline_json"]),
        rate_hz=row["rate_hz"],
        take=None if row["dropped_at"] else row["take"],
        take_samples=row["take_samples"],
        offsets=_mapping(row["offsets_json"]),
        fault=row["fault"],
        facts=facts | evidence,
        complete=row["after"] is not None,
        after=row["after"],
        sound=row["sound"],
        amount=row["amount"],
        unit=row["unit"],
        score=row["score"],
        p_value=row["p_value"],
        measures=_mapping(row["measures_json"]),
        judge=row["judge"],
    )
