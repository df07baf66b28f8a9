"""The Bench contract: what a sweep may ask of any bench, and what it gets back.

A bench makes one touch at a time and gives it as a stream: `begin(touch)`, then
chunks of continuous sound with the marker beside it, `end_early()` at any moment of
the dwell, and at the end the timeline in the controller's own microseconds. The
simulated, emulated and real benches all give the same stream, so the engine and the
tests can't tell them apart.

Order of one touch, every step stamped by the controller:

    start   marker pulse, nothing closed, nothing pressed
    press   `before_ms` later: the stimulus' keys go down
    close   `lead_in_ms` after the press: the connections close
    release `press_ms` after the press: the keys go up (may come before or after close)
    open    `dwell_ms` after the close, or sooner after `end_early()`
    end     `tail_ms` after the opening: second marker pulse

Outside touches pads may be held (`hold`, `stay`, `let_go`) while keys are pressed and the toy is
listened to, for a person who tries them.

An armed touch closes when it is told to (`close_at`), once the toy has been heard to begin;
where nobody tells it, it ends with the lead-in and nothing was closed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import KW_ONLY, dataclass, field
from typing import Protocol, runtime_checkable

import numpy as np

MARKER_PULSE_MS = 5.0
"""Length of a marker pulse on the marker channel."""

HELD_S = 60.0
"""Held pads open by themselves so long after `hold` or `stay`: firmware/PROTOCOL.md, hold time."""

RAIL_DOWN_V = 0.2
"""Below this no chip holds a state (design figure)."""


@dataclass(frozen=True)
class Connection:
    """Pads joined to pads: some on bus 1, some on bus 2, with the bank's series value between.

    Parameters
    ----------
    pads_1, pads_2 : tuple of str
        Letters of the pads closed onto bus 1 and bus 2. With none on bus 2 one pad's lead is closed
        alone.
    series_ohm : float
        Value chosen from the series bank, ohms (>= 0). The path between the two pads is
        this plus both lead resistors and the switch.
    """

    pads_1: tuple[str, ...]
    pads_2: tuple[str, ...]
    series_ohm: float


@dataclass(frozen=True)
class Stimulus:
    """The keys pressed together, and for how long; no keys means: only listen.

    Parameters
    ----------
    keys : tuple of str
        Names of the toy's keys.
    press_ms : int
        How long they are held down, ms.
    """

    keys: tuple[str, ...] = ()
    press_ms: int = 120


@dataclass(frozen=True)
class Touch:
    """One touch to make; without connections it is a baseline, without keys a listening.

    Parameters
    ----------
    connections : tuple of Connection
        Closed together around the stimulus; empty for a baseline.
    stimulus : Stimulus
    before_ms, lead_in_ms, dwell_ms, tail_ms : int
        Lengths of the steps, ms; see the module's text. `dwell_ms` is the most: the
        engine may end it early. Of an armed touch `lead_in_ms` is the most as well.
    armed : bool
        Whether it closes only where it is told to.
    """

    connections: tuple[Connection, ...] = ()
    stimulus: Stimulus = Stimulus()
    _: KW_ONLY
    before_ms: int = 60
    lead_in_ms: int = 300
    dwell_ms: int = 1200
    tail_ms: int = 500
    armed: bool = False


@dataclass(frozen=True, kw_only=True)
class Timeline:
    """When each step happened, in the controller's microseconds since the start marker.

    `press_us` and `release_us` are None without keys, `close_us` and `open_us` None when
    the touch was abandoned before anything closed (`end_early()` during the lead-in).
    A baseline has `close_us` and `open_us` too: the moments at which it would have closed.
    `guarded`: the guard of the supply current opened everything at `open_us` and cut the
    supply; the rest of the touch went on without the toy.
    """

    press_us: int | None
    close_us: int | None
    release_us: int | None
    open_us: int | None
    end_us: int
    guarded: bool = False


@dataclass(frozen=True)
class Chunk:
    """A piece of the continuous sound, in order and without gaps.

    Parameters
    ----------
    first_sample : int
        Place of the first sample in the bench's continuous stream.
    sound, marker : ndarray of float32, shape (n,)
        The toy's sound (full scale is 1.0) and the marker channel beside it.
    lost : bool
        True when the sound path reported or showed missing samples in this chunk.
    """

    first_sample: int
    sound: np.ndarray
    marker: np.ndarray
    lost: bool = False


@dataclass(frozen=True)
class BenchState:
    """What the bench says of itself for the log's set-up snapshot."""

    kind: str
    identity: str
    facts: dict = field(default_factory=dict)


@runtime_checkable
class Bench(Protocol):
    """What every bench does. All calls may raise `BenchError` and its kinds."""

    rate_hz: int

    def state(self) -> BenchState:
        """Say which bench this is."""

    def begin(self, touch: Touch) -> None:
        """Start a touch on the controller; returns at once."""

    def stream(self) -> Iterator[Chunk]:
        """Give the sound of the running touch, chunk by chunk, until its end marker is in.

        Chunks start no later than `before_ms` ahead of the start marker's touch and run to
        just behind the end marker.
        """

    def end_early(self) -> None:
        """End the dwell now (during the lead-in: close nothing and go to the end)."""

    def close_at(self, after_start_s: float) -> None:
        """Close an armed touch's connections so long after its start, s; at once where that has passed.

        Nothing happens where its lead-in is over.
        """

    def timeline(self) -> Timeline:
        """Give the finished touch's timeline; call after the stream has ended."""

    def hold(self, connections: tuple[Connection, ...]) -> None:
        """Close connections and keep them closed, in place of those that are held.

        They open `HELD_S` after this or the last `stay`, and with the supply off once this computer
        has been silent for the dead-man's time.
        """

    def stay(self) -> None:
        """Say that a person still wants what is held; it closes nothing that has opened."""

    def let_go(self) -> None:
        """Open every pad and let every key up; the supply stays as it is."""

    def press_keys(self, keys: tuple[str, ...]) -> None:
        """Hold these keys of the toy down, and no others; none lets all up."""

    def listen(self, seconds: float) -> Chunk:
        """Let time pass outside a touch and give what is heard meanwhile, dead-man fed.

        Raises
        ------
        HeldTooLong
            The bench opened what was held by itself; the supply is as it was.
        GuardTripped
            The guard of the supply current opened everything and cut the supply.
        """

    def supply(self, on: bool) -> None:
        """Switch the toy's supply; off also opens every key, pad and sense line, and bleeds.

        On lets go of the guard where a touch's timeline told that it had tripped.
        """

    def pulse_reset(self) -> bool:
        """Pull the toy's reset line for a moment; False where none is wired."""

    def rail_v(self) -> float:
        """Measure the toy's supply rail, volts."""

    def supply_ma(self) -> float:
        """Measure what the toy draws from its supply, mean over about 0.1 s, mA."""

    def wait(self, seconds: float) -> None:
        """Let time pass on the bench's clock (keeps the controller's dead-man fed)."""

    def now_s(self) -> float:
        """Give the bench's clock, seconds; virtual on the simulated bench."""

    def safe(self) -> str | None:
        """Open every pad and key and switch the supply off; never raises.

        Gives None where the toy is without supply then, else what a person must be told at
        once: that it is still supplied, or may be.
        """

    def close(self) -> str | None:
        """Leave the bench safe, as `safe` does and tells, and give back port and sound device."""
