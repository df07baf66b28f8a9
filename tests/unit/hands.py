"""A person at a simulated toy: does what a prompt asks, at human pace, and rustles meanwhile.

Time is counted in samples of the toy's own sound, so it runs as fast as it's asked for.
"""

from __future__ import annotations

import heapq
import itertools
from collections import Counter
from pathlib import Path

import numpy as np

from rig.bench import BenchState, Chunk
from rig.bench.byhand import Prompt
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.folder import new_simulated_project
from rig.bench.simulated.parts import Board
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.project.models import letters

TOY_RMS = 0.1
PRESS_S = 0.12
BATTERY_OUT_S = 1.5

BY_HAND_RIG = """\
bench: by-hand
by_hand:
  path_ohm: [{path_ohm:g}]
  take_ms: {take_ms}
  wait_s: {wait_s:g}
sound: {{device: {device}}}
sweep: {{baseline_takes: {takes}}}
"""


def write_project(
    folder: Path, seed: int, pads: int, leads: str, path_ohm: float = 10_000.0,
    take_ms: int = 1500, wait_s: float = 5.0, takes: int = 8, device: str = "microphone",
    kind: str = "talker",
) -> Path:
    """Write the by-hand project of an invented toy of which only some pads are reached."""
    new_simulated_project(folder, seed, pads, kind)
    lines = (folder / "toy.yaml").read_text().split("\n")
    for letter in set(letters(pads)) - set(leads):
        at = next(n for n, line in enumerate(lines) if line.startswith(f"  {letter}:"))
        lines[at] = f"  {letter}: {{forbidden: true}}"
    (folder / "toy.yaml").write_text("\n".join(lines))
    (folder / "rig.yaml").write_text(BY_HAND_RIG.format(
        path_ohm=path_ohm, take_ms=take_ms, wait_s=wait_s, takes=takes, device=device
    ))
    return folder


class Hands:
    """Two hands, a toy, and the room around them.

    Parameters
    ----------
    board : Board
    seed : int
        Of the toy's own chance, the room and the hands.
    path_ohm : float
        Between the two tips.
    delay_s : tuple of float
        Shortest and longest time from one movement to the next, s.
    room_db, rustle_db : float
        Noise of the room, and of handling, below the toy's usual level, dB.

    Attributes
    ----------
    now, pressed, sounded : int
        Samples that have passed by now, by the last press, and by the toy's last sound.
    """

    def __init__(
        self, board: Board, seed: int, path_ohm: float,
        delay_s: tuple[float, float] = (0.2, 0.6), room_db: float = 40.0, rustle_db: float = 25.0,
    ) -> None:
        self.board = board
        self.toy = SimulatedToy(board, seed)
        switch_on(self.toy)
        self.now = self.pressed = 0
        self.sounded = 0
        self.bridged: tuple[str, str] | None = None
        self.done: list[tuple[float, str]] = []
        self._path_ohm = path_ohm
        self._delay_s = delay_s
        self._room = TOY_RMS * 10 ** (-room_db / 20)
        self._rustle = TOY_RMS * 10 ** (-rustle_db / 20)
        self._rng = np.random.default_rng([seed, 0x4A2D])
        self._due: list = []
        self._order = itertools.count()
        self._noises: list[tuple[int, np.ndarray]] = []

    # What hands do

    def obey(self, ask: str, key: str, pads: tuple[str, str] | None, on: tuple = ()) -> None:
        """Do what a prompt asks, some moments from now; what was still to be done is dropped."""
        self._due.clear()
        self.toy.keys(set())
        at_s = self._pause()
        if ask in ("touch", "explore"):
            self._at(at_s, lambda: self.bridge(pads))
        elif ask != "once more":
            self.bridge(None)
        if ask == "battery":
            self._at(at_s, lambda: self._supply(False))
            at_s += BATTERY_OUT_S
            self._at(at_s, lambda: self._supply(True))
            at_s += self.board.boot_ms / 1000 + 0.3
            for on_key in on:
                at_s = self._press(at_s + 0.3, on_key)
        if ask != "room":
            self._press(at_s + self._pause(), key)

    def let_go(self) -> None:
        """Take the bridge off, a moment from now."""
        self._at(0.5 * self._pause(), lambda: self.bridge(None))

    def bridge(self, pads: tuple[str, str] | None) -> None:
        """Hold the tips onto two pads, or onto nothing."""
        if pads == self.bridged:
            return
        self.bridged = pads
        self.toy.connect(
            [] if pads is None else [Link(pads[:1], pads[1:], self._path_ohm / 2, 0.0, 0.0)]
        )
        self.click()
        self._note("open" if pads is None else f"bridge {'-'.join(pads)}")

    def _press(self, at_s: float, key: str) -> float:
        self._at(at_s, lambda: self._key({key}))
        self._at(at_s + PRESS_S, lambda: self._key(set()))
        return at_s + PRESS_S

    def _key(self, down: set) -> None:
        self.toy.keys(down)
        if down:
            self.pressed = self.now
            self._note(f"press {', '.join(down)}")

    def _supply(self, on: bool) -> None:
        self.toy.supply(on)
        self._note("batteries in" if on else "batteries out")

    def _note(self, what: str) -> None:
        self.done.append((self.now / RATE_HZ, what))
        self.rustle()

    def _pause(self) -> float:
        return float(self._rng.uniform(*self._delay_s))

    def _at(self, seconds: float, act) -> None:
        at = self.now + round(seconds * RATE_HZ)
        heapq.heappush(self._due, (at, next(self._order), act))

    # What is heard

    def click(self, peak: float = 0.03) -> None:
        """A tip touches down: a short broadband click, far below the toy."""
        shape = np.exp(-np.arange(240) / 60)
        self.sound(peak * self._rng.uniform(-1, 1, 240) * shape)

    def tap(self, count: int, apart_s: float = 0.25) -> None:
        """Tap on the microphone, a second from now: firmly, about as loud as the toy."""
        for n in range(count):
            shape = np.exp(-np.arange(720) / 180)
            self.sound(0.95 * self._rng.uniform(-1, 1, 720) * shape, 1.0 + n * apart_s)

    def rustle(self, seconds: float = 0.25) -> None:
        """Hands rustle around every movement."""
        self.sound(self._rng.normal(0.0, self._rustle, round(seconds * RATE_HZ)), -seconds / 2)

    def sound(self, samples: np.ndarray, in_s: float = 0.0) -> None:
        """Add a sound to what is heard, so long from now."""
        at = self.now + round(in_s * RATE_HZ)
        late = max(0, self.now - at)
        self._noises.append((at + late, np.asarray(samples)[late:]))

    def run(self, samples: int) -> np.ndarray:
        """Let time pass, do what is due, and give what the microphone hears (float32)."""
        first, parts, end = self.now, [], self.now + samples
        while self.now < end:
            while self._due and self._due[0][0] <= self.now:
                heapq.heappop(self._due)[2]()
            until = min(end, self._due[0][0]) if self._due else end
            parts.append(self.toy.run(until - self.now))
            self.now = until
            if len(parts[-1]) and np.max(np.abs(parts[-1])) > TOY_RMS / 4:
                self.sounded = self.now
        heard = np.concatenate(parts) + self._rng.normal(0.0, self._room, samples)
        for at, noise in self._noises:
            here = noise[max(0, first - at) : max(0, end - at)]
            start = max(0, at - first)
            heard[start : start + len(here)] += here
        self._noises = [(at, noise) for at, noise in self._noises if at + len(noise) > end]
        return heard.astype(np.float32)


class StandIn:
    """Bench and person in one: hands obey, sound comes as fast as it is asked for.

    `script` gives what the person does at the n-th prompt of a kind instead: a function of
    the bench, called when the prompt's tone sounds; its True means that hands do nothing.
    """

    rate_hz = RATE_HZ

    def __init__(self, hands: Hands, script: dict | None = None) -> None:
        self.hands = hands
        self.person = self
        self.script = script or {}
        self.asked: list[Prompt] = []
        self.named: list = []
        self.notes: list[str] = []
        self.tones = Counter()
        self.answers: list[str] = []
        self.pairs: list = []
        self.lose = lambda bench: False
        self._sample = 0

    def state(self):
        return BenchState("by-hand", "stand-in")

    def listen(self):
        sound = self.hands.run(2400)
        self._sample += len(sound)
        return Chunk(self._sample - len(sound), sound, sound, self.lose(self))

    def skip(self):
        pass

    def now_s(self):
        return self.hands.now / RATE_HZ

    def close(self):
        pass

    def say(self, prompt):
        self.asked.append(prompt)
        if prompt.ask == "quieten":
            self.hands.obey("bare", prompt.key, None)

    def note(self, text):
        self.notes.append(text)

    def tone(self, name):
        self.tones[name] += 1
        t = np.arange(round(0.08 * RATE_HZ)) / RATE_HZ
        self.hands.sound(0.1 * np.sin(2 * np.pi * 1000 * t), 0.1)  # the microphone hears it
        if name == "stop":
            self.hands.let_go()
            return 0.3
        prompt = self.asked[-1]
        count = sum(one.ask == prompt.ask for one in self.asked)
        act = self.script.get((prompt.ask, count)) or self.script.get(prompt.ask)
        if not (act and act(self)):
            pads = self.pairs.pop(0) if prompt.ask == "explore" else prompt.pads
            self.hands.obey(prompt.ask, prompt.key, pads, self.hands.board.on)
        return 0.3

    def command(self):
        return self.answers.pop(0) if self.answers else ""

    def which(self):
        return self.named.pop(0)
