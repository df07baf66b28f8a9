"""The sheet's wiring drawings, as SVG: one for each control, the reset, the line out, holes."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from rig.build import line_out
from rig.build.content import Tag
from rig.words import ohms

FONT = 'font-family="DejaVu Sans, Arial, Helvetica, sans-serif"'


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
    body = _SYMBOLS.get(kind, _box)(pot)
    return (
        f'<svg class="wiring" xmlns="http://www.w3.org/2000/svg" {FONT} viewBox="0 0 330 84" '
        f'role="img" aria-label="{kind} between pads {pads[0]} and {pads[1]}">'
        '<g fill="none" stroke="black" stroke-width="2">'
        '<path d="M34 46 H58 M118 46 H160 M252 46 H296"/>'
        '<rect x="58" y="37" width="60" height="18"/>'
        f"{body}</g>"
        f"{_pad(18, pads[0])}{_pad(312, pads[1])}"
        f'<text x="88" y="28" {_SMALL}>{escape(ohms(fixed_ohm))}</text>'
        f'<text x="206" y="80" {_SMALL}>{escape(pot or kind)}</text></svg>'
    )


def rotary_wiring(
    pads: Sequence[str], fixed_ohm: Sequence[float], kind: str = "rotary switch"
) -> str:
    """Draw a rotary switch with a resistor for each position, and off, between its two pads.

    Parameters
    ----------
    pads : sequence of str
        Two.
    fixed_ohm : sequence of float
        Resistor of each position, ohms.
    kind : str
        How it is called.
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
        f'<svg class="wiring" xmlns="http://www.w3.org/2000/svg" {FONT} viewBox="0 0 330 {low + 36}" role="img" '
        f'aria-label="{kind} between pads {pads[0]} and {pads[1]}">'
        '<g fill="none" stroke="black" stroke-width="2">'
        f'<path d="M34 {middle} H72 M76 {middle} L128 {lines[1]} M262 {middle} H296"/>'
        f'<circle cx="72" cy="{middle}" r="4" fill="white"/>{branches}{lugs}</g>'
        f"{_pad(18, pads[0], middle)}{_pad(312, pads[1], middle)}"
        f'<text x="162" y="{top + 5}" {_SMALL}>off</text>{values}'
        f'<text x="132" y="{low + 30}" {_SMALL}>{escape(kind)}</text></svg>'
    )


_SMALL = 'font-size="13" text-anchor="middle"'


def _pad(x: int, letter: str, y: int = 46) -> str:
    size = 17 if len(letter) == 1 else 13
    return (
        f'<circle cx="{x}" cy="{y}" r="16" fill="black"/><text x="{x}" y="{y + size // 3}" '
        f'font-size="{size}" font-weight="bold" fill="white" text-anchor="middle">'
        f"{escape(letter)}</text>"
    )


def _box(_: str) -> str:
    return '<path d="M160 46 H176 M236 46 H252"/><rect x="176" y="32" width="60" height="28"/>'


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
        f'<svg class="reset" xmlns="http://www.w3.org/2000/svg" {FONT} viewBox="0 0 670 150" role="img" '
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


def line_out_wiring() -> str:
    """Draw the way from the amplifier's wires to the jack."""
    lower, upper = ohms(line_out.LOWER_OHM), ohms(line_out.UPPER_OHM)
    humps, back = (f" a9 9 0 0 {turn} 0 18" * 3 for turn in (1, 0))
    return (
        f'<svg class="reset" xmlns="http://www.w3.org/2000/svg" {FONT} viewBox="0 0 670 150" role="img" '
        'aria-label="from the loudspeaker wires to the line out">'
        '<g fill="none" stroke="black" stroke-width="2">'
        '<path d="M104 36 H146 M146 22 V50 M156 22 V50 M156 36 H196 M256 36 H440 M104 124 H440"/>'
        '<rect x="196" y="27" width="60" height="18"/><rect x="291" y="56" width="18" height="50"/>'
        '<path d="M300 36 V56 M300 106 V124 M380 36 V74 M366 74 H394 M366 84 H394 M380 84 V124"/>'
        f'<path d="M440 36 V53{humps} V124"/><path d="M472 36 V53{back} V124 M472 36 H540 M472 124 H540"/>'
        '<path d="M453 48 V112 M459 48 V112"/>'
        '<circle cx="300" cy="36" r="3" fill="black"/><circle cx="380" cy="36" r="3" fill="black"/>'
        '<circle cx="300" cy="124" r="3" fill="black"/><circle cx="380" cy="124" r="3" fill="black"/>'
        '<circle cx="544" cy="36" r="4" fill="white"/><circle cx="544" cy="124" r="4" fill="white"/></g>'
        f'<g {_SMALL}><text x="50" y="32">amplifier,</text><text x="50" y="48">one wire</text>'
        '<text x="50" y="120">amplifier,</text><text x="50" y="136">other wire</text>'
        f'<text x="151" y="16">{line_out.farads(line_out.SERIES_F)}</text><text x="226" y="20">{upper}</text>'
        f'<text x="284" y="86" text-anchor="end">{lower}</text>'
        f'<text x="400" y="84" text-anchor="start">{line_out.farads(line_out.LOW_PASS_F)}</text>'
        '<text x="456" y="20">1:1, 600 Ω</text><text x="556" y="41" text-anchor="start">jack, tip</text>'
        '<text x="556" y="129" text-anchor="start">jack, sleeve</text></g></svg>'
    )


SOCKETS_APART = 78
"""Between the sockets of a drawn patch bay, in its units."""


def bay_wiring(
    sockets: Sequence[tuple[str, float]], cords: Sequence[tuple[int, int, Tag]]
) -> str:
    """Draw a patch bay: each socket with its resistor and pad, and the cords that play something.

    Parameters
    ----------
    sockets : sequence of (pad, ohm)
        From the left.
    cords : sequence of (int, int, Tag)
        The places of two sockets, from 0, and the number and colour of what a cord between them plays.
    """
    step = SOCKETS_APART
    width = max(670, step * len(sockets))
    left = (width - step * (len(sockets) - 1)) / 2
    xs = [left + step * n for n in range(len(sockets))]
    reach = max((abs(a - b) for a, b, _ in cords), default=1)
    top = 34 + 20 * reach
    parts = "".join(
        f'<path d="M{x:g} {top + 7} V{top + 30} M{x:g} {top + 78} V{top + 98}"/>'
        f'<rect x="{x - 9:g}" y="{top + 30}" width="18" height="48"/>'
        f'<circle cx="{x:g}" cy="{top}" r="7" fill="white"/><circle cx="{x:g}" cy="{top}" r="2" fill="black"/>'
        for x in xs
    )
    arcs = labels = ""
    for one, other, tag in cords:
        a, b = sorted((xs[one], xs[other]))
        rise = 14 + 20 * abs(one - other)
        arcs += (f'<path d="M{a:g} {top - 7} Q{(a + b) / 2:g} {top - 7 - 2 * rise} {b:g} {top - 7}" '
                 f'stroke="{tag.ink}"/>')  # fmt: skip
        y = top - 7 - rise
        labels += (f'<rect x="{(a + b) / 2 - 11:g}" y="{y - 9:g}" width="22" height="18" fill="white" '
                   f'stroke="{tag.ink}" stroke-width="2"/><text x="{(a + b) / 2:g}" y="{y + 5:g}" {_SMALL} '
                   f'fill="{tag.ink}" font-weight="bold">{tag.number}</text>')  # fmt: skip
    values = "".join(
        f'<text x="{x + 14:g}" y="{top + 59}" font-size="13">{escape(ohms(ohm))}</text>'
        f"{_pad(round(x), pad, top + 114)}"
        for x, (pad, ohm) in zip(xs, sockets, strict=True)
    )
    return (
        f'<svg class="reset" xmlns="http://www.w3.org/2000/svg" {FONT} viewBox="0 0 {width} {top + 134}" '
        f'role="img" aria-label="patch bay of {len(sockets)} sockets">'
        f'<g fill="none" stroke="black" stroke-width="2">{parts}</g>'
        f'<g fill="none" stroke-width="2.5">{arcs}</g>{labels}{values}</svg>'
    )


def hole_drawing(hole_mm: float, count: int = 1) -> tuple[str, float, float]:
    """Draw holes at true size, each with the cross of its middle; the drawing's unit is a millimetre.

    Returns
    -------
    svg, width_mm, height_mm
    """
    width_mm, height_mm = 16.0 * count, 14.0
    marks = "".join(
        f'<circle cx="{x:g}" cy="7" r="{hole_mm / 2:g}"/><path d="M{x - 6.5:g} 7 H{x + 6.5:g} M{x:g} 0.5 V13.5"/>'
        for x in (8.0 + 16.0 * n for n in range(count))
    )
    return (
        (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width_mm:g} {height_mm:g}" '
        f'width="{width_mm:g}mm" height="{height_mm:g}mm" role="img" aria-label="hole of {hole_mm:g} mm">'
        f'<g fill="none" stroke="black" stroke-width="0.2">{marks}</g></svg>'),
        width_mm, height_mm,
    )
