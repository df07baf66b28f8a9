"""A labelled grid over the photo of the board, to read the places of pads off."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont, PngImagePlugin

from rig.errors import ConfigError
from rig.files import replace_file
from rig.project.photo import Broken, is_drawing, upright
from rig.project.places import Places

GRID = "board-grid.png"
APART_PX = 80
"""Lines lie so far from each other, at least."""
FONT_PX = 20
EDGE_PX = 12
"""Between a label and the picture, and around all."""
TICK_PX = 4
PAD_PX = 13
_DARK, _LIGHT = (0, 0, 0), (255, 255, 255)
_MADE_BY = ("Software", "padsweep places")
"""Written into the file, so that no other file is taken for ours."""


@dataclass(frozen=True)
class Layout:
    """Where things lie on the drawn grid.

    Parameters
    ----------
    size : tuple of int
        Of the picture, pixels of the grid's file.
    left, top : int
        Of the picture's first pixel.
    x_scale, y_scale : float
        Pixels per unit of board.yaml.
    step : float
        Between two lines, units.
    xs, ys : tuple of float
        The lines, units.
    """

    size: tuple[int, int]
    left: int
    top: int
    x_scale: float
    y_scale: float
    step: float
    xs: tuple[float, ...]
    ys: tuple[float, ...]

    def at(self, x: float, y: float) -> tuple[int, int]:
        """Give the pixel of a point in units; the picture's far edges are its last pixels."""
        width, height = self.size
        return (
            self.left + min(round(x * self.x_scale), width - 1),
            self.top + min(round(y * self.y_scale), height - 1),
        )

    def ticks(self, lines: tuple[float, ...]) -> list[float]:
        """Give the places between lines, units: each space in four or five round parts."""
        parts = 4 if f"{self.step:e}".startswith("2") else 5
        return [line + self.step * n / parts for line in lines[:-1] for n in range(1, parts)]


def lay_out(places: Places, size: tuple[int, int]) -> Layout:
    """Lay a grid over a picture of a size in pixels: lines at round numbers, labels beside it."""
    width, height = size
    x_scale, y_scale = width / places.width, height / places.height
    least = APART_PX / min(x_scale, y_scale)
    step = next(
        digit * 10.0**power for power in range(-9, 13) for digit in (1, 2, 5)
        if digit * 10.0**power >= least
    )
    xs, ys = (
        tuple(step * n for n in range(int(side / step + 1e-9) + 1))
        for side in (places.width, places.height)
    )
    font = _font()
    widest = max(round(font.getlength(_label(value))) for value in ys)
    return Layout(size, left=widest + 2 * EDGE_PX, top=FONT_PX + 2 * EDGE_PX, x_scale=x_scale,
                  y_scale=y_scale, step=step, xs=xs, ys=ys)


def draw_grid(photo: Image.Image, places: Places) -> Image.Image:
    """Draw the grid, its labels and the pads that have a place over an upright photo."""
    layout = lay_out(places, photo.size)
    width, height = photo.size
    whole = Image.new("RGB", (width + 2 * layout.left, height + 2 * layout.top), _LIGHT)
    whole.paste(_lined(photo, layout), (layout.left, layout.top))
    draw = ImageDraw.Draw(whole)
    _labels(draw, layout)
    for letter, place in places.pads.items():
        _pad(draw, layout.at(place.x, place.y), letter, whole.size)
    return whole


def write_grid(folder: Path, places: Places) -> float:
    """Write board-grid.png into the project folder; only one that it made is replaced.

    Returns
    -------
    float
        Between two of its lines, units.

    Raises
    ------
    ConfigError
        The picture is a drawing or can't be read, or another file has that name.
    """
    folder = Path(folder)
    picture, file = folder / places.picture, folder / GRID
    if is_drawing(picture):
        raise ConfigError(
            f"{picture} is a drawing, and the grid goes over a photo: read the places off in a "
            "drawing program, or name a photo as `picture:` in board.yaml"
        )
    if picture == file:
        raise ConfigError(f"{file} is the grid, and board.yaml names it as the picture: name the "
                          "photo itself there")
    if file.exists() and not _is_ours(file):
        raise ConfigError(f"{file} wasn't made by padsweep: give it another name, so that the "
                          "grid can be written")
    try:
        photo = upright(picture)
    except Broken as trouble:
        raise ConfigError(f"{picture} {trouble}") from None
    out, note = io.BytesIO(), PngImagePlugin.PngInfo()
    note.add_text(*_MADE_BY)
    draw_grid(photo, places).save(out, "PNG", pnginfo=note)
    try:
        replace_file(file, out.getvalue())
    except OSError as trouble:
        raise ConfigError(f"{file}: can't be written: {trouble.strerror}") from trouble
    return lay_out(places, photo.size).step


def _is_ours(file: Path) -> bool:
    try:
        with Image.open(file, formats=("PNG",)) as image:
            return image.info.get(_MADE_BY[0]) == _MADE_BY[1]
    except Exception:  # whatever it is, it isn't ours
        return False


def _lined(photo: Image.Image, layout: Layout) -> Image.Image:
    """Draw the lines with their ticks: dark within light, to be seen on any photo."""
    lined, (width, height) = photo.copy(), photo.size
    draw, (left, top) = ImageDraw.Draw(lined), layout.at(0, 0)
    boxes = []
    for x in layout.xs:
        at = layout.at(x, 0)[0] - left
        boxes.append((at, 0, at, height))
        boxes += [(at - TICK_PX, y - top, at + TICK_PX, y - top)
                  for _, y in (layout.at(0, tick) for tick in layout.ticks(layout.ys))]
    for y in layout.ys:
        at = layout.at(0, y)[1] - top
        boxes.append((0, at, width, at))
        boxes += [(x - left, at - TICK_PX, x - left, at + TICK_PX)
                  for x, _ in (layout.at(tick, 0) for tick in layout.ticks(layout.xs))]
    for x1, y1, x2, y2 in boxes:
        draw.rectangle((x1 - 1, y1 - 1, x2 + 1, y2 + 1), fill=_LIGHT)
    for box in boxes:
        draw.rectangle(box, fill=_DARK)
    return lined


def _labels(draw: ImageDraw.ImageDraw, layout: Layout) -> None:
    """Write each line's number at both of its ends, outside the picture."""
    font, (width, height) = _font(), layout.size
    for x in layout.xs:
        at = layout.at(x, 0)[0]
        draw.text((at, layout.top - EDGE_PX), _label(x), _DARK, font, anchor="ms")
        draw.text((at, layout.top + height + EDGE_PX), _label(x), _DARK, font, anchor="mt")
    for y in layout.ys:
        at = layout.at(0, y)[1]
        draw.text((layout.left - EDGE_PX, at), _label(y), _DARK, font, anchor="rm")
        draw.text((layout.left + width + EDGE_PX, at), _label(y), _DARK, font, anchor="lm")


def _pad(
    draw: ImageDraw.ImageDraw, at: tuple[int, int], letter: str, size: tuple[int, int]
) -> None:
    """Ring a pad's place and write its letter beside it, towards the middle of the picture."""
    x, y = at
    for more, ink in ((2, _LIGHT), (0, _DARK), (-3, _LIGHT)):
        r = PAD_PX + more
        draw.ellipse((x - r, y - r, x + r, y + r), outline=ink, width=3)
    font = _font(FONT_PX * 3 // 2)
    wide = round(font.getlength(letter)) + EDGE_PX
    left = x + PAD_PX + 4 if x < size[0] / 2 else x - PAD_PX - 4 - wide
    high = FONT_PX * 9 // 10
    draw.rounded_rectangle((left, y - high, left + wide, y + high), 5, _DARK, _LIGHT, 2)
    draw.text((left + wide / 2, y), letter, _LIGHT, font, anchor="mm")


def _font(size_px: int = FONT_PX) -> ImageFont.FreeTypeFont:
    font = ImageFont.load_default(size_px)
    assert isinstance(font, ImageFont.FreeTypeFont)  # as with any size
    return font


def _label(value: float) -> str:
    return f"{value:.10g}"
