"""Draws the picture of an invented board, as SVG, with its lettered pads.

Everything is placed on a 0.1 mm grid. Parts come first, each with the points where it is
soldered; the pads are then spread over these points. Tracks are drawn only between pads
that are one net, and from unused points to blind vias, so the drawing says nothing false.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

from rig.project.places import Place, Places

WIDTH, HEIGHT = 1000, 720
COLUMNS, ROWS = 5, 3
CELL_W, CELL_H = 165, 150
LEFT, TOP = 105, 55
BATTERY = [((52.0, 170.0), "battery plus"), ((52.0, 430.0), "battery minus")]
LINE, FILL, BOARD, COPPER, TRACK = "#3b3a36", "#fbfaf6", "#f1ead7", "#c98f52", "#d8c7a0"


@dataclass
class _Drawing:
    parts: list[str] = field(default_factory=list)
    points: dict[tuple[float, float], tuple[str, tuple[float, float]]] = field(default_factory=dict)
    """Soldering points: what is there, and the direction away from the part (for the letter)."""

    def solder(self, x: float, y: float, what: str, dx: float, dy: float) -> None:
        self.points[(round(x, 1), round(y, 1))] = (what, (dx, dy))


def draw_board(
    letters: Sequence[str],
    *,
    seed: int,
    title: str,
    keys: Sequence[str] = (),
    rails: Sequence[str] = (),
    nets: Sequence[Sequence[str]] = (),
) -> tuple[str, Places, dict[str, str]]:
    """Draw a board and say where its pads are and what is there.

    Parameters
    ----------
    letters : sequence of str
        Pads in order.
    seed : int
        Same seed and arguments, same drawing byte for byte.
    title : str
        Printed on the board.
    keys : sequence of str
        Names of the keys; a key contact is drawn for each.
    rails : sequence of str
        Pads that sit at the battery's contacts.
    nets : sequence of sequences of str
        Groups of pads that are one conductor; a track joins them.

    Returns
    -------
    svg : str
    places : Places
        Units of 0.1 mm.
    notes : dict of str to str
        What a person sees at each pad, such as `IC2, leg 3`.
    """
    chance = random.Random(f"board picture {seed}")
    drawing = _Drawing()
    _edge_parts(drawing, keys)
    kinds = ["blob", "chip", "chip", "small", "small", "round", "round", "rest", "rest", "rest",
             "coil", "transistor", "transistor", "rest", "chip"]  # fmt: skip
    chance.shuffle(kinds)
    for index in range(COLUMNS * ROWS):
        x = LEFT + (index % COLUMNS + 0.5) * CELL_W + chance.uniform(-8, 8)
        y = TOP + (index // COLUMNS + 0.5) * CELL_H + chance.uniform(-8, 8)
        _PARTS[kinds[index]](drawing, x, y, index + 1)
    at = _place(letters, rails, drawing.points, chance)
    svg = _svg(drawing, at, nets, title, chance)
    pads = {letter: Place(x=round(x, 1), y=round(y, 1)) for letter, (x, y) in at.items()}
    places = Places(
        picture="board.svg", width=float(WIDTH), height=float(HEIGHT), mm_per_unit=0.1, pads=pads
    )
    return svg, places, {letter: drawing.points[point][0] for letter, point in at.items()}


def _place(letters, rails, points, chance) -> dict[str, tuple[float, float]]:
    """Spread the pads over the soldering points, letters in reading order."""
    at: dict[str, tuple[float, float]] = {}
    for rail, (point, _) in zip(rails, BATTERY, strict=False):
        at[rail] = point
    rest = [letter for letter in letters if letter not in at]
    shuffled = [point for point in points if point not in dict(BATTERY)]
    chance.shuffle(shuffled)
    chosen: list[tuple[float, float]] = []
    apart = 90.0
    while len(chosen) < len(rest):
        for point in shuffled:
            if len(chosen) == len(rest):
                break
            if all(math.dist(point, other) >= apart for other in chosen + list(at.values())):
                chosen.append(point)
        apart *= 0.85
    chosen.sort(key=lambda p: (int((p[1] - TOP) // CELL_H), p[0], p[1]))
    at.update(zip(rest, chosen, strict=True))
    return {letter: at[letter] for letter in letters}


def _svg(drawing, at, nets, title, chance) -> str:
    out = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
            f'width="{WIDTH / 10:g}mm" height="{HEIGHT / 10:g}mm" font-family="sans-serif">'
        ),
        f"<title>{escape(title)}</title>",
        (
            f'<rect x="12" y="12" width="{WIDTH - 24}" height="{HEIGHT - 24}" rx="26" fill="{BOARD}" '
            f'stroke="{LINE}" stroke-width="4"/>'
        ),
    ]
    for x, y in ((42, 42), (WIDTH - 42, 42), (42, HEIGHT - 42), (WIDTH - 42, HEIGHT - 42)):
        out.append(f'<circle cx="{x}" cy="{y}" r="13" fill="white" stroke="{LINE}"/>')
    taken = set(at.values())
    for x, y in drawing.points:
        if (x, y) not in taken and chance.random() < 0.45:
            dx, dy = chance.choice([(26, 16), (-26, 16), (26, -16), (-26, -16)])
            out.append(_track([(x, y), (x + dx, y + dy)]))
            out.append(f'<circle cx="{x + dx:g}" cy="{y + dy:g}" r="5" fill="{COPPER}"/>')
    for net in nets:
        pads = [letter for letter in net if letter in at]
        for one, other in itertools.pairwise(pads):
            out.append(_track(_bend(at[one], at[other])))
    out += drawing.parts
    for x, y in drawing.points:
        out.append(f'<circle cx="{x:g}" cy="{y:g}" r="6" fill="{COPPER}"/>')
    out.append(
        f'<text x="{WIDTH - 70}" y="{HEIGHT - 24}" font-size="17" text-anchor="end" '
        f'fill="{LINE}">{escape(title)}</text>'
    )
    for letter, (x, y) in at.items():
        dx, dy = drawing.points[(x, y)][1]
        size, away = (30, 25) if len(letter) == 1 else (21, 27)
        out.append(
            f'<circle cx="{x:g}" cy="{y:g}" r="10" fill="{COPPER}" stroke="{LINE}" '
            'stroke-width="2.5"/>'
        )
        out.append(
            f'<text x="{x + dx * away:.1f}" y="{y + dy * 24 + size / 3:.1f}" font-size="{size}" '
            'font-weight="bold" text-anchor="middle" fill="#14233c" stroke="white" '
            f'stroke-width="6" paint-order="stroke">{letter}</text>'
        )
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _bend(a: tuple[float, float], b: tuple[float, float]) -> list[tuple[float, float]]:
    """Give a track of two straight parts with a slanted one between."""
    (ax, ay), (bx, by) = a, b
    slant = min(abs(bx - ax), abs(by - ay))
    sx, sy = math.copysign(slant, bx - ax), math.copysign(slant, by - ay)
    return [a, (ax + sx / 2, ay + sy / 2), (bx - sx / 2, by - sy / 2), b]


def _track(points: list[tuple[float, float]]) -> str:
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return f'<polyline points="{path}" fill="none" stroke="{TRACK}" stroke-width="7"/>'


def _box(x, y, w, h, *, fill=FILL, rx=3) -> str:
    return (
        f'<rect x="{x - w / 2:.1f}" y="{y - h / 2:.1f}" width="{w}" height="{h}" rx="{rx}" '
        f'fill="{fill}" stroke="{LINE}" stroke-width="2.5"/>'
    )


def _name(x, y, text, fill="#77736a") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="15" text-anchor="middle" fill="{fill}">'
        f"{escape(text)}</text>"
    )


def _chip(drawing, x, y, number, legs=6, pitch=21.0):
    w = round(legs * pitch)
    for side in (-1, 1):
        for leg in range(legs):
            lx, ly = round(x + (leg - (legs - 1) / 2) * pitch, 1), round(y + side * 40, 1)
            drawing.parts.append(_box(lx, y + side * 31, 6, 16, fill="#bdb9ae", rx=0))
            # Legs count round the body from the dot, seen from above.
            leg_number = leg + 1 if side > 0 else 2 * legs - leg
            drawing.solder(lx, ly, f"IC{number}, leg {leg_number}", 0, side)
    drawing.parts.append(_box(x, y, w, 46, fill="#4a4944"))
    drawing.parts.append(f'<circle cx="{x - w / 2 + 9:.1f}" cy="{y + 13:.1f}" r="4" fill="white"/>')
    drawing.parts.append(
        f'<text x="{x:.1f}" y="{y + 6:.1f}" font-size="16" text-anchor="middle" '
        f'fill="white">IC{number}</text>'
    )


def _small(drawing, x, y, number):
    _chip(drawing, x, y, number, legs=4, pitch=21.0)


def _blob(drawing, x, y, number):
    for spoke in range(12):
        angle = 2 * math.pi * (spoke + 0.5) / 12
        px, py = round(x + 62 * math.cos(angle), 1), round(y + 60 * math.sin(angle), 1)
        drawing.parts.append(_track([(x, y), (px, py)]))
        drawing.solder(
            px, py, f"IC{number}, track {spoke + 1} of the blob", math.cos(angle), math.sin(angle)
        )
    drawing.parts.append(
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="42" fill="#4a4944" stroke="{LINE}"/>'
        f'<ellipse cx="{x - 12:.1f}" cy="{y - 14:.1f}" rx="13" ry="7" fill="#7d7b74"/>'
    )
    drawing.parts.append(_name(x, y + 22, f"IC{number}", "white"))


def _rest(drawing, x, y, number):
    for row in (-1, 0, 1):
        ry = y + row * 38
        drawing.parts.append(
            f'<line x1="{x - 52:.1f}" y1="{ry:.1f}" x2="{x + 52:.1f}" y2="{ry:.1f}" '
            f'stroke="{LINE}" stroke-width="3"/>'
        )
        drawing.parts.append(_box(x, ry, 58, 17, rx=8))
        for band in (-16, -6, 4, 16):
            drawing.parts.append(_box(x + band, ry, 3, 17, fill="#8b857a", rx=0))
        for side, end in ((-1, "left"), (1, "right")):
            which = "abc"[row + 1]
            drawing.solder(x + side * 52, ry, f"R{number}{which}, {end} end", side, 0)
    drawing.parts.append(_name(x, y + 65, f"R{number}"))


def _round(drawing, x, y, number):
    drawing.parts.append(
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="38" fill="{FILL}" stroke="{LINE}" '
        'stroke-width="2.5"/>'
        f'<path d="M {x - 12:.1f} {y - 36:.1f} A 38 38 0 0 0 {x - 12:.1f} {y + 36:.1f} Z" '
        'fill="#8b857a"/>'
    )
    drawing.parts.append(_name(x + 14, y + 5, f"C{number}"))
    for side, end in ((-1, "marked"), (1, "other")):
        drawing.solder(x + side * 50, y, f"C{number}, {end} end", side, 0)


def _coil(drawing, x, y, number):
    drawing.parts.append(_box(x, y, 92, 34, rx=17))
    drawing.parts.append(_name(x, y + 5, f"X{number}"))
    for side, end in ((-30, "left"), (30, "right")):
        drawing.solder(x + side, y + 34, f"X{number}, {end} leg", 0, 1)


def _transistor(drawing, x, y, number):
    drawing.parts.append(
        f'<path d="M {x - 30:.1f} {y + 12:.1f} A 31 31 0 1 1 {x + 30:.1f} {y + 12:.1f} Z" '
        f'fill="#4a4944" stroke="{LINE}" stroke-width="2.5"/>'
    )
    drawing.parts.append(
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="15" text-anchor="middle" '
        f'fill="white">T{number}</text>'
    )
    for leg, which in ((-26, "left"), (0, "middle"), (26, "right")):
        drawing.solder(x + leg, y + 32, f"T{number}, {which} leg", 0, 1)


_PARTS = {
    "blob": _blob, "chip": _chip, "small": _small, "rest": _rest, "round": _round,
    "coil": _coil, "transistor": _transistor,
}  # fmt: skip


def _edge_parts(drawing, keys) -> None:
    """Draw battery contacts, the speaker's terminals and the key contacts."""
    for ((x, y), what), sign in zip(BATTERY, ("+", "\u2212"), strict=True):
        drawing.solder(x, y, what, 0, -1)
        drawing.parts.append(_box(52, y, 48, 96, fill="#d9d6cd"))
        drawing.parts.append(
            f'<text x="52" y="{y + 42}" font-size="30" text-anchor="middle" '
            f'fill="{LINE}">{sign}</text>'
        )
    for y in (250, 330):
        drawing.parts.append(_box(WIDTH - 42, y, 36, 46, fill="#d9d6cd"))
    drawing.parts.append(_name(WIDTH - 42, 296, "SP"))
    names = list(keys)[:12]
    pitch = min(150.0, 820.0 / max(1, len(names)))
    for index, name in enumerate(names):
        x = WIDTH / 2 + (index - (len(names) - 1) / 2) * pitch
        drawing.parts.append(_box(x, 592, round(pitch * 0.62), 62, rx=10))
        half = pitch * 0.2
        for tooth in range(5):
            tx = x - half + tooth * half / 2
            y1, y2 = (568, 606) if tooth % 2 else (578, 616)
            drawing.parts.append(
                f'<line x1="{tx:.1f}" y1="{y1}" x2="{tx:.1f}" y2="{y2}" stroke="#6d6a62" '
                'stroke-width="5"/>'
            )
        drawing.parts.append(_name(x, 646, name))
