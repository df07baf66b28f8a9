"""A picture's size, from its own header, and whether the file is whole.

Only the frame of each format is read [1]_ [2]_ [3]_: enough to tell a photo from something
else, a whole file from a broken one, and landscape from portrait.

.. [1] PNG (W3C recommendation, third edition), sections 5.2, 11.2.1 (IHDR) and 11.2.5 (IEND).
.. [2] ITU-T T.81 (JPEG), annex B: markers, and the frame header's sizes.
.. [3] SVG 2 (W3C), 8.2: `width`, `height` and `viewBox` of the root.
"""

from __future__ import annotations

import re
import struct
import xml.etree.ElementTree as ET
from pathlib import Path

PICTURE_TYPES = {
    ".svg": "image/svg+xml", ".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png",
}  # fmt: skip

_PNG = b"\x89PNG\r\n\x1a\n"
_JPEG = b"\xff\xd8\xff"
_FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
"""JPEG markers that begin a frame: SOF0 to SOF15, without DHT, JPG and DAC among them."""

_NUMBER = re.compile(r"\s*\+?(\d+\.?\d*|\.\d+)(?:e\d+)?\s*(px|mm|cm|in|pt|pc)?\s*", re.IGNORECASE)


class Broken(ValueError):
    """The file can't be shown; says why in a few words."""


def size_of(file: Path) -> tuple[float, float] | None:
    """Give width and height of a picture, in its own units, or None where it doesn't say.

    Parameters
    ----------
    file : Path
        Its ending says what it should be: one of `PICTURE_TYPES`.

    Raises
    ------
    Broken
        It isn't a picture of that kind, or a part of it is missing.
    OSError
        It can't be read.
    """
    data = file.read_bytes()
    if not data:
        raise Broken("is empty: copy it anew")
    kind = PICTURE_TYPES[file.suffix.lower()]
    found = "image/png" if data.startswith(_PNG) else \
        "image/jpeg" if data.startswith(_JPEG) else "image/svg+xml"  # fmt: skip
    if kind != found and found != "image/svg+xml":
        raise Broken(f"is a {found.removeprefix('image/').upper()} picture: name it so")
    return {"image/png": _png, "image/jpeg": _jpeg}.get(kind, _svg)(data)


def _png(data: bytes) -> tuple[float, float]:
    if not data.startswith(_PNG):
        raise Broken("is no PNG picture: save it as one")
    at, size = len(_PNG), None
    while at + 8 <= len(data):
        length, name = struct.unpack_from(">I4s", data, at)
        if name == b"IHDR" and at + 16 <= len(data):
            size = struct.unpack_from(">II", data, at + 8)
        at += 12 + length
        if name == b"IEND" and at <= len(data) and size and all(size):
            return size
    raise Broken("is cut off: copy it anew")


def _jpeg(data: bytes) -> tuple[float, float]:
    if not data.startswith(_JPEG):
        raise Broken("is no JPEG picture: save it as one")
    at, size = 2, None
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker, length = data[at + 1], struct.unpack_from(">H", data, at + 2)[0]
        if marker == 0xFF:  # a fill byte
            at += 1
            continue
        if marker in _FRAMES and at + 9 <= len(data):
            height, width = struct.unpack_from(">HH", data, at + 5)
            size = width, height
        at += 2 + length
        if marker == 0xDA:
            # the scans' own bytes follow, then the end; a telephone may put more behind it
            if size and all(size) and data.find(b"\xff\xd9", at) >= 0:
                return size
            break
    raise Broken("is cut off: copy it anew")


def _svg(data: bytes) -> tuple[float, float] | None:
    try:
        root = ET.fromstring(data)
    except (ET.ParseError, ValueError, LookupError):  # the last two: odd encodings
        raise Broken("is no SVG picture, or not a whole one: save it anew") from None
    if root.tag.rpartition("}")[2] != "svg":
        raise Broken("is no SVG picture: save it as one")
    numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*(?:e-?\d+)?", root.get("viewBox", ""))]
    if len(numbers) == 4 and numbers[2] > 0 and numbers[3] > 0:
        return numbers[2], numbers[3]
    sides = [_NUMBER.fullmatch(root.get(name, "")) for name in ("width", "height")]
    if all(sides) and len({side[2] for side in sides if side}) == 1:
        width, height = (float(side[1]) for side in sides if side)
        return (width, height) if width > 0 and height > 0 else None
    return None
