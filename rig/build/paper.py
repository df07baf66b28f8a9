"""The build sheet as PDF, set by typst, and what its fonts have no sign for."""

from __future__ import annotations

import base64
import json
import unicodedata
from collections.abc import Iterable
from functools import cache
from importlib import resources, util
from pathlib import Path
from xml.etree import ElementTree

import typst
from fontTools.ttLib import TTFont

from rig.build.content import Sheet, as_data, texts_of
from rig.errors import ConfigError
from rig.project.photo import DRAWING

HERE = Path(str(resources.files("rig.build")))
FONTS = HERE / "fonts"
MORE_FONTS = "noto_cjk_sans_jp_regular"
"""A package of the extra `cjk`: signs of Chinese, Japanese and Korean."""


def pdf_of(sheet: Sheet) -> bytes:
    """Give the sheet as PDF: the same bytes for the same sheet.

    Its fonts are those of this package, and of the extra `cjk` where that is installed; never the
    system's. A character that they lack is an empty box: see `missing`.
    """
    paths = [str(FONTS), *map(str, _more_fonts())]
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=paths)
    known = sorted(fonts.families(), key=lambda name: not name.startswith("DejaVu"))
    data = as_data(sheet)
    for one in data["maps"]:
        one["picture"] = _as_svg(one["picture"], one["width_mm"], one["height_mm"])
    try:
        made = typst.compile(
            str(HERE / "sheet.typ"), format="pdf", root=str(HERE), font_paths=fonts, ignore_system_fonts=True,
            sys_inputs={"sheet": json.dumps(data), "fonts": json.dumps(known)},
        )  # fmt: skip
    except typst.TypstError as trouble:
        if not any(DRAWING in one.picture for one in sheet.maps):
            raise
        raise ConfigError(f"the board's drawing can't be set in a PDF ({trouble.message}): save it as PNG "
                          "or without links, or write the HTML alone with --out sheet.html") from None
    return made


def _as_svg(address: str, width_mm: float, height_mm: float) -> str:
    """Give a picture as SVG: a drawing itself, a photo within one."""
    kind, _, data = address.removeprefix("data:").partition(";base64,")
    if kind == DRAWING:
        return ElementTree.tostring(ElementTree.fromstring(base64.b64decode(data)), encoding="unicode")
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width_mm} {height_mm}"><image href="{address}" '
            f'width="{width_mm}" height="{height_mm}" preserveAspectRatio="none"/></svg>')  # fmt: skip


def missing(sheet: Sheet) -> list[str]:
    """Give the characters of the sheet that the PDF's fonts have no sign for, in their order."""
    have = _signs(FONTS / "DejaVuSans.ttf") & _signs(FONTS / "DejaVuSans-Bold.ttf")
    for folder in _more_fonts():
        for file in sorted(folder.glob("*.otf")):
            have |= _signs(file)
    said = dict.fromkeys(one for text in texts_of(as_data(sheet)) for one in text)
    return [one for one in said if ord(one) not in have and _is_drawn(one)]


def missing_words(signs: Iterable[str]) -> str:
    """Say in a line which characters are lacking; "" where none is."""
    told = list(signs)
    if not told:
        return ""
    shown = " ".join(told[:8]) + (f" and {len(told) - 8} more" if len(told) > 8 else "")
    is_asian = any(unicodedata.east_asian_width(one) in "WF" and one.isalpha() for one in told)
    more = ", or install padsweep[cjk]" if is_asian and not _more_fonts() else ""
    return f"the PDF's font has no {shown}: boxes stand there; print sheet.html in its place{more}"


def _is_drawn(sign: str) -> bool:
    """Say whether a character is one that a font draws: formats and variants aren't."""
    return unicodedata.category(sign) not in ("Cf", "Zs", "Zl", "Zp") and not 0xFE00 <= ord(sign) <= 0xFE0F


@cache
def _signs(file: Path) -> frozenset[int]:
    with TTFont(file, lazy=True) as font:
        return frozenset(font.getBestCmap())


def _more_fonts() -> list[Path]:
    found = util.find_spec(MORE_FONTS)
    return [Path(one) for one in found.submodule_search_locations or ()] if found else []
