"""The controller's serial link: one message at a time, each reply matched to its query.

The controller never speaks unasked, so anything that is there before a query was sent,
or left over behind its reply, is an error, as are short replies. A link that was
interrupted in the middle of an exchange is brought back in step before the next one.
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
import sys
import tempfile
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import serial
from serial.tools import list_ports

from rig.bench.controller_errors import ACTIONS
from rig.errors import BenchError, GuardTripped, LinkLost, Restarted

_LINK_ERRORS: tuple[type[BaseException], ...]
if sys.platform == "win32":  # there the port itself is exclusive
    _LINK_ERRORS = (OSError,)
else:
    import fcntl
    import termios

    _LINK_ERRORS = (OSError, termios.error)
_OPENING_ERRORS = (*_LINK_ERRORS, ValueError)

REPLY_S = 1.0
"""A reply takes about 1.5 ms; a second of silence is a fault, not slowness."""

RESTART_S = 6.0
"""Opening the port restarts many boards; boot loader and start-up take up to a few seconds."""

QUIET_S = 0.1
"""Nothing may arrive for this long before the link counts as in step."""

LONGEST_REPLY = 512
FIRMWARE_NEEDED = (0, 3)
POWER_ON = -500
GUARD_LATCHED = 105
GUARD_TRIPS = (106, 107)
"""The toy's supply current was over the peak or the average limit."""
SUPPLY_FAULTS = (110, 111)
"""The toy's rail isn't what a toy needs, or doesn't fall: no touch's doing, whatever else latched."""

_Answer = TypeVar("_Answer")
_ERROR_REPLY = re.compile(r'([+-]?\d+),"(.*)"')


@dataclass(frozen=True)
class Exchange:
    """Bytes that crossed the link: `at_s` on the host's clock, `sent` or received."""

    at_s: float
    sent: bool
    data: bytes


class Controller:
    """The controller at the other end of a serial port. Make one with `Controller.open`."""

    def __init__(
        self, port: str, link: serial.Serial, lock: int | None, clock: Callable[[], float]
    ) -> None:
        self.port = port
        self.identity = ""
        self.firmware: tuple[int, ...] = ()
        self.log: deque[Exchange] = deque(maxlen=2000)
        self._link = link
        self._lock = lock
        self._clock = clock
        self._in_step = False
        self._boots: int | None = None

    @classmethod
    def open(
        cls,
        port: str,
        baud: int = 250_000,
        *,
        clock: Callable[[], float] = time.monotonic,
        restart_s: float = RESTART_S,
        reply_s: float = REPLY_S,
    ) -> Controller:
        """Open the port for this program alone and make sure that our controller is there.

        Parameters
        ----------
        port : str
            Name of the serial port, `/dev/ttyUSB0` or `COM3`.
        baud : int
            Bits per second; 250,000 is exact on a 16 MHz controller.
        clock : callable
            Gives seconds, for deadlines.
        restart_s : float
            How long to wait for the first reply, s (the board may restart first).
        reply_s : float
            How long each later reply may take, s.

        Raises
        ------
        LinkLost
            Port missing, in use or not permitted; no reply; another device; old firmware.
        """
        lock = _take_lock(port)
        try:
            link = serial.Serial(port, baud, timeout=reply_s, write_timeout=reply_s, exclusive=True)
        except _OPENING_ERRORS as error:
            _give_lock(lock)
            raise LinkLost(_why_not_open(port, error)) from error
        controller = cls(port, link, lock, clock)
        try:
            controller._greet(restart_s)
        except BaseException:
            controller.close()
            raise
        return controller

    def query(self, message: str) -> str:
        """Send a query and give its one-line reply.

        Parameters
        ----------
        message : str
            One message that has exactly one reply, without the line end.

        Raises
        ------
        LinkLost
            Bytes that nobody asked for, no or a short reply, or one that isn't plain text.
        """
        self._check_in_step(message)
        self._in_step = False  # until the whole reply is in; an interrupt leaves it so
        self._send(message)
        raw = self._read_line()
        if not raw.endswith(b"\n"):
            got = f"only {raw!r}" if raw else "nothing"
            raise LinkLost(
                f"controller on {self.port}: no whole reply to '{message}' ({got} within "
                f"{self._link.timeout:g} s); check cable and power, then start again"
            )
        left = self._waiting()
        try:
            reply = raw.decode("ascii").rstrip("\r\n")
        except UnicodeDecodeError:
            reply = ""
        if left or not reply.isprintable() or not reply:
            rest = self._receive(lambda: self._link.read(left)) if left else b""
            raise LinkLost(
                f"controller on {self.port}: wrong reply to '{message}': {raw + rest!r}; "
                "check the cable and that nothing else uses the port"
            )
        self._in_step = True
        return reply

    def command(self, message: str) -> None:
        """Send a command without reply, then make sure that the controller took it.

        Raises
        ------
        LinkLost
            As for `query`.
        BenchError
            The controller put an error in its queue; the message has its number and text.
        """
        self.send(message)
        self.check_errors(f"after '{message}'")

    def send(self, message: str) -> None:
        """Send a command without reply; the caller reads the error queue.

        Raises
        ------
        LinkLost
            Bytes that nobody asked for, or the port is gone.
        """
        self._check_in_step(message)
        self._in_step = False
        self._send(message)
        self._in_step = True

    def urgent(self, message: str) -> None:
        """Send a command at once, whatever is under way, and bring the link back in step after.

        Nothing is read before it: neither replies that are due nor the error queue. A line end
        goes first, so that half a message that was sent before is no part of it.

        Raises
        ------
        LinkLost
            The port is gone, or never gets quiet; in the latter case it was sent all the same.
        """
        self._in_step = False
        self._send("\n" + message)
        self._resync()

    def check_errors(self, after: str) -> None:
        """Read the controller's error queue to its end; `after` says when, for the message.

        Raises
        ------
        Restarted
            The controller restarted by itself.
        GuardTripped
            The guard holds everything open, and the toy's supply itself is as it should be.
        BenchError
            Anything else was in the queue.
        """
        self.complain(self.errors(), after)

    def complain(self, errors: list[tuple[int, str]], after: str) -> None:
        """Raise what `check_errors` raises for these errors; nothing for none."""
        if not errors:
            return
        numbers = [number for number, _ in errors]
        if POWER_ON in numbers:
            self.check_restart(errors)
        text = _told(errors)
        faults = [number for number in numbers if number in SUPPLY_FAULTS]
        actions = [ACTIONS[number] for number in (*faults, *numbers) if number in ACTIONS]
        hint = f": {actions[0]}" if actions else ""
        guarded = not faults and any(n in (GUARD_LATCHED, *GUARD_TRIPS) for n in numbers)
        kind = GuardTripped if guarded else BenchError
        raise kind(f"controller on {self.port} reports {text} {after}{hint}")

    def errors(self) -> list[tuple[int, str]]:
        """Take everything out of the controller's error queue: (number, text), oldest first."""
        found: list[tuple[int, str]] = []
        for _ in range(40):
            reply = self.query("SYSTem:ERRor?")
            match = _ERROR_REPLY.fullmatch(reply)
            if match is None:
                raise self.wrong_reply("SYSTem:ERRor?", reply)
            if int(match[1]) == 0:
                return found
            found.append((int(match[1]), match[2]))
        raise LinkLost(f"controller on {self.port}: its error queue never gets empty; restart it")

    def check_restart(self, told: list[tuple[int, str]] | None = None) -> None:
        """Make sure that the controller hasn't restarted since it was opened.

        Parameters
        ----------
        told : list of (int, str)
            What was taken out of the error queue just before.

        Raises
        ------
        Restarted
            It did: everything is open and the toy is off. Who it is was checked again.
        LinkLost
            Another device, or other firmware, is there now.
        """
        boots = self._read_boots()
        if boots == self._boots:
            return
        before, self._boots = self._boots, boots
        why = _told([*(told or ()), *self.errors()])
        self._identify(self.query("*IDN?"))
        raise Restarted(
            f"controller on {self.port} restarted by itself (start {before} -> {boots}; {why}): "
            "everything is open and the toy is off; check its power, then start again"
        )

    def wake(self, restart_s: float = RESTART_S) -> None:
        """Wait out a restart, until the controller replies again.

        Raises
        ------
        LinkLost
            It doesn't within `restart_s`, or the port is gone.
        """
        # Some boot loaders start the firmware only after silence: ask less and less often.
        reply_s = self._wait_for(min(0.3, self._link.timeout))
        deadline = self._clock() + restart_s
        heard = b""
        try:
            # The line end first: it closes half a message that a killed host left behind.
            while b"\n" not in heard:
                if self._clock() > deadline:
                    said = f"only {heard[-60:]!r} came" if heard else "nothing came"
                    raise LinkLost(
                        f"no controller replies on {self.port} ({said} within {restart_s:g} s): "
                        "check power, cable and that the firmware is loaded"
                    )
                self._send("\n*IDN?")
                heard += self._read_line()
                self._wait_for(2 * self._link.timeout)
            self._resync()
        finally:
            self._wait_for(reply_s)

    def numbers(self, message: str, count: int) -> list[int]:
        """Send a query whose reply is `count` whole numbers separated by commas."""
        return self._values(message, count, int)

    def decimal(self, message: str) -> float:
        """Send a query whose reply is one decimal number."""
        return self._values(message, 1, float)[0]

    def wrong_reply(self, message: str, reply: str) -> LinkLost:
        """Make the error for a reply that doesn't fit its query."""
        self._in_step = False
        return LinkLost(
            f"controller on {self.port}: reply {reply!r} doesn't fit the query '{message}'; "
            "start again, and check the cable if it comes back"
        )

    def close(self) -> None:
        """Give the port back; never raises."""
        with contextlib.suppress(*_LINK_ERRORS):
            self._link.close()
        _give_lock(self._lock)
        self._lock = None

    def _greet(self, restart_s: float) -> None:
        """Wait out the restart that opening may have caused, then check who is there."""
        self.wake(restart_s)
        self._identify(self.query("*IDN?"))
        # What the queue holds now is about the time before: power-on, half a message.
        self.command("*CLS")
        self._boots = self._read_boots()

    def _identify(self, reply: str) -> None:
        fields = [field.strip() for field in reply.split(",")]
        if len(fields) != 4 or fields[:2] != ["padsweep", "controller"]:
            raise LinkLost(
                f"{self.port} is another device ('{reply}'), not a padsweep controller: "
                "set controller.port in rig.yaml"
            )
        try:
            self.firmware = tuple(int(part) for part in fields[3].split("."))
        except ValueError:
            self.firmware = ()
        needed = FIRMWARE_NEEDED
        if self.firmware[:1] != needed[:1] or self.firmware < needed:
            raise LinkLost(
                f"controller on {self.port} has firmware {fields[3]}, this program needs "
                f"{needed[0]}.{needed[1]} or a later {needed[0]}.x: load the one in firmware/"
            )
        self.identity = reply

    def _read_boots(self) -> int:
        return self.numbers("SYSTem:BOOTs?", 1)[0]

    def _values(self, message: str, count: int, kind: Callable[[str], _Answer]) -> list[_Answer]:
        reply = self.query(message)
        try:
            values = [kind(part) for part in reply.split(",")]
        except ValueError:
            values = []
        if len(values) != count:
            raise self.wrong_reply(message, reply)
        return values

    def _read_line(self) -> bytes:
        """Read up to a line's end, or as much as came before a silence of the link's timeout.

        On a busy machine that time may be over when this program gets to its first byte, with
        all the others waiting: only silence ends a reply.
        """
        raw = b""
        while not raw.endswith(b"\n") and len(raw) < LONGEST_REPLY:
            more = self._receive(lambda: self._link.read_until(b"\n", LONGEST_REPLY))
            if not more:
                break
            raw += more
        return raw

    def _check_in_step(self, message: str) -> None:
        if not self._in_step:
            self._resync()
        left = self._waiting()
        if left:
            unasked = self._receive(lambda: self._link.read(left))
            self._in_step = False
            raise LinkLost(
                f"controller on {self.port}: {unasked!r} came unasked before '{message}'; "
                "check that nothing else uses the port"
            )

    def _resync(self) -> None:
        """Let whatever is under way arrive and throw it away."""
        timeout = self._wait_for(QUIET_S)
        try:
            deadline = self._clock() + REPLY_S + 1.0
            while self._receive(lambda: self._link.read(LONGEST_REPLY)):
                if self._clock() > deadline:
                    raise LinkLost(
                        f"{self.port} keeps talking unasked: this is not a padsweep controller; "
                        "set controller.port in rig.yaml"
                    )
        finally:
            self._wait_for(timeout)
        self._in_step = True

    def _wait_for(self, seconds: float) -> float:
        """Set how long a reply may take; gives how long it might before."""
        before: float = self._link.timeout
        self._guarded(lambda: setattr(self._link, "timeout", seconds))
        return before

    def _waiting(self) -> int:
        return self._guarded(lambda: self._link.in_waiting)

    def _send(self, message: str) -> None:
        data = (message + "\n").encode("ascii")
        self.log.append(Exchange(self._clock(), True, data))
        self._guarded(lambda: self._link.write(data))

    def _receive(self, read: Callable[[], bytes]) -> bytes:
        data = self._guarded(read)
        if data:
            self.log.append(Exchange(self._clock(), False, data))
        return data

    def _guarded(self, act: Callable[[], _Answer]) -> _Answer:
        try:
            return act()
        except _LINK_ERRORS as error:
            raise LinkLost(
                f"controller on {self.port} is gone ({_short(error)}): "
                "plug it in again, then start again"
            ) from error


def _take_lock(port: str) -> int | None:
    """Lock the port among programs that ask; the system frees it when we die."""
    if sys.platform == "win32":
        return None
    if not os.path.exists(port):
        return None
    name = re.sub(r"\W+", "-", os.path.realpath(port)).strip("-")
    path = os.path.join(tempfile.gettempdir(), f"padsweep-{name}.lock")
    try:
        lock = os.open(path, os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o666)
    except OSError:
        return None  # another user's lock file: the port's own exclusive mode must do
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(lock)
        raise LinkLost(
            f"{port} is in use by another padsweep: let it end or stop it, then start again"
        ) from error
    return lock


def _give_lock(lock: int | None) -> None:
    if lock is not None:
        os.close(lock)


def _told(errors: list[tuple[int, str]]) -> str:
    return "; ".join(f'{number} "{words}"' for number, words in errors)


def _short(error: BaseException) -> str:
    number = getattr(error, "errno", None)
    return os.strerror(number) if number else str(error).splitlines()[0] if str(error) else "?"


def _why_not_open(port: str, error: BaseException) -> str:
    number = getattr(error, "errno", None)
    if number == errno.EACCES:
        return f"{port} may not be used by you: add yourself to its group (often 'dialout')"
    if number in (errno.EBUSY, errno.EAGAIN) or "lock" in str(error):
        return f"{port} is in use by another program: close it, then start again"
    if number == errno.ENOENT or not os.path.exists(port):
        there = ", ".join(sorted(found.device for found in list_ports.comports())) or "none"
        return (
            f"port {port} isn't there (ports there are: {there}): plug in the controller "
            "or set controller.port in rig.yaml"
        )
    return f"{port} can't be opened ({_short(error)}): is it a serial port?"
