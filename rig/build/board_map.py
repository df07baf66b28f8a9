"""The label map: the pads that are used over the board's picture, at true size where it is known."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from html import escape
from itertools import combinations
from pathlib import Path

from rig.build.content import Map, Paper
from rig.build.drawings import FONT
from rig.choose.picks import Pick
from rig.pads import lines_of
from rig.project.photo import embeddable
from rig.project.places import Place, Places

Point = tuple[float, float]

WIDTH_MM: dict[Paper, float] = {"a4": 182.0, "letter": 187.0}
"""Between the margins: A4 is 210 mm wide (ISO 216), Letter 8.5 in (ANSI/ASME Y14.1)."""
FITTED_HEIGHT_MM = 118.0
TRUE_HEIGHT_MM = 220.0
READABLE_MM = 90.0
"""A picture whose long side is less is hard to read letters on; then it is also drawn fitted."""
READABLE_DISC_MM = 2.0
"""Radius of a pad's disc with a letter that is easily read: our choice."""
LETTERS_MM = 150.0
"""Long side of the picture on which letters have their usual size."""
MOST_LINES = 24
"""Pairs that can be told apart as lines over one picture: our choice."""


def maps_of(
    folder: Path, places: Places, picks: Sequence[Pick], paper: Paper
) -> tuple[Map, ...]:
    """Give the board at true size where that is known and fits, and fitted to the page to read.

    Parameters
    ----------
    folder : Path
        Where the picture lies.
    places : Places
        `mm_per_unit` is its scale.
    picks : sequence of Pick
    paper : str
        "a4" or "letter".
    """
    width_mm = WIDTH_MM[paper]
    scale = min(width_mm / places.width, FITTED_HEIGHT_MM / places.height)
    with_lines = len(picks) <= MOST_LINES
    many = "" if with_lines else f" With {len(picks)} pairs lines are left out: the table names them."
    per_unit = places.mm_per_unit
    true, caption = None, ""
    if per_unit is None:
        why = "board.yaml has no mm_per_unit"
    elif per_unit * places.width > width_mm or per_unit * places.height > TRUE_HEIGHT_MM:
        why = f"the picture is {per_unit * max(places.width, places.height):.0f} mm long"
    else:
        caption = "At true size, if the check bar at the end measures 50 mm: the board can be laid on it."
        true = _map(folder, places, picks, per_unit, with_lines, caption + many)
        if per_unit >= scale or _is_readable(places, picks, per_unit):
            return (true,)
        why = f"{scale / per_unit:.2g} times as large as the board"
    fitted = _map(folder, places, picks, scale, with_lines,
                  f"Fitted to the page, not at true size: {why}.{many}")  # fmt: skip
    if true is None or per_unit is None:
        return (fitted,)
    return fitted, _map(folder, places, picks, per_unit, False, caption)


def _is_readable(places: Places, picks: Sequence[Pick], scale: float) -> bool:
    """Say whether the letters are large enough with so many mm to a unit of the picture."""
    long_mm = scale * max(places.width, places.height)
    points = [(at.x * scale, at.y * scale) for at in _used(places, picks)]
    return long_mm >= READABLE_MM and disc(points, _larger(long_mm) * long_mm / 1000) >= READABLE_DISC_MM


def _used(places: Places, picks: Sequence[Pick]) -> list[Place]:
    return [places.pads[pad] for pad in sorted({pad for one in picks for pad in one.pads}) if pad in places.pads]


def _larger(long_mm: float) -> float:
    return max(1.0, LETTERS_MM / long_mm)


def _map(
    folder: Path, places: Places, picks: Sequence[Pick], scale: float, with_lines: bool, caption: str
) -> Map:
    width_mm, height_mm = places.width * scale, places.height * scale
    larger = _larger(max(width_mm, height_mm))
    svg = board_overlay(places, picks, with_lines=with_lines, larger=larger)
    return Map(board_picture(folder, places), svg, width_mm, height_mm, caption)


INKS = ("#1d4e89", "#a8321f", "#2f6b3a", "#6a3d8f", "#8a5a00", "#00707a")
DASHES = ("", "14 7", "4 6", "18 6 4 6")
"""Lines differ by colour and by dashes, so that a black-and-white print can be read too."""


def board_picture(folder: Path, places: Places) -> str:
    """Give the board's picture as a data address, so that the sheet is one file.

    A photo is as a person sees it, smaller and without where it was taken; a drawing stays.
    """
    kind, whole = embeddable(Path(folder) / places.picture)
    return f"data:{kind};base64,{base64.b64encode(whole).decode('ascii')}"


def board_overlay(
    places: Places, picks: Sequence[Pick], *, with_lines: bool = True, larger: float = 1.0
) -> str:
    """Draw what lies over the board's picture: the picks' pads lettered, their pairs numbered.

    Parameters
    ----------
    places : Places
    picks : sequence of Pick
    with_lines : bool
        Draw a line and a number for each pair.
    larger : float
        Letters and lines are so much larger than on a picture that fills the page.
    """
    w, h = places.width, places.height
    unit = larger * max(w, h) / 1000
    out = [
        (f'<svg class="board" xmlns="http://www.w3.org/2000/svg" {FONT} viewBox="0 0 {w:g} {h:g}" '
        'role="img" aria-label="the board with the pads of the picks">')
    ]
    tags: list[Point] = []
    drawn: list[Point] = []
    used = {pad for pick in picks for pad in pick.pads if pad in places.pads}
    points = [(places.pads[pad].x, places.pads[pad].y) for pad in sorted(used)]
    labels = []
    for number, pick in enumerate(picks, 1):
        if not with_lines or not all(pad in places.pads for pad in pick.pads):
            continue
        ink, dash = ink_of(number)
        dash = " ".join(f"{float(part) * unit:g}" for part in dash.split())
        for pads in lines_of(pick.pair):
            one, other = (places.pads[pad] for pad in pads)
            ends = (one.x, one.y), (other.x, other.y)
            curve, tag, samples = _curve(
                ends, points=points, tags=tags, drawn=drawn, unit=unit, size=(w, h)
            )
            tags.append(tag)
            drawn += samples
            out.append(
                f'<path d="{curve}" fill="none" stroke="white" stroke-width="{9 * unit:.1f}"/>'
                f'<path d="{curve}" fill="none" stroke="{ink}" stroke-width="{5 * unit:.1f}"'
                + (f' stroke-dasharray="{dash}"' if dash else "")
                + "/>"
            )
            labels.append(_tag(tag, number, ink, unit))
    radius = disc(points, unit)
    for pad in sorted(used):
        place = places.pads[pad]
        size = (30 if len(pad) == 1 else 23) / 22 * radius
        out.append(
            f'<circle cx="{place.x:g}" cy="{place.y:g}" r="{radius:.1f}" fill="black" '
            f'stroke="white" stroke-width="{3 / 22 * radius:.1f}"/>'
            f'<text x="{place.x:g}" y="{place.y + size * 0.36:.1f}" font-size="{size:.1f}" '
            f'text-anchor="middle" font-weight="bold" fill="white">{escape(pad)}</text>'
        )
    return "\n".join([*out, *labels, "</svg>"])


def disc(points: Sequence[Point], unit: float) -> float:
    """Give the radius of the pads' discs: smaller where pads are so near that they would overlap."""
    nearest = min((math.dist(a, b) for a, b in combinations(points, 2) if a != b), default=math.inf)
    return min(22 * unit, max(nearest * 0.47, 9 * unit))


def ink_of(number: int) -> tuple[str, str]:
    """Give the colour and dashes of a pick's line, by its number from 1."""
    return INKS[(number - 1) % len(INKS)], DASHES[(number - 1) // len(INKS) % len(DASHES)]


def _curve(
    ends: tuple[Point, Point],
    *,
    points: list[Point],
    tags: list[Point],
    drawn: list[Point],
    unit: float,
    size: tuple[float, float],
) -> tuple[str, Point, list[Point]]:
    """Bow a line so that it and its number stand clear of pads, numbers and other lines."""
    (ax, ay), (bx, by) = ends
    length = math.dist(*ends) or 1.0
    nx, ny = -(by - ay) / length, (bx - ax) / length
    others = [p for p in points if p not in ends]
    best = None
    for bow in (0.0, 0.08, -0.08, 0.16, -0.16, 0.28, -0.28):
        cx, cy = (ax + bx) / 2 + nx * bow * length * 2, (ay + by) / 2 + ny * bow * length * 2

        def at(t: float, cx: float = cx, cy: float = cy) -> Point:
            u = 1 - t
            return (
                u * u * ax + 2 * t * u * cx + t * t * bx,
                u * u * ay + 2 * t * u * cy + t * t * by,
            )

        samples = [at(0.1 + 0.05 * step) for step in range(17)]
        edge = min(min(x, y, size[0] - x, size[1] - y) for x, y in samples)
        if bow and edge < 25 * unit:
            continue
        crowded = sum(
            any(math.dist(s, p) < 30 * unit for p in others)
            or any(math.dist(s, p) < 14 * unit for p in drawn)
            for s in samples
        )
        for t in (0.5, 0.38, 0.62):
            clear = min([math.dist(at(t), p) for p in points + tags])
            worth = min(clear, 55 * unit) - (abs(bow) * 90 + crowded * 7) * unit
            if best is None or worth > best[0] + 1e-6:
                curve = f"M {ax:g} {ay:g} Q {cx:.1f} {cy:.1f} {bx:g} {by:g}"
                best = (worth, curve, at(t), samples)
    assert best is not None
    return best[1:]


def _tag(at: Point, number: int, ink: str, unit: float) -> str:
    x, y = at
    side = 17 * unit
    return (
        f'<rect x="{x - side:.1f}" y="{y - side:.1f}" width="{2 * side:.1f}" '
        f'height="{2 * side:.1f}" rx="{4 * unit:.1f}" fill="white" stroke="{ink}" '
        f'stroke-width="{3.5 * unit:.1f}"/>'
        f'<text x="{x:.1f}" y="{y + 9 * unit:.1f}" font-size="{26 * unit:.1f}" '
        f'text-anchor="middle" font-weight="bold" fill="{ink}">{number}</text>'
    )
