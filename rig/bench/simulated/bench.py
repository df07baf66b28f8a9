"""The bench without hardware: a simulated toy, a virtual clock, room noise and markers."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from rig.bench.base import (
    HELD_S,
    MARKER_PULSE_MS,
    RAIL_DOWN_V,
    BenchState,
    Chunk,
    Connection,
    Timeline,
    Touch,
)
from rig.bench.measuring import Load
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.folder import project_board, simulated_part
from rig.bench.simulated.room import Room, SoundCard
from rig.bench.simulated.senses import Senses
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.supply import Guard
from rig.bench.simulated.toy import SimulatedToy
from rig.errors import BenchError, GuardTripped, HeldTooLong
from rig.project import Project
from rig.project.closing import refusal

CHUNK_SAMPLES = RATE_HZ // 10
_AROUND_SAMPLES = RATE_HZ // 50
_LINK_DELAY_SAMPLES = RATE_HZ * 3 // 1000
_MARKER_LEVEL = 0.5
_ADC_STEP_V = 15.0 / 1024
_WAIT_BLOCK = RATE_HZ
_SETTLE_S, _MEASURING_S = 0.02, 0.03
"""What one reading takes on the controller, before it and all of it."""


class SimulatedBench:
    """A bench as `rig.bench.base.Bench` describes it, for one simulated toy.

    Attributes
    ----------
    toy : SimulatedToy
        What is on the bench, for benchmarks that ask it how it really is.
    senses : Senses
        What measures it, for the same and for leads that come off.

    Parameters
    ----------
    project : Project
        Read are `rig.simulated`, `rig.guard`, `rig.lead_ohm` and `rig.switch_ohm`.
    """

    rate_hz = RATE_HZ

    def __init__(self, project: Project) -> None:
        simulated = simulated_part(project)
        self._project = project
        self._lead_ohm = float(project.rig.lead_ohm)
        self._switch_ohm = float(project.rig.switch_ohm)
        self.board = project_board(project)
        self._guard = Guard.of(project.rig.guard)
        self.toy = SimulatedToy(self.board, simulated.seed, self._guard)
        self._chance = np.random.Generator(np.random.PCG64([simulated.seed, 0xC10C]))
        self._room = Room(simulated.room, simulated.room_db, simulated.seed, self._chance)
        self._card = SoundCard(simulated.room.drift_ppm)
        # a resonator is up to a few tenths of a per cent off
        self._clock_ratio = (1.0 + float(self._chance.uniform(-1e-3, 1e-3))) / self._card.ratio
        chance = np.random.Generator(np.random.PCG64([simulated.seed, 0x5E45E]))
        self.senses = Senses(self.board, self._lead_ohm, self._switch_ohm, chance)
        self._sample = 0
        self._touch: Touch | None = None
        self._held_since: int | None = None
        self._steps: dict[str, int | None] = {}
        self._timeline: Timeline | None = None

    def state(self) -> BenchState:
        """Say which bench this is."""
        return BenchState(
            kind="simulated",
            identity=f"simulated {self.board.kind}, seed {self.board.seed}, "
            f"{len(self.board.pads)} pads",
            facts={
                "seed": self.board.seed,
                "pads": len(self.board.pads),
                "room_rms": self._room.noise_rms,
                "rate_hz": RATE_HZ,
            },
        )

    def begin(self, touch: Touch) -> None:
        """Start a touch; see `rig.bench.base`.

        Raises
        ------
        BenchError
            A touch is running, or the touch names a pad or key that isn't there.
        """
        if self._touch is not None:
            raise BenchError("a touch is still running on the simulated bench; end it first")
        self._check(touch.connections, touch.stimulus.keys)
        self._touch = touch
        self._timeline = None
        self._guarded = False
        self._zero = self._sample + _AROUND_SAMPLES + int(self._chance.integers(1, 200))
        press = touch.before_ms
        close = press + touch.lead_in_ms
        opened = close + touch.dwell_ms
        pressed = bool(touch.stimulus.keys)
        self._steps = {
            "start": self._zero,
            "press": self._at(press) if pressed else None,
            "close": None if touch.armed else self._at(close),
            "release": self._at(press + touch.stimulus.press_ms) if pressed else None,
            "open": None if touch.armed else self._at(opened),
            "end": self._at(close if touch.armed else opened + touch.tail_ms),
        }
        self._limit_release()
        self._done: set[str] = set()

    def _check(self, connections: tuple[Connection, ...], keys: tuple[str, ...]) -> None:
        """See that all pads and keys are there."""
        letters = set(self.board.letters)
        for connection in connections:
            if not connection.pads_1:
                raise BenchError("a connection needs a pad on bus 1; name one")
            for pad in (*connection.pads_1, *connection.pads_2):
                if pad not in letters:
                    raise BenchError(
                        f"the simulated board has no pad {pad!r}; it has {len(letters)}, "
                        f"{self.board.letters[0]} to {self.board.letters[-1]}"
                    )
        for key in keys:
            if key not in self.board.keys:
                raise BenchError(
                    f"the simulated toy has no key {key!r}; it has {', '.join(self.board.keys)}"
                )

    def _at(self, ms: float) -> int:
        """Give the sample of a moment on the controller's clock since the start marker."""
        return self._zero + round(ms * RATE_HZ / 1000 / self._clock_ratio)

    def _moment(self, step: str) -> int:
        """Give the sample of a step that takes place."""
        at = self._steps[step]
        assert at is not None
        return at

    def _limit_release(self) -> None:
        release, end = self._steps["release"], self._moment("end")
        if release is not None and release > end:
            self._steps["release"] = end

    def stream(self) -> Iterator[Chunk]:
        """Give the running touch's sound until its end marker is in.

        Raises
        ------
        BenchError
            No touch is running.
        """
        if self._touch is None:
            raise BenchError("no touch is running on the simulated bench; begin one first")
        pulse = round(MARKER_PULSE_MS * RATE_HZ / 1000)
        while (touch := self._touch) is not None:
            first = self._sample
            parts = []
            while self._sample < first + CHUNK_SAMPLES:
                self._act(touch)
                ahead = [
                    at - self._sample
                    for step, at in self._steps.items()
                    if at is not None and step not in self._done
                ]
                left = first + CHUNK_SAMPLES - self._sample
                last = self._moment("end") + pulse + _AROUND_SAMPLES - self._sample
                if last <= 0:
                    break
                parts.append(self._pass(min([left, last, *ahead])))
            sound = np.concatenate(parts)
            sound = self._room.heard(sound, first)
            marker = np.zeros(len(sound), np.float32)
            for step in ("start", "end"):
                begins = self._moment(step) - first
                if begins < len(sound) and begins + pulse > 0:
                    marker[max(0, begins) : begins + pulse] = _MARKER_LEVEL
            if self._sample >= self._moment("end") + pulse + _AROUND_SAMPLES:
                self._finish()
            yield Chunk(first, sound, marker)

    def _pass(self, samples: int) -> np.ndarray:
        sound = self._card.take(self.toy.run(self._card.wants(samples)), samples)
        self._sample += samples
        if self._guard.tripped and self._touch is not None and not self._guarded:
            self._trip(self._sample - (self.toy.ran - self.toy.tripped_at))
        return sound

    def _trip(self, at: int) -> None:
        """Note that the guard has opened everything and cut the supply."""
        self._guarded = True
        steps, done = self._steps, self._done
        if "press" not in done:
            steps["press"] = steps["release"] = None
        elif steps["release"] is not None and "release" not in done:
            steps["release"] = at
        if "open" not in done:
            steps["open"] = at
            if "close" not in done:
                steps["close"] = None
        done.update(("press", "close", "release", "open"))

    def _act(self, touch: Touch) -> None:
        """Do every step whose moment has come, in the order of a touch."""
        for step, at in self._steps.items():
            if at is None or step in self._done or at > self._sample:
                continue
            self._done.add(step)
            if step in ("press", "release") or (step in ("close", "open") and touch.connections):
                self._room.click(self._sample)
            if step == "press":
                self.toy.keys(set(touch.stimulus.keys))
            elif step == "release":
                self.toy.keys(set())
            elif step == "close":
                self._connect(touch.connections)
            elif step == "open":
                self.toy.connect([])

    def _connect(self, connections: tuple[Connection, ...]) -> None:
        self.toy.connect([
            Link(c.pads_1, c.pads_2, self._lead_ohm, c.series_ohm, self._switch_ohm)
            for c in connections
        ])

    def end_early(self) -> None:
        """End the dwell now, or before the closing go to the end with nothing closed."""
        if self._touch is None or "open" in self._done:
            return
        now = self._sample + _LINK_DELAY_SAMPLES
        steps = self._steps
        close, opened = steps["close"], steps["open"]
        if self._moment("end") <= now or (opened is not None and opened <= now):
            return
        if close is not None and close <= now:
            steps["open"] = now
            steps["end"] = now + self._at(self._touch.tail_ms) - self._zero
        else:
            steps["close"] = steps["open"] = None
            steps["end"] = now
            if steps["press"] is not None and steps["press"] > now:
                steps["press"] = steps["release"] = None
        self._limit_release()

    def close_at(self, after_start_s: float) -> None:
        """Close an armed touch's pads so long after its start; see `rig.bench.base`."""
        now = self._sample + _LINK_DELAY_SAMPLES
        touch, steps = self._touch, self._steps
        if touch is None or not touch.armed or steps["close"] is not None:
            return
        if self._moment("end") <= now:
            return
        close = max(now, self._at(1000 * after_start_s))
        steps["close"] = close
        steps["open"] = close + self._at(touch.dwell_ms) - self._zero
        steps["end"] = close + self._at(touch.dwell_ms + touch.tail_ms) - self._zero
        press = touch.before_ms + touch.stimulus.press_ms
        steps["release"] = self._at(press) if steps["press"] is not None else None
        self._limit_release()

    def _finish(self) -> None:
        def us(at: int) -> int:
            return round((at - self._zero) / RATE_HZ * 1e6 * self._clock_ratio)

        stamps = {step: None if at is None else us(at) for step, at in self._steps.items()}
        self._timeline = Timeline(
            press_us=stamps["press"], close_us=stamps["close"], release_us=stamps["release"],
            open_us=stamps["open"], end_us=us(self._moment("end")), guarded=self._guarded,
        )
        self._touch = None

    def timeline(self) -> Timeline:
        """Give the finished touch's timeline.

        Raises
        ------
        BenchError
            No touch has been finished.
        """
        if self._timeline is None:
            raise BenchError("no finished touch on the simulated bench; read its stream first")
        return self._timeline

    def hold(self, connections: tuple[Connection, ...]) -> None:
        """Close connections and keep them closed, in place of those that are held.

        Raises
        ------
        BenchError
            A touch is running, or a pad isn't there.
        GuardTripped
            The guard holds everything open.
        """
        if self._touch is not None:
            raise BenchError("a touch is still running on the simulated bench; end it first")
        self._check(connections, ())
        self._check_guard()
        self._room.click(self._sample)
        self._connect(connections)
        self._held_since = self._sample if connections else None

    def stay(self) -> None:
        """Say that a person still wants what is held."""
        if self._held_since is not None:
            self._held_since = self._sample

    def let_go(self) -> None:
        """Open every pad and let every key up."""
        self._room.click(self._sample)
        self._open_all()

    def press_keys(self, keys: tuple[str, ...]) -> None:
        """Hold these keys down, and no others."""
        self._check((), keys)
        self._room.click(self._sample)
        self.toy.keys(set(keys))

    def listen(self, seconds: float) -> Chunk:
        """Let time pass outside a touch and give what is heard; see `rig.bench.base`."""
        self._check_guard()
        first = self._sample
        left = max(1, round(seconds * RATE_HZ * self._card.ratio))
        parts = []
        while left:
            count = min(left, CHUNK_SAMPLES)
            if self._held_since is not None:
                until = self._held_since + round(HELD_S * RATE_HZ * self._card.ratio)
                if self._sample >= until:
                    self.let_go()
                    raise HeldTooLong("nobody pressed anything for a minute: all pads were opened")
                count = min(count, until - self._sample)
            at = self._sample
            parts.append(self._room.heard(self._pass(count), at))
            left -= count
        sound = np.concatenate(parts)
        return Chunk(first, sound, np.zeros(len(sound), np.float32))

    def _check_guard(self) -> None:
        if self._guard.tripped:
            self._held_since = None
            raise GuardTripped("the toy drew too much: everything is open and its supply off")

    def supply(self, on: bool) -> None:
        """Switch the supply; off also opens every key and pad, and bleeds the rail."""
        if not on:
            self._open_all()
        self.toy.supply(on)
        self.wait(0.02)

    def ohm_between(self, one: str, other: str) -> float:
        """Measure what is between two pads, leads included; see `rig.bench.measuring`."""
        self._check((Connection((one,), (other,), 0.0),), ())
        self._check_off()
        self.wait(_MEASURING_S)
        return self.senses.read_ohm(self.senses.lead_to_lead_ohm(one, other))

    def bank_ohm(self, series_ohm: float) -> float:
        """Measure a value of the bank with no pad closed; see `rig.bench.measuring`."""
        self._check_off()
        self.wait(_MEASURING_S)
        return self.senses.read_ohm(self.senses.series_ohm(series_ohm))

    def pad_v(self, pad: str, load: Load | None = None, times: int = 1) -> list[float]:
        """Measure the voltage on bus 1 with a pad on it; see `rig.bench.measuring`."""
        closed = Connection((pad,), () if load is None else (load.pad,), load.series_ohm if load else 1.0)
        if reason := refusal(self._project, [closed]):
            raise BenchError(f"it is refused before anything closes: {reason}")
        self._check((closed,), ())
        self._check_guard()
        self._connect((closed,))
        self.wait(_SETTLE_S)
        try:
            gently = None if load is None else (load.pad, load.series_ohm)
            before = self.toy.ran
            found = [self.senses.read_v(self.toy, pad, gently) for _ in range(times)]
            self._sample += self.toy.ran - before
        finally:
            self.toy.connect([])
        self._check_guard()
        return found

    def _check_off(self) -> None:
        if self._touch is not None or self.toy.rail_v() >= RAIL_DOWN_V:
            raise BenchError(
                "resistances are measured with the toy off: its supply is on, or its rail isn't down"
            )

    def pulse_reset(self) -> bool:
        """Say that no reset line is wired to a simulated toy."""
        return False

    def rail_v(self) -> float:
        """Measure the rail as the controller's converter does: in steps of 15 mV."""
        return round(self.toy.rail_v() / _ADC_STEP_V) * _ADC_STEP_V

    def supply_ma(self) -> float:
        """Measure the toy's current, mA."""
        return self.toy.supply_ma()

    def wait(self, seconds: float) -> None:
        """Let time pass on the virtual clock."""
        self._room.silence()
        left = max(0, round(seconds * RATE_HZ * self._card.ratio))
        while left:
            count = min(left, _WAIT_BLOCK)
            self._pass(count)
            left -= count

    def now_s(self) -> float:
        """Give the virtual clock, seconds."""
        return self._sample / (RATE_HZ * self._card.ratio)

    def _open_all(self) -> None:
        self.toy.connect([])
        self.toy.keys(set())
        self._touch = self._held_since = None

    def safe(self) -> str | None:
        """Open every pad and key and switch the supply off, which never fails here."""
        self._open_all()
        self.toy.supply(False)
        return None

    def close(self) -> str | None:
        """Leave the bench safe."""
        return self.safe()
