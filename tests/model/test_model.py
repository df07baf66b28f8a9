"""Random sequences of messages: the native firmware and the emulated one answer, fail, close and
report their status just as a model written from the standard says.

    python tests/model/test_model.py 100000             # so many sequences of 8000 messages
    python tests/model/test_model.py 100000 1 emulated  # in emulated cycles: some hours

A beat of the supply's heartbeat is never missed meanwhile: it rises each 2 ms, and the worst
corner of the charge pump holds for 6 ms.
"""

from __future__ import annotations

import contextlib
import random
import sys
import time
from pathlib import Path

import hypothesis
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from messages import messages, sequences
from native import NativeController
from scpi_model import Model, TooNear, matches

NATIVE_SEQUENCES, EMULATED_SEQUENCES, MESSAGES = 500, 300, 8000
GAP_MOST_MS = 3.2
"""Of the heartbeat; at the switching on it may be a beat late."""
TOLD_EVERY = 1000
"""Sequences, in a run from the command line."""
LOOK = (
    "*ESE?;*SRE?;*STB?;*ESR?;:STAT:OPER:COND?;EVEN?;ENAB?;PTR?;NTR?;:STAT:QUES:COND?;EVEN?;ENAB?;"
    "PTR?;NTR?;:SYST:ERR:COUN?;:OUTP?;PROT:TRIP?;:ROUT:SER?;HOLD?;:TOUC:STAT?"
)
"""All the state that can be asked for in one message."""

QUIET = settings(
    deadline=None, database=None, suppress_health_check=list(HealthCheck), derandomize=True
)


class Native:
    """The natively built firmware beside the model."""

    LOOKS_OFTEN = True

    def __init__(self) -> None:
        self.controller = NativeController()
        self.controller.falls_at_once()
        self.controller.current(0)
        prepare = "*CLS;*ESR?;:SYST:DMAN 10 S;CONF:SAVE;:SYST:ERR?"
        assert self.controller.ask(prepare) == '0;0,"No error"'
        self.controller.run(200)
        self.controller.keep()

    def begin(self) -> Model:
        """Go back to the start."""
        self.controller.back()
        return Model(pads=24, deadman_ms=10_000)

    def ask(self, message: str, model: Model) -> str:
        """Send a message, and let what it began come to its end."""
        reply = self.controller.ask(message)
        if model.pulled:
            self.controller.run(250)
        return reply

    def wait(self, ms: int) -> None:
        """Let time pass."""
        self.controller.run(ms)

    def trip(self, model: Model) -> None:
        """More than any limit flows, once the inrush is over."""
        self.controller.current(454)
        self.controller.run(model.configuration.blanking_ms + 20)
        self.controller.current(0)

    def check(self, model: Model) -> None:
        """The outputs themselves."""
        controller = self.controller
        assert controller.closures == model.closures
        assert controller.series == model.series
        assert controller.keys == model.keys
        assert controller.aux == frozenset(hold + 4 for hold in model.holds)
        assert controller.supply == model.supply
        assert not (controller.supply and controller.bleed)
        assert controller.longest_gap_ms() < GAP_MOST_MS


class Emulated:
    """The real firmware in the emulator beside the model."""

    LOOKS_OFTEN = False

    PREPARE = (
        "OUTP:PROT:CLE;*RST;:SYST:CONF:PADS 32;CLOS 8;FORB NONE;RAIL NONE;RSER NONE",
        "SYST:CONF:LEAD DEF;SUPP DEF;LIM DEF;BANK 0;:SYST:HOLD:TIME DEF",
    "SYST:CONF:LOW:PADS NONE;LIM OFF;TIME DEF;LEAD DEF",
        "SYST:DMAN 10 S;CLOS:TIME 10 S",
        "SOUR:CURR:PROT:LEV 300;AVER 150;DEL 100;:SYST:CONF:SAVE",
        "STAT:PRES;*ESE 0;*SRE 0;*CLS;:STAT:QUES?;OPER?",
    )

    def __init__(self, emulator, port) -> None:
        self.emulator, self.port = emulator, port
        self.longest_gap_ms = 0.0

    def begin(self) -> Model:
        """Bring it back to the start."""
        for message in self.PREPARE[:-1]:
            self.port.write(message)
        self.port.ask(self.PREPARE[-1])
        return Model(pads=32, deadman_ms=10_000)

    def ask(self, message: str, model: Model) -> str:
        """Send a message; a reply's end, or that of a query behind it, says that it is done."""
        self.port.write(message.encode("latin-1") + b"\n*OPC?\n")
        lines = []
        while (line := self.port.line()) != "1" or not self._is_last(lines, model):
            lines.append(line)
        return "\n".join(lines)

    def wait(self, ms: int) -> None:
        """Let time pass."""
        self.emulator.wait_cycles(ms * 16_000)

    def _is_last(self, lines: list[str], model: Model) -> bool:
        return len(lines) == bool(model.replies)

    def check(self, model: Model) -> None:
        """The outputs, by asking."""
        pads = ",".join(f"{bus}!1:{bus}!32" for bus in (1, 2))
        states = self.port.ask(f"ROUT:CLOS:STAT? (@{pads})").split(",")
        closed = {(n // 32 + 1, n % 32 + 1) for n, state in enumerate(states) if state == "1"}
        assert closed == model.closures
        self.longest_gap_ms = max(self.longest_gap_ms, self.emulator.longest_gap_ms())
        assert self.longest_gap_ms < GAP_MOST_MS


def look(device, model: Model, after: str) -> None:
    """Ask for all the state there is."""
    expected = model.send(LOOK)
    reply = device.ask(LOOK, model)
    assert matches(expected, reply), (after, reply, expected)
    device.check(model)


def follow(device, messages: list[str]) -> int:
    """Let device and model run the same messages; replies, state and errors must be the same.

    Gives how often two low pads were left closed until their time was over.
    """
    model, met = device.begin(), 0
    for message in messages:
        if message == "trip":
            if model.supply:
                device.trip(model)
                model.tripped()
        else:
            expected = model.send(message)
            reply = device.ask(message, model)
            assert matches(expected, reply), (message, reply, expected)
        model.touch_over()
        model.reset_line_over()
        if model.supply_is_fresh:
            device.wait(model.configuration.blanking_ms + 60)
            model.supply_rose()
        if model.is_low:
            device.wait(model.configuration.low_ms + 30)
            model.low_over()
            met += 1
        if device.LOOKS_OFTEN:
            look(device, model, message)
    look(device, model, messages[-1])
    while model.errors:
        expected = model.send("SYST:ERR?")
        reply = device.ask("SYST:ERR?", model)
        assert matches(expected, reply), (messages, reply, expected)
    return met


@contextlib.contextmanager
def _rejected():
    """Have another sequence drawn for one that can't be told."""
    try:
        yield
    except TooNear:
        hypothesis.reject()


def test_native_firmware_is_as_the_model():
    device, followed, met = Native(), 0, 0

    @settings(QUIET, max_examples=NATIVE_SEQUENCES)
    @given(sequences(clock_is_ours=True))
    def check(messages):
        nonlocal followed, met
        with _rejected():
            met += follow(device, messages)
        followed += 1

    check()
    assert followed >= NATIVE_SEQUENCES
    assert met > 5


@pytest.fixture(scope="module")
def emulated():
    """Give the emulated firmware."""
    from emulator import Emulator, Port

    with Emulator() as emulator:
        port = Port(emulator)
        port.errors()
        yield Emulated(emulator, port)


def test_emulated_firmware_is_as_the_model(emulated):
    followed = 0

    @settings(QUIET, max_examples=EMULATED_SEQUENCES, phases=[Phase.generate])
    @given(sequences(clock_is_ours=False))
    def check(messages):
        nonlocal followed
        with _rejected():
            follow(emulated, messages)
        followed += 1

    check()
    assert followed >= EMULATED_SEQUENCES


@contextlib.contextmanager
def _device(is_emulated: bool):
    if not is_emulated:
        yield Native()
        return
    sys.path.append(str(Path(__file__).resolve().parents[1] / "emulated"))
    from emulator import Emulator, Port

    with Emulator() as emulator:
        port = Port(emulator)
        port.errors()
        yield Emulated(emulator, port)


def main() -> None:
    count, seed = int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1
    is_emulated = sys.argv[3:] == ["emulated"]
    pool: list[str] = []

    @hypothesis.seed(seed)
    @settings(QUIET, derandomize=False, max_examples=MESSAGES, phases=[Phase.generate])
    @given(messages(clock_is_ours=not is_emulated))
    def collect(message):
        pool.append(message)

    collect()
    rng, begun, sent = random.Random(seed), time.monotonic(), 0
    with _device(is_emulated) as device:
        n = left_out = 0
        while n < count:
            if n and n % TOLD_EVERY == 0:
                left_s = (time.monotonic() - begun) / n * (count - n)
                gap = f", longest gap {device.longest_gap_ms:.3f} ms" if is_emulated else ""
                print(f"{n} sequences as the model says{gap}; {left_s / 60:.0f} min left", flush=True)
            sequence = rng.choices(pool, k=rng.randint(1, 12))
            try:
                follow(device, sequence)
            except TooNear:
                left_out += 1
                continue
            except AssertionError:
                print(f"sequence {n}: {sequence}")
                raise
            n, sent = n + 1, sent + len(sequence)
    print(f"{count} sequences, {sent} messages of {len(pool)}: all as the model says, "
          f"{left_out} left out, {time.monotonic() - begun:.0f} s")  # fmt: skip
    if is_emulated:
        print(f"longest time between two rises of the heartbeat: {device.longest_gap_ms:.3f} ms")


if __name__ == "__main__":
    main()
