"""What the controller should be: IEEE 488.2 and SCPI-99 (memory) for messages, errors and
status, PROTOCOL.md for what the commands do. Nothing of it is read from the firmware.

    model = Model(pads=24)
    expected = model.send("ROUT:CLOS (@1!1);CLOS? (@1!1)")   # patterns of the replies
    matches(expected, "1")

Time doesn't pass in the model: a touch runs until something waits for it, `touch_over()` or
`tripped()` say so.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, replace

from program_data import Element, Header, Refused, rounded, split, take_element, take_header
from scpi_commands import QUANTITIES, REGISTERS, TABLE, UNITS, Row

ANY_DECIMAL = re.compile(r"\d+\.\d+")
MESSAGE_MOST, QUEUE_MOST = 200, 10
OPC, QYE, DDE, EXE, CME = 1, 4, 8, 16, 32
MEASURING, CURRENT, GUARD = 1 << 4, 1 << 1, 1 << 9
FRESH_LEAST_MS = 20
"""Of the time after switching on: a message is carried out within it."""
DEFAULT_TIMING = (60, 120, 240, 1200, 500)


def matches(expected: list, reply: str) -> bool:
    """Whether a reply line is what was expected: texts, and patterns for what is measured."""
    pattern = ";".join(
        f"(?:{part.pattern})" if isinstance(part, re.Pattern) else re.escape(part)
        for part in expected
    )
    return re.fullmatch(pattern, reply) is not None


@dataclass(frozen=True)
class Configuration:
    """What is kept in EEPROM."""

    pads: int = 24
    closures: int = 8
    forbidden: frozenset = frozenset()
    rails: frozenset = frozenset()
    rail_series: frozenset = frozenset()
    deadman_ms: int = 3000
    closure_ms: int = 10000
    peak_ma: int = 300
    average_ma: int = 150
    blanking_ms: int = 100
    hold_s: int = 60
    lead_ohm: int = 1500
    supply_mv: int = 4800
    pad_ua: int = 2000
    bank: tuple = (0,) * 8
    low: frozenset = frozenset()
    low_ms: int = 100
    low_lead_ohm: int = 32
    limiter: bool = False


@dataclass
class Register:
    """A SCPI status register (volume 1, chapter 20)."""

    condition: int = 0
    event: int = 0
    enable: int = 0
    rise: int = 0x7FFF
    fall: int = 0

    def set(self, bits: int, on: bool) -> None:
        now = self.condition | bits if on else self.condition & ~bits
        self.event |= now & ~self.condition & self.rise | ~now & self.condition & self.fall
        self.condition = now

    def preset(self) -> None:
        self.enable, self.rise, self.fall = 0, 0x7FFF, 0


class TooNear(Exception):
    """It hangs on the controller's whole ohms, or on how long it takes, what a message does."""


class Model:
    """One controller, switched on, its queue read and its events cleared."""

    def __init__(self, pads: int = 24, **stored: int) -> None:
        self.configuration = self.stored = Configuration(pads=pads, **stored)
        self.closures: frozenset = frozenset()
        self.series: frozenset = frozenset()
        self.holds: frozenset = frozenset()
        self.keys: frozenset = frozenset()
        self.supply = self.supply_is_fresh = self.pulled = self.armed = False
        self.latch = 0
        self.errors: list[int] = []
        self.esr = self.ese = self.sre = 0
        self.operation, self.questionable = Register(), Register()
        self.opc_armed = False
        self._touch_defaults()
        self.touch = "IDLE"

    # --- messages

    def send(self, message: str) -> list:
        """Run a message; give what its replies must be."""
        self.replies: list = []
        if len(message) > MESSAGE_MOST:
            self._error(-363)
            return []
        if not re.fullmatch(r"[ -~\t\r]*", message):
            self._error(-101)
            return []
        path: tuple[str, ...] = ()
        self._last_query = False
        try:
            for unit in split(message.replace("\t", " ").replace("\r", " ")):
                if not unit.strip(" "):
                    continue
                header, rest = take_header(unit)
                nodes = header.nodes if header.rooted or header.common else path + header.nodes
                if len(":".join(nodes)) > 48:
                    raise Refused(-113)
                if not header.common:
                    path = nodes[:-1]
                self._run(replace(header, nodes=nodes), rest)
                self._operation_complete()
        except Refused as refused:
            self._error(refused.number)
        return self.replies

    def _run(self, header: Header, rest: str) -> None:
        row, suffix = find(header)
        if header.query and self._last_query:
            raise Refused(-440)
        if self.latch and "L" not in row.allowed:
            raise Refused(105)
        if self.touch == "RUNS" and "T" not in row.allowed:
            raise Refused(-221)
        values = self._values(row.takes, rest)
        name = row.name
        if name in QUANTITIES:
            self._quantity(name, header.query, values)
        elif name in REGISTERS:
            self._register(name, header.query, values)
        else:
            getattr(self, "_q_" + name if header.query else "_c_" + name)(
                *([suffix] if suffix else []), *values
            )

    def _error(self, number: int) -> None:
        bits = {1: CME, 2: EXE, 3: DDE, 4: QYE}
        self.esr |= bits[-number // 100] if number < 0 else DDE
        if len(self.errors) == QUEUE_MOST:
            self.errors[-1] = -350
            self.esr |= DDE
        else:
            self.errors.append(number)

    def _reply(self, value: object) -> None:
        self.replies.append(value if isinstance(value, re.Pattern) else str(value))

    def _operation_complete(self) -> None:
        if self.opc_armed and self.touch != "RUNS" and not self.pulled:
            self.esr |= OPC
            self.opc_armed = False

    # --- parameters

    def _values(self, takes: tuple, rest: str) -> list:
        values: list = []
        for n, kind in enumerate(takes):
            if kind == "words?":
                word = re.match(r"(MIN|MAX|DEF)((?<!F)IMUM|(?<=F)AULT)?(?= |,|$)", rest, re.IGNORECASE)
                if word:
                    values.append(word[1].upper())
                    rest = rest[word.end() :].lstrip(" ")
                continue
            if n:
                rest = rest[1:].lstrip(" ")
            if not rest and kind[0] == "quantity?":
                values.append(kind[4])
                continue
            if not rest or rest[0] == ",":
                raise Refused(-109)
            if kind[0] == "numbers":
                read, rest = self._numbers(rest, *kind[1:])
                values.append(read)
                continue
            if kind[0] == "quantities":
                read, rest = self._quantities(rest, *kind[1:])
                values.append(read)
                continue
            if kind[0] == "quantity or" and (word := _word_at(rest, kind[5])):
                values.append(0)
                rest = rest[len(word) :].lstrip(" ")
                continue
            element, rest = take_element(rest, _refused(kind))
            values.append(self._value(element, kind))
        if rest:
            raise Refused(-108)
        return values

    def _value(self, element: Element, kind: tuple) -> object:
        if kind[0] in ("number", "quantity or", "quantity?"):
            return _number(element, *kind[1:5])
        if kind[0] == "boolean":
            if element.kind == "word":
                return _one_word(element, {"ON", "OFF"}) == "ON"
            return _number(element, -(10**9), 10**9) != 0
        if element.kind == "word":
            _one_word(element, {kind[1]})
            return frozenset()
        return self._channels(str(element.value), kind[0] == "channels")

    def _quantities(self, rest: str, least: int, most: int, unit: str) -> tuple[object, str]:
        read: list[int] = []
        while True:
            if len(read) == 8:
                raise Refused(-108)
            element, rest = take_element(rest, _refused(("number", least, most, unit)))
            read.append(_number(element, least, most, unit))
            if not rest:
                return (*read, *[0] * (8 - len(read))), rest
            rest = rest[1:].lstrip(" ")
            if not rest or rest[0] == ",":
                raise Refused(-108 if len(read) == 8 else -109)

    def _numbers(self, rest: str, most: int, word: str, least: int = 1) -> tuple[object, str]:
        read: set[int] = set()
        while True:
            takes_word = bool(word) and not read
            element, rest = take_element(rest, _refused(("number", 1, most, "x" if takes_word else "")))
            if element.kind == "word":
                _one_word(element, {word})
                return word, rest
            value = _number(element, least, most)
            if value == 0:
                if read or rest:
                    raise Refused(-222)
                return frozenset(), rest
            read.add(value)
            if not rest:
                return frozenset(read), rest
            rest = rest[1:].lstrip(" ")
            if not rest or rest[0] == ",":
                raise Refused(-109)

    def _channels(self, text: str, with_bus: bool) -> object:
        """SCPI-99 volume 1, 8.3.2: channel lists with `!` between a channel's dimensions."""
        one = r" *(\d+) *! *(\d+) *" if with_bus else r"() *(\d+) *"
        found: list = []
        if not text.startswith("@"):
            raise Refused(-171)
        for part in text[1:].split(","):
            match = re.fullmatch(f"{one}(?::{one})?", part, re.ASCII)
            if not match:
                raise Refused(-171)
            bus, first = int(match[1] or 1), int(match[2])
            to_bus, last = int(match[3] or bus), int(match[4] or first)
            if not (bus == to_bus and bus in (1, 2) and 1 <= first <= last):
                raise Refused(-222)
            if last > self.configuration.pads:
                raise Refused(-222)
            found += [(bus, pad) if with_bus else pad for pad in range(first, last + 1)]
            if len(found) > 128:
                raise Refused(-222)
        return tuple(found) if with_bus else frozenset(found)

    # --- common commands (IEEE 488.2 chapter 10)

    def _q_idn(self) -> None:
        self._reply("padsweep,controller,0,0.5.0")
        self._last_query = True

    def _c_rst(self) -> None:
        self._all_off()
        self._touch_defaults()
        self.configuration = self.stored
        self.opc_armed = False

    def _c_cls(self) -> None:
        self.errors.clear()
        self.esr = self.operation.event = self.questionable.event = 0
        self.opc_armed = False

    def _q_esr(self) -> None:
        self._reply(self.esr)
        self.esr = 0

    def _q_stb(self) -> None:
        byte = 4 * bool(self.errors) + 16 * bool(self.replies) + 32 * bool(self.esr & self.ese)
        byte += 8 * bool(self.questionable.event & self.questionable.enable)
        byte += 128 * bool(self.operation.event & self.operation.enable)
        self._reply(byte + 64 * bool(byte & self.sre))

    def _c_opc(self) -> None:
        self.opc_armed = True

    def _q_opc(self) -> None:
        self._c_wai()
        self._reply(1)

    def _c_wai(self) -> None:
        if self.pulled and self.is_low:
            raise TooNear
        self.touch_over()
        self.reset_line_over()

    def _q_tst(self) -> None:
        self._reply(0)

    # --- SYSTem and STATus

    def _q_error(self) -> None:
        number = self.errors.pop(0) if self.errors else 0
        self._reply(re.compile(rf'{number},"[^"]+"'))

    def _q_count(self) -> None:
        self._reply(len(self.errors))

    def _q_version(self) -> None:
        self._reply("1999.0")

    def _q_driver(self) -> None:
        self._reply("REED,64,8,1000,2000,12000")

    def _c_preset(self) -> None:
        self.operation.preset()
        self.questionable.preset()

    def _register(self, name: str, query: bool, values: list) -> None:
        which, _, field = name.partition(".")
        at = getattr(self, which) if field else self
        field = field or which
        if query:
            self._reply(getattr(at, field))
            if field == "event":
                at.event = 0
        else:
            setattr(at, field, values[0] & REGISTERS[name])

    # --- configuration

    def _is_on(self) -> bool:
        return bool(
            self.closures or self.series or self.keys or self.holds or self.supply or self.pulled
        ) or self.touch == "RUNS"

    def _set(self, **fields: object) -> None:
        if self._is_on():
            raise Refused(-221)
        self.configuration = replace(self.configuration, **fields)

    def _quantity(self, name: str, query: bool, values: list) -> None:
        least, most, _, usual = QUANTITIES[name]
        if query:
            bounds = {"MIN": least, "MAX": most, "DEF": usual}
            now = getattr(self.configuration, name)
            self._reply(bounds[values[0]] if values else now)
        else:
            self._set(**{name: values[0]})

    def _c_pads(self, pads: int) -> None:
        if pads % 8:
            raise Refused(-222)
        self._set(pads=pads)

    def _q_pads(self) -> None:
        self._reply(self.configuration.pads)

    def _c_closures(self, closures: int) -> None:
        self._set(closures=closures)

    def _q_closures(self) -> None:
        self._reply(self.configuration.closures)

    def _set_apart(self, name: str, pads: frozenset, *others: str) -> None:
        """Set pads that may not be among others."""
        self._set()
        if any(pads & getattr(self.configuration, other) for other in others):
            raise Refused(-221)
        self._set(**{name: pads})

    def _c_forbidden(self, pads: frozenset) -> None:
        self._set_apart("forbidden", pads, "low")

    def _q_forbidden(self) -> None:
        self._reply(_pad_list(self.configuration.forbidden))

    def _c_rails(self, pads: frozenset) -> None:
        self._set_apart("rails", pads, "low")

    def _q_rails(self) -> None:
        self._reply(_pad_list(self.configuration.rails))

    def _c_rail_series(self, channels: object) -> None:
        self._set(rail_series=frozenset() if channels == "NONE" else channels)

    def _q_rail_series(self) -> None:
        self._reply(",".join(map(str, sorted(self.configuration.rail_series))) or "NONE")

    def _c_bank(self, ohms: tuple) -> None:
        self._set(bank=tuple(ohm // 100 * 100 for ohm in ohms))

    def _q_bank(self) -> None:
        self._reply(",".join(map(str, self.configuration.bank)))

    def _c_low(self, pads: frozenset) -> None:
        self._set()
        if pads and not self.configuration.limiter:
            raise Refused(-221)
        self._set_apart("low", pads, "forbidden", "rails")

    def _q_low(self) -> None:
        self._reply(_pad_list(self.configuration.low))

    def _c_limiter(self, fitted: bool) -> None:
        self._set()
        if self.configuration.low and not fitted:
            raise Refused(-221)
        self._set(limiter=fitted)

    def _q_limiter(self) -> None:
        self._reply(int(self.configuration.limiter))

    def _c_save(self) -> None:
        self._set()
        self.stored = self.configuration

    def _c_defaults(self) -> None:
        self._set()
        self.configuration = Configuration()

    def _q_stored(self) -> None:
        self._reply(int(self.stored == self.configuration))

    # --- routes, keys, supply, guard

    def _allow(self, closures: frozenset, series: frozenset, holds: frozenset = frozenset()) -> None:
        """Safety rules, in the order in which they matter."""
        configuration = self.configuration
        if {pad for _, pad in closures} & configuration.forbidden:
            raise Refused(108)
        on = [{pad for bus, pad in closures if bus == wanted} for wanted in (1, 2)]
        rails = [pads & configuration.rails for pads in on]
        joined = on[0] & on[1] or series - configuration.rail_series or len(series) > 1
        if max(map(len, rails)) > 1 or (joined and all(rails) and rails[0] != rails[1]):
            raise Refused(109)
        if len(closures) > configuration.closures or max(map(len, on)) > 8:
            raise Refused(-221)
        low = [pads & configuration.low for pads in on]
        if any(low):
            self._allow_low(on, low, series, holds)
        if not all(low) and self._worst_ua(on, series) > configuration.pad_ua:
            raise Refused(113)

    def _allow_low(self, on: list, low: list, series: frozenset, holds: frozenset) -> None:
        """Low pads are alone on their buses; two meet over the limiter, while the toy is supplied."""
        alone = all(len(pads) == 1 for pads, some in zip(on, low, strict=True) if some)
        if not alone or on[0] & on[1]:
            raise Refused(-221)
        if not all(low):
            return
        if series - {1} or holds or not self.supply:
            raise Refused(-221)
        if self.supply_is_fresh:
            if self.configuration.blanking_ms < FRESH_LEAST_MS:
                raise TooNear
            raise Refused(-221)

    @property
    def is_low(self) -> bool:
        """Whether two low pads are closed, which ends by itself; see `low_over`."""
        return len({bus for bus, pad in self.closures if pad in self.configuration.low}) > 1

    def low_over(self) -> None:
        """The time of two low pads is over: everything opens."""
        self._c_abort()
        self._error(102)

    def supply_rose(self) -> None:
        """The time after switching on, in which no current counts, is over."""
        self.supply_is_fresh = False

    def _worst_ua(self, on: list[set[int]], series: frozenset) -> float:
        """What the worst pad carries: its lead, and behind it all others beside each other."""
        configuration = self.configuration
        if on[0] & on[1]:
            on = [on[0] | on[1], set()]
        worst = 0.0
        for own, other in (on, on[::-1]):
            lead, far = (
                configuration.low_lead_ohm if pads & configuration.low else configuration.lead_ohm
                for pads in (own, other)
            )
            siemens = max(0, len(own) - 1) / lead if len(own) > 1 else 0.0
            if own and other and series:
                between = min(configuration.bank[n - 1] for n in series) / len(series)
                siemens += 1 / max(between + far / len(other), 1e-9)
            if siemens:
                worst = max(worst, configuration.supply_mv * 1000 / (lead + 1 / siemens))
        if 0.97 < worst / configuration.pad_ua < 1.03 and worst != configuration.pad_ua:
            raise TooNear
        return worst

    def _go(
        self,
        closures: frozenset,
        series: frozenset,
        keys: frozenset,
        holds: frozenset | None = None,
    ) -> None:
        holds = self.holds if holds is None else holds
        self._allow(closures, series, holds)
        closes = (
            closures - self.closures or keys - self.keys or series - self.series
            or holds - self.holds
        )
        if closes and self.pulled:
            raise Refused(-221)
        self.closures, self.series, self.keys, self.holds = closures, series, keys, holds

    def _c_close(self, channels: tuple) -> None:
        self._go(self.closures | set(channels), self.series, self.keys)

    def _q_close(self, channels: tuple) -> None:
        self._reply(",".join(str(int(channel in self.closures)) for channel in channels))

    def _c_keep(self) -> None:
        if not self.closures:
            raise Refused(-221)

    def _c_open(self, channels: tuple) -> None:
        self._go(self.closures - set(channels), self.series, self.keys)

    def _c_open_all(self) -> None:
        if self.touch == "RUNS":
            self._c_abort()
        else:
            self._go(frozenset(), frozenset(), self.keys, frozenset())

    def _c_series(self, channels: frozenset) -> None:
        self._go(self.closures, channels, self.keys)

    def _q_series(self) -> None:
        self._reply(",".join(map(str, sorted(self.series))) or "0")

    def _c_hold(self, holds: object) -> None:
        wanted = frozenset() if holds == "NONE" else holds
        self._go(self.closures, self.series, self.keys, wanted)

    def _q_hold(self) -> None:
        self._reply(",".join(map(str, sorted(self.holds))) or "NONE")

    def _c_press(self, keys: frozenset) -> None:
        self._go(self.closures, self.series, self.keys | keys)

    def _c_release(self, keys: object) -> None:
        self._go(
            self.closures, self.series, frozenset() if keys == "ALL" else self.keys - keys
        )

    def _c_reset_line(self, ms: int) -> None:
        self.pulled = True

    def reset_line_over(self) -> None:
        """The time of TOY:RESet is over."""
        self.pulled = False

    def _all_off(self) -> None:
        self._c_abort()
        self.supply = self.supply_is_fresh = self.pulled = False

    def _c_output(self, on: bool) -> None:
        if not on:
            self._all_off()
        elif self.latch:
            raise Refused(105)
        elif self.touch == "RUNS" and not self.supply:
            raise Refused(-221)
        elif not self.supply:
            self.supply = self.supply_is_fresh = True

    def _q_output(self) -> None:
        self._reply(int(self.supply))

    def tripped(self) -> None:
        """The toy drew more than the peak limit while its supply was on."""
        self.latch = 106
        self.questionable.set(CURRENT | GUARD, True)
        was_done = self.touch == "DONE"
        self._all_off()
        self.touch = "DONE" if was_done else "IDLE"  # its times can still be asked for
        self._error(106)

    def _c_clear(self) -> None:
        self.latch = 0
        self.questionable.set(CURRENT | GUARD, False)

    def _q_tripped(self) -> None:
        self._reply(int(bool(self.latch)))

    def _q_current_tripped(self) -> None:
        self._reply(int(self.latch == 106))

    # --- measuring: the rail follows the supply at once

    def _q_rail(self) -> None:
        self._reply(re.compile(r"4\.[45]\d\d" if self.supply else r"0\.0\d\d"))

    def _q_own_supply(self) -> None:
        if self.closures or self.series or self.keys or self.holds:
            raise Refused(-221)
        self._reply(re.compile(r"(4\.99|5\.0[01])\d"))

    def _q_bus(self, suffix: int) -> None:
        if self.is_low:
            raise Refused(-221)
        self._go_measure()
        self._reply(ANY_DECIMAL)

    def _go_measure(self) -> None:
        if self.pulled:
            raise Refused(-221)

    def _q_current(self) -> None:
        self._reply(ANY_DECIMAL)

    def _q_peak(self) -> None:
        self._reply(ANY_DECIMAL)

    def _q_resistance(self) -> None:
        if self.supply:
            raise Refused(-221)
        self._go_measure()
        self._reply(re.compile(r"\d+|9\.9E37"))

    def _q_fall(self) -> None:
        self._reply(re.compile(r"9\.91E37|\d+\.\d{3}"))

    # --- touches

    def _touch_defaults(self) -> None:
        self.touch_pads: frozenset = frozenset()
        self.touch_keys: frozenset = frozenset()
        self.touch_holds: frozenset = frozenset()
        self.touch_series: frozenset = frozenset()
        self.timing = DEFAULT_TIMING

    def _c_connections(self, channels: tuple) -> None:
        self._allow(frozenset(channels), frozenset())
        self.touch_pads = frozenset(channels)

    def _c_touch_series(self, channels: frozenset) -> None:
        self.touch_series = channels

    def _c_touch_limit(self, ma: int) -> None:
        """Nothing flows in this model that it could stop."""

    def _c_touch_keys(self, keys: object) -> None:
        self.touch_keys = frozenset() if keys == "NONE" else keys

    def _c_touch_hold(self, holds: object) -> None:
        self.touch_holds = frozenset() if holds == "NONE" else holds

    def _c_timing(self, *timing: int) -> None:
        self.timing = timing

    def _c_arm(self) -> None:
        self._c_initiate()
        self.armed = True

    def _c_touch_close(self, us: int) -> None:
        """Time stands still at a touch's start: no key is down yet, nothing can be closed."""
        raise Refused(-221)

    def _c_initiate(self) -> None:
        if self.touch == "RUNS":
            raise Refused(-213)
        _, press, lead_in, dwell, tail = self.timing
        longest = max(dwell, press if self.touch_keys else 0)
        held = lead_in + dwell + tail if self.touch_holds else 0
        both = {bus for bus, _ in self.touch_pads} == {1, 2}
        if (both and not self.touch_series) or self.closures or self.series or self.keys:
            raise Refused(-221)
        if self.pulled or longest + 50 > self.configuration.closure_ms:
            raise Refused(-221)
        if (held and held + 50 > self.configuration.hold_s * 1000) or self.holds & self.touch_holds:
            raise Refused(-221)
        low = {bus for bus, pad in self.touch_pads if pad in self.configuration.low}
        if len(low) > 1 and dwell + 5 > self.configuration.low_ms:
            raise Refused(-221)
        series = self.touch_series if self.touch_pads else frozenset()
        self._allow(self.touch_pads, series, self.holds | self.touch_holds)
        self.touch, self._cut_short, self._has_keys = "RUNS", False, bool(self.touch_keys)
        self.armed = False
        self.operation.set(MEASURING, True)

    def touch_over(self) -> None:
        """The running touch, if one runs, has come to its end."""
        if self.touch == "RUNS":
            self.touch = "DONE"
            self.operation.set(MEASURING, False)
            self._operation_complete()

    def _q_touch_state(self) -> None:
        runs = "TAIL" if self.touch == "RUNS" and self._cut_short else "BEFO"
        self._reply(runs if self.touch == "RUNS" else self.touch)

    def _c_end(self) -> None:
        if self.touch == "IDLE":
            raise Refused(-221)
        self._cut_short = self._cut_short or self.touch == "RUNS"

    def _c_abort(self) -> None:
        self.closures = self.series = self.keys = self.holds = frozenset()
        self.touch = "IDLE"
        self.operation.set(MEASURING, False)

    def _q_timeline(self) -> None:
        if self.touch != "DONE":
            raise Refused(-221)
        key = r"\d+" if self._has_keys and not self._cut_short else "-1"
        pads = "-1" if self._cut_short or self.armed else r"\d+"
        self._reply(re.compile(rf"\d+,{key},{pads},{key},{pads},\d+"))


# --- looking up and reading


_PATHS: dict[tuple[bool, bool, int], list] = defaultdict(list)
for _row in TABLE:
    for _nodes in _row.paths():
        _PATHS[_row.common, _row.queries, len(_nodes)].append((_row, _nodes))


def find(header: Header) -> tuple[Row, int]:
    """Give the row of the table that a header names, and its numeric suffix (0: it has none)."""
    for row, nodes in _PATHS[header.common, header.query, len(header.nodes)]:
        suffix = _fits(nodes, header.nodes)
        if suffix is not None:
            if suffix > 2 or suffix < 0:
                raise Refused(-114)
            return row, suffix
    raise Refused(-113)


def _fits(wanted: tuple[str, ...], nodes: tuple[str, ...]) -> int | None:
    number, wrong = 0, False
    for pattern, node in zip(wanted, nodes, strict=True):
        name = pattern.removesuffix("#").upper()
        if node[0] != name[0]:
            return None
        short = re.match("[A-Z]+", pattern)[0]
        digits = re.search(r"\d*$", node)[0]
        node = node[: len(node) - len(digits)]
        if pattern.endswith("#"):
            number = (int(digits) or -1) if digits else 1
        elif digits:  # SCPI-99 volume 1, 6.2.5.2: a node without suffixes has the suffix 1
            wrong = wrong or int(digits) != 1
        if node not in (short, name):
            return None
    return -1 if wrong else number


def _refused(kind: tuple) -> dict[str, int]:
    """Give the kinds of data that aren't taken where a parameter of `kind` is wanted."""
    refused = {"string": -158, "block": -168}
    if kind[0] in ("number", "boolean", "quantity or", "quantity?"):
        words = kind[0] == "boolean" or kind[3]
        refused["list"] = -178
    else:
        words = len(kind) > 1
        refused["number"] = -128
    return refused if words else refused | {"word": -148}


def _one_word(element: Element, words: set[str]) -> str:
    if element.value not in words:
        raise Refused(-224)
    return str(element.value)


def _word_at(rest: str, word: str) -> str:
    found = re.match(rf"{word}(?= |,|$)", rest, re.IGNORECASE)
    return found[0] if found else ""


def _number(element: Element, least: int, most: int, unit: str = "", usual: int = 0) -> int:
    if element.kind == "word":
        bounds = {"MIN": least, "MINIMUM": least, "MAX": most, "MAXIMUM": most}
        bounds |= {"DEF": usual, "DEFAULT": usual}
        return bounds[_one_word(element, set(bounds))]
    value = element.value
    if element.suffix:
        if not unit:
            raise Refused(-138)
        powers = UNITS[unit]
        if element.suffix not in powers:
            raise Refused(-131)
        value = value.scaleb(powers[element.suffix])
    number = rounded(value)
    if not least <= number <= most:
        raise Refused(-222)
    return number


def _pad_list(pads: frozenset) -> str:
    parts, left = [], sorted(pads)
    while left:
        last = left[0]
        while last + 1 in pads:
            last += 1
        parts.append(f"{left[0]}:{last}" if last > left[0] else f"{last}")
        left = [pad for pad in left if pad > last]
    return f"(@{','.join(parts)})" if parts else "NONE"
