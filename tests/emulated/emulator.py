"""Driver of the emulated controller: the real firmware in the emulator, its pins decoded.

    with Emulator() as emulator:
        port = Port(emulator)
        port.write("OUTPut ON")
        emulator.wait_for(lambda state: state.supply, seconds=1)
        emulator.events()      # every change of the outputs so far, with its cycle

The emulator's time stands still but while a test waits for something, so that nothing hangs on
how fast or how busy the host is. A program that talks to the pty needs `Emulator(paced=True)`,
whose time goes on with the host's; another process may connect to `emulator.socket_path` and
use `Decoder` on the lines it gets, a `State` (an output changed) or a `Tick` (5 ms have passed).

The firmware counts its start as an error, -500,"Power on": read the queue (or *CLS) once.
"""

from __future__ import annotations

import binascii
import contextlib
import fcntl
import functools
import os
import queue
import shutil
import socket
import struct
import subprocess
import tempfile
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Self

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
CYCLES_PER_US = 16
CYCLES_PER_MS = 16_000
CYCLES_PER_S = 16_000_000
HOLD_MS = {"short": 6, "long": 20}
"""How long one rise of the heartbeat holds the supply: the two worst corners of its parts."""

SWITCH = {"good": 0, "welded": 1, "closed by beats alone": 2, "closed by its line alone": 3}

START_CYCLES = 45 * CYCLES_PER_MS
"""From a reset until the firmware listens: what is sent earlier it drops, and says so."""

PADS = 32
"""Pads that the emulated rig has, and its stored configuration says, unless told otherwise."""

PADS_MAX = 64
EEPROM_CONFIGURATION = 32
"""Where the stored configuration begins; its layout stands in firmware/configuration.h."""

CURRENT_MV_PER_MA = 11

HANGS_S = 300.0
"""Only a process that hangs takes so long on the host's clock; nothing is measured by it."""

ANSWER_S = 45.0
"""Whatever is asked is answered by then, of the emulator's time: the longest touch takes 40 s."""

PIECE_BYTES = 100
"""So much for the serial line goes into one line of the socket."""


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
    hold_s: int = 60,
    lead_ohm: int = 1_500,
    supply_mv: int = 1_000,
    pad_ua: int = 10_000,
    bank_ohm=(),
    low=(),
    low_ms: int = 100,
    low_lead_ohm: int = 32,
    limiter: int | None = None,
    layout: int = 3,
) -> bytes:
    """Give the bytes of a configuration as it is stored, its CRC behind it.

    The supply is so low that no group of pads carries too much. The limiter is fitted where there
    are low pads, unless told otherwise.
    """
    data = bytes([layout, pads, closures]) + bits_of(forbidden) + bits_of(rails)
    data += bits_of(rail_series, 8)
    data += struct.pack("<6H", deadman_ms, closure_ms, peak_ma, average_ma, blanking_ms, hold_s)
    data += struct.pack("<3H", lead_ohm, supply_mv, pad_ua)
    data += struct.pack("<8H", *[ohm // 100 for ohm in bank_ohm], *[0] * (8 - len(bank_ohm)))
    data += struct.pack("<HBB", low_ms, low_lead_ohm, bool(low) if limiter is None else limiter)
    data += bits_of(low)
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
        self.injected: list[int] = []
        self.answers: queue.SimpleQueue[str] = queue.SimpleQueue()
        self.runs = 0
        self.sent = bytearray()

    def feed(self, line: str) -> State | Tick | None:
        """Take one line; give the new state, a tick, or None when nothing changed."""
        words = line.split()
        match words:
            case ["tick", cycle]:
                return Tick(int(cycle))
            case ["ran", cycle]:
                self.runs += 1
                return Tick(int(cycle))
            case ["serial", data]:
                self.sent += bytes.fromhex(data)
                return None
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
            case ["blind" | "eeprom" | "stack" | "latency" | "now" | "gap" | "beats", *answer]:
                self.answers.put(" ".join(answer))
                return None
            case ["reset", cycle]:
                self.resets.append(int(cycle))
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


def hurry(pid: int) -> None:
    """Let a process go before other work, where that is allowed: its time is the host's."""
    with contextlib.suppress(PermissionError):
        os.setpriority(os.PRIO_PROCESS, pid, -10)


@functools.cache
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
    elf : Path, optional
        Firmware to run; by default the one in `firmware/`, built if need be.
    paced : bool
        Time goes on with the host's, for a program that talks to the pty. Otherwise it goes
        on only in `wait_for` and its like, as fast as the host can.
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
        Path of the serial port; only a paced emulator answers there.
    socket_path : str
        Where another process may follow the events.
    """

    def __init__(
        self,
        elf: Path | None = None,
        paced: bool = False,
        driver: str = "reed",
        pads: int = PADS,
        eeprom: bytes | None = None,
    ) -> None:
        self._elf = elf
        self._paced = paced
        self._driver = driver
        self._pads = pads
        self._stored = configuration(pads=pads) if eeprom is None else eeprom
        self._changed = threading.Condition()
        self._decoder = Decoder()
        self._states: list[State] = []
        self._cycle = 0
        self._sees_at = 0
        self._ended = False

    def __enter__(self) -> Self:
        self._folder = tempfile.mkdtemp(prefix="emulator-")
        self.socket_path = os.path.join(self._folder, "events")
        eeprom = Path(self._folder, "eeprom")
        eeprom.write_bytes((b"\xff" * EEPROM_CONFIGURATION + self._stored).ljust(1024, b"\xff"))
        command = [str(build_emulator()), "--socket", self.socket_path, "--wait", "--until-eof"]
        command += ["--driver", self._driver, "--pads", str(self._pads), "--eeprom", str(eeprom)]
        command += [] if self._paced else ["--step"]
        self._process = subprocess.Popen(
            [*command, str(self._elf or build_firmware(driver=self._driver))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        if self._paced:
            hurry(self._process.pid)
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
        """The cycle that the emulator is at; everything done to it before is done."""
        return self._now()[0] if self._paced else self._cycle

    @property
    def heard(self) -> int:
        """The cycle at which the latest message's end came in on the serial line."""
        return self._now()[1]

    def _now(self) -> list[int]:
        return [int(number) for number in self._ask("now").split()]

    @property
    def resets(self) -> list[int]:
        """Cycles at which the processor was reset after its start."""
        with self._changed:
            return list(self._decoder.resets)

    def wait_for(self, wanted: Callable[[State], bool], seconds: float) -> State:
        """Let time go on until the outputs are as `wanted`, be it for a moment; give that state.

        Raises
        ------
        TimeoutError
            When they aren't within `seconds` of the emulator's time.
        """
        looked_at = max(0, len(self.events()) - 1)
        found: list[State] = []

        def is_so() -> bool:
            nonlocal looked_at
            found.extend(filter(wanted, self._states[looked_at:]))
            looked_at = len(self._states)
            return bool(found)

        self.wait_until(is_so, seconds)
        return found[0]

    def wait_cycles(self, cycles: int) -> None:
        """Let time go on for this many cycles."""
        until = self.cycle + cycles
        with self._changed:
            while self._cycle < until:
                self._go_on(until)

    def wait_until(self, is_so: Callable[[], bool], seconds: float) -> None:
        """Let time go on until something is so, which is asked whenever anything is told.

        Raises
        ------
        TimeoutError
            When it isn't within `seconds` of the emulator's time.
        """
        until = self.cycle + round(seconds * CYCLES_PER_S)
        with self._changed:
            while not is_so():
                if self._cycle >= until:
                    raise TimeoutError(f"not within {seconds:g} s: {self._decoder.state}")
                self._go_on(until)

    def _go_on(self, until: int) -> None:
        """Let time go on until something is told; the lock is held."""
        if self._paced:
            told = self._changed.wait(HANGS_S)
        else:
            runs = self._decoder.runs
            self._say(f"run {until - self._cycle}")
            told = self._changed.wait_for(
                lambda: self._decoder.runs > runs or self._ended, HANGS_S)
        if self._ended or not told:
            raise TimeoutError(f"the emulator {'has ended' if self._ended else 'hangs'}")

    def settled(self) -> list[State]:
        """Give `events`, once what was just done has had time to show in them."""
        self.wait_cycles(10 * CYCLES_PER_MS)
        return self.events()

    # --- the serial line of an emulator that isn't paced

    def send(self, data: bytes) -> None:
        """Put bytes on the wire to the controller."""
        for at in range(0, len(data), PIECE_BYTES):
            self._say(f"serial {data[at : at + PIECE_BYTES].hex()}")

    def take_line(self, seconds: float) -> bytes:
        """Let time go on until the controller has sent a line, and give it with its end."""
        sent = self._decoder.sent
        self.wait_until(lambda: b"\n" in sent, seconds)
        with self._changed:
            length = sent.index(b"\n") + 1
            line = bytes(sent[:length])
            del sent[:length]
            return line

    def take_sent(self) -> bytes:
        """Give what the controller has sent and nobody took yet."""
        with self._changed:
            data = bytes(self._decoder.sent)
            self._decoder.sent.clear()
            return data

    # --- what is done to the controller

    def adc(self, channel: int, mv: int) -> None:
        """Put this many millivolts on a converter's pin, 0-5000."""
        self._say(f"adc {channel} {mv}")

    def rail(self, mv: int) -> None:
        """Let the toy's rail have this many millivolts whatever the switch does."""
        self._say(f"rail {mv}")

    def cells(self, mv: int) -> None:
        """Let the rail follow the switch again, with this many millivolts while it is on."""
        self._say(f"cells {mv}")

    def switch(self, state: str) -> None:
        """Let the supply switch be one of `SWITCH`."""
        self._say(f"switch {SWITCH[state]}")

    def hold(self, corner: str) -> None:
        """Let a beat hold the supply for one of `HOLD_MS`; it is short at the start."""
        self._say(f"hold {HOLD_MS[corner] * CYCLES_PER_MS}")

    def beats(self) -> int:
        """Give how often the heartbeat has risen so far."""
        return int(self._ask("beats"))

    def longest_gap_ms(self) -> float:
        """Give the longest time between two rises of the heartbeat since it was last asked."""
        return int(self._ask("gap")) / CYCLES_PER_MS

    def current(self, ma: float) -> None:
        """Let the toy draw this current, seen through the shunt's amplifier."""
        self.adc(1, round(ma * CURRENT_MV_PER_MA))

    def current_later(self, ma: float, cycles: int) -> None:
        """Let the toy draw this current so many cycles after the next slice of 0.5 ms."""
        self._say(f"later {cycles} adc 1 {round(ma * CURRENT_MV_PER_MA)}")

    def current_when_closed(self, ma: float) -> None:
        """Let the toy draw this current from the moment on at which a pad is closed."""
        self._say(f"closing adc 1 {round(ma * CURRENT_MV_PER_MA)}")

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

    def brown_out_fuse(self, extended: int) -> None:
        """Burn the extended fuse bits, in which the brown-out level is."""
        self._say(f"fuse 2 {extended:x}")

    def eeprom(self) -> bytes:
        """Give the EEPROM's first 104 bytes."""
        return bytes.fromhex(self._ask("eeprom"))

    def untouched_stack(self) -> int:
        """Give the bytes between the variables and the deepest stack so far."""
        return int(self._ask("stack"))

    def latency_cycles(self) -> int:
        """Give the cycles from the latest answered message's end to its reply's first byte."""
        return int(self._ask("latency"))

    def chain_length(self, registers: int) -> None:
        """Let a board be missing from the chain, or one more be there."""
        self._say(f"registers {registers}")

    def stick(self, bit: int, level: int) -> None:
        """Let one stage of the chain keep its level; -1 lets it go."""
        self._say(f"stuck {bit} {level}")

    def blind(self, ms: int) -> None:
        """Let time pass without an instruction, as if interrupts were off for so long."""
        self._sees_at = int(self._ask(f"blind {ms * CYCLES_PER_MS}"))

    def wait_until_it_sees(self) -> None:
        """Wait for the end of the last `blind`, and 10 ms more for what came meanwhile."""
        self.wait_cycles(max(0, self._sees_at - self.cycle) + 10 * CYCLES_PER_MS)

    def frame(self, byte: int) -> None:
        """Let the byte this many from now (1: the next) come without its stop bit."""
        self._say(f"frame {byte}")

    def reset(self) -> None:
        """Pull the reset pin; the firmware listens again `START_CYCLES` later."""
        self._say("reset")

    def restart(self, brown_out: bool = False) -> None:
        """Reset it and wait until it listens again."""
        (self.brown_out if brown_out else self.reset)()
        self.wait_cycles(START_CYCLES)

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
        self._process.wait(timeout=HANGS_S)
        self._reader.join(timeout=HANGS_S)
        self._socket.close()
        self._process.stdin.close()
        self._process.stdout.close()
        shutil.rmtree(self._folder, ignore_errors=True)

    def _say(self, line: str) -> None:
        self._socket.sendall(line.encode() + b"\n")

    def _ask(self, question: str) -> str:
        self._say(question)
        return self._decoder.answers.get(timeout=HANGS_S)

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
            self._ended = True
            self._changed.notify_all()

    def _take(self, event: State | Tick | None) -> None:
        if event is None:
            return
        self._cycle = max(self._cycle, event.cycle)
        if isinstance(event, State):
            self._states.append(event)


class Port:
    """A plain serial client for tests: one line out, one line in.

    Parameters
    ----------
    emulator : Emulator
        Not paced.
    """

    def __init__(self, emulator: Emulator) -> None:
        self._emulator = emulator

    def write(self, message: str | bytes) -> None:
        """Send one message; its line end is added to text, never to bytes."""
        self._emulator.send(message.encode() + b"\n" if isinstance(message, str) else message)

    def line(self) -> str:
        """Wait for a reply and give it without the line end."""
        return self._emulator.take_line(ANSWER_S)[:-1].decode()

    def replies(self) -> list[str]:
        """Give the replies that came and nobody waited for."""
        return self._emulator.take_sent().decode().splitlines()

    def ask(self, query: str) -> str:
        """Send a query and give its reply without the line end."""
        self.write(query)
        return self.line()

    def errors(self) -> list[int]:
        """Empty the error queue; give its numbers, oldest first."""
        numbers = []
        while number := int(self.ask("SYSTem:ERRor?").split(",")[0]):
            numbers.append(number)
        return numbers

    def touch(self) -> list[int]:
        """Start the touch that is set, wait for its end, give its timeline in µs."""
        self.write("TOUCh:INITiate")
        return self.timeline()

    def timeline(self) -> list[int]:
        """Wait for the running touch's end; give its timeline in µs."""
        until = self._emulator.cycle + round(ANSWER_S * CYCLES_PER_S)
        while self.ask("TOUCh:STATe?") != "DONE":
            assert self._emulator.cycle < until, "the touch doesn't end"
            self._emulator.wait_cycles(10 * CYCLES_PER_MS)
        return [int(us) for us in self.ask("TOUCh:TIMeline?").split(",")]
