"""A simulated toy that is built: controls soldered to its pads, right or wrong, and hands at them.

The hands do what a prompt asks on a virtual clock, at human pace, and rustle meanwhile; so the bench
is a `rig.bench.byhand.ListeningBench` whose person works the controls.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from rig.bench.base import BenchState, Chunk
from rig.bench.byhand import Command, Person, Prompt
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.parts import Board
from rig.bench.simulated.room import Room
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.toy import SimulatedToy, switch_on

TOY_RMS = 0.1
BATTERY_OUT_S = 1.5
HELD_S = 0.8, 1.25
"""A hand holds a key for its usual time, times so much."""
CHUNK_SAMPLES = RATE_HZ // 20
TONE_S, TONE_HZ, TONE_PEAK, TONE_OVER_S = 0.08, 1000.0, 0.1, 0.3
STUCK_OHM, SOLDER_OHM = 100.0, 0.1
"""From a line behind a lifted track to ground, and of a solder bridge."""
REACTION_S = 0.18, 0.4
"""From a toy's first sound to a hand's answer (common practice, no source)."""
HEARD = TOY_RMS / 8


@dataclass(frozen=True)
class Wired:
    """One control as it is soldered.

    Parameters
    ----------
    pads : tuple of (str, str)
        That its wires really go to.
    ohm : mapping of str to float, or to (float, float)
        By what it may be set to, ohms between its pads; set to anything else it is open. Between two it is
        drawn anew each time, evenly over their logarithm, as skin is.
    loose : float
        In this share of the presses one of its joints is open, 0 to 1.
    shorted : bool
        Its lugs are joined: it is always at its least resistance.
    """

    pads: tuple[str, str]
    ohm: Mapping[str, float | tuple[float, float]]
    loose: float = 0.0
    shorted: bool = False

    def drawn(self, rng: np.random.Generator) -> Wired:
        """Give the same with a resistance for each range."""
        ohm = {name: one if isinstance(one, (int, float)) else float(np.exp(rng.uniform(*np.log(one))))
               for name, one in self.ohm.items()}  # fmt: skip
        return replace(self, ohm=ohm)


@dataclass(frozen=True)
class Build:
    """A toy with its controls.

    Parameters
    ----------
    board : Board
    controls : mapping of int to Wired
        By their numbers on the sheet.
    solder : tuple of (str, str)
        Pads that solder joins.
    """

    board: Board
    controls: Mapping[int, Wired] = field(default_factory=dict)
    solder: tuple[tuple[str, str], ...] = ()

    def links(self, control: int | None = None, setting: str = "", loose: bool = False) -> list[Link]:
        """Give what is joined while one control is set so, and all others are open."""
        found = [_link(pads, SOLDER_OHM) for pads in self.solder]
        for number, one in self.controls.items():
            ohm = one.ohm.get(setting) if number == control and not loose else None
            if one.shorted:
                ohm = min(map(_least, one.ohm.values()))
            if ohm is not None:
                found.append(_link(one.pads, _least(ohm)))
        return found


def _least(ohm: float | tuple[float, float]) -> float:
    return ohm if isinstance(ohm, (int, float)) else ohm[0]


def _link(pads: tuple[str, str], ohm: float) -> Link:
    return Link(pads[:1], pads[1:], 0.0, ohm, 0.0)


def lifted(board: Board, pad: str) -> Board:
    """Give a board on which a pad's track has come off.

    What lies behind the gap is taken to read low: its line is held to ground by `STUCK_OHM`. A pad
    on a supply rail has no such line.
    """
    stuck = board.net_of[pad], board.roles["gnd"], STUCK_OHM
    return replace(board, fitted=(*board.fitted, stuck))


class BuiltBench:
    """The built toy, the room and two hands.

    Parameters
    ----------
    build : Build
    seed : int
        Of the toy's own chance, the room and the hands.
    person : Person
        Whom the prompts are shown to, and whose answers count.
    delay_s : tuple of float
        Shortest and longest time from one movement to the next, s.
    room_db, rustle_db : float
        Noise of the room, and of handling, below the toy's usual level, dB.
    gain_db : float
        How much louder than in the sweep the input is, dB.
    room : Room or None
        What the sound goes through on its way to a microphone; None: the line that the sweep had.
    """

    rate_hz = RATE_HZ

    def __init__(
        self, build: Build, seed: int, person: Person, *, delay_s: tuple[float, float] = (0.35, 0.7),
        room_db: float = 40.0, rustle_db: float = 25.0, gain_db: float = 0.0,
        room: Room | None = None,
    ) -> None:
        self.build = build
        self.person: Person = _AtHand(self, person)
        self.toy = SimulatedToy(build.board, seed)
        switch_on(self.toy)
        self.toy.connect(build.links())
        self._delay_s = delay_s
        self._room = TOY_RMS * 10 ** (-room_db / 20)
        self._rustle = TOY_RMS * 10 ** (-rustle_db / 20)
        self._gain = 10 ** (gain_db / 20)
        self._way = room
        self._rng = np.random.default_rng([seed, 0xB117])
        self._now = 0
        self._due: list[tuple[int, int, Callable[[], None]]] = []
        self._order = itertools.count()
        self._noises: list[tuple[int, np.ndarray]] = []
        self._set: tuple[int | None, str] = None, ""
        self._waits: Callable[[], None] | None = None

    def state(self) -> BenchState:
        """Say which bench this is."""
        board = self.build.board
        return BenchState("simulated", f"simulated {board.kind}, built", {"seed": board.seed})

    def now_s(self) -> float:
        """Give the virtual clock, seconds."""
        return self._now / RATE_HZ

    def skip(self) -> None:
        """Nothing is heard but what is asked for."""

    def close(self) -> None:
        """There is nothing to give back."""

    def listen(self) -> Chunk:
        """Let time pass, do what is due, and give what the microphone hears."""
        first, parts, end = self._now, [], self._now + CHUNK_SAMPLES
        while self._now < end:
            while self._due and self._due[0][0] <= self._now:
                heapq.heappop(self._due)[2]()
            until = min(end, self._due[0][0]) if self._due else end
            parts.append(self.toy.run(until - self._now))
            self._answer(parts[-1])
            self._now = until
        toy = np.concatenate(parts)
        if self._way is not None:
            toy = self._way.heard(toy.astype(np.float32), first)
        heard = toy + self._rng.normal(0.0, self._room, CHUNK_SAMPLES)
        for at, noise in self._noises:
            here = noise[max(0, first - at) : max(0, end - at)]
            start = max(0, at - first)
            heard[start : start + len(here)] += here
        self._noises = [(at, noise) for at, noise in self._noises if at + len(noise) > end]
        sound = (self._gain * heard).astype(np.float32)
        return Chunk(first, sound, sound)

    # What hands do

    def obey(self, prompt: Prompt) -> None:
        """Do what a prompt asks, some moments from now; what was still to be done is dropped."""
        self._due.clear()
        self._waits = None
        self.toy.keys(())
        at_s = self._pause()
        if prompt.ask == "control" and not prompt.late:
            self._at(at_s, lambda: self._turn(prompt.control, prompt.setting))
        elif prompt.ask != "once more" or prompt.late:
            self._at(at_s, lambda: self._turn(None, ""))
        if prompt.ask == "battery":
            self._at(at_s, lambda: self.toy.supply(False))
            at_s += BATTERY_OUT_S
            self._at(at_s, lambda: self.toy.supply(True))
            at_s += self.build.board.boot_ms / 1000 + 0.3
            for key in self.build.board.on:
                at_s = self._press(at_s + 0.3, key)
        if prompt.ask == "room":
            return
        at_s += self._pause()
        self._press(at_s, prompt.key)
        if prompt.late:
            self._at(at_s, lambda: self._wait(lambda: self._turn(prompt.control, prompt.setting)))

    def let_go(self) -> None:
        """Open what was closed, a moment from now."""
        self._at(0.5 * self._pause(), lambda: self._turn(None, ""))

    def _wait(self, act: Callable[[], None]) -> None:
        """Do something as soon as the toy is heard."""
        self._waits = act

    def _answer(self, sound: np.ndarray) -> None:
        """Have a hand answer to the toy's first sound, in the samples that begin now."""
        if self._waits is None:
            return
        loud = np.flatnonzero(np.abs(sound) > HEARD)
        if len(loud):
            self._at(loud[0] / RATE_HZ + float(self._rng.uniform(*REACTION_S)), self._waits)
            self._waits = None

    def tone(self) -> float:
        """Let a tone be heard; gives for how long, s."""
        times = np.arange(round(TONE_S * RATE_HZ)) / RATE_HZ
        self._sound(TONE_PEAK * np.sin(2 * np.pi * TONE_HZ * times), 0.1)
        return TONE_OVER_S

    def _turn(self, control: int | None, setting: str) -> None:
        self._set = control, setting
        one = self.build.controls.get(control) if control is not None else None
        loose = one is not None and self._rng.random() < one.loose
        build = self.build
        if control is not None and one is not None:
            build = replace(build, controls={**build.controls, control: one.drawn(self._rng)})
        self.toy.connect(build.links(control, setting, loose))
        self._rustles()

    def _press(self, at_s: float, key: str) -> float:
        self._at(at_s, lambda: self._key(key))
        up_s = at_s + self.build.board.press_ms / 1000 * float(self._rng.uniform(*HELD_S))
        self._at(up_s, lambda: self._key(None))
        return up_s

    def _key(self, key: str | None) -> None:
        self.toy.keys(() if key is None else key.split("+"))
        self._rustles()

    def _pause(self) -> float:
        return float(self._rng.uniform(*self._delay_s))

    def _at(self, seconds: float, act: Callable[[], None]) -> None:
        heapq.heappush(self._due, (self._now + round(seconds * RATE_HZ), next(self._order), act))

    def _rustles(self, seconds: float = 0.25) -> None:
        self._sound(self._rng.normal(0.0, self._rustle, round(seconds * RATE_HZ)), -seconds / 2)

    def _sound(self, samples: np.ndarray, in_s: float) -> None:
        at = self._now + round(in_s * RATE_HZ)
        late = max(0, self._now - at)
        self._noises.append((at + late, samples[late:]))


class _AtHand:
    """A person whose hands do what they are asked, as soon as the tone sounds."""

    def __init__(self, bench: BuiltBench, person: Person) -> None:
        self._bench = bench
        self._person = person
        self._asked = Prompt("room")

    def say(self, prompt: Prompt) -> None:
        self._asked = prompt
        self._person.say(prompt)
        if prompt.ask in ("room", "quieten"):
            self._bench.obey(prompt)

    def note(self, text: str) -> None:
        self._person.note(text)

    def tone(self, name: str) -> float:
        if name == "go":
            self._bench.obey(self._asked)
        elif self._asked.late:
            self._bench.let_go()
        return self._bench.tone()

    def command(self) -> Command:
        return self._person.command()

    def which(self) -> tuple[str, str] | None:
        return self._person.which()


def wired(pads: Sequence[str], ohm: Mapping[str, float | tuple[float, float]]) -> Wired:
    """Give a control as it should be."""
    one, other = pads
    return Wired((one, other), dict(ohm))
