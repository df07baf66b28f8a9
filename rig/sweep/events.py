"""What a sweep reports while it runs: one stream, read alike by terminal, log and tests."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SweepEvent:
    """Something a person watching would want to know."""


@dataclass(frozen=True)
class SweepStarted(SweepEvent):
    """The bench is ready; `done` of `planned` touches are in the log already."""

    done: int
    planned: int


@dataclass(frozen=True, kw_only=True)
class Progress(SweepEvent):
    """A touch was made. `planned` grows with every hit that must be touched again."""

    number: int
    kind: str
    what: str
    done: int
    planned: int
    bench_s: float


@dataclass(frozen=True, kw_only=True)
class Told(SweepEvent):
    """What was heard of a touch, for somebody who waits for it."""

    number: int
    kind: str
    pads: tuple[str, str] | None
    path_ohm: float | None
    sound: str
    amount: float | None
    unit: str | None


@dataclass(frozen=True)
class BendSeen(SweepEvent):
    """A hit held up when touched again."""

    pads: tuple[str, str]
    path_ohm: float
    sound: str
    amount: float | None
    unit: str | None


@dataclass(frozen=True)
class FreezeSeen(SweepEvent):
    """A touch froze the toy."""

    pads: tuple[str, str]
    path_ohm: float


@dataclass(frozen=True)
class Recovered(SweepEvent):
    """The toy answers again, after this rung of the ladder."""

    rung: str
    tries: int


@dataclass(frozen=True)
class TakeLost(SweepEvent):
    """A take can't be judged and will be made again."""

    number: int
    why: str


@dataclass(frozen=True)
class Noticed(SweepEvent):
    """Something about the sound input that a person should know; the sweep goes on."""

    text: str


@dataclass(frozen=True)
class SetAside(SweepEvent):
    """A touch is left to the person after too many failures."""

    what: str
    why: str


@dataclass(frozen=True)
class SweepDone(SweepEvent):
    """Every planned touch is complete."""

    touches: int
    freezes: int
    recoveries: int
