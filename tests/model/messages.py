"""Random messages, made from the table of commands: mostly right, each unit wrong at most once."""

from __future__ import annotations

from functools import cache

from hypothesis import strategies as st
from scpi_commands import TABLE, UNITS, Row

WRONG = ["FOO", "MAX", "1.2.3", '"x;y"', '"x', "#11", "(@1!1)", "(@1!1", "(1)", "@", "3 V", "9", "-1",
         "99999", "1E9", "#HFF", "#Q9", "ABCDEFGHIJKLMN", "1 2", "O$N", "1E40000"]  # fmt: skip
"""Parameters that most commands refuse, each for its own reason."""

WRONG_HEADERS = ["ROUT:NOSUCH 1", "SER 1", "ROUTe::SER 1", "ROUT:CLOS(@1!1)", "*IDN", "*RST?", "?",
                 "ABCDEFGHIJKLMN", "ROUT$CLOS", "MEAS:VOLT:BUS3?", "MEAS:VOLT:BUS0?", "*ESE-1",
                 "SYST:ERR??", "ROUT:", "X" * 201, "*CLS\x01", "*ESE 1\x7f"]  # fmt: skip

_LONG_MS = {"deadman_ms": (9000, 10000), "closure_ms": (9000, 10000), "hold_s": (20, 3600),
            "low_ms": (100, 2000)}  # fmt: skip
"""Values that no guard of which the model knows nothing can be reached with, nor two low pads' time
within a message."""

_COARSE = {"lead_ohm": [500, 1000, 1500, 4000, 65535], "supply_mv": [1000, 4800, 12800],
           "pad_ua": [20, 2100, 10000], "bank": [0, 100, 10000, 6500000], "low_lead_ohm": [0, 33, 255]}  # fmt: skip
"""Values that leave no group of pads near its limit."""


_TIMED = {"timing", "reset_line", *_LONG_MS}


@cache
@st.composite
def _header(draw, row: Row) -> str:
    nodes = []
    for pattern in draw(st.sampled_from(row.paths())):
        name = pattern.removesuffix("#")
        short = "".join(c for c in name if not c.islower())
        node = draw(st.sampled_from([short, name]))
        node = draw(st.sampled_from([node, node.lower(), node.upper()]))
        suffixes = ["", "1", "2"] if pattern != name else ["", "", "", "1"]
        nodes.append(node + ("" if row.common else draw(st.sampled_from(suffixes))))
    root = "*" if row.common else ":"
    return root + ":".join(nodes) + ("?" if row.queries else "")


@cache
@st.composite
def _number(draw, least: int, most: int, unit: str = "", words=("MIN", "maximum")) -> str:
    if unit and draw(st.booleans()):
        return draw(st.sampled_from(words))
    value = draw(st.integers(least, most))
    forms = [f"{value}", f"{value}.0", f"+{value}", f"{value / 10:.1f}E1", f"{value}0 E-1"]
    if value >= 0:
        forms += [f"#H{value:X}", f"#q{value:o}", f"#B{value:b}"]
    for suffix, power in UNITS.get(unit, {}).items():
        forms += [f"{value}E{-power} {suffix}", f"{value}E{-power}{suffix.lower()}"]
    return draw(st.sampled_from(forms))


@cache
@st.composite
def _list(draw, with_bus: bool) -> str:
    parts = []
    for _ in range(draw(st.integers(1, 4))):
        pad = draw(st.integers(1, 24) | st.sampled_from([1, 2, 3, 25, 33, 64, 65]))
        bus = f"{draw(st.integers(1, 2))}!" if with_bus else ""
        last = pad + draw(st.integers(0, 4)) if draw(st.booleans()) else 0
        parts.append(f"{bus}{pad}" + (f":{bus}{last}" if last else ""))
    blank = draw(st.sampled_from(["", " "]))
    return f"({blank}@" + f"{blank},{blank}".join(parts) + f"{blank})"


@cache
def _parameter(row: Row, kind: tuple) -> st.SearchStrategy[str]:
    if row.name == "pads":
        return st.sampled_from(["12", "7", "65", "72", "MAX"])
    if kind == "words?":
        return st.sampled_from(["", "MIN", "MAX", "MAXimum", "def", "DEFault"])
    if row.name in _COARSE:
        coarse = st.sampled_from([str(value) for value in _COARSE[row.name]])
        many = st.lists(coarse, min_size=1, max_size=9).map(",".join)
        return many if row.name == "bank" else coarse
    if kind[0] == "quantity or":
        return st.sampled_from([kind[5], kind[5].lower(), "1", "20 MA", "DEF"])
    if kind[0] == "quantity?":
        return st.sampled_from(["", "DEFault", "100 MS", "20000"])
    if kind[0] == "number":
        if row.name in _LONG_MS:
            return _number(*_LONG_MS[row.name], kind[3], ("MAX",))
        return _number(*kind[1:4])
    if kind[0] == "numbers":
        number = _number(1, kind[1])
        words = [kind[2]] if kind[2] else []
        many = st.lists(number, min_size=1, max_size=3).map(",".join)
        return many | st.sampled_from(words) if words else many
    if kind[0] == "boolean":
        return st.sampled_from(["ON", "off", "On", "1", "0", "1", "0.4", "#B1"])
    lists = _list(kind[0] == "channels")
    return lists | st.just("NONE") if len(kind) > 1 else lists


@cache
@st.composite
def _unit(draw, row: Row) -> str:
    text = draw(_header(row))
    if row.name == "timing":
        values = ["80", *(draw(st.sampled_from(["1", "3", "5"])) for _ in range(4))]
    elif row.name == "reset_line":
        values = ["200 MS"]
    else:
        values = [draw(_parameter(row, kind)) for kind in row.takes]
    values = [value for value in values if value]
    wrong = draw(st.integers(0, 19)) if row.name != "pads" else None  # it is wrong already
    if wrong == 0:
        values.append(draw(st.sampled_from(["1", "ON", "(@1!1)"])))
    elif wrong == 1 and values:
        values.pop()
    elif wrong in (2, 3) and values and row.name not in _TIMED:
        values[0] = draw(st.sampled_from(WRONG))
    comma = draw(st.sampled_from([",", " , "]))
    text += draw(st.sampled_from([" ", "  "])) + comma.join(values) if values else ""
    # Three seconds of dead-man would run out in two touches of the usual length.
    return text + ";:SYST:DMAN 10 S" if row.name == "defaults" else text


@cache
def _all(clock_is_ours: bool) -> list[Row]:
    return [row for row in TABLE if clock_is_ours or row.name not in ("defaults", "reset_line")]


@cache
@st.composite
def _message(draw, clock_is_ours: bool) -> str:
    # What closes, supplies and touches is chosen as often as all the rest together.
    rows = _all(clock_is_ours)
    often = [row for row in rows if row.pattern[:4] in ("ROUT", "TOUC", "OUTP", "TOY:")]
    if draw(st.integers(0, 14)) == 0:
        units = [draw(st.sampled_from(WRONG_HEADERS))]
    else:
        units = [
            draw(_unit(draw(st.sampled_from(often if draw(st.booleans()) else rows))))
            for _ in range(draw(st.integers(1, 5)))
        ]
    if draw(st.integers(0, 5)) == 0:
        units.insert(draw(st.integers(0, len(units))), draw(_touch()))
    if draw(st.integers(0, 9)) == 0:
        return draw(_low())
    return draw(st.sampled_from([";", " ; "])).join(_shorten(draw, units))


@cache
@st.composite
def _touch(draw) -> str:
    """A touch that mostly begins."""
    setting = draw(st.sampled_from(["NONE", "(@1!3)", "(@1!3,2!7)", "(@1!1:1!2)"]))
    keys, holds = draw(st.sampled_from(["NONE", "1,2"])), draw(st.sampled_from(["NONE", "1", "2"]))
    end = draw(st.sampled_from(["", ";STAT?", ";*OPC?;TIM?", ";END", ";*OPC", ";ABOR", ";INIT", ";CLOS"]))
    begin = draw(st.sampled_from(["INIT", "INIT", "ARM"]))
    return (f":TOUC:CONN {setting};KEYS {keys};HOLD {holds};SER {draw(st.integers(0, 2))};"
            f"TIM 80,5,3,4,2;{begin}{end}")  # fmt: skip


@cache
@st.composite
def _low(draw, makes: bool | None = None) -> str:
    """Low pads are made, or meet: mostly as they may."""
    fit = draw(st.sampled_from(["LIM ON;PADS (@3,7)", "LIM ON;PADS (@1:8)", "LIM OFF", "PADS NONE;LIM OFF"]))
    if draw(st.booleans()) if makes is None else makes:
        off = draw(st.sampled_from(["OUTP OFF;:ROUT:OPEN:ALL;:TOY:KEY:REL ALL;:", ""]))
        return f"{off}SYST:CONF:FORB NONE;RAIL NONE;LOW:{fit};:SYST:CONF:LOW:PADS?;LIM?;:OUTP ON"
    series = draw(st.sampled_from(["1", "1", "1", "0", "2", "1,2"]))
    pads = draw(st.sampled_from(["1!3,2!7", "1!7,2!3", "1!3,1!7", "1!3,2!9", "1!3,2!3", "1!3,1!9"]))
    then = draw(st.sampled_from(
        ["", ":ROUT:CLOS:KEEP", ":ROUT:HOLD 1", ":MEAS:VOLT:BUS1?", ":ROUT:SER 0;SER 1", ":ROUT:SER 2",
         ":TOY:KEY:PRES 1", ":ROUT:OPEN (@1!3)", ":ROUT:CLOS (@1!3,2!7)", ":OUTP OFF"]))  # fmt: skip
    if draw(st.booleans()):
        dwell = draw(st.sampled_from([5, 95, 96]))
        return f"TOUC:CONN (@{pads});SER {series};KEYS 1;HOLD NONE;TIM 80,5,3,{dwell},2;INIT"
    return f"ROUT:OPEN:ALL;:ROUT:SER {series};CLOS (@{pads});{then}"


def _shorten(draw, units: list[str]) -> list[str]:
    """Leave the path out of a unit that stands on the one before, now and then."""
    path, result = "", []
    for unit in units:
        header = unit.split(" ")[0]
        parent = header.rpartition(":")[0] + ":"
        if path and unit.startswith(":") and parent.upper() == path and draw(st.booleans()):
            unit = unit[len(path) :]
        if header.startswith(":"):
            path = parent.upper() if ";" not in unit else ""
        elif not header.startswith("*"):
            path = ""
        result.append(unit)
    return result


def sequences(clock_is_ours: bool) -> st.SearchStrategy[list[str]]:
    """Give sequences of messages; "trip" among them is a short in the toy.

    Parameters
    ----------
    clock_is_ours : bool
        Time passes only when the test lets it: what depends on time may be asked too.
    """
    plain = st.lists(messages(clock_is_ours), min_size=1, max_size=12)
    low = st.tuples(_low(makes=True), st.lists(_low() | messages(clock_is_ours), min_size=1, max_size=6))
    return st.one_of(plain, plain, plain, low.map(lambda parts: [parts[0], *parts[1]]))


def messages(clock_is_ours: bool) -> st.SearchStrategy[str]:
    """Give one of them."""
    one = _message(clock_is_ours)
    return st.one_of(*[one] * 9, st.just("trip")) if clock_is_ours else one
