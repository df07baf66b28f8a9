"""Helping words in messages: the nearest valid word, and values written with a unit."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

PREFIX = {"": 1.0, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "k": 1e3, "K": 1e3, "M": 1e6}

UNITS = {
    "V": "V", "v": "V", "volt": "V", "volts": "V",
    "ohm": "ohm", "ohms": "ohm", "Ohm": "ohm", "Ohms": "ohm", "Ω": "ohm", "R": "ohm",
    "A": "A", "amp": "A", "amps": "A",
    "s": "s", "sec": "s", "secs": "s", "second": "s", "seconds": "s",
    "Hz": "Hz", "hz": "Hz", "HZ": "Hz",
    "dB": "dB", "db": "dB",
    "baud": "baud",
}  # fmt: skip

FIELD_UNITS = {
    "volts": ("V", 1.0), "v": ("V", 1.0), "ohm": ("ohm", 1.0), "ma": ("A", 1e-3),
    "ms": ("s", 1e-3), "s": ("s", 1.0), "hz": ("Hz", 1.0), "db": ("dB", 1.0),
    "baud": ("baud", 1.0),
}  # fmt: skip

LARGER = {"ms": "seconds were", "hz": "kHz was", "ma": "A was"}
"""What people may have written in place of a field's unit: a thousand times as much."""

_UNIT_WORDS = "|".join(sorted(map(re.escape, UNITS), key=len, reverse=True))
_QUANTITY = re.compile(
    rf"\s*([-+]?\d+(?:[.,]\d+)?)\s*([uµμmkKM]?)\s*({_UNIT_WORDS})?\s*(?:DC|dc|d\.c\.)?\s*"
)


def shown(value: object, most: int = 40) -> str:
    """Give a value as it stands in a one-line message, shortened and on one line."""
    if value is None or isinstance(value, bool):
        return {None: "empty", True: "true", False: "false"}[value]
    if isinstance(value, list):
        text = f"[{', '.join(shown(one, most) for one in value)}]"
    elif isinstance(value, dict):
        text = f"{{{', '.join(f'{name}: {shown(one, most)}' for name, one in value.items())}}}"
    else:
        text = " ".join(value.split()) if isinstance(value, str) else repr(value)
    return text if len(text) <= most else text[: most - 3] + "..."


def nearest(word: object, valid: Iterable[str]) -> str:
    """Give the ending of a message: the nearest valid word, or all of them.

    Parameters
    ----------
    word : object
        What was written.
    valid : iterable of str
        The words that would be right.
    """
    valid = [str(v) for v in valid]
    close = closest(word, valid)
    if close is not None:
        return f"did you mean {close}?"
    listed = ", ".join(valid[:12]) + (", ..." if len(valid) > 12 else "")
    return f"there is only: {listed}" if valid else "there are none"


def closest(word: object, valid: Iterable[str]) -> str | None:
    """Give the valid word nearest to `word`, or None where none is near."""
    lowered: dict[str, str] = {}
    for v in valid:
        lowered.setdefault(str(v).lower(), str(v))
    found = difflib.get_close_matches(str(word).lower(), lowered, n=1, cutoff=0.55)
    return lowered[found[0]] if found else None


def number_hint(field: str, text: str) -> str:
    """Say how a number must be written, from what was written in its place.

    Parameters
    ----------
    field : str
        Name of the field; its last part is its unit (`lead_ohm`, `tail_ms`, `volts`).
    text : str
        What was written, such as `4.5 V`, `1.5k` or `4,5`.
    """
    value = quantity(text, field)
    if value is not None:
        return f"write {value:.10g} (no units, no quotes)"
    match = _QUANTITY.fullmatch(text)
    return f"write a number{_in_unit(field)}" + (f", not {match.group(3)}" if match else "")


def another_unit(field: str, value: float) -> str:
    """Say what a number is in the field's own unit if a larger or smaller one was meant.

    Parameters
    ----------
    field : str
        Its last part is its unit.
    value : float
        Out of range as it stands: too small, or for a field in seconds too large.

    Returns
    -------
    str
        The ending of a message; "" where there is nothing to guess.
    """
    unit = field.rsplit("_", 1)[-1]
    if unit == "s" and value > 0:
        return f"; if milliseconds were meant write {value / 1000:.10g}"
    if unit not in LARGER or value <= 0:
        return ""
    return f"; if {LARGER[unit]} meant write {value * 1000:.10g}"


def quantity(text: str, field: str) -> float | None:
    """Give the number that a text with a unit means in the field's own unit, or None.

    Parameters
    ----------
    text : str
        Such as `4.5 V`, `1.5k`, `0.5 s` or `4,5`.
    field : str
        Name of the field; its last part is its unit.
    """
    unit, scale = FIELD_UNITS.get(field.rsplit("_", 1)[-1], (None, 1.0))
    match = _QUANTITY.fullmatch(text)
    if match is None:
        return None
    number, prefix, written = match.groups()
    value = float(number.replace(",", ".")) * PREFIX[prefix]
    written_unit = UNITS.get(written) if written else None
    if written_unit is not None and written_unit != unit:
        return None
    # Without a unit a bare number is in the field's own, with only a prefix in the base unit.
    return value / scale if written_unit is not None or prefix else value


def _in_unit(field: str) -> str:
    last = field.rsplit("_", 1)[-1]
    names = {"volts": "V", "v": "V", "ma": "mA", "hz": "Hz", "db": "dB"}
    return f" of {names.get(last, last)}" if last in FIELD_UNITS else ""
