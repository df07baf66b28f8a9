"""Boards that someone wrote by hand: chips of a kind, parts between nodes, pads, keys.

    kind: sampler                # talker | keyboard | sampler: which chips are on the board
    name: Tikko the Noisy Kettle
    volts: 4.5                   # of its cells, 12 at most
    seed: 3                      # what the chips' memory holds
    bits: 6                      # of a sampler's codes, 4 to 8
    boot_ms: 200                 # from cells in to ready
    habits: {crash_ratio: 2.4, answer_ms: [40, 240]}   # where designs differ, see `habits.Habits`
    supply: {source_ohm: 9, direct: true}   # cells and speaker, see `supply.Power`
    lead_farad: 4e-12            # what a lead adds at osc while it is closed onto a bus
    drivers: real                # lines as strong as chips drive them, drawn by seed
    chips_v: 3                   # the chips are fed with so much from a regulator: node `chips`
    pins:                        # only pins that differ from the usual
      a3: {drive_ohm: 18000, threshold: 0.4}
      a4: {drive_ohm: [90, 240]} # towards minus, towards plus
      busy: {drive_ohm: 80, pull_ohm: 10000}   # an open drain: only its pull makes it high
      d0: {node: N7}
    parts:                       # resistors and capacitors between nodes
      R1: {between: [plus, osc], ohm: 47000}
      C1: {between: [osc, minus], farad: 7.5e-11}
    pads:                        # leads, in the order of their channels
      A: {node: plus, note: battery spring}
    keys:                        # what each key joins
      star: {between: [row0, col0]}
    on: []                       # keys that turn the toy on

`plus` and `minus` are the battery's nodes. Every pin of the kind's chips is a node of its
own name unless `node` gives another; the tables of pins stand in `talker/board.py`,
`keyboard/board.py` and `sampler/board.py`. Any other name makes a node of its own. A pin's
`drive_ohm` is the resistance of its output, `threshold` where its input turns over, as a
fraction of the supply; inputs have weak pulls inside the chip. With `chips_v` the chips' supply is
that of the node `chips`, which is below the battery, and each of their pins has a diode to it; the
amplifier (amp, spk, mute) stays on the battery. The clock runs at
1 / (0.693 R C) with R from osc to plus (or to chips) and C from osc to minus; the talker is made for
640 kHz, the keyboard for 512 kHz, the sampler for 410 kHz. The other capacitors that the
simulation knows go from env or filt to minus.

What is taken can be swept: the clock within a factor of four of what the chips are made for,
resistors from the voice (dac, tone, or every b and filt) to amp, and a first key that sounds.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, Literal, NoReturn

import numpy as np
from pydantic import BeforeValidator, Field

from rig.bench.simulated.circuit import Circuit, Drive
from rig.bench.simulated.clock import RcClock
from rig.bench.simulated.drivers import ALIKE_BOTH_WAYS, REGULATED, driven, on_rail
from rig.bench.simulated.habits import Habits, Phrases, WhileSounding
from rig.bench.simulated.kinds import KINDS, Kind
from rig.bench.simulated.parts import KEY_CONTACT_OHM, Board, Net, Pad
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.supply import Power
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.errors import ConfigError
from rig.project.hints import nearest
from rig.project.models import MAX_PADS, MAX_PHRASE_S, Line, Name, _Model, letters
from rig.project.validate import validate
from rig.project.yaml_strict import Document, read_yaml

CLOCK_RANGE = 4.0
"""So much faster or slower than its nominal clock a chip may run."""

_SOUNDS_RMS, _SOUNDS_OVER_HISS = 1e-3, 4.0
"""What a key's sound must exceed; 12 dB over the hiss, as the ear needs 9."""

PLUS, MINUS, CHIPS = "plus", "minus", "chips"
_RAILS = {PLUS: "vcc", MINUS: "gnd"}
_Resistor = tuple[int, int, float]

Ends = Annotated[list[str], Field(min_length=2, max_length=2)]
Ohm = Annotated[float, Field(ge=0.01, le=1e9)]


def _twice(value: Any) -> Any:
    return [value, value] if type(value) in (int, float) else value


class _Pin(_Model):
    node: str | None = None
    drive_ohm: Annotated[list[Ohm], BeforeValidator(_twice), Field(min_length=2, max_length=2)] | None = None
    pull_ohm: Ohm | None = None
    threshold: float | None = Field(default=None, gt=0, lt=1)


class _Part(_Model):
    between: Ends
    ohm: Ohm | None = None
    farad: float | None = Field(default=None, gt=0, le=1)


class _Pad(_Model):
    node: str
    note: str = ""


class _Key(_Model):
    between: Ends
    ohm: Ohm = KEY_CONTACT_OHM


class _Habits(_Model):
    crash_ratio: float = Field(default=2.5, gt=1)
    dynamic: bool = True
    jam_sounds: bool = False
    stall_sounds: bool = False
    loop_latches: bool = False
    auto_off_s: float | None = Field(default=None, ge=1)
    bounce_ms: float = Field(default=0.0, ge=0, le=100)
    hiss: float = Field(default=0.0, ge=0, le=0.1)
    answer_ms: Annotated[
        list[Annotated[float, Field(ge=0, le=1000)]], BeforeValidator(_twice)
    ] = Field(default=[0.0, 0.0], min_length=2, max_length=2)
    misses: float = Field(default=0.0, ge=0, le=0.3)
    phrases: Phrases = "random"
    while_sounding: WhileSounding = "anew"
    sleep_s: float | None = Field(default=None, ge=1, le=3600)
    greets: bool = False
    nag_s: float | None = Field(default=None, ge=1, le=3600)
    goodbye: bool = False
    thump_db: float | None = Field(default=None, ge=-40, le=18)
    hiss_before_ms: float = Field(default=0.0, ge=0, le=300)
    hiss_before_db: float = Field(default=-20.0, ge=-60, le=0)
    whine_hz: float | None = Field(default=None, ge=2000, le=12_000)
    whine_db: float = Field(default=-30.0, ge=-60, le=0)
    hum_s: float = Field(default=0.0, ge=0, le=60)
    hum_db: float = Field(default=-20.0, ge=-60, le=0)
    sag_percent_a_minute: float = Field(default=0.0, ge=0, le=20)
    turned_db: float = Field(default=0.0, ge=-20, le=20)
    turned_at_s: float = Field(default=0.0, ge=0, le=36_000)
    falls_back: bool = False
    motor_ma: float = Field(default=0.0, ge=0, le=1000)
    cycles: Literal["", "volume"] = ""


class _Supply(_Model):
    rail_farad: float = Field(default=220e-6, ge=1e-6, le=0.01)
    source_ohm: float = Field(default=2.0, ge=0.1, le=100)
    runs_above: float = Field(default=0.6, ge=0.1, le=0.9)
    resets: bool = False
    direct: bool = False


class _File(_Model):
    kind: Literal["talker", "keyboard", "sampler"]
    name: Line = Field(min_length=1, max_length=80)
    volts: float = Field(ge=0.9, le=12)
    seed: int = Field(default=0, ge=0, le=2**31 - 1)
    bits: int = Field(default=6, ge=4, le=8)
    boot_ms: int = Field(default=200, ge=20, le=10_000)
    amplifier_gain: float = Field(default=10.0, gt=0, le=1000)
    habits: _Habits = _Habits()
    supply: _Supply = _Supply()
    lead_farad: float = Field(default=0.0, ge=0, le=1e-9)
    drivers: Literal["real"] | None = None
    chips_v: float | None = Field(default=None, ge=0.9, le=12)
    pins: dict[str, _Pin] = Field(default_factory=dict)
    parts: dict[str, _Part]
    pads: dict[str, _Pad] = Field(min_length=2, max_length=MAX_PADS)
    keys: dict[Name, _Key] = Field(min_length=1)
    on: list[str] = Field(default_factory=list)


def load_board(file: str | Path) -> Board:
    """Load a board file.

    Raises
    ------
    ConfigError
        Something in it is wrong: names file and line.
    """
    file = Path(file)
    if not file.is_file():
        raise ConfigError(f"there is no board file {file}")
    document = read_yaml(file)
    return _Reader(document, validate(document, _File)).board()


class _Reader:
    """Turns a file's nodes into nets and its parts into a circuit."""

    def __init__(self, document: Document, written: _File):
        self._document, self._written = document, written
        self._kind: Kind = KINDS[written.kind]
        self._nets: list[Net] = []
        self._pins = 0
        self._rail: int | None = None
        self._share = 1.0
        self._at: dict[str, int] = {}

    def board(self) -> Board:
        """Put the board together."""
        written, kind = self._written, self._kind
        self._add_pins()
        inner, fitted, farads, ohms = self._parts()
        roles = {net.role: i for i, net in enumerate(self._nets)}
        contacts = {}
        for name, key in written.keys.items():
            a, b = (self._node(end, ("keys", name, "between", i))
                    for i, end in enumerate(key.between))  # fmt: skip
            contacts[name] = (a, b, key.ohm)
        for index, name in enumerate(written.on):
            if name not in written.keys:
                self._wrong(
                    ("on", index), f"there is no key `{name}`: {nearest(name, written.keys)}"
                )
        rng = np.random.Generator(np.random.PCG64([written.seed, 0xB0A]))
        inside, phrase_s, press_ms = kind.inside(rng, written.bits, farads, ohms)
        pads = self._pads(roles)
        clock = self._clock(farads)
        longest_phrase_s = max(0.2, phrase_s * kind.chip_hz / clock.nominal_hz() + 0.05)
        if longest_phrase_s > MAX_PHRASE_S:
            self._wrong(("parts",), f"a sound would last {longest_phrase_s:.0f} s, at most "
                        f"{MAX_PHRASE_S:.0f} s are waited for: smaller parts from env to minus")
        circuit = Circuit(
            [net.drive for net in self._nets], inner,
            {roles["vcc"]: 1.0, roles["gnd"]: 0.0, **({} if self._rail is None else {self._rail: self._share})},
            names=list(self._at),
        )  # fmt: skip
        self._check_sound_path(circuit, roles["amp"])
        board = Board(
            kind=written.kind,
            seed=written.seed,
            name=written.name,
            volts=written.volts,
            pads=pads,
            keys=tuple(written.keys),
            on=tuple(written.on),
            longest_phrase_s=round(longest_phrase_s, 1),
            boot_ms=written.boot_ms,
            rails=tuple(pad.letter for pad in pads if pad.rail),
            nets=tuple(self._nets),
            circuit=circuit,
            contacts=contacts,
            inside=inside,
            clock=clock,
            habits=self._habits(),
            amplifier_gain=written.amplifier_gain,
            power=Power(**written.supply.model_dump()),
            press_ms=press_ms,
            always=tuple((roles[role], roles["gnd"], 10e6) for role in kind.heard),
            fitted=fitted,
        )  # fmt: skip
        if self._rail is not None:
            board = on_rail(board, self._nets, self._share, self._rail)
        self._check_keys(board)
        return board

    def _habits(self) -> Habits:
        written = self._written.habits
        least_ms, most_ms = written.answer_ms
        if least_ms > most_ms:
            self._wrong(
                ("habits", "answer_ms"), f"answer_ms goes from the least to the most: [{most_ms:g}, "
                f"{least_ms:g}]"
            )  # fmt: skip
        if written.goodbye and written.auto_off_s is None:
            self._wrong(("habits", "goodbye"), "a goodbye needs auto_off_s: after so long it comes")
        if written.cycles and len(set(self._written.keys) - set(self._written.on)) < 2:
            self._wrong(("habits", "cycles"), "the only key can't change the volume: it has to play")
        return Habits(**written.model_dump() | {"answer_ms": (least_ms, most_ms)})

    def _wrong(self, path: tuple, message: str) -> NoReturn:
        raise ConfigError(f"{self._document.where(path)}: {message}")

    def _add_pins(self) -> None:
        pins = {net.role: net for net in self._kind.pins(self._written.bits)}
        volts, chips_v = self._written.volts, self._written.chips_v
        if chips_v is not None and not chips_v < volts:
            self._wrong(("chips_v",), f"a regulator gives less than the {volts:g} V of the cells: leave "
                        "chips_v out where the chips hang on them")
        if self._written.drivers is not None:
            rng = np.random.Generator(np.random.PCG64([self._written.seed, 0xD21E]))
            lines = [(role, net.drive) for role, net in pins.items()]
            drives = driven(rng, self._written.kind, chips_v or volts, lines)
            pins = {
                role: replace(net, drive=drive)
                for (role, net), drive in zip(pins.items(), drives, strict=True)
            }
        for name in self._written.pins:
            if name not in pins or name in _RAILS.values():
                known = [pin for pin in pins if pin not in _RAILS.values()]
                self._wrong(
                    ("pins", name),
                    f"a {self._written.kind} has no pin `{name}`: {nearest(name, known)}",
                )
        named = {role: node for node, role in _RAILS.items()}
        for role, net in pins.items():
            pin = self._written.pins.get(role, _Pin())
            node = named.get(role) or pin.node or role
            if node in self._at:
                self._wrong(
                    ("pins", role),
                    f"node `{node}` has the pin `{self._nets[self._at[node]].role}` already: "
                    "one pin to a node, with a part between two",
                )
            drive = net.drive
            if pin.drive_ohm is not None:
                if drive.low_ohm is None:
                    self._wrong(("pins", role, "drive_ohm"), f"pin `{role}` drives nothing")
                low, high = pin.drive_ohm
                if low != high and role.rstrip("0123456789") in ALIKE_BOTH_WAYS:
                    self._wrong(("pins", role, "drive_ohm"), f"pin `{role}` feeds the ladder: one "
                                "number, as strong both ways")
                drive = replace(drive, low_ohm=low, high_ohm=high)
            if pin.pull_ohm is not None:
                drive = self._pulled(role, drive, pin.pull_ohm)
            threshold = net.threshold if pin.threshold is None else pin.threshold
            self._at[node] = len(self._nets)
            self._pins += 1
            self._nets.append(replace(net, drive=drive, threshold=threshold))
        if chips_v is not None:
            if CHIPS in self._at:
                self._wrong(("pins",), f"`{CHIPS}` is the regulator's node: call the pin's otherwise")
            self._rail, self._share = len(self._nets), chips_v / volts
            self._at[CHIPS] = self._rail
            self._nets.append(Net(REGULATED, Drive()))

    def _pulled(self, role: str, drive: Drive, ohm: float) -> Drive:
        """Give an input with another pull, or an output as an open drain with a pull-up."""
        if drive.pull is not None and drive.high_ohm is None:
            return replace(drive, pull=(ohm, drive.pull[1]))
        if drive.low_ohm is None or role.rstrip("0123456789") in ALIKE_BOTH_WAYS:
            self._wrong(("pins", role, "pull_ohm"), f"pin `{role}` can't be an open drain, and has no "
                        "pull of its own: leave pull_ohm out")
        return replace(drive, high_ohm=None, pull=(ohm, 1.0))

    def _parts(
        self,
    ) -> tuple[list[_Resistor], tuple[_Resistor, ...], dict[str, float], dict[str, float]]:
        """Give resistors of the sound path and other resistors between lines; capacitors, and
        the resistances that empty them, by their roles."""
        inner: list[_Resistor] = []
        fitted: list[_Resistor] = []
        farads: dict[str, float] = {}
        siemens: dict[str, float] = {}
        for name, part in self._written.parts.items():
            if (part.ohm is None) == (part.farad is None):
                self._wrong(("parts", name), f"{name} needs ohm or farad, one of them")
            for place, end in enumerate(part.between):
                if end not in self._at:
                    self._check_new_node(end, ("parts", name, "between", place))
                    self._at[end] = len(self._nets)
                    self._nets.append(Net(end, Drive()))
            a, b = (self._at[end] for end in part.between)
            if a == b:
                self._wrong(("parts", name), f"both ends of {name} are on `{part.between[0]}`")
            if part.farad is not None:
                role = self._capacitor(name, a, b)
                farads[role] = farads.get(role, 0.0) + part.farad
            if part.ohm is not None:
                if min(a, b) == 1:
                    role = self._nets[max(a, b)].role
                    siemens[role] = siemens.get(role, 0.0) + 1 / part.ohm
                quiet = all(net <= 1 or self._in_sound_path(net) for net in (a, b))
                is_held = min(a, b) <= 1 or self._rail in (a, b)
                (inner if is_held or quiet else fitted).append((a, b, part.ohm))
        if "env" in farads and "env" not in siemens:
            self._wrong(("parts",), "notes would never end: the envelope needs a resistor from env "
                        "to minus")
        return inner, tuple(fitted), farads, {role: 1 / g for role, g in siemens.items()}

    def _check_new_node(self, name: str, path: tuple) -> None:
        """Refuse a node that is called like a pin and isn't that pin's."""
        for node, net in zip(self._at, self._nets[: self._pins], strict=False):
            if net.role == name:
                self._wrong(path, f"`{name}` is at the node `{node}`: write {node}")

    def _check_sound_path(self, circuit: Circuit, amp: int) -> None:
        """Refuse a board whose voice isn't joined to its amplifier."""
        joined = next(island.nets for island in circuit.islands if amp in island.nets)
        for net, node in enumerate(list(self._at)[: self._pins]):
            role = self._nets[net].role
            source = role if role in self._kind.sources else role.rstrip("0123456789")
            if source in self._kind.sources and net not in joined:
                over = ", ".join(sorted(self._kind.path))
                self._wrong(
                    ("parts",), f"the voice doesn't reach the amplifier: no resistors lead from "
                    f"`{node}` to `{list(self._at)[amp]}` over the sound path ({over})",
                )  # fmt: skip

    def _check_keys(self, board: Board) -> None:
        """Refuse a toy whose first key makes no sound: a sweep presses that one."""
        rest = SimulatedToy(replace(board, habits=board.habits.plain), board.seed)
        switch_on(rest)
        before = _rms(rest.run(RATE_HZ // 10))
        for key in board.keys:
            toy = rest.fork()
            toy.keys({key})
            heard = toy.run(board.press_ms * RATE_HZ // 1000)
            toy.keys(set())
            heard = np.concatenate((heard, toy.run(RATE_HZ // 2)))
            if _rms(heard) > _SOUNDS_OVER_HISS * before + _SOUNDS_RMS:
                break
        else:
            self._wrong(
                ("keys",), "no key makes a sound: keys join a row and a column, such as "
                "[row0, col0]; look also at what is joined to mute, reset, test, osc and amp, and at hiss",
            )  # fmt: skip
        if key != board.keys[0]:
            self._wrong(
                ("keys", board.keys[0]), f"key `{board.keys[0]}` makes no sound, and a sweep presses "
                f"the first one: put one that sounds first, such as `{key}`",
            )  # fmt: skip

    def _in_sound_path(self, net: int) -> bool:
        role = self._nets[net].role
        return role in self._kind.path or role.rstrip("0123456789") in self._kind.path

    def _capacitor(self, name: str, a: int, b: int) -> str:
        role, other = self._nets[max(a, b)].role, min(a, b)
        if other != 1 or role not in self._kind.capacitors:
            known = ", ".join(f"[{role}, {MINUS}]" for role in self._kind.capacitors)
            self._wrong(
                ("parts", name),
                f"the simulation knows no capacitor there; the places are {known}",
            )
        return role

    def _node(self, name: str, path: tuple) -> int:
        if name not in self._at:
            self._wrong(path, f"nothing is joined to a node `{name}`: {nearest(name, self._at)}")
        return self._at[name]

    def _pads(self, roles: dict[str, int]) -> tuple[Pad, ...]:
        found = []
        for (letter, pad), expected in zip(
            self._written.pads.items(), letters(len(self._written.pads)), strict=True
        ):
            if letter != expected:
                self._wrong(
                    ("pads", letter), f"pad {letter} stands where {expected} is expected: letters "
                    "go A, B, C ... in the order of the leads",
                )  # fmt: skip
            net = self._node(pad.node, ("pads", letter, "node"))
            found.append(Pad(letter, pad.note, net, pad.node in _RAILS))
        return tuple(found)

    def _clock(self, farads: dict[str, float]) -> RcClock:
        fed, node = ("vcc", PLUS) if self._rail is None else (REGULATED, CHIPS)
        siemens = sum(
            1 / part.ohm
            for part in self._written.parts.values()
            if part.ohm is not None
            and {self._nets[self._at[end]].role for end in part.between} == {fed, "osc"}
        )
        if siemens == 0 or "osc" not in farads:
            self._wrong(
                ("parts",), f"the clock needs a resistor from osc to {node} and a capacitor from "
                "osc to minus",
            )  # fmt: skip
        clock = RcClock(1 / siemens, farads["osc"], lead_farad=self._written.lead_farad)
        hz, made_for_hz = clock.nominal_hz(), self._kind.chip_hz
        if not made_for_hz / CLOCK_RANGE <= hz <= made_for_hz * CLOCK_RANGE:
            self._wrong(
                ("parts",), f"the clock would run at {hz:,.0f} Hz, a {self._written.kind} is "
                f"made for {made_for_hz:,.0f} Hz: other parts at osc (1 / (0.693 R C))",
            )  # fmt: skip
        return clock


def _rms(sound: np.ndarray) -> float:
    """Give the root mean square of a sound."""
    return float(np.sqrt(np.mean(np.square(sound, dtype=float))))
