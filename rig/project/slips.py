"""Slips of the pen that YAML reads as something else, and the line as it should be.

A comma or a colon in a note that has no quotes; a decimal comma, which makes two values of one.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rig.project.yaml_strict import Document

_TEXTS = "note|name|device|port|picture"
_TEXT = re.compile(rf"(?P<before>(?:.*[{{,])?\s*(?:- +)?(?:{_TEXTS})\s*: *)(?P<text>\S.*)")
_NEXT = re.compile(r"\s*(?:,\s*[a-z]\w*\s*:\s.*|\}[^}]*)$")
_COMMENT = re.compile(r"\s+#.*$")
_NUMBER = re.compile(r"\d+(\.\d+)? ?[^\W\d]*")
_LONGEST = 160
"""Of a line that is shown, characters."""

_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r", "\x85": "\\N",
            "\u2028": "\\L", "\u2029": "\\P"}  # fmt: skip
_NEEDS_NO_QUOTES = re.compile(r"[^\W\d_]([\w .+-]*[\w.+-])?")


def quoted(text: str) -> str:
    """Give a text in double quotes, as it is written into a file.

    Parameters
    ----------
    text : str
        Of signs that a file may hold.
    """
    return '"' + "".join(_ESCAPES.get(sign, sign) for sign in text) + '"'


def written(text: str) -> str:
    """Give a text as it is written into a file: in quotes where it needs them."""
    if _NEEDS_NO_QUOTES.fullmatch(text) and text not in ("true", "false", "null"):
        return text
    return quoted(text)


def line_in_quotes(line: str, mends: Callable[[str], bool]) -> str | None:
    """Give a line with its text in quotes, or None where that doesn't mend it.

    Parameters
    ----------
    line : str
        Such as `A: {note: IC2: leg 4, kind: rail}`.
    mends : callable
        Says whether a line in its place can be read.
    """
    found = _TEXT.match(line) if len(line) <= _LONGEST else None
    if not found:
        return None
    text, behind = found["text"], ""
    end = (_NEXT if "{" in found["before"] else _COMMENT).search(text)
    if end:
        text, behind = text[: end.start()], text[end.start() :]
    mended = found["before"] + quoted(text.strip().strip("\"'")) + behind
    return mended.strip() if mends(mended) else None


def parted_text(document: Document, path: tuple) -> str | None:
    """Give the line as it should be where a comma has parted a text, else None.

    Parameters
    ----------
    path : tuple
        Of an unknown key, such as `plus side` in `{note: battery minus, plus side}`.
    """
    around = document.data
    for part in path[:-1]:
        around = around[part]  # type: ignore[index]
    if not isinstance(around, dict) or around.get(path[-1]) is not None:
        return None
    names = list(around)
    at = names.index(path[-1])
    while at > 0 and around[names[at]] is None:
        at -= 1
    label = names[at]
    if label not in _TEXTS.split("|") or not isinstance(around[label], str):
        return None
    parts = [around[label]]
    for name in names[at + 1 :]:
        if around[name] is not None:
            break
        parts.append(name)
    right = f"{label}: {quoted(', '.join(parts))}"
    lines = document.text.splitlines()
    line = "".join(lines[document.line((*path[:-1], label)) - 1 :][:1])
    written = r"\s*,\s*".join(map(re.escape, parts))
    mended, count = re.subn(rf"{label}\s*:\s*{written}", lambda _: right, line)
    return mended.strip() if count == 1 and len(mended) <= _LONGEST else right


def parted_numbers(document: Document, path: tuple) -> list[str] | None:
    """Give the values of a list as they were meant where decimal commas part them, else None.

    Commas without a blank behind them are decimal ones if others in the list have one.

    Parameters
    ----------
    path : tuple
        Of the list, such as that of `series_ohm: [0, 6,8, 33, 150]`.

    Returns
    -------
    list of str
        Such as "0", "6.8", "33", "150".
    """
    inside = re.search(rf"(?m)^[^#\n]*\b{path[-1]}\s*:\s*\[([^\]#]*)\]", document.text)
    pieces = inside[1].split(",") if inside else []
    if not all(_NUMBER.fullmatch(piece.strip()) for piece in pieces):
        return None
    glued = [piece[:1].isdigit() for piece in pieces[1:]]
    if not any(glued) or all(glued):
        return None
    found = [pieces[0].strip()]
    for piece, is_glued in zip(pieces[1:], glued, strict=True):
        if is_glued and "." not in found[-1]:
            found[-1] += "." + piece.strip()
        else:
            found.append(piece.strip())
    return found
