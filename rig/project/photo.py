"""A picture of the board: its size, whether the file is whole, and a photo as a person sees it.

A photo is decoded here alone: whoever asks gets it upright, as its EXIF orientation says, and bare
of what a camera writes beside it. Of a drawing only the root is read [1]_.

.. [1] SVG 2 (W3C), 8.2: `width`, `height` and `viewBox` of the root.
"""

from __future__ import annotations

import io
import re
import warnings
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from PIL import ExifTags, Image, ImageOps

PICTURE_TYPES = {
    ".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png", ".svg": "image/svg+xml",
}  # fmt: skip
DRAWING = PICTURE_TYPES[".svg"]

MOST_PIXELS = 200_000_000
"""Larger photos aren't decoded: as bare points they fill the memory."""
SHOWN_PX = 2000
"""Long side of a photo that is drawn on or embedded, at most."""

_QUALITY = 88
_CUT = "is cut off or damaged: copy it anew"
_LARGE = f"has more than {MOST_PIXELS // 1_000_000} megapixels: save it smaller"
_MAGIC = {"image/png": b"\x89PNG\r\n\x1a\n", "image/jpeg": b"\xff\xd8\xff"}
_TURNED = range(5, 9)
"""EXIF orientations that make a photo stand that lies in its file, or the other way."""
Image.MAX_IMAGE_PIXELS = MOST_PIXELS  # its own bound is lower than what telephones make

_NUMBER = re.compile(r"\s*\+?(\d+\.?\d*|\.\d+)(?:e\d+)?\s*(px|mm|cm|in|pt|pc)?\s*", re.IGNORECASE)


class Broken(ValueError):
    """The file can't be shown; says why in a few words."""


def is_drawing(file: Path) -> bool:
    """Say whether a picture is an SVG, by its ending."""
    return PICTURE_TYPES[file.suffix.lower()] == DRAWING


def size_of(file: Path) -> tuple[float, float] | None:
    """Give width and height of a picture, in its own units, or None where it doesn't say.

    Parameters
    ----------
    file : Path
        Its ending says what it should be: one of `PICTURE_TYPES`. Of a photo it's the size of the
        upright picture, pixels.

    Raises
    ------
    Broken
        It isn't a picture of that kind, or a part of it is missing.
    OSError
        It can't be read.
    """
    if is_drawing(file):
        return _svg(file.read_bytes())
    with _opened(file) as image:
        (width, height), turn = image.size, _orientation(image)
        image.draft(None, (1, 1))  # all of it is read, as few points as can be are made
        image.load()
    return (height, width) if turn in _TURNED else (width, height)


def upright(file: Path, most_px: int = SHOWN_PX) -> Image.Image:
    """Give a photo as a person sees it: turned upright, RGB, with nothing but its points.

    Parameters
    ----------
    file : Path
        JPEG or PNG.
    most_px : int
        Its long side is scaled down to this; a smaller one stays as it is.

    Raises
    ------
    Broken
        It isn't a photo, or a part of it is missing.
    OSError
        It can't be read.
    """
    with _opened(file) as image:
        share = most_px / max(image.size)
        width, height = (max(1, int(side * share)) for side in image.size)
        image.draft(None, (width, height))  # decoded no larger than needed
        image.load()
        turned = _rgb(_turned(image))
    turned.thumbnail((most_px, most_px), Image.Resampling.LANCZOS)
    turned.info = {}
    return turned


def embeddable(file: Path) -> tuple[str, bytes]:
    """Give a picture's media type and bytes, to be embedded in a page.

    A photo is encoded anew, upright and without where and when it was taken; a drawing stays.

    Raises
    ------
    Broken
        It isn't a picture of its ending's kind, or a part of it is missing.
    OSError
        It can't be read.
    """
    if is_drawing(file):
        return DRAWING, file.read_bytes()
    out = io.BytesIO()
    upright(file).save(out, "JPEG", quality=_QUALITY)
    return PICTURE_TYPES[".jpg"], out.getvalue()


@contextmanager
def _opened(file: Path) -> Iterator[Image.Image]:
    """Open a photo; what goes wrong within is told as `Broken`."""
    kind = PICTURE_TYPES[file.suffix.lower()]
    with open(file, "rb") as handle, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # odd metadata are no concern of the person's
        _look_at(handle.read(16), kind)
        handle.seek(0)
        try:
            with Image.open(handle, formats=("JPEG", "PNG", "MPO")) as image:
                if image.width * image.height > MOST_PIXELS:
                    raise Broken(_LARGE)
                yield image
        except Broken:
            raise
        except Image.DecompressionBombError:
            raise Broken(_LARGE) from None
        except OSError as trouble:
            if trouble.errno is not None:
                raise
            raise Broken(_CUT) from None
        except Exception:  # a decoder of damaged bytes fails in any way
            raise Broken(_CUT) from None


def _look_at(start: bytes, kind: str) -> None:
    """Refuse what doesn't begin as its ending says."""
    if not start:
        raise Broken("is empty: copy it anew")
    found = next((one for one, magic in _MAGIC.items() if start.startswith(magic)), None)
    if found is None:
        if _MAGIC[kind].startswith(start):
            raise Broken(_CUT)
        raise Broken(f"is no {_name(kind)} picture: save it as one")
    if found != kind:
        raise Broken(f"is a {_name(found)} picture: name it so")


def _name(kind: str) -> str:
    return kind.removeprefix("image/").upper()


def _orientation(image: Image.Image) -> int:
    """Give the EXIF orientation, 1 to 8; 1 where it isn't said or can't be read."""
    try:
        turn = image.getexif().get(ExifTags.Base.Orientation)
    except Exception:  # metadata may be damaged in any way
        return 1
    return turn if turn in range(1, 9) else 1


def _turned(image: Image.Image) -> Image.Image:
    if _orientation(image) == 1:
        return image
    # What else the metadata say could fail to be written again, and isn't wanted.
    image.info = {name: image.info[name] for name in ("transparency",) if name in image.info}
    return ImageOps.exif_transpose(image)


def _rgb(image: Image.Image) -> Image.Image:
    """Give any kind of points as RGB, what is clear on white."""
    if image.mode.startswith("I"):  # 16 bit grey
        image = Image.fromarray((np.asarray(image) // 256).astype(np.uint8))
    if image.has_transparency_data:
        clear = image.convert("RGBA")
        image = Image.new("RGBA", clear.size, "white")
        image.alpha_composite(clear)
    return image.convert("RGB")


def _svg(data: bytes) -> tuple[float, float] | None:
    if not data:
        raise Broken("is empty: copy it anew")
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
