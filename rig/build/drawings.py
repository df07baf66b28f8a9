"""The sheet's drawings, as SVG: picks over the board's picture, and a wiring for each control."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from html import escape
from pathlib import Path

from rig.choose.picks import Pick
from rig.pads import lines_of
from rig.project.photo import embeddable, is_drawing
from rig.project.places import Places
from rig.words import ohms

Point = tuple[float, float]

INKS = ("#1d4e89", "#a8321f", "#2f6b3a", "#6a3d8f", "#8a5a00", "#00707a")
DASHES = ("", "14 7", "4 6", "18 6 4 6")
"""Lines differ by colour and by dashes, so that a black-and-white print can be read too."""


def board_overlay(folder: Path, places: Places, picks: Sequence[Pick]) -> str:
    """Draw the board's picture with the picks' pads lettered and their pairs numbered.

    The picture is embedded, so that the sheet is one file; a photo as a person sees it, smaller and
    without where it was taken.
    """
    picture = Path(folder) / places.picture
    kind, whole = embeddable(picture)
    data = base64.b64encode(whole).decode("ascii")
    stretched = "" if is_drawing(picture) else 'preserveAspectRatio="none" '
    w, h = places.width, places.height
    unit = max(w, h) / 1000
    out = [
        (
            f'<svg class="board" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w:g} {h:g}" '
            'role="img" aria-label="the board with the pads of the picks">'
        ),
        (
            f'<image href="data:{kind};base64,{data}" x="0" y="0" width="{w:g}" height="{h:g}" '
            f'{stretched}opacity="0.5"/>'
        ),
    ]
    tags: list[Point] = []
    drawn: list[Point] = []
    used = {pad for pick in picks for pad in pick.pads if pad in places.pads}
    points = [(places.pads[pad].x, places.pads[pad].y) for pad in sorted(used)]
    labels = []
    for number, pick in enumerate(picks, 1):
        if not all(pad in places.pads for pad in pick.pads):
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
    for pad in sorted(used):
        place = places.pads[pad]
        size = (30 if len(pad) == 1 else 23) * unit
        out.append(
            f'<circle cx="{place.x:g}" cy="{place.y:g}" r="{22 * unit:.1f}" fill="black" '
            f'stroke="white" stroke-width="{3 * unit:.1f}"/>'
            f'<text x="{place.x:g}" y="{place.y + size * 0.36:.1f}" font-size="{size:.1f}" '
            f'text-anchor="middle" font-weight="bold" fill="white">{escape(pad)}</text>'
        )
    return "\n".join([*out, *labels, "</svg>"])


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


def wiring(kind: str, pads: Sequence[str], fixed_ohm: float, pot: str = "") -> str:
    """Draw how a control is wired between its two pads.

    Parameters
    ----------
    kind : str
        toggle, push-button, potentiometer, photocell or body contacts.
    pads : sequence of str
        Two.
    fixed_ohm : float
        Resistor at the first pad, ohms.
    pot : str
        Value of the potentiometer.
    """
    body = _SYMBOLS[kind](pot)
    return (
        '<svg class="wiring" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 330 84" role="img" '
        f'aria-label="{kind} between pads {pads[0]} and {pads[1]}">'
        '<g fill="none" stroke="black" stroke-width="2">'
        '<path d="M34 46 H58 M118 46 H160 M252 46 H296"/>'
        '<rect x="58" y="37" width="60" height="18"/>'
        f"{body}</g>"
        f"{_pad(18, pads[0])}{_pad(312, pads[1])}"
        f'<text x="88" y="28" {_SMALL}>{escape(ohms(fixed_ohm))}</text>'
        f'<text x="206" y="80" {_SMALL}>{escape(pot or kind)}</text></svg>'
    )


def rotary_wiring(pads: Sequence[str], fixed_ohm: Sequence[float]) -> str:
    """Draw a rotary switch with a resistor for each position, and off, between its two pads.

    Parameters
    ----------
    pads : sequence of str
        Two.
    fixed_ohm : sequence of float
        Resistor of each position, ohms.
    """
    step, top = 34, 22
    lines = [top + step * n for n in range(len(fixed_ohm) + 1)]
    middle, low = lines[len(lines) // 2], lines[-1]
    lugs = "".join(f'<circle cx="132" cy="{y}" r="4" fill="white"/>' for y in lines)
    branches = "".join(
        f'<path d="M136 {y} H170 M230 {y} H262 V{middle}"/><rect x="170" y="{y - 9}" width="60" height="18"/>'
        for y in lines[1:]
    )
    values = "".join(
        f'<text x="200" y="{y + 5}" {_SMALL}>{escape(ohms(ohm))}</text>'
        for y, ohm in zip(lines[1:], fixed_ohm, strict=True)
    )
    return (
        f'<svg class="wiring" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 330 {low + 36}" role="img" '
        f'aria-label="rotary switch between pads {pads[0]} and {pads[1]}">'
        '<g fill="none" stroke="black" stroke-width="2">'
        f'<path d="M34 {middle} H72 M76 {middle} L128 {lines[1]} M262 {middle} H296"/>'
        f'<circle cx="72" cy="{middle}" r="4" fill="white"/>{branches}{lugs}</g>'
        f"{_pad(18, pads[0], middle)}{_pad(312, pads[1], middle)}"
        f'<text x="162" y="{top + 5}" {_SMALL}>off</text>{values}'
        f'<text x="132" y="{low + 30}" {_SMALL}>rotary switch</text></svg>'
    )


_SMALL = 'font-size="13" text-anchor="middle"'


def _pad(x: int, letter: str, y: int = 46) -> str:
    size = 17 if len(letter) == 1 else 13
    return (
        f'<circle cx="{x}" cy="{y}" r="16" fill="black"/><text x="{x}" y="{y + size // 3}" '
        f'font-size="{size}" font-weight="bold" fill="white" text-anchor="middle">'
        f"{escape(letter)}</text>"
    )


def _switch(_: str) -> str:
    return (
        '<path d="M160 46 H184 M232 46 H252 M186 44 L230 24"/>'
        '<circle cx="184" cy="46" r="4" fill="white"/><circle cx="232" cy="46" r="4" fill="white"/>'
    )


def _push(_: str) -> str:
    return (
        '<path d="M160 46 H184 M232 46 H252 M178 32 H238 M208 32 V16 M198 16 H218"/>'
        '<circle cx="184" cy="46" r="4" fill="white"/><circle cx="232" cy="46" r="4" fill="white"/>'
    )


def _knob(_: str) -> str:
    return (
        '<path d="M160 46 H176 M236 46 H252"/><rect x="176" y="37" width="60" height="18"/>'
        '<path d="M206 14 V35 M201 27 L206 36 L211 27 M206 14 H244 V46"/>'
        '<circle cx="244" cy="46" r="3" fill="black"/>'
    )


def _cell(_: str) -> str:
    return (
        '<path d="M160 46 H184 M228 46 H252"/><rect x="184" y="38" width="44" height="16"/>'
        '<circle cx="206" cy="46" r="22"/>'
        '<path d="M168 4 L184 20 M176 20 H184 V12 M186 2 L200 16 M192 16 H200 V8"/>'
    )


def _domes(_: str) -> str:
    return (
        '<path d="M160 46 H178 M234 46 H252"/>'
        '<path d="M178 56 A14 14 0 0 1 202 56 Z M210 56 A14 14 0 0 1 234 56 Z" fill="#ddd"/>'
        '<path d="M190 30 Q206 6 222 30" stroke-dasharray="3 3"/>'
    )


_SYMBOLS = {
    "toggle": _switch, "push-button": _push, "potentiometer": _knob, "photocell": _cell,
    "body contacts": _domes,
}  # fmt: skip


def reset_wiring() -> str:
    """Draw the reset button in the battery lead, plain and with the bleeding contact."""
    return (
        '<svg class="reset" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 670 150" role="img" '
        'aria-label="reset button in the battery lead">'
        '<g fill="none" stroke="black" stroke-width="2">'
        '<path d="M20 60 H34 M34 50 V70 M42 40 V80 M42 60 H100 M148 60 H230"/>'
        '<path d="M96 68 H152 M124 68 V38 M114 38 H134"/>'
        '<circle cx="104" cy="60" r="4" fill="white"/><circle cx="144" cy="60" r="4" fill="white"/>'
        '<path d="M360 60 H374 M374 50 V70 M382 40 V80 M382 60 H430"/>'
        '<circle cx="436" cy="60" r="4" fill="white"/>'
        '<circle cx="496" cy="60" r="4" fill="white"/>'
        '<circle cx="436" cy="100" r="4" fill="white"/>'
        '<path d="M500 60 H600 M494 57 L440 60 M440 100 H470 M530 100 H560 V128"/>'
        '<rect x="470" y="91" width="60" height="18"/>'
        '<path d="M545 128 H575 M551 134 H569 M556 140 H564"/></g>'
        f'<g {_SMALL}><text x="38" y="30">battery +</text><text x="124" y="30">reset</text>'
        '<text x="250" y="64" text-anchor="start">board +</text>'
        '<text x="124" y="104">opens while pressed</text>'
        '<text x="378" y="30">battery +</text><text x="468" y="30">changeover</text>'
        '<text x="606" y="64" text-anchor="start">board +</text><text x="500" y="86">100 Ω</text>'
        '<text x="580" y="140" text-anchor="start">battery \u2212</text></g></svg>'
    )
