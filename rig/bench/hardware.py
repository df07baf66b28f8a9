"""The hardware bench: controller over a serial port, sound over a sound device.

A real board and the emulated one are both used through this module, unchanged. The
controller runs each touch by itself; the host only starts it, listens, may end it
early, and fetches its timeline. Every exchange feeds the controller's dead-man.
"""

from __future__ import annotations

import contextlib
import functools
import time
from collections.abc import Callable, Iterator
from typing import Any, TypeVar, cast

from rig.bench.base import MARKER_PULSE_MS, BenchState, Chunk, Connection, Timeline, Touch
from rig.bench.capture import Capture, joined
from rig.bench.configuration import bring_into_force, layout_of, wanted_configuration
from rig.bench.controller import GUARD_TRIPS, Controller
from rig.bench.held import HeldPads
from rig.bench.marker import PulseFinder
from rig.bench.measuring import Load
from rig.bench.sensing import Sensing, series_text
from rig.bench.toy_supply import ToySupply
from rig.errors import BenchError, CaptureLost, GuardTripped, LinkLost, Restarted
from rig.project import Project, side_by_side
from rig.project.closing import refusal

FEED_S = 0.25
"""The dead-man is fed this often; its time is 3 s unless set otherwise."""

LATE_S = 1.0
"""Sound may reach the host this long after it was made; no end marker by then: none comes."""

RESET_MS = 100
"""A toy's reset circuit is an RC of some ms; longer does no harm."""

WRAP_US = 2**32
_RUNNING = ("BEFO", "LEAD", "DWELL", "TAIL")

_Act = TypeVar("_Act", bound=Callable[..., Any])


def _restarts_told(act: _Act) -> _Act:
    """Have a method of the bench raise Restarted where that is why its link was lost."""

    @functools.wraps(act)
    def told(self: HardwareBench, *given: Any, **named: Any) -> Any:
        try:
            return act(self, *given, **named)
        except LinkLost as lost:
            restart = lost if isinstance(lost, Restarted) else self._restart()
            if restart is None:
                raise
            self._bring_into_force()
            raise restart from None

    return cast(_Act, told)


class HardwareBench:
    """A bench of switches, keys, supply and sound input around a real toy.

    Parameters
    ----------
    project : Project
        Its pads and keys give the channels: the first pad is channel 1, the first key is
        key channel 1, and the first value of the series bank is series channel 1.
    clock : callable
        Gives seconds; never goes back.
    sleep : callable
        Waits for that many seconds.

    Raises
    ------
    BenchError
        Controller or sound device can't be used; see `Controller.open` and `Capture.open`.
    """

    def __init__(
        self,
        project: Project,
        *,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        rig = project.rig
        self._project = project
        if rig.controller is None or rig.sound is None:
            raise BenchError("bench: hardware needs 'controller' and 'sound' in rig.yaml")
        self._pads = {letter: place + 1 for place, letter in enumerate(project.toy.pads)}
        self._keys = {name: place + 1 for place, name in enumerate(project.toy.keys)}
        self._bank = list(rig.series_ohm)
        self._clock = clock
        self._sleep = sleep
        self._fed_s = 0.0
        self.rate_hz: int = rig.sound.rate_hz
        self._switch = rig.switch
        self._wanted = wanted_configuration(project)
        self._has_reset_line = rig.controller.reset_line
        self._guarded = False
        self._listened_s = 0.0
        self.controller = Controller.open(rig.controller.port, rig.controller.baud)
        try:
            self.controller.command("*RST")
            # Whoever starts again has looked at what latched the guard; not every board restarts.
            self.controller.command("OUTPut:PROTection:CLEar")
            self._stored_anew = self._bring_into_force()
            self._held = HeldPads(self.controller)
            self._sensing = Sensing(self.controller, self.wait)
            self._toy_supply = ToySupply(self.controller, project, self.wait, clock)
            self.capture = Capture.open(
                rig.sound.device,
                rig.sound.rate_hz,
                rig.sound.sound_channel,
                rig.sound.marker_channel,
            )
        except BaseException:
            self.controller.close()
            raise

    def state(self) -> BenchState:
        """Say which controller and which sound device this bench is made of."""
        return BenchState(
            kind="hardware",
            identity=self.controller.identity,
            facts={
                "port": self.controller.port,
                "sound_device": self.capture.device,
                "rate_hz": self.rate_hz,
                "configuration_crc": self._wanted.crc(layout_of(self.controller.firmware)),
                "configuration_stored_anew": self._stored_anew,
            },
        )

    def _bring_into_force(self) -> bool:
        return bring_into_force(self.controller, self._wanted, self._switch)

    @_restarts_told
    def begin(self, touch: Touch) -> None:
        """Start a touch on the controller; returns at once.

        Raises
        ------
        BenchError
            The touch is unsafe or asks for what this bench hasn't got, or the controller
            refuses it.
        LinkLost
            The controller doesn't reply.
        Restarted
            It restarted by itself; identity and configuration were checked again.
        """
        if reason := refusal(self._project, touch.connections, touch.dwell_ms):
            raise BenchError(f"a touch is refused before it is begun: {reason}")
        connections, series = self._closures(touch.connections)
        keys = ",".join(str(self._key(name)) for name in touch.stimulus.keys) or "NONE"
        timing = (
            touch.before_ms,
            touch.stimulus.press_ms,
            touch.lead_in_ms,
            touch.dwell_ms,
            touch.tail_ms,
        )
        controller = self.controller
        controller.check_restart()
        controller.check_errors("before a touch")
        if self._state() in _RUNNING:
            controller.command("TOUCh:ABORt")
        controller.command(f"TOUCh:CONNections {connections}")
        controller.command(f"TOUCh:SERies {series}")
        controller.command(f"TOUCh:KEYS {keys}")
        controller.command("TOUCh:TIMing " + ",".join(str(value) for value in timing))
        # From here on every sample belongs to the touch: the start marker is still to come.
        self.capture.skip()
        controller.command("TOUCh:ARM" if touch.armed else "TOUCh:INITiate")
        self._fed_s = self._clock()

    def stream(self) -> Iterator[Chunk]:
        """Give the sound of the running touch until behind its end marker.

        Without an end marker it ends a second after the controller has finished.

        Raises
        ------
        CaptureLost
            The sound stopped.
        LinkLost
            The controller doesn't reply, restarted, or gave the touch up.
        """
        finder = PulseFinder(self.rate_hz)
        pulse = round(self.rate_hz * MARKER_PULSE_MS / 1000.0)
        pulses: list[int] = []
        done_s: float | None = None
        while True:
            chunk = self.capture.read()
            pulses += finder.feed(chunk.marker, chunk.first_sample)
            yield chunk
            received = chunk.first_sample + len(chunk.sound)
            if len(pulses) >= 2 and received >= pulses[1] + 2 * pulse:
                return
            now_s = self._clock()
            if done_s is not None and now_s - done_s > LATE_S:
                return
            if now_s - self._fed_s >= FEED_S and done_s is None:
                self._fed_s = now_s
                if self._is_done():
                    done_s = now_s

    @_restarts_told
    def end_early(self) -> None:
        """End the dwell now (during the lead-in: close nothing and go to the end)."""
        # Too late is no error: the dwell may have ended by itself just before.
        self.controller.send("TOUCh:END")
        self._look_for_trip("after 'TOUCh:END'")

    @_restarts_told
    def close_at(self, after_start_s: float) -> None:
        """Close an armed touch's pads so long after its start, s; at once where that has passed."""
        for message in (f"TOUCh:CLOSe {round(after_start_s * 1e6)}", "TOUCh:CLOSe"):
            self.controller.send(message)
            # -221: the lead-in is over, nothing closes any more; -222: that moment has passed.
            told = self._look_for_trip(f"after '{message}'", forgiven=(-221, -222))
            if -222 not in told:
                return

    @_restarts_told
    def timeline(self) -> Timeline:
        """Give the finished touch's timeline, microseconds since the start marker.

        Raises
        ------
        LinkLost
            The controller doesn't reply or restarted.
        BenchError
            The touch isn't finished.
        """
        deadline = self._clock() + LATE_S
        while self._state() != "DONE":
            self.controller.check_restart()
            self._look_for_trip("during the touch")  # a latched guard ends it without a timeline
            if self._clock() > deadline:
                raise BenchError(
                    f"controller on {self.controller.port} doesn't finish its touch: start again"
                )
            self._sleep(0.01)
        stamps = self.controller.numbers("TOUCh:TIMeline?", 6)
        start = stamps[0]
        press, close, release, opened, end = (since_start(start, stamp) for stamp in stamps[1:])
        if start < 0 or end is None:
            raise LinkLost(
                f"controller on {self.controller.port}: timeline {stamps} has no start or end: "
                "start again"
            )
        self._look_for_trip("during the touch")
        return Timeline(
            press_us=press, close_us=close, release_us=release, open_us=opened, end_us=end,
            guarded=self._guarded,
        )

    @_restarts_told
    def hold(self, connections: tuple[Connection, ...]) -> None:
        """Close connections and keep them closed, in place of those that are held.

        Raises
        ------
        BenchError
            They are unsafe or ask for what this bench hasn't got, or the controller refuses them,
            or its firmware can't keep pads closed.
        """
        if reason := refusal(self._project, connections):
            raise BenchError(f"it is refused before anything closes: {reason}")
        with self._trips_kept():
            self._held.close(*self._closures(connections))

    @_restarts_told
    def stay(self) -> None:
        """Say that a person still wants what is held."""
        with self._trips_kept():
            self._held.stay()

    @_restarts_told
    def let_go(self) -> None:
        """Open every pad and let every key up."""
        with self._trips_kept():
            self._held.open()

    @_restarts_told
    def press_keys(self, keys: tuple[str, ...]) -> None:
        """Hold these keys down, and no others."""
        numbers = [self._key(name) for name in keys]
        with self._trips_kept():
            self._held.press(numbers)

    @_restarts_told
    def listen(self, seconds: float) -> Chunk:
        """Let time pass outside a touch and give what is heard meanwhile; see `rig.bench.base`."""
        now_s = self._clock()
        until_s = now_s + seconds
        if now_s - self._listened_s > LATE_S:
            self.capture.skip()  # what nobody listened to
        chunks: list[Chunk] = []
        while not chunks or now_s < until_s:
            if now_s - self._fed_s >= FEED_S:
                self._fed_s = now_s
                with self._trips_kept():
                    self._held.look()
            try:
                chunks.append(self.capture.read())
            except CaptureLost:
                self._held.look()  # a computer that slept: then the controller has more to say
                raise
            self._listened_s = now_s = self._clock()
        return joined(chunks)

    @contextlib.contextmanager
    def _trips_kept(self) -> Iterator[None]:
        """Note a trip of the current guard, so that the next switching on lets go of it."""
        try:
            yield
        except GuardTripped:
            self._guarded = True
            raise

    def supply(self, on: bool) -> None:
        """Switch the toy's supply; off opens every pad, key and series channel with it.

        Off is the first that is sent, whatever is under way; what the error queue holds is
        told after it. On lets go of a guard that tripped in a touch and was told of in its
        timeline, and raises a BenchError, with the toy off, where the rail isn't what toy.yaml
        says.
        """
        if on:
            self._supply_on()
        else:
            self._toy_supply.off()

    @_restarts_told
    def _supply_on(self) -> None:
        if self._guarded:
            self.controller.command("OUTPut:PROTection:CLEar")
            self._guarded = False
        self._toy_supply.on()

    @_restarts_told
    def rail_v(self) -> float:
        """Measure the toy's supply rail, volts."""
        return self._toy_supply.rail_v()

    @_restarts_told
    def supply_ma(self) -> float:
        """Measure what the toy draws from its supply, mean over about 0.1 s, mA."""
        return 1000 * self.controller.decimal("MEASure:CURRent?")

    @_restarts_told
    def ohm_between(self, one: str, other: str) -> float:
        """Measure what is between two pads, leads included; see `rig.bench.measuring`."""
        return self._sensing.ohm(f"1!{self._pad(one)},2!{self._pad(other)}")

    @_restarts_told
    def bank_ohm(self, series_ohm: float) -> float:
        """Measure a value of the bank with no pad closed; see `rig.bench.measuring`."""
        return self._sensing.ohm("", self._series(series_ohm))

    @_restarts_told
    def pad_v(self, pad: str, load: Load | None = None, times: int = 1) -> list[float]:
        """Measure the voltage on bus 1 with a pad on it; see `rig.bench.measuring`."""
        channels, series = f"1!{self._pad(pad)}", "0"
        if load is not None:
            if reason := refusal(self._project, [Connection((pad,), (load.pad,), load.series_ohm)]):
                raise BenchError(f"a load is refused before anything closes: {reason}")
            channels += f",2!{self._pad(load.pad)}"
            series = self._series(load.series_ohm)
        with self._trips_kept():
            return self._sensing.volts(channels, series, times)

    @_restarts_told
    def pulse_reset(self) -> bool:
        """Pull the toy's reset line low for a moment; False where none is wired."""
        if not self._has_reset_line:
            return False
        self.controller.command(f"TOY:RESet {RESET_MS}")
        self.wait(2 * RESET_MS / 1000)
        return True

    @_restarts_told
    def wait(self, seconds: float) -> None:
        """Let time pass and keep the controller's dead-man fed."""
        until = self._clock() + seconds
        while True:
            self.controller.query("SYSTem:DMAN?")
            left = until - self._clock()
            if left <= 0:
                return
            self._sleep(min(left, 2 * FEED_S))

    def now_s(self) -> float:
        """Give the bench's clock, seconds."""
        return self._clock()

    def safe(self) -> str | None:
        """Open every pad and key, switch the supply off and watch the rail fall; never raises.

        When the link is gone, the controller's dead-man switches off within its time. Gives
        what a person must be told where the rail doesn't fall or can't be measured, else None.
        """
        try:
            self.supply(False)
        except Exception:
            # It may not have come through: another command that does it is tried as well.
            with contextlib.suppress(Exception):
                self.controller.urgent("*RST")
        return self._toy_supply.still_supplied()

    def close(self) -> str | None:
        """Leave the bench safe, as `safe` does and tells, and give back port and sound device."""
        told = self.safe()
        try:
            self.capture.close()
        finally:
            self.controller.close()
        return told

    @_restarts_told
    def _is_done(self) -> bool:
        """Look whether the running touch has ended."""
        state = self._state()
        if state == "DONE" or state in _RUNNING:
            return state == "DONE"
        self.controller.check_restart()
        self.controller.check_errors("during the touch")
        raise LinkLost(
            f"controller on {self.controller.port} gave the touch up (state {state}): start again"
        )

    def _restart(self) -> Restarted | None:
        """Look whether a reply is missing since the controller restarted."""
        try:
            self.controller.wake()
            self.controller.check_restart()
        except Restarted as restart:
            return restart
        except BenchError:
            pass
        return None

    def _look_for_trip(self, after: str, forgiven: tuple[int, ...] = ()) -> list[int]:
        """Read the error queue; a trip of the current guard is kept for the timeline."""
        errors = self.controller.errors()
        self._guarded = self._guarded or any(number in GUARD_TRIPS for number, _ in errors)
        rest = [error for error in errors if error[0] not in (*GUARD_TRIPS, *forgiven)]
        self.controller.complain(rest, after)
        return [number for number, _ in errors]

    def _state(self) -> str:
        """Ask for the touch's state; short and long forms mean the same."""
        state = self.controller.query("TOUCh:STATe?").upper()
        return "BEFO" if state.startswith("BEFO") else state

    def _closures(self, connections: tuple[Connection, ...]) -> tuple[str, str]:
        """Give channel list and series channels of a touch."""
        if not connections:
            return "NONE", "0"
        connection = connections[0]  # `refusal` lets no more through
        series = self._series(connection.series_ohm)
        channels = [f"1!{self._pad(letter)}" for letter in connection.pads_1]
        channels += [f"2!{self._pad(letter)}" for letter in connection.pads_2]
        return f"(@{','.join(channels)})", series

    def _series(self, series_ohm: float) -> str:
        """Give the channels of the bank that make a value."""
        together = side_by_side.channels(self._bank, series_ohm)
        if together is None:
            raise BenchError(
                f"series value {series_ohm:g} ohm can't be made of the bank "
                f"({', '.join(f'{value:g}' for value in self._bank)}): set series_ohm in rig.yaml"
            )
        return series_text(together)

    def _pad(self, letter: str) -> int:
        if letter not in self._pads:
            raise BenchError(f"pad {letter} isn't in toy.yaml")
        return self._pads[letter]

    def _key(self, name: str) -> int:
        if name not in self._keys:
            raise BenchError(f"key {name} isn't in toy.yaml")
        return self._keys[name]


def since_start(start: int, stamp: int) -> int | None:
    """Give a stamp of the controller's 32-bit microsecond clock as time since the start.

    Parameters
    ----------
    start, stamp : int
        Clock values, 0 to 2**32 - 1; a negative stamp means that the step never happened.

    Returns
    -------
    int or None
        Microseconds, 0 to 2**32 - 1: right across the clock's wrap each 71.6 minutes.
    """
    return None if stamp < 0 else (stamp - start) % WRAP_US
