"""Faults of the line: whatever bytes arrive, the pads do what the complete valid commands
among them say and nothing else, each damaged line is reported, and the next one works.

What a line asks for is told by a reference of its own: whole lines against regular
expressions, nothing shared with the firmware's reader."""

from __future__ import annotations

import random
import re

import pytest
from emulator import CYCLES_PER_MS, PADS

MESSAGES = [
    "ROUTe:CLOSe (@1!11,2!12)",
    "ROUT:CLOS (@1!1:1!4)",
    "rout:series 2;clos (@1!2,2!21)",
    "ROUTe:OPEN:ALL",
    "ROUTe:OPEN (@1!11);CLOSe (@2!30)",
    "*WAI;:ROUTe:CLOSe (@2!7);*ESE 0",
    ":ROUT:SER 1;:ROUT:CLOS (@1!14);OPEN (@1!14)",
    "*ESE 32;:ROUTe:CLOSe (@1!9:1!11)",
    "*SRE 1;*WAI;:ROUTe:OPEN:ALL;:ROUTe:CLOSe (@1!22)",
]


class Reference:
    """The pads as the lines so far should have left them."""

    _number = r"[+-]?(\d+\.?\d*|\.\d+)( *[eE] *[+-]?\d+)?|#[hH][0-9a-fA-F]+|#[qQ][0-7]+|#[bB][01]+"
    _place = r" *\d+ *! *\d+ *"
    _list = re.compile(rf"\( *@({_place}(:{_place})?(,{_place}(:{_place})?)*)\)")

    def __init__(self) -> None:
        self.closed: frozenset[tuple[int, int]] = frozenset()
        self.steps: list[frozenset[tuple[int, int]]] = [self.closed]
        """Every state of the pads in order."""

    def take(self, line: bytes) -> bool:
        """Take one line without its end; give whether all of it was valid."""
        line = line.replace(b"\r", b" ").replace(b"\t", b" ")
        if len(line) > 200 or not all(0x20 <= byte <= 0x7E for byte in line):
            return False
        path = ""
        for unit in line.decode().split(";"):
            unit = unit.strip(" ")
            if not unit:
                continue
            header, _, rest = unit.partition(" ")
            rest = rest.strip(" ")
            if header.startswith("*"):
                if not self._common(header.upper(), rest):
                    return False
                continue
            whole = header[1:] if header.startswith(":") else path + header
            path = whole[: whole.rfind(":") + 1]
            if not self._route(whole.upper(), rest):
                return False
        return True

    def _common(self, header: str, rest: str) -> bool:
        if header in ("*ESE", "*SRE"):
            return self._in_range(rest, 255)
        return header in ("*CLS", "*WAI", "*RST", "*OPC") and not rest

    def _in_range(self, text: str, most: int) -> bool:
        if not re.fullmatch(self._number, text):
            return False
        text = text.replace(" ", "")
        if text.startswith("#"):
            value = float(int(text[2:], {"h": 16, "q": 8, "b": 2}[text[1].lower()]))
        else:
            value = float(text)
        return -0.5 < value < most + 0.5

    def _route(self, header: str, rest: str) -> bool:
        match = re.fullmatch(r"ROUTE?:(CLOSE?|OPEN|OPEN:ALL|SER|SERIES)", header)
        if not match:
            return False
        if match[1].startswith("SER"):
            return self._in_range(rest, 8)
        if match[1] == "OPEN:ALL":
            if not rest:
                self._set(frozenset())
            return not rest
        pads = self._channels(rest)
        if pads is None:
            return False
        if match[1] == "OPEN":
            self._set(self.closed - pads)
            return True
        if len(self.closed | pads) > 8:
            return False
        self._set(self.closed | pads)
        return True

    def _channels(self, text: str) -> frozenset[tuple[int, int]] | None:
        match = self._list.fullmatch(text)
        if not match:
            return None
        found = set()
        for item in match[1].split(","):
            ends = [tuple(int(n) for n in end.split("!")) for end in item.split(":")]
            (bus, first), (last_bus, last) = ends[0], ends[-1]
            if bus != last_bus or bus not in (1, 2) or not 1 <= first <= last <= PADS:
                return None
            found |= {(bus, pad) for pad in range(first, last + 1)}
        return frozenset(found)

    def _set(self, closed: frozenset[tuple[int, int]]) -> None:
        if closed != self.closed:
            self.closed = closed
            self.steps.append(closed)


def fits(error: int, line: bytes) -> bool:
    """Whether the standard has this number for that line: -101 where a byte is none that a
    message may hold, else a command error, or -221, -222, -224 where only values are wrong."""
    if not all(0x20 <= byte <= 0x7E or byte in b"\r\t" for byte in line):
        return error == -101
    return -200 < error <= -101 or error in (-221, -222, -224)


def drop(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + data[at + 1 :]


def double(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data))
    return data[: at + 1] + data[at:]


def flip(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + bytes([data[at] ^ 1 << rng.randrange(8)]) + data[at + 1 :]


def steps(emulator, start):
    """Give the different states of the pads since event `start`, in order."""
    found = [frozenset()]
    for state in emulator.settled()[start:]:
        if state.closures != found[-1]:
            found.append(state.closures)
    return found


@pytest.mark.parametrize("fault", [drop, double, flip])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_dropped_doubled_or_flipped_byte(bench, fault, seed):
    emulator, port = bench
    rng = random.Random(f"{fault.__name__} {seed}")
    reference = Reference()
    start = len(emulator.events())
    damaged = 0
    for _ in range(120):
        sent = rng.choice(MESSAGES) + "\n" + rng.choice(MESSAGES) + "\n"
        data = fault(sent.encode(), rng) + b"\n"
        port.write(data)
        wrong = [not reference.take(part) for part in data.split(b"\n")]
        errors = port.errors()
        assert len(errors) == sum(wrong), (data, errors)
        for part in (
            part for part, is_wrong in zip(data.split(b"\n"), wrong, strict=True) if is_wrong
        ):
            assert fits(errors.pop(0), part), data
        damaged += sum(wrong)
        # The next line is whole and works.
        port.write("ROUTe:OPEN:ALL;:ROUTe:CLOSe (@2!5)")
        assert reference.take(b"ROUTe:OPEN:ALL;:ROUTe:CLOSe (@2!5)")
        assert port.ask("ROUTe:CLOSe? (@2!5,2!6)") == "1,0", data
        port.write("ROUTe:OPEN:ALL")
        assert reference.take(b"ROUTe:OPEN:ALL")
        assert port.errors() == []
    assert damaged > 40
    assert steps(emulator, start) == reference.steps


@pytest.mark.parametrize("byte", [1, 2, 11, 15, 18])
def test_a_byte_without_its_stop_bit_spoils_its_line(bench, byte):
    emulator, port = bench
    start = len(emulator.events())
    emulator.frame(byte)
    emulator.wait_cycles(10 * CYCLES_PER_MS)
    port.write("ROUTe:CLOSe (@1!3)")
    assert port.errors() == [-101]
    port.write("ROUTe:CLOSe (@1!4)")
    assert port.ask("ROUTe:CLOSe? (@1!3,1!4)") == "0,1"
    assert steps(emulator, start) == [frozenset(), {(1, 4)}]


def test_a_line_end_without_its_stop_bit_joins_two_lines_that_both_fail(bench):
    emulator, port = bench
    start = len(emulator.events())
    emulator.frame(19)
    emulator.wait_cycles(10 * CYCLES_PER_MS)
    port.write("ROUTe:CLOSe (@1!3)")
    port.write("ROUTe:CLOSe (@1!4)")
    assert port.errors() == [-101]
    port.write("ROUTe:CLOSe (@1!5)")
    assert port.ask("ROUTe:CLOSe? (@1!3,1!4,1!5)") == "0,0,1"
    assert steps(emulator, start) == [frozenset(), {(1, 5)}]


def test_several_faults_in_one_message(bench):
    emulator, port = bench
    rng = random.Random(11)
    reference = Reference()
    start = len(emulator.events())
    for _ in range(250):
        data = rng.choice(MESSAGES).encode()
        for _ in range(rng.randint(2, 6)):
            data = rng.choice([drop, double, flip])(data, rng)
        data += b"\n"
        port.write(data)
        wrong = [not reference.take(part) for part in data.split(b"\n")]
        assert len(port.errors()) == sum(wrong), data
    assert steps(emulator, start) == reference.steps


@pytest.mark.parametrize("size", [10_000, 10_240])
def test_a_line_of_10_kB_at_full_rate_runs_nothing(bench, size):
    emulator, port = bench
    start = len(emulator.events())
    text = ";:ROUTe:CLOSe (@1!1)" * (size // 20 + 1)
    port.write(text[:size].encode() + b"\nROUTe:CLOSe (@1!2)\n")
    assert port.errors() == [-363]
    assert port.ask("ROUTe:CLOSe? (@1!1,1!2)") == "0,1"
    assert steps(emulator, start) == [frozenset(), {(1, 2)}]


def test_ten_kilobytes_of_noise(bench):
    emulator, port = bench
    start = len(emulator.events())
    rng = random.Random(5)
    noise = rng.randbytes(10_000)
    assert noise.count(b"\n") > 20
    port.write(noise + b"\n*ESE 1\n")
    emulator.wait_cycles(1000 * CYCLES_PER_MS)
    assert set(port.errors()) <= {-101, -363, -350}
    port.write("ROUTe:CLOSe (@1!2)")
    assert port.ask("ROUTe:CLOSe? (@1!2)") == "1"
    assert steps(emulator, start) == [frozenset(), {(1, 2)}]


def test_what_fits_the_receive_ring_runs_whole_at_full_rate(bench):
    """255 bytes in one go: every command in them is done, in order, without an error."""
    emulator, port = bench
    start = len(emulator.events())
    reference = Reference()
    lines = [f"ROUT:CLOS (@1!{n})" if n % 2 else "ROUT:OPEN:ALL" for n in range(1, 16)]
    data = "".join(part + "\n" for part in lines).encode()
    assert 225 < len(data) <= 255
    port.write(data)
    for part in lines:
        assert reference.take(part.encode())
    assert port.errors() == []
    assert steps(emulator, start) == reference.steps


def test_back_to_back_commands_at_full_rate_run_whole_or_not_at_all(bench):
    """25,000 bytes a second without a pause, far more than relays can follow: what doesn't
    fit is reported, every closure was asked for, and the next line works."""
    emulator, port = bench
    start = len(emulator.events())
    asked = [frozenset({(1 + n % 2, 1 + n % 32)}) for n in range(600)]
    data = b""
    for pads in asked:
        ((bus, pad),) = pads
        data += f"ROUTe:CLOSe (@{bus}!{pad});OPEN:ALL\n".encode()
    port.write(data)
    emulator.wait_cycles((len(data) // 25 + 500) * CYCLES_PER_MS)
    assert set(port.errors()) == {-363, -350}
    seen = [closed for closed in steps(emulator, start) if closed]
    rest = iter(asked)
    assert all(closed in rest for closed in seen)  # in the order asked for
    assert len(seen) > 60
    port.write("ROUTe:CLOSe (@1!2)")
    assert port.ask("ROUTe:CLOSe? (@1!2)") == "1"
    assert port.errors() == []


def test_queries_back_to_back_are_each_answered_in_order_or_reported(bench):
    emulator, port = bench
    data = b"".join(b"*ESE %d;*ESE?\n" % (n % 256) for n in range(300))
    port.write(data)
    emulator.wait_cycles((len(data) // 25 + 500) * CYCLES_PER_MS)
    replies = [int(reply) for reply in port.replies()]
    rest = iter(n % 256 for n in range(300))
    assert all(reply in rest for reply in replies)
    assert len(replies) > 60
    errors = port.errors()
    assert set(errors) <= {-363, -350}
    assert bool(errors) == (len(replies) < 300)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_receiver_blind_at_random_moments_loses_whole_messages_only(bench, seed):
    """Bytes overwritten in the receiver (interrupts off for longer than three bytes) spoil
    the messages they belong to, and no two messages are joined."""
    emulator, port = bench
    rng = random.Random(seed)
    start = len(emulator.events())
    asked = []
    lost = 0
    for _ in range(60):
        bus, pad = rng.choice((1, 2)), rng.randint(1, 32)
        asked.append(frozenset({(bus, pad)}))
        message = f"ROUTe:CLOSe (@{bus}!{pad});OPEN:ALL\n".encode()
        cut = rng.randrange(len(message))
        port.write(message[:cut])
        if rng.random() < 0.5:
            emulator.blind(rng.randint(1, 4))
        port.write(message[cut:])
        emulator.wait_until_it_sees()
        port.write("")
        errors = port.errors()
        assert set(errors) <= {-363}
        lost += len(errors)
    assert lost
    seen = [closed for closed in steps(emulator, start) if closed]
    rest = iter(asked)
    assert all(closed in rest for closed in seen)
    assert len(seen) >= 60 - lost
