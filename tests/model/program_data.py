"""Program messages as IEEE 488.2-1992 chapter 7 has them: headers and data elements, and the
error numbers of SCPI-99 volume 2 chapter 21 for what isn't well-formed (memory)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal


class Refused(Exception):
    """A message unit is refused with this number."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


def split(message: str) -> list[str]:
    """Cut a message at the semicolons that aren't in a string (7.3.2, 7.7.5)."""
    return re.findall(r"""(?:[^;"']|"[^"]*(?:"|$)|'[^']*(?:'|$))+""", message)


@dataclass(frozen=True)
class Header:
    """A unit's header: its nodes in capitals, whether it begins at the root, asks, is common."""

    nodes: tuple[str, ...]
    rooted: bool
    query: bool
    common: bool


def take_header(unit: str) -> tuple[Header, str]:
    """Give a unit's header and the rest (7.6)."""
    text = unit.strip(" ")
    match = re.match(r"(\*|:)?([A-Za-z]\w*(?::[A-Za-z]\w*)*)(\?)?(?= |$)", text, re.ASCII)
    if not match:
        raise Refused(_bad_header(text))
    nodes = tuple(match[2].upper().split(":"))
    if any(len(node) > 12 for node in nodes):
        raise Refused(-112)
    if match[1] == "*" and len(nodes) > 1:
        raise Refused(-111)
    header = Header(nodes, match[1] == ":", match[3] is not None, match[1] == "*")
    return header, text[match.end() :].strip(" ")


def _bad_header(text: str) -> int:
    begun = re.match(r"(\*|:)?[A-Za-z]\w*(:[A-Za-z]\w*)*\??", text, re.ASCII)
    wrong = text[begun.end() : begun.end() + 1] if begun else text.lstrip("*:")[:1]
    if wrong and not re.match(r"[\w \"#'()*+,\-./:?@]", wrong, re.ASCII):
        return -101
    if begun and any(len(node) > 12 for node in begun[0].strip("*:?").split(":")):
        return -112
    if not begun or (wrong == ":" and not begun[0].endswith("?")):
        return -110
    return -111


@dataclass(frozen=True)
class Element:
    """One data element: its kind (word, number, string, block, list), value and suffix."""

    kind: str
    value: object
    suffix: str = ""


_DECIMAL = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+))(?: *E *([+-]?\d+))?", re.IGNORECASE | re.ASCII)
_BASES = {"H": (16, "[0-9A-Fa-f]"), "Q": (8, "[0-7]"), "B": (2, "[01]")}


def _number(text: str) -> tuple[Element, str]:
    if text[0] == "#":
        base, digits = _BASES[text[1].upper()]
        match = re.match(rf"#.({digits}+)(?=[ ,]|$)", text)
        if not match:
            raise Refused(-121)
        return Element("number", Decimal(int(match[1], base))), text[match.end() :]
    match = _DECIMAL.match(text)
    if not match:
        raise Refused(-121)
    if match[2] and abs(int(match[2])) > 32000:
        raise Refused(-123)
    rest = text[match.end() :]
    suffix = re.match(r" *([A-Za-z/][^ ,]*)", rest)
    if not suffix and rest and rest[0] not in " ,:/":
        raise Refused(-121)
    value = Decimal(match[1]).scaleb(int(match[2] or 0))
    if suffix and len(suffix[1]) > 12:
        raise Refused(-134)
    return Element("number", value, suffix[1].upper() if suffix else ""), (
        rest[suffix.end() :] if suffix else rest
    )


def _channel_list(text: str) -> tuple[Element, str]:
    end = text.find(")")
    if end < 0:
        raise Refused(-171)
    inner = text[1:end].strip(" ")
    return Element("list", inner), text[end + 1 :]


def _word(text: str) -> tuple[Element, str]:
    match = re.match(r"\w+", text, re.ASCII)
    if len(match[0]) > 12:
        raise Refused(-144)
    rest = text[match.end() :]
    if rest and rest[0] not in " ,":
        raise Refused(-141)
    return Element("word", match[0].upper()), rest


def _string(text: str) -> tuple[Element, str]:
    match = re.match(r"\"(?:[^\"]|\"\")*\"|'(?:[^']|'')*'", text)
    if not match:
        raise Refused(-151)
    return Element("string", match[0]), text[match.end() :]


def take_element(text: str, refused: dict[str, int]) -> tuple[Element, str]:
    """Give the first data element and the rest, at its comma or empty (7.7).

    Parameters
    ----------
    text : str
        What is left of the unit, without blanks before it.
    refused : dict
        Kinds of data that aren't wanted here and the number each is refused with. The standard
        leaves open which of two faults is told: a wrong kind is told before what follows it,
        a number of the wrong kind before its own faults.
    """
    first = text[0]
    if first in "\"'":
        element, rest = _string(text)
    elif first == "#" and text[1:2].isdigit():
        element, rest = Element("block", text), ""
    elif first.isdigit() or first in "+-." or (first == "#" and text[1:2].upper() in _BASES):
        if "number" in refused:
            raise Refused(refused["number"])
        element, rest = _number(text)
    elif first == "(":
        element, rest = _channel_list(text)
    elif first.isalpha():
        element, rest = _word(text)
    else:
        raise Refused(-102)
    if element.kind in refused:
        raise Refused(refused[element.kind])
    rest = rest.lstrip(" ")
    if rest and rest[0] != ",":
        raise Refused(-103)
    return element, rest


def rounded(value: Decimal) -> int:
    """Give the nearest whole number, halves away from zero (7.7.2.4: a device rounds)."""
    if value.adjusted() > 20:
        return 10**20 if value > 0 else -(10**20)
    return int(value.quantize(Decimal(1), ROUND_HALF_UP)) if value.adjusted() > -20 else 0
