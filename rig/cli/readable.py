"""Writes what an output can hold; what it can't hold, in plain letters."""

from __future__ import annotations

import codecs
import unicodedata
from typing import TextIO

HANDLER = "padsweep.readable"
"""Name of the error handler for encoding, as `reconfigure` and `encode` take it."""

PLAIN = {
    "Ω": "ohm", "\N{OHM SIGN}": "ohm", "µ": "u", "μ": "u", "±": "+/-", "×": "x", "÷": "/",
    "\N{FRACTION SLASH}": "/",
    "\N{EN DASH}": "-", "—": "-", "\N{HYPHEN}": "-", "\N{NON-BREAKING HYPHEN}": "-",
    "\N{MINUS SIGN}": "-", "→": "->", "←": "<-", "►": ">", "▼": "v",
    "…": "...", "•": "*", "·": ".", "≤": "<=", "≥": ">=", "≈": "~", "≠": "!=", "°": " deg",
    "„": '"', "“": '"', "”": '"', "«": '"', "»": '"', "‚": "'", "\N{LEFT SINGLE QUOTATION MARK}": "'",
    "\N{RIGHT SINGLE QUOTATION MARK}": "'", "ß": "ss", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE",
    "ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ı": "i", "€": "EUR",
}  # fmt: skip
UNKNOWN = "?"


def _replace(error: UnicodeError) -> tuple[str | bytes, int]:
    """Give what stands for the first character that an output can't hold."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    character = error.object[error.start]
    behind = error.start + 1
    if "\udc80" <= character <= "\udcff":  # a byte of a file's name, given back as it is
        return bytes([ord(character) - 0xDC00]), behind
    return plain(character), behind


def plain(character: str) -> str:
    """Give a character in ASCII: its letters without their marks, or a question mark."""
    if character in PLAIN:
        return PLAIN[character]
    if unicodedata.combining(character):
        return ""
    parts = unicodedata.normalize("NFKD", character)
    return "".join(one if one.isascii() else PLAIN.get(one, "") for one in parts) or UNKNOWN


codecs.register_error(HANDLER, _replace)


def holdable(text: str, encoding: str) -> str:
    """Give a text as it will stand in an output: known before it is written, it can be measured.

    Parameters
    ----------
    text : str
    encoding : str
        The output's, as Python names it.
    """
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return text.encode(encoding, HANDLER).decode(encoding, "surrogateescape")
    return text


def make_readable(stream: TextIO) -> None:
    """Let a stream replace what it can't hold."""
    if hasattr(stream, "reconfigure"):
        stream.reconfigure(errors=HANDLER)


def one_line(text: str) -> str:
    """Give a text in one line, without characters that would steer a terminal."""
    return "".join(
        one if one.isprintable() or "\ud800" <= one <= "\udfff" else f"\\x{ord(one):02x}"
        for one in " ".join(text.split())
    )
