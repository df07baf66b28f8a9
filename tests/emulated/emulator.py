"""Driver of the emulated controller: the real firmware in the emulator, its pins decoded.

    with Emulator() as emulator:
        port = serial.Serial(emulator.pty, 250_000, timeout=1)
        ...
        emulator.wait_for(lambda state: state.supply, seconds=1)
        emulator.events()      # every change of the outputs so far, with its cycle

A client that wants to follow live takes `emulator.subscribe()`, a queue of `State` (an
output changed) and `Tick` (5 ms have passed); another process may connect to
`emulator.socket_path` and use `Decoder` on the lines it gets.

The firmware counts its start as an error, -500,"Power on": read the queue (or *CLS) once.
"""

from __future__ import annotations

import binascii
import fcntl
import os
import queue
import shutil
import socket
import struct
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Self

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
CYCLES_PER_US = 16
CYCLES_PER_MS = 16_000
RAIL_DIVIDER = 3
"""The rail in mV is this many times what the converter's pin sees."""

START_CYCLES = 45 * CYCLES_PER_MS
"""From a reset until the firmware listens: what is sent earlier it drops, and says so."""

PADS = 32
"""Pads that the emulated rig has, and its stored configuration says, unless told otherwise."""

PADS_MAX = 64
EEPROM_CONFIGURATION = 32
"""Where the stored configuration begins; its layout stands in firmware/configuration.h."""

CURRENT_MV_PER_MA = 11


def bits_of(numbers, count: int = PADS_MAX) -> bytes:
    """Give numbers from 1 as bits, lowest first."""
    return sum(1 << (number - 1) for number in set(numbers)).to_bytes(count // 8, "little")


def configuration(
    pads: int = PADS,
    closures: int = 8,
    forbidden=(),
    rails=(),
    rail_series=(),
    deadman_ms: int = 3000,
    closure_ms: int = 10_000,
    peak_ma: int = 300,
    average_ma: int = 150,
    blanking_ms: int = 100,
    layout: int = 1,
) -> bytes:
    """Give the bytes of a configuration as it is stored, its CRC behind it."""
    data = bytes([layout, pads, closures]) + bits_of(forbidden) + bits_of(rails)
    data += bits_of(rail_series, 8)
    data += struct.pack("<5H", deadman_ms, closure_ms, peak_ma, average_ma, blanking_ms)
    return data + struct.pack("<H", binascii.crc_hqx(data, 0xFFFF))


@dataclass(frozen=True)
class State:
    """What the controller's outputs do, from `cycle` on.

    Parameters
    ----------
    cycle : int
        Of the 16 MHz clock, since the emulator's start.
    closures : frozenset of (int, int)
        Closed pads as (bus, pad), both from 1.
    series : frozenset of int
        Closed channels of the series bank, from 1; a correct firmware closes at most one.
    keys : frozenset of int
        Key channels held down, from 1.
    holds : frozenset of int
        Closed hold channels.
    sensed : frozenset of int
        Buses that the sense line is on.
    continuity : bool
        Whether the continuity source is on the buses.
    supply, gate : bool
        Whether the toy is supplied, and whether the controller's pin wants it: the switch
        is on only while the heartbeat comes, too.
    bleed, marker, reset_line : bool
        The bleed across the toy's rail, the marker's level, the toy's reset pad pulled low.
    """

    cycle: int = 0
    closures: frozenset[tuple[int, int]] = frozenset()
    series: frozenset[int] = frozenset()
    keys: frozenset[int] = frozenset()
    holds: frozenset[int] = frozenset()
    sensed: frozenset[int] = frozenset()
    continuity: bool = False
    supply: bool = False
    gate: bool = False
    bleed: bool = False
    marker: bool = False
    reset_line: bool = False

    @property
    def is_open_and_off(self) -> bool:
        """Whether nothing is closed, pressed or supplied."""
        return not (self.is_anything_closed or self.supply or self.gate or self.reset_line)

    @property
    def is_anything_closed(self) -> bool:
        """Whether any relay or switch is on."""
        closed = self.closures or self.series or self.keys or self.holds or self.sensed
        return bool(closed) or self.continuity


@dataclass(frozen=True)
class Tick:
    """The emulator has come to this cycle."""

    cycle: int


class Decoder:
    """Turns the emulator's lines into states; pins that float have their resistors' level."""

    def __init__(self) -> None:
        self.state = State()
        self.resets: list[int] = []
        self.blind_until: list[int] = []
        self.injected: list[int] = []
        self.answers: queue.SimpleQueue[str] = queue.SimpleQueue()

    def feed(self, line: str) -> State | Tick | None:
        """Take one line; give the new state, a tick, or None when nothing changed."""
        words = line.split()
        match words:
            case ["tick", cycle]:
                return Tick(int(cycle))
            case ["pin", name, level, cycle]:
                field = {"D2": "gate", "D3": "marker", "B1": "bleed", "C2": "reset_line"}[name]
                return self._change(int(cycle), **{field: level == "1"})
            case ["supply", level, cycle]:
                return self._change(int(cycle), supply=level == "1")
            case ["closed", image, cycle]:
                return self._change(int(cycle), **_closed(bytes.fromhex(image)))
            case ["adc", _, _, cycle]:
                self.injected.append(int(cycle))
                return None
            case ["eeprom" | "stack" | "latency", answer]:
                self.answers.put(answer)
                return None
            case ["reset", cycle]:
                self.resets.append(int(cycle))
                return None
            case ["blind", cycle]:
                self.blind_until.append(int(cycle))
                return None
            case ["late", _]:
                return None
        raise ValueError(f"the emulator said {line!r}")

    def _change(self, cycle: int, **fields) -> State | None:
        changed = replace(self.state, **fields)
        if changed == self.state:
            return None
        self.state = replace(changed, cycle=cycle)
        return self.state


def _closed(image: bytes) -> dict:
    bits = int.from_bytes(image, "little")

    def group(first: int, count: int) -> list[int]:
        return [n + 1 for n in range(count) if bits >> (first + n) & 1]

    return {
        "closures": frozenset(
            [(1, pad) for pad in group(0, PADS_MAX)]
            + [(2, pad) for pad in group(PADS_MAX, PADS_MAX)]
        ),
        "series": frozenset(group(128, 8)),
        "keys": frozenset(group(136, 8)),
        "sensed": frozenset(group(144, 2)),
        "continuity": bool(bits >> 146 & 1),
        "holds": frozenset(group(148, 2)),
    }


def _make(folder: Path, *variables: str) -> None:
    """Build under a lock, since several test processes may start at once."""
    with open(folder / "Makefile") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = subprocess.run(
            ["make", "-s", "-C", str(folder), *variables],
            check=False,
            capture_output=True,
            text=True,
        )
    if done.returncode:
        raise RuntimeError(f"make -C {folder} failed:\n{done.stdout}{done.stderr}")


def build_firmware(
    build: Path | None = None, clock_start_us: int = 0, driver: str = "reed"
) -> Path:
    """Build the firmware (in its usual place, or a variant elsewhere); give its ELF file."""
    if build is None:
        _make(FIRMWARE, f"DRIVER={driver}")
        name = "build" if driver == "reed" else f"build-{driver}"
        return FIRMWARE / name / "controller.elf"
    _make(FIRMWARE, f"BUILD={build}", f"CLOCK_START_US={clock_start_us}", f"DRIVER={driver}")
    return build / "controller.elf"


def build_emulator() -> Path:
    """Build the emulator; give its program."""
    _make(FIRMWARE / "emulator")
    return FIRMWARE / "emulator" / "build" / "emulator"


class Emulator:
    """One run of the emulated controller, as a context manager.

    Parameters
    ----------
    speed : int, optional
        Paced to so many times real time, 1-20. The guards run on the emulator's time, so
        a client must answer that much faster.
    fast : bool
        As fast as the host can, with no pace at all.
    elf : Path, optional
        Firmware to run; by default the one in `firmware/`, built if need be.
    driver : str
        What switches the pads: reed, crosspoint or multiplexer; firmware and rig alike.
    pads : int
        Fitted; the chain is as long as they need.
    eeprom : bytes, optional
        The stored configuration at the start, b"" for a blank EEPROM; without it, the
        defaults with as many pads as the rig has.

    Attributes
    ----------
    pty : str
        Path of the serial port.
    socket_path : str
        Where another process may follow the events.
    """

    def __init__(
        self,
        fast: bool = False,
        elf: Path | None = None,
        speed: int = 1,
        driver: str = "reed",
        pads: int = PADS,
        eeprom: bytes | None = None,
    ) -> None:
        self._pace = ["--fast"] if fast else ["--speed", str(speed)]
        self._elf = elf
        self._driver = driver
        self._pads = pads
        self._stored = configuration(pads=pads) if eeprom is None else eeprom
        self._changed = threading.Condition()
        self._decoder = Decoder()
        self._states: list[State] = []
        self._cycle = 0
        self._blinded = 0
        self._queues: list[queue.SimpleQueue] = []

    def __enter__(self) -> Self:
        self._folder = tempfile.mkdtemp(prefix="emulator-")
        self.socket_path = os.path.join(self._folder, "events")
        eeprom = Path(self._folder, "eeprom")
        eeprom.write_bytes((b"\xff" * EEPROM_CONFIGURATION + self._stored).ljust(1024, b"\xff"))
        command = [str(build_emulator()), "--socket", self.socket_path, "--wait", "--until-eof"]
        command += ["--driver", self._driver, "--pads", str(self._pads), "--eeprom", str(eeprom)]
        self._process = subprocess.Popen(
            [*command, *self._pace, str(self._elf or build_firmware(driver=self._driver))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.pty = self._process.stdout.readline().strip()
        if not self.pty:
            raise RuntimeError(f"the emulator ended at once with {self._process.wait()}")
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._socket.connect(self.socket_path)
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self.wait_cycles(START_CYCLES)
        return self

    def __exit__(self, *_exception) -> None:
        self.stop()

    @property
    def pid(self) -> int:
        """Process id of the emulator."""
        return self._process.pid

    # --- what the outputs do

    def events(self) -> list[State]:
        """Give every change of the outputs since the start, in order."""
        with self._changed:
            return list(self._states)

    @property
    def state(self) -> State:
        """The outputs as they are now."""
        with self._changed:
            return self._decoder.state

    @property
    def cycle(self) -> int:
        """The latest cycle heard of; at most 5 ms of the emulator's time behind."""
        with self._changed:
            return self._cycle

    @property
    def resets(self) -> list[int]:
        """Cycles at which the processor was reset after its start."""
        with self._changed:
            return list(self._decoder.resets)

    def subscribe(self) -> queue.SimpleQueue:
        """Give a queue of every `State` and `Tick` from now on, None at the emulator's end."""
        following: queue.SimpleQueue = queue.SimpleQueue()
        with self._changed:
            following.put(self._decoder.state)
            self._queues.append(following)
        return following

    def wait_for(self, wanted: Callable[[State], bool], seconds: float) -> State:
        """Wait until the outputs are as `wanted`; give that state.

        Raises
        ------
        TimeoutError
            When they aren't within `seconds` of the host's time.
        """
        with self._changed:
            if not self._changed.wait_for(lambda: wanted(self._decoder.state), seconds):
                raise TimeoutError(f"outputs still {self._decoder.state} after {seconds} s")
            return self._decoder.state

    def wait_cycles(self, cycles: int, seconds: float = 60.0) -> None:
        """Wait until the emulator has run this many cycles more."""
        with self._changed:
            until = self._cycle + cycles
            if not self._changed.wait_for(lambda: self._cycle >= until, seconds):
                raise TimeoutError(f"the emulator is only at cycle {self._cycle}")

    def settled(self) -> list[State]:
        """Give `events`, once what was just done has had time to show in them."""
        self.wait_cycles(10 * CYCLES_PER_MS)
        return self.events()

    # --- what is done to the controller

    def adc(self, channel: int, mv: int) -> None:
        """Put this many millivolts on a converter's pin, 0-5000."""
        self._say(f"adc {channel} {mv}")

    def rail(self, mv: int) -> None:
        """Let the toy's rail have this many millivolts, seen through the board's divider."""
        self.adc(0, round(mv / RAIL_DIVIDER))

    def current(self, ma: float) -> None:
        """Let the toy draw this current, seen through the shunt's amplifier."""
        self.adc(1, round(ma * CURRENT_MV_PER_MA))

    def current_later(self, ma: float, cycles: int) -> None:
        """Let the toy draw this current so many cycles after the next slice of 0.5 ms."""
        self._say(f"later {cycles} adc 1 {round(ma * CURRENT_MV_PER_MA)}")

    @property
    def injected(self) -> list[int]:
        """Cycles at which a current came that was asked for by `current_later`."""
        with self._changed:
            return list(self._decoder.injected)

    def stop_converter(self) -> None:
        """Let the converter stand still for ever."""
        self._say("converter dead")

    def set_eeprom(self, address: int, data: bytes) -> None:
        """Overwrite bytes of the EEPROM."""
        for place, byte in enumerate(data, address):
            self._say(f"eeprom {place} {byte:x}")

    def eeprom(self) -> bytes:
        """Give the EEPROM's first 64 bytes."""
        self._say("eeprom")
        return bytes.fromhex(self._decoder.answers.get(timeout=30))

    def untouched_stack(self) -> int:
        """Give the bytes between the variables and the deepest stack so far."""
        self._say("stack")
        return int(self._decoder.answers.get(timeout=30))

    def latency_cycles(self) -> int:
        """Give the cycles from the latest answered message's end to its reply's first byte."""
        self._say("latency")
        return int(self._decoder.answers.get(timeout=30))

    def chain_length(self, registers: int) -> None:
        """Let a board be missing from the chain, or one more be there."""
        self._say(f"registers {registers}")

    def stick(self, bit: int, level: int) -> None:
        """Let one stage of the chain keep its level; -1 lets it go."""
        self._say(f"stuck {bit} {level}")

    def blind(self, ms: int) -> None:
        """Let time pass without an instruction, as if interrupts were off for so long."""
        self._blinded += 1
        self._say(f"blind {ms * CYCLES_PER_MS}")

    def wait_until_it_sees(self) -> None:
        """Wait for the end of the last `blind`, and 10 ms more for what came meanwhile."""

        def sees() -> bool:
            ends = self._decoder.blind_until
            return len(ends) == self._blinded and self._cycle > ends[-1] + 10 * CYCLES_PER_MS

        with self._changed:
            if self._blinded and not self._changed.wait_for(sees, 60):
                raise TimeoutError("the emulator stays blind")

    def frame(self, byte: int) -> None:
        """Let the byte this many from now (1: the next) come without its stop bit."""
        self._say(f"frame {byte}")

    def reset(self) -> None:
        """Pull the reset pin; the firmware listens again `START_CYCLES` later."""
        self._say("reset")

    def restart(self, brown_out: bool = False) -> None:
        """Reset it and wait until it listens again."""
        count = len(self.resets) + 1
        (self.brown_out if brown_out else self.reset)()
        with self._changed:
            done = self._changed.wait_for(
                lambda: len(resets := self._decoder.resets) >= count
                and self._cycle > resets[-1] + START_CYCLES,
                60,
            )
        if not done:
            raise TimeoutError("the emulator doesn't start again")

    def brown_out(self) -> None:
        """Let the 5 V sag: a reset, and the EEPROM byte being written is spoilt."""
        self._say("reset brownout")

    def jam(self) -> None:
        """Let the program hang where it is; only the watchdog gets it out."""
        self._say("jam")

    def read_back(self, fault: str) -> None:
        """Let the chain's read-back be `low` or `high` for ever, or `ok` again."""
        self._say(f"readback {fault}")

    def stop(self) -> None:
        """End the emulator in order; may be called twice."""
        if self._process.poll() is None:
            self._process.terminate()
        self._finish()

    def kill(self) -> None:
        """End the emulator as a pulled plug would."""
        self._process.kill()
        self._finish()

    def _finish(self) -> None:
        self._process.wait(timeout=10)
        self._reader.join(timeout=10)
        self._socket.close()
        self._process.stdin.close()
        self._process.stdout.close()
        shutil.rmtree(self._folder, ignore_errors=True)

    def _say(self, line: str) -> None:
        self._socket.sendall(line.encode() + b"\n")

    def _read(self) -> None:
        rest = b""
        while True:
            try:
                data = self._socket.recv(65536)
            except OSError:
                data = b""
            if not data:
                break
            *lines, rest = (rest + data).split(b"\n")
            with self._changed:
                for line in lines:
                    self._take(self._decoder.feed(line.decode()))
                self._changed.notify_all()
        with self._changed:
            for following in self._queues:
                following.put(None)

    def _take(self, event: State | Tick | None) -> None:
        if event is None:
            return
        self._cycle = max(self._cycle, event.cycle)
        if isinstance(event, State):
            self._states.append(event)
        for following in self._queues:
            following.put(event)


class Port:
    """A plain serial client for tests: one line out, one line in.

    Parameters
    ----------
    path : str
        The emulator's pty.
    """

    def __init__(self, path: str, timeout_s: float = 5.0) -> None:
        import serial

        self.serial = serial.Serial(path, 250_000, timeout=timeout_s)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_exception) -> None:
        self.serial.close()

    def write(self, message: str | bytes) -> None:
        """Send one message; its line end is added to text, never to bytes."""
        self.serial.write(message.encode() + b"\n" if isinstance(message, str) else message)

    def ask(self, query: str) -> str:
        """Send a query and give its reply without the line end."""
        self.write(query)
        reply = self.serial.readline()
        if not reply.endswith(b"\n"):
            raise TimeoutError(f"{query!r} was answered with {reply!r}")
        return reply[:-1].decode()

    def errors(self) -> list[int]:
        """Empty the error queue; give its numbers, oldest first."""
        numbers = []
        while number := int(self.ask("SYSTem:ERRor?").split(",")[0]):
            numbers.append(number)
        return numbers

    def touch(self, seconds: float = 10.0) -> list[int]:
        """Start the touch that is set, wait for its end, give its timeline in µs."""
        self.write("TOUCh:INITiate")
        return self.timeline(seconds)

    def timeline(self, seconds: float = 10.0) -> list[int]:
        """Wait for the running touch's end; give its timeline in µs."""
        deadline_s = time.monotonic() + seconds
        while self.ask("TOUCh:STATe?") != "DONE":
            if time.monotonic() > deadline_s:
                raise TimeoutError("the touch doesn't end")
        return [int(us) for us in self.ask("TOUCh:TIMeline?").split(",")]
