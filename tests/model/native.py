"""The natively built firmware (firmware/native) from Python."""

from __future__ import annotations

import ctypes
import fcntl
import subprocess
from pathlib import Path

NATIVE = Path(__file__).resolve().parents[2] / "firmware" / "native"
POWER, WATCHDOG, BROWN_OUT = range(3)
OK, OVERRUN, FRAME = range(3)


class _Outputs(ctypes.Structure):
    _fields_ = [("image", ctypes.c_uint8 * 19)] + [
        (name, ctypes.c_bool) for name in ("supply", "bleed", "reset_line", "marker")
    ]


def _load() -> ctypes.CDLL:
    with open(NATIVE / "Makefile") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        made = subprocess.run(
            ["make", "-s", "-C", str(NATIVE)], check=False, capture_output=True, text=True
        )
    if made.returncode:
        raise RuntimeError(f"the native build failed:\n{made.stdout}{made.stderr}")
    library = ctypes.CDLL(str(NATIVE / "build" / "libcontroller.so"))
    library.machine_outputs.restype = ctypes.POINTER(_Outputs)
    library.machine_now_us.restype = ctypes.c_uint64
    library.machine_settle.restype = library.machine_is_latched.restype = ctypes.c_bool
    library.machine_take.restype = ctypes.c_size_t
    return library


class NativeController:
    """The one machine of the library; a second one shares it.

    It starts with a blank EEPROM, 3 boards of 8 pads and 20 mA drawn by the toy.
    """

    def __init__(self) -> None:
        self._library = _load()
        self._replies = ctypes.create_string_buffer(65536)
        self._library.machine_blank()
        self.start()

    def start(self, cause: int = POWER) -> None:
        """Restart it; EEPROM and what is outside stay."""
        self._library.machine_start(cause)
        self._library.machine_settle(1_000_000)

    def keep(self) -> None:
        """Remember the whole machine as it is."""
        self._library.machine_keep()

    def back(self) -> None:
        """Go back to where it was kept."""
        self._library.machine_return()

    def send(self, data: bytes, flaw: int = OK) -> None:
        """Put bytes on the wire, the first of them with a flaw."""
        for byte in data:
            self._library.machine_send(byte, flaw)
            flaw = OK

    def take(self) -> bytes:
        """Give what was replied since the last call."""
        length = self._library.machine_take(self._replies, 65536)
        return self._replies.raw[:length]

    def ask(self, message: str, most_ms: int = 30_000) -> str:
        """Send one message, let it and a touch run, give what came back without its line end."""
        self.send(message.encode("latin-1") + b"\n")
        self._library.machine_settle(most_ms * 1000)
        return self.take().decode().removesuffix("\n")

    def run(self, ms: float) -> None:
        """Let time pass."""
        self._library.machine_run(round(ms * 1000))

    def current(self, ma: int) -> None:
        """Let the toy draw this much while its supply is on."""
        self._library.machine_current_ma(ma)

    def falls_at_once(self) -> None:
        """Let the rail be down as soon as its switch opens."""
        self._library.machine_fall_us(0)

    def longest_gap_ms(self) -> float:
        """Give the longest time between two rises of the heartbeat since it was last asked."""
        return self._library.machine_longest_gap_us() / 1000

    def rail(self, mv: int) -> None:
        """Let the toy's rail have this voltage whatever the switch does."""
        self._library.machine_rail_mv(mv)

    @property
    def now_us(self) -> int:
        """The machine's time."""
        return self._library.machine_now_us()

    @property
    def latched(self) -> bool:
        """Whether the guard holds everything off."""
        return self._library.machine_is_latched()

    @property
    def supply(self) -> bool:
        """The supply switch."""
        return self._library.machine_outputs().contents.supply

    @property
    def bleed(self) -> bool:
        """The bleed across the rail."""
        return self._library.machine_outputs().contents.bleed

    def _bits(self, first: int, count: int) -> frozenset[int]:
        image = int.from_bytes(bytes(self._library.machine_outputs().contents.image), "little")
        return frozenset(n + 1 for n in range(count) if image >> (first + n) & 1)

    @property
    def closures(self) -> frozenset[tuple[int, int]]:
        """Closed pads as (bus, pad)."""
        return frozenset((bus, pad) for bus in (1, 2) for pad in self._bits(64 * (bus - 1), 64))

    @property
    def series(self) -> frozenset[int]:
        """Closed series channels."""
        return self._bits(128, 8)

    @property
    def keys(self) -> frozenset[int]:
        """Keys held down."""
        return self._bits(136, 8)

    @property
    def aux(self) -> frozenset[int]:
        """Sense, continuity and hold relays, from 1 at bit 0 of their register."""
        return self._bits(144, 8)
