"""The typed contents of toy.yaml and rig.yaml.

The models know shapes and ranges; what is unsafe is refused in `electrical`, what
refers to another field is checked in `load`, where file and line are known.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from rig.project.side_by_side import counted_ohm, joined_ohm

MAX_PADS = 64
"""Largest set-up the controller's boards can be extended to."""

BAUD = 250_000
"""At which the controller speaks: exact at its 16 MHz."""

PADS_A_BOARD = 8
"""Pad channels of one board of the controller."""

MAX_PHRASE_S = 120.0
"""Longest phrase of a toy that a sweep waits out."""

MAX_SERIES_VALUES, MAX_SWEPT_VALUES = 8, 16
"""Channels of the series bank, and values that a sweep may put between the pads."""


def letters(count: int) -> list[str]:
    """Give the first pad letters: A, B, ... Z, AA, AB, ...

    Parameters
    ----------
    count : int
        How many, 0 or more.
    """
    names = []
    for index in range(count):
        name = ""
        number = index
        while number >= 0:
            name = chr(ord("A") + number % 26) + name
            number = number // 26 - 1
        names.append(name)
    return names


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


Name = Annotated[str, Field(pattern=r"^[^\W_][\w .+-]{0,31}$")]
"""A key's name: a letter or digit first, then also blank, `.`, `+`, `-`, `_`; no commas."""


Line = Annotated[str, Field(pattern=r"^[^\r\n]*$")]
"""Text of one line."""


class Supply(_Model):
    """What feeds the toy: its own cells, or a bench supply in their place."""

    volts: float = Field(gt=0)
    source: Literal["cells", "bench"]


class Pad(_Model):
    """One point of the toy's board with a lead on it.

    `lead_ohm`: of a low pad, all that its lead has, ohms; see `rig.project.low_pads`.
    """

    note: str = ""
    kind: Literal["signal", "rail", "clock"] = "signal"
    forbidden: bool = False
    lead_ohm: float | None = Field(default=None, gt=0, le=255)


class Key(_Model):
    """One key of the toy and how long it is held down, ms."""

    note: str = ""
    press_ms: int = Field(default=120, ge=5, le=5000)


class Toy(_Model):
    """The toy, as its owner describes it in toy.yaml.

    `pads` are in the order of the leads (the first is controller channel 1), `keys` in the
    order of the key channels; `on` names the keys that turn the toy on after its supply
    comes back. `contains` is for what makes a toy unfit for the rig: anything in it is
    refused. `low_pads` are pads that a person has found fit to meet each other nearly as over a
    wire, and whose leads were changed for it.
    """

    name: Line = Field(min_length=1, max_length=80)
    supply: Supply
    pads: dict[str, Pad] = Field(min_length=2, max_length=MAX_PADS)
    keys: dict[Name, Key] = Field(min_length=1, max_length=MAX_PADS)
    on: list[str] = []
    longest_phrase_s: float = Field(default=3.0, ge=0.1, le=MAX_PHRASE_S)
    boot_ms: int = Field(default=400, ge=0, le=60_000)
    contains: list[Literal["lithium", "charger", "flash", "inverter", "mains"]] = []
    low_pads: list[str] = []


class Controller(_Model):
    """Serial port of the controller, the pad channels it is fitted with, in boards of 8, and
    whether its reset line is wired to the toy.
    """

    port: str = Field(min_length=1)
    baud: int = Field(default=BAUD, ge=1200, le=4_000_000)
    pads: int = Field(default=24, ge=8, le=MAX_PADS, multiple_of=PADS_A_BOARD)
    reset_line: bool = False


class Sound(_Model):
    """Sound device, and which of its channels carry the toy and the marker (from 1)."""

    device: str = Field(min_length=1)
    rate_hz: int = Field(default=48_000, ge=8_000, le=192_000)
    sound_channel: int = Field(default=1, ge=1, le=64)
    marker_channel: int = Field(default=2, ge=1, le=64)


class Room(_Model):
    """How the simulated toy's sound reaches the samples.

    A line takes the toy's sound as it is; a microphone adds the room's echoes, and its noise
    falls with frequency. Hum and clicks are so many dB below the speaking toy (hum by its root
    mean square, clicks by their peak); without a number there are none. Beyond full scale the
    sound is clipped. `drift_ppm`: samples in a million that the sound card takes too many.
    """

    path: Literal["line", "microphone"] = "line"
    gain_db: float = Field(default=0.0, ge=-60, le=60)
    hum_db: float | None = Field(default=None, ge=-20, le=120)
    hum_hz: Literal[50, 60] = 50
    click_db: float | None = Field(default=None, ge=-20, le=120)
    drift_ppm: float = Field(default=0.0, ge=-1000, le=1000)


class Guard(_Model):
    """Limits of the toy's supply current, which the controller watches by itself."""

    peak_ma: int = Field(default=300, ge=10, le=450)
    average_ma: int = Field(default=150, ge=10, le=450)
    inrush_ms: int = Field(default=100, ge=0, le=500)


class Limiter(_Model):
    """The current limiter between the buses, in series channel 1's place.

    `limit_ma`: what it was trimmed to at 20 to 25 degrees. `longest_ms`: how long two low pads may
    be closed over it.
    """

    fitted: bool
    limit_ma: float = Field(default=9.0, gt=0, le=100)
    longest_ms: int = Field(default=100, ge=10, le=2000)


class Simulated(_Model):
    """Which invented board the simulated bench makes, and the room it stands in.

    `board` names a board file in the project folder, without it `seed` makes the board;
    `kind` and `pads` say what is in it. `habits: real` gives it habits at random, as toys have
    them, or one of `rig.bench.simulated.habit_sets` by its name. `drivers: real` has its lines driven
    as strongly as chips drive them (`rig.bench.simulated.drivers`).
    """

    kind: Literal["talker", "keyboard", "sampler"] = "talker"
    board: str | None = Field(default=None, pattern=r"^[^/\\]+$")
    seed: int = Field(ge=0, le=2**31 - 1)
    pads: int = Field(ge=2, le=MAX_PADS)
    room_db: float = Field(default=40.0, ge=0, le=120)
    room: Room = Room()
    habits: Line | None = None
    drivers: Literal["real"] | None = None


class Timings(_Model):
    """Lengths of a touch's steps and of the waits around it."""

    before_ms: int = Field(default=60, ge=20, le=5_000)
    lead_in_ms: int = Field(default=300, ge=50, le=10_000)
    dwell_ms: int = Field(default=1200, ge=50, le=9_900)
    tail_ms: int = Field(default=500, ge=50, le=10_000)
    rail_off_wait_s: float = Field(default=2.0, ge=0, le=600)

    @property
    def touch_s(self) -> float:
        """Longest time one touch takes, s."""
        return (self.before_ms + self.lead_in_ms + self.dwell_ms + self.tail_ms) / 1000


class Asked(_Model):
    """Something to be touched beside all pairs.

    `join`: pads as `rig.pads` writes them, "A+B-C" or "A-B / C-D". `keys`: pressed together;
    none in the list: it is only listened to; without: with each of the sweep's keys in turn.
    """

    join: str
    keys: list[str] | None = None


Fits = Literal["toggle", "push-button", "potentiometer", "stepped switch", "rotary switch",
               "photocell", "body contacts", "patch socket"]  # fmt: skip
"""What may be fitted for a pick."""


class Parts(_Model):
    """What is in the drawer; what isn't said is bought: E12 and E24, common potentiometers, any kind.

    `resistors_ohm`, `pots_ohm`: values that are there. `kinds`: the controls that may be proposed.
    """

    resistors_ohm: list[Annotated[float, Field(gt=0, le=1e8)]] | None = Field(
        default=None, min_length=1
    )
    pots_ohm: list[Annotated[float, Field(gt=0, le=1e8)]] | None = Field(default=None, min_length=1)
    kinds: list[Fits] | None = Field(default=None, min_length=1)


def _asked(value: Any) -> Any:
    return {"join": value} if isinstance(value, str) else value


class SweepOptions(_Model):
    """What to sweep: which keys (None: the first one), over which values (None: those of the
    bank's channels; see `rig.project.side_by_side`), what beside all pairs, how often the
    baseline is taken, which share of the changes found may be false, and whether each pad of a net
    is touched or one for all."""

    keys: list[str] | None = Field(default=None, min_length=1)
    series_ohm: list[Annotated[float, Field(ge=0, le=1e8)]] | None = Field(
        default=None, min_length=1, max_length=MAX_SWEPT_VALUES
    )
    also: list[Annotated[Asked, BeforeValidator(_asked)]] = []
    baseline_takes: int = Field(default=16, ge=8, le=1000)
    false_discovery: float = Field(default=0.05, ge=0.001, le=0.5)
    nets: Literal["once", "each pad"] = "once"


LEAST_LEAD_IN_MS = {"simulated": 300, "hardware": 350}
"""From the toy's first sound to the closing: 150 ms of its answer, without which the ear takes dead
toys for living ones; 50 ms for a window and its shift; and the time in which the host has the touch
closed, which is 100 ms simulated. On hardware it was 103 to 162 ms in emulation, most of it the sound
device's buffer; where it is late the pair closes so much later."""

HARDWARE_LEAD_IN_MS = 400
"""Where rig.yaml doesn't say."""

BY_HAND_OHM = 10_000.0
"""Between the two tips where nobody says otherwise (common practice, no source): low enough
for most bends to show, and 12 V drive 1.2 mA through it."""

BY_HAND_TIMINGS = {"before_ms": 200, "lead_in_ms": 300, "dwell_ms": 2000, "tail_ms": 50}
"""Of a take by hand: the bridge is closed before the press and opened after the take's end."""

BY_HAND_LEAVES_OUT = ("lead_ohm", "switch", "switch_ohm", "switch_rail_v", "series_ohm",
                      "timings", "controller", "guard", "limiter")  # fmt: skip
"""Parts of rig.yaml that a person with two tips has no use for."""


def _is_ohm(value: Any) -> bool:
    return type(value) in (int, float) and 0 <= value <= 1e8


class ByHand(_Model):
    """How a person bridges pads in place of switches.

    `path_ohm`: what is between the two tips, ohms; with several values all pairs are tried
    with the highest first. `take_ms`: how long the bridge is held from the sound's beginning
    on. `wait_s`: how long a press is waited for.
    """

    path_ohm: list[Annotated[float, Field(ge=0, le=1e8)]] = Field(
        default=[BY_HAND_OHM], min_length=1, max_length=MAX_SERIES_VALUES
    )
    take_ms: int = Field(default=2000, ge=500, le=10_000)
    wait_s: float = Field(default=20.0, ge=1, le=600)


class Rig(_Model):
    """The bench, as rig.yaml describes it; `series_ohm` is in the order of the bank's channels.

    By hand there are no leads and no bank: the values of `by_hand` stand in their places, so
    that nothing else needs to know.
    """

    bench: Literal["simulated", "hardware", "by-hand"]
    lead_ohm: float = Field(ge=0, le=1e7)
    switch: Literal["reed", "crosspoint", "multiplexer"] = "reed"
    switch_ohm: float = Field(ge=0, le=1e5)
    switch_rail_v: float | None = Field(default=None, gt=0, le=20)
    series_ohm: list[Annotated[float, Field(ge=0, le=1e8)]] = Field(
        min_length=1, max_length=MAX_SERIES_VALUES
    )
    current_limit_ma: float = Field(default=2.0, gt=0)
    accept_higher_current: bool = False
    keep: Literal["all", "finds"] = "all"
    controller: Controller | None = None
    sound: Sound | None = None
    guard: Guard = Guard()
    limiter: Limiter | None = None
    simulated: Simulated | None = None
    by_hand: ByHand | None = None
    timings: Timings = Timings()
    sweep: SweepOptions = SweepOptions()
    parts: Parts = Parts()

    @property
    def swept_ohm(self) -> list[float]:
        """Values of the bank, or made of it, over which pairs are touched, ohms."""
        return self.sweep.series_ohm or self.series_ohm

    @property
    def tried_ohm(self) -> list[float]:
        """Every value that can be between the pads and isn't below those swept over, ascending, ohms."""
        least = min(self.swept_ohm)
        made = [] if self.bench == "by-hand" else joined_ohm(self.series_ohm)
        return sorted({ohm for ohm in (*self.swept_ohm, *self.series_ohm, *made) if ohm >= least})

    @property
    def least_ohm(self) -> float:
        """The least that is counted with between the buses, ohms; see `counted_ohm`."""
        swept_ohm = (counted_ohm(self.series_ohm, one) for one in self.swept_ohm)
        return min(*self.series_ohm, *swept_ohm)

    @model_validator(mode="before")
    @classmethod
    def _filled(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        if data.get("bench") == "hardware" and isinstance(data.get("timings", {}), dict):
            usual = {"lead_in_ms": HARDWARE_LEAD_IN_MS}
            return data | {"timings": usual | data.get("timings", {})}
        if data.get("bench") != "by-hand":
            return data
        by_hand = data.get("by_hand")
        by_hand = by_hand if isinstance(by_hand, dict) else {}
        paths, take_ms = by_hand.get("path_ohm"), by_hand.get("take_ms")
        # What can't be used is told where it stands, not in the fields made of it.
        usable = isinstance(paths, list) and paths and all(map(_is_ohm, paths))
        timings: dict[str, Any] = dict(BY_HAND_TIMINGS)
        if isinstance(take_ms, int) and 500 <= take_ms <= 10_000:
            timings["dwell_ms"] = take_ms
        filled = {
            "lead_ohm": 0.0, "switch_ohm": 0.0, "timings": timings,
            "series_ohm": paths if usable else [BY_HAND_OHM],
        }
        return filled | data | {"by_hand": {} if data.get("by_hand") is None else data["by_hand"]}


KEY_SOCKETS = 8
"""Of the controller: the first so many keys of toy.yaml are wired."""


STRICTEST = ("rail", "clock", "signal")
"""A net is what its strictest pad is marked as; that pad is touched for all of them."""


@dataclass(frozen=True)
class Project:
    """A project folder that was loaded and found safe."""

    folder: Path
    toy: Toy
    rig: Rig
    nets: tuple[tuple[str, ...], ...] = ()
    """Pads that are one conductor by the person's word."""

    @property
    def sweep_pads(self) -> list[str]:
        """Letters of the pads of which the sweep touches all pairs: one of each net."""
        once = self.nets if self.rig.sweep.nets == "once" else ()
        left_out = {pad for net in once for pad in net if pad != self.pad_of(net)}
        return [pad for pad in self.toy.pads if pad not in left_out]

    def pad_of(self, net: tuple[str, ...]) -> str | None:
        """Give the pad that is touched for a net: of the strictest kind the first letter.

        None where one of them is forbidden: then none is touched.
        """
        if any(self.toy.pads[pad].forbidden for pad in net):
            return None
        pads = list(self.toy.pads)
        return min(net, key=lambda pad: (STRICTEST.index(self.toy.pads[pad].kind), pads.index(pad)))

    @property
    def sweep_keys(self) -> list[str]:
        """Names of the keys that the sweep presses."""
        return self.rig.sweep.keys or [next(iter(self.toy.keys))]

    @property
    def wired_keys(self) -> list[str]:
        """Names of the keys that this bench can press."""
        return list(self.toy.keys)[: KEY_SOCKETS if self.rig.bench == "hardware" else None]

    def single_key(self, key: str) -> str:
        """Give a key of the toy for one that may be a chord: either shows whether it lives."""
        return key if key in self.toy.keys else self.sweep_keys[0]
