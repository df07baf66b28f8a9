"""What keyboard and sampler have in common: a chip on an RC clock that scans a key matrix.

The chip looks at its inputs every 20 ms and makes the sound up to its next look at once, so
that what it gives doesn't hang on how long a piece is asked for. A closure is noticed at the
next look.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from rig.bench.simulated.circuit import BIAS, LOW, OPEN
from rig.bench.simulated.manners import OWN, Act, Manners
from rig.bench.simulated.parts import Board, key_places
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.wiring import Wiring

LOOK = RATE_HZ // 50
"""Samples between two looks."""

FOREVER = 1e9
"""Length of a step that holds its level until the next look."""

BOOT, ASLEEP, AWAKE, JAM, HELD = "boot", "asleep", "awake", "jam", "held"

_LOST_LOOKS = 1
_JAM_CYCLES = 512
_JAM_LEVEL = 0.25
_GRID = np.arange(LOOK + 1, dtype=float)


def _hiss() -> np.ndarray:
    rng = np.random.Generator(np.random.PCG64(0x4155))
    return rng.standard_normal(1 << 15).astype(np.float32)


_HISS = _hiss()
_SILENCE = np.zeros(LOOK, np.float32)
_MOST_MOMENTS = 20_000


class Machine:
    """Base of the chips of a kind; see `rig.bench.simulated.chips.Chips`.

    A kind gives `_start` (power-on of its own part), `_pressed` (a key went down), `_control`
    (its logic at a look), `_sound` (levels and their lengths up to the next look), `_settle`
    (driver states as its state says) and `speaking`. All that its sound depends on is in
    `_state`, which `_sound` replaces, and `_settings`, which `_control` gives: what followed
    from them once is found again, as a phrase is played thousands of times.

    Parameters
    ----------
    board : Board
    wiring : Wiring
    seed : int
        Of the chips' own chance.
    rows, columns : int
        Of the key matrix.
    sounding : collection of str
        Roles of the nets that the sound hangs on between two looks.
    """

    _state: tuple

    def __init__(
        self,
        board: Board,
        wiring: Wiring,
        seed: int,
        *,
        rows: int,
        columns: int,
        sounding: Collection[str],
    ):
        rng = np.random.Generator(np.random.PCG64([seed, 0x3AC]))
        self._board, self._wiring = board, wiring
        roles = board.roles
        self._osc, self._amp = roles["osc"], roles["amp"]
        self._mute, self._reset, self._test = roles["mute"], roles["reset"], roles["test"]
        self._rows = [roles[f"row{i}"] for i in range(rows)]
        self._columns = [roles[f"col{i}"] for i in range(columns)]
        self._matrix = frozenset(self._rows + self._columns)
        places = key_places(board, rows, columns)
        self._on = frozenset(place for place, key in enumerate(places) if key in board.on)
        self._manners = Manners(board, places)
        self._thresholds = [net.threshold for net in board.nets]
        self._nominal_hz = board.clock.nominal_hz()
        self._crash_hz = self._nominal_hz * board.habits.crash_ratio
        self._pace = 1.0
        # a toy isn't in step with the bench's clock
        self._ahead = np.zeros(int(rng.integers(LOOK)), np.float32)
        self._ahead_muted = True
        self._counter = int(rng.integers(1 << 32))
        self._hiss_at = 0
        self._remains = 0.0
        self._level_now = 0.0
        self._tone_at = 0.0
        self._sounding = frozenset(roles[role] for role in sounding)
        self._moments: dict[tuple, tuple] = {}
        self.rewired()
        self.power_on()

    def fork(self, wiring: Wiring) -> Machine:
        """Copy the chips with all their state onto a copy of the wiring."""
        other = type(self).__new__(type(self))
        other.__dict__.update(self.__dict__)
        other._wiring = wiring
        other._manners = self._manners.fork()
        return other

    def power_on(self) -> None:
        """Start as after the supply has been away."""
        self.mode = BOOT
        self._boot_looks = max(1, round(self._board.boot_ms * RATE_HZ / 1000 / LOOK))
        self._down: frozenset[int] = frozenset()
        self._unheard: frozenset[int] = frozenset()
        self._still_looks = 0
        self._manners.power_on()
        self._remains = 0.0
        self._level_now = 0.0
        self._start()

    def rewired(self) -> None:
        """Take notice of changed closures or keys."""
        wiring = self._wiring
        self._touched = wiring.touched
        self._signature = wiring.signature(self._sounding)

    def set_pace(self, pace: float) -> None:
        """Let the clock run at a share of its frequency, as its supply falls."""
        self._pace = pace
        self._nominal_hz = self._board.clock.nominal_hz() * pace
        self._forget()

    def settle(self) -> None:
        """Put on every line the level that it rests at now."""
        self._settle()

    def run(self, samples: int) -> np.ndarray | None:
        """Let time pass and give the signal at the amplifier's input, or None where muted."""
        parts = []
        muted = True
        while samples > 0:
            if not len(self._ahead):
                self._ahead = self._look()
            part = self._ahead[:samples]
            self._ahead = self._ahead[samples:]
            muted = muted and self._ahead_muted
            parts.append(part)
            samples -= len(part)
        if muted:
            return None
        return parts[0] if len(parts) == 1 else np.concatenate(parts)

    # What a kind fills in

    @property
    def speaking(self) -> bool:
        """Whether the toy sounds."""
        raise NotImplementedError

    @property
    def busy(self) -> bool:
        """Whether what a press began goes on, in its rests too."""
        return self.speaking

    def _forget(self) -> None:
        """Forget what followed from states, for the clock has become another; forks remember."""
        self._moments = {}

    def _start(self) -> None:
        raise NotImplementedError

    def _pressed(self, place: int) -> None:
        raise NotImplementedError

    def _variant(self, place: int) -> int:
        """Give the key whose sound a key brings now."""
        raise NotImplementedError

    def _speak(self) -> None:
        """Begin what the toy says by itself."""
        raise NotImplementedError

    def _hush(self) -> None:
        """Stop what plays."""
        raise NotImplementedError

    def _hold(self) -> None:
        """Keep a key's sound going for as long as a person holds the key, who is gone."""

    def _sound(self, needed: float, settings: tuple) -> tuple[np.ndarray, np.ndarray] | None:
        """Give levels and lengths (samples) of steps that fill `needed` samples at least.

        None for silence, where nothing but `_state` may go on; a step of length `FOREVER` ends at the next look.
        """
        raise NotImplementedError

    def _control(self) -> tuple:
        """Do what the logic does at a look and give the settings of the sound to come."""
        raise NotImplementedError

    def _settle(self) -> None:
        """Put the driver states where `_state` has them."""
        raise NotImplementedError

    # What they share

    def _level(self, net: int) -> float:
        """Give the level of a touched net, fraction of the rail."""
        return self._wiring.level(net)

    def _high(self, net: int) -> bool:
        """Say what an input reads."""
        if net not in self._touched:
            return self._wiring.high(net)
        return self._level(net) > self._thresholds[net]

    def _hz(self) -> float:
        """Give the clock's frequency with all lines as they stand; 0 where it is stopped."""
        if self._osc not in self._touched:
            return self._nominal_hz
        wiring = self._wiring
        wiring.state[self._osc] = OPEN
        level = self._level(self._osc) / self._board.chip_rail
        ohm = wiring.impedance_ohm(self._osc, self._osc)
        hz = self._board.clock.hz(level, ohm, wiring.leads(self._osc)) * self._pace
        # while it runs, the node hangs between its thresholds whatever is joined to it
        wiring.state[self._osc] = BIAS if hz > 0 else OPEN
        return hz

    def _look(self) -> np.ndarray:
        """Look at all inputs and make the sound up to the next look."""
        self._ahead_muted = self._high(self._mute)
        hz = self._hz()
        if hz > self._crash_hz:
            self.mode = JAM
        self._still_looks = 0 if hz > 0 else self._still_looks + 1
        if self._still_looks > _LOST_LOOKS and self._board.habits.dynamic:
            self.mode = JAM
        if self.mode == JAM:
            return self._jammed(hz)
        if hz > 0:
            self._run_logic()
            if self.mode == JAM:
                return self._jammed(hz)
            sound = self._moment(self._control())
            return self._noisy(self._manners.sound(sound, LOOK, RATE_HZ))
        self._remains = 0.0
        return self._noisy(np.full(LOOK, self._level_now, np.float32))

    def _moment(self, settings: tuple) -> np.ndarray:
        """Give the sound up to the next look, from memory where all was the same before."""
        key = (self._signature, self._remains, self._level_now, self._state, settings)
        found = self._moments.get(key)
        if found is None:
            made = self._sound(LOOK - self._remains, settings)
            if made is None and self._remains <= 0 and self._level_now == 0:
                sound = _SILENCE
            else:
                sound = self._held(made)
            if len(self._moments) > _MOST_MOMENTS:
                self._moments.clear()
            found = self._moments[key] = sound, self._remains, self._level_now, self._state
        sound, self._remains, self._level_now, self._state = found
        self._settle()
        return sound

    def _run_logic(self) -> None:
        if not self._high(self._reset):
            if self.mode != HELD:
                self.power_on()
                self.mode = HELD
            return
        if self.mode == HELD:
            self.mode = BOOT
        if self.mode == BOOT:
            self._boot_looks -= 1
            if self._boot_looks <= 0:
                self._wake(ASLEEP if self._on else AWAKE)
            return
        if self._high(self._test):
            # a factory test that nothing but the loss of power ends
            self.mode = JAM
            return
        down = self._scan()
        fresh = sorted(down - self._down)
        self._down = down
        self._unheard &= down
        if self.mode == ASLEEP:
            if self._on.intersection(fresh) or (fresh and not self._on):
                self._unheard = frozenset() if self._on else down
                self._wake(AWAKE)
            return
        for place in fresh:
            if place not in self._on:
                self._notice(place)
                break
        by_itself = self._manners.look(self.busy, bool(down))
        if by_itself is Act.OFF:
            self.power_on()
            self.mode = ASLEEP
        elif isinstance(by_itself, int):
            self._begin(by_itself)
            self._hold()

    def _wake(self, mode: str) -> None:
        self.mode = mode
        if mode == AWAKE:
            self._manners.comes_alive()

    def _notice(self, place: int) -> None:
        act = self._manners.pressed(place, self.busy)
        if act is Act.BEGIN:
            self._begin(place)
            return
        self._unheard |= {place}
        if act in (Act.STOP, Act.WAIT):
            self._looping = False
        if act is Act.STOP:
            self._hush()

    def _begin(self, place: int) -> None:
        if place == OWN:
            self._speak()
        else:
            self._unheard -= {place}
            self._pressed(self._variant(place))
        self._manners.began(place)

    def _scan(self) -> frozenset[int]:
        """Drive each row low in turn and read the columns."""
        if not self._touched & self._matrix:
            return frozenset()
        state, found = self._wiring.state, []
        for r, row in enumerate(self._rows):
            state[row] = LOW
            found += [
                r * len(self._columns) + c
                for c, column in enumerate(self._columns)
                if not self._high(column)
            ]
            state[row] = OPEN
        return frozenset(found)

    def _jammed(self, hz: float) -> np.ndarray:
        """Stand still, or give the loud tone of a counter that runs round and round."""
        if not self._board.habits.jam_sounds or hz == 0:
            return self._noisy(_SILENCE)
        step = hz / _JAM_CYCLES / RATE_HZ
        at = self._tone_at + np.arange(LOOK + 1) * step
        self._tone_at = float(at[-1] % 1.0)
        # mean of a square wave over each sample: differences of its integral, a triangle
        triangle = np.abs((at % 1.0) - 0.5)
        return self._noisy((np.diff(triangle) * (-_JAM_LEVEL / step)).astype(np.float32))

    def _held(self, made: tuple[np.ndarray, np.ndarray] | None) -> np.ndarray:
        """Turn steps into samples, each the mean of the level over its time."""
        steps, spans = ([0.0], [FOREVER]) if made is None else made
        last_level = steps[-1] if len(steps) else self._level_now
        # what ends before the next look leaves its last level behind
        levels = np.concatenate(([self._level_now], steps, [last_level]))
        lengths = np.concatenate(([self._remains], spans, [FOREVER]))
        edges = np.concatenate(([0.0], np.cumsum(lengths)))
        last = int(np.searchsorted(edges[1:], LOOK, "left"))
        area = np.concatenate(([0.0], np.cumsum(levels * np.diff(edges))))
        self._remains = 0.0 if lengths[last] >= FOREVER else float(edges[last + 1] - LOOK)
        self._level_now = float(levels[last])
        return np.diff(np.interp(_GRID, edges, area)).astype(np.float32)

    def _noisy(self, sound: np.ndarray) -> np.ndarray:
        if self._ahead_muted:
            return _SILENCE
        if self._board.habits.hiss:
            at = self._hiss_at
            self._hiss_at = (at + 7919) % (len(_HISS) - LOOK)
            sound = sound + _HISS[at : at + LOOK] * np.float32(self._board.habits.hiss)
        return sound
