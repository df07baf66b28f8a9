"""What happens while a sweep runs: one stream of objects, read alike by screen, log, page and tests.

The log gives each its number and time, keeps it as a row, and hands this very object to whoever
listens. Read back from its row it is equal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from typing import Any


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that happened.

    Parameters
    ----------
    id : int
        Its place in the stream of this sweep, 1 and up; 0 while the log hasn't got it.
    at : str
        UTC, ISO 8601, to the millisecond.
    touch : int or None
        Number of the touch that it belongs to, which may never have been made.
    """

    id: int = 0
    at: str = ""
    touch: int | None = None


@dataclass(frozen=True, kw_only=True)
class SweepStarted(Event):
    """The bench is ready; `done` of `planned` touches are in the log already."""

    bench: str
    identity: str
    facts: dict[str, Any] = field(default_factory=dict)
    done: int | None
    """None in logs of version 1, as `planned`."""
    planned: int | None


@dataclass(frozen=True, kw_only=True)
class SweepLeft(Event):
    """The person left; `touches` are in the log."""

    touches: int


@dataclass(frozen=True, kw_only=True)
class SweepPaused(Event):
    """The sweep ends early, since something must be put right first."""

    why: str


@dataclass(frozen=True, kw_only=True)
class SweepWaits(Event):
    """The sweep pauses since it was asked to, and waits to be let go on; the toy is off.

    Parameters
    ----------
    asked : str
        Where it was asked to, in a few words: "on the page".
    asked_at : str
        When, UTC, ISO 8601.
    is_old : bool
        The wish was there before this run began.
    alarm : str
        What a person must be told where the toy may not be off.
    """

    asked: str
    asked_at: str
    is_old: bool = False
    alarm: str = ""


@dataclass(frozen=True, kw_only=True)
class SweepGoesOn(Event):
    """The sweep was let go on, having waited for so long, s."""

    waited_s: float


@dataclass(frozen=True, kw_only=True)
class SweepDone(Event):
    """Every planned touch is complete; `recoveries` are those of this run."""

    touches: int
    freezes: int | None
    """None in logs of version 1, as `recoveries`."""
    recoveries: int | None


@dataclass(frozen=True, kw_only=True)
class StillSupplied(Event):
    """The toy may not be off."""

    why: str


@dataclass(frozen=True, kw_only=True)
class Progress(Event):
    """A touch was made. `planned` grows with every hit that must be touched again.

    A reader that falls behind is given only the latest.
    """

    kind: str
    what: str
    done: int
    planned: int
    bench_s: float


@dataclass(frozen=True, kw_only=True)
class HabitsLearnt(Event):
    """What presses with nothing bridged have shown of how the toy answers a key.

    Parameters
    ----------
    key : str
    presses, unnoticed : int
        So many, and those of them that brought nothing.
    soonest_s, latest_s : float
        It begins to sound between these after its press.
    steady : bool
        Whether that is always about the same time.
    phrases, heard_once : int
        Told apart, and those that came but once: their share of the presses is about the chance that
        the next one is new (Good and Turing).
    order : str
        Of the phrases: "in turn", "at random" or "".
    while_sounding : str
        What a press does then: "anew", "next", "ignored", "stops", "queued", "varies", "unclear"; ""
        where it is over too soon to tell.
    shortest_s, longest_s : float
        For so long it sounds.
    idle_ma, sounding_ma : float or None
        Drawn from the supply.
    first_wakes : bool
        Whether the first press after the supply came on brought nothing.
    """

    key: str
    presses: int
    unnoticed: int
    soonest_s: float
    latest_s: float
    steady: bool
    phrases: int
    heard_once: int
    order: str
    while_sounding: str
    shortest_s: float
    longest_s: float
    idle_ma: float | None = None
    sounding_ma: float | None = None
    first_wakes: bool = False


@dataclass(frozen=True, kw_only=True)
class Told(Event):
    """What was heard of a touch, for somebody who waits for it; without a name: of an own poke.

    Here and below `name` says what is closed, as `rig.pads` writes it: "C-F".
    """

    kind: str
    name: str | None
    key: str
    path_ohm: float | None
    sound: str
    amount: float | None
    unit: str | None


@dataclass(frozen=True, kw_only=True)
class BendSeen(Event):
    """A hit held up when touched again; of a lead alone there is no path."""

    name: str
    key: str
    path_ohm: float | None
    sound: str
    amount: float | None
    unit: str | None


@dataclass(frozen=True, kw_only=True)
class FreezeSeen(Event):
    """A touch froze the toy; of a lead alone there is no path."""

    name: str
    key: str
    path_ohm: float | None


@dataclass(frozen=True, kw_only=True)
class RungTried(Event):
    """The toy doesn't answer; this rung of the ladder was climbed, and it is asked again."""

    rung: str
    tries: int
    rail_fell_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class Recovered(Event):
    """The toy answers again, after this rung of the ladder; `touch` is the one before."""

    rung: str
    tries: int


@dataclass(frozen=True, kw_only=True)
class ToyGone(Event):
    """The ladder is used up: the toy doesn't answer this key any more."""

    key: str


@dataclass(frozen=True, kw_only=True)
class GuardCut(Event):
    """The controller's guard cut the toy's supply."""


@dataclass(frozen=True, kw_only=True)
class ControllerRestarted(Event):
    """The controller restarted by itself; the step is made again."""

    why: str
    plan_key: str


@dataclass(frozen=True, kw_only=True)
class TakeLost(Event):
    """A take can't be judged and will be made again."""

    why: str


@dataclass(frozen=True, kw_only=True)
class Unsettled(Event):
    """It won't be known how this touch left the toy: it is due again; `lost` counts as a fault."""

    lost: bool = False


@dataclass(frozen=True, kw_only=True)
class BaselineDoubted(Event):
    """A press with nothing bridged didn't sound like the baseline."""

    p_value: float | None


@dataclass(frozen=True, kw_only=True)
class Noticed(Event):
    """Something that a person should know; the sweep goes on."""

    text: str


@dataclass(frozen=True, kw_only=True)
class SetAside(Event):
    """A step is left to the person after too many failures."""

    plan_key: str
    what: str
    """In words; the plan's key in logs of version 1."""
    why: str


@dataclass(frozen=True, kw_only=True)
class Retried(Event):
    """What had been set aside up to this touch is due again."""


@dataclass(frozen=True, kw_only=True)
class Migrated(Event):
    """The log was of an older version up to here."""

    from_version: int


@dataclass(frozen=True, kw_only=True)
class Other(Event):
    """A row that this program can't read: of a kind, or without a field, that it knows."""

    kind: str
    detail: Any


KINDS: dict[str, type[Event]] = {
    "begun": SweepStarted,
    "left": SweepLeft,
    "paused": SweepPaused,
    "waits": SweepWaits,
    "goes on": SweepGoesOn,
    "done": SweepDone,
    "not off": StillSupplied,
    "progress": Progress,
    "habits": HabitsLearnt,
    "told": Told,
    "bend": BendSeen,
    "freeze": FreezeSeen,
    "recovery": RungTried,
    "recovered": Recovered,
    "toy lost": ToyGone,
    "guard tripped": GuardCut,
    "controller restarted": ControllerRestarted,
    "take lost": TakeLost,
    "unsettled": Unsettled,
    "baseline doubted": BaselineDoubted,
    "noticed": Noticed,
    "set aside": SetAside,
    "retried": Retried,
    "migrated": Migrated,
}
"""The word that stands in a row for each class. What stood in a log once keeps its word."""

_WORDS = {kind: word for word, kind in KINDS.items()}
_COMMON = {one.name for one in fields(Event)}
_OWN = {kind: tuple(one for one in fields(kind) if one.name not in _COMMON)
        for kind in KINDS.values()}  # fmt: skip


def to_row(event: Event) -> tuple[str, dict[str, Any]]:
    """Give an event's word, and what it says beside `id`, `at` and `touch`."""
    if isinstance(event, Other):
        return event.kind, event.detail
    kind = type(event)
    return _WORDS[kind], {one.name: getattr(event, one.name) for one in _OWN[kind]}


def from_row(id: int, at: str, touch: int | None, word: str, detail: Any) -> Event:
    """Give the event that a row holds.

    Parameters
    ----------
    id, at, touch
        See `Event`.
    word : str
        One of `KINDS`, or what another version wrote.
    detail : object
        As `to_row` gave it, once written as JSON. Of a row of version 1 the missing fields are
        filled in; fields that this version doesn't know are left out.
    """
    kind = KINDS.get(word)
    if kind is not None and isinstance(detail, dict):
        known = _as_now(word, detail)
        if all(one.name in known or _has_default(one) for one in _OWN[kind]):
            own = {one.name: _hashable(known[one.name]) for one in _OWN[kind] if one.name in known}
            return kind(id=id, at=at, touch=touch, **own)
    return Other(id=id, at=at, touch=touch, kind=word, detail=detail)


def _has_default(one: Any) -> bool:
    return one.default is not MISSING or one.default_factory is not MISSING


def _hashable(value: Any) -> Any:
    """Give the tuples back that JSON made lists of."""
    return tuple(map(_hashable, value)) if isinstance(value, list) else value


def _as_now(word: str, detail: Mapping[str, Any]) -> Mapping[str, Any]:
    """Give a row's detail with what version 1 didn't write, or wrote elsewhere."""
    if word == "begun" and "facts" not in detail:
        own = ("bench", "identity")
        facts = {name: value for name, value in detail.items() if name not in own}
        detail = {name: detail[name] for name in own if name in detail} | {"facts": facts}
    match word:
        case "begun":
            return {"done": None, "planned": None, **detail}
        case "done":
            return {"freezes": None, "recoveries": None, **detail}
        case "recovery":
            return {"tries": 1, **detail}
        case "set aside":
            return {"what": detail.get("plan_key"), **detail}
    return detail
