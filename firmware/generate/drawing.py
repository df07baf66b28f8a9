"""A schematic drawn from the netlist, that can't say anything else than the netlist.

Every wire is drawn between two pins, and only where the netlist joins them; every net's
name comes from it. A sheet is finished when each pin of each of its parts is drawn.
"""

from __future__ import annotations

import itertools
import re

import schemdraw
from schemdraw import elements as elm
from schemdraw.segments import SegmentText

from firmware.generate.legs import leg
from firmware.generate.netlist import Netlist, Part

schemdraw.use("svg")
schemdraw.svgconfig.text = "text"

Point = tuple[float, float]
Pin = tuple[str, str]

_SYMBOLS = {
    "resistor": elm.ResistorIEC, "capacitor": elm.Capacitor, "crystal": elm.Crystal,
    "fuse": elm.FuseIEC, "cut-off": elm.FuseIEC, "relay": elm.Switch, "diode": elm.Diode,
    "rectifier": elm.Diode,
}  # fmt: skip
LEGS_NOTE = ("Numbers at the pins are the legs of the types named, from memory of their data "
             "sheets: check your maker's.")
_STEP = {"left": (-1, 0), "right": (1, 0), "up": (0, 1), "down": (0, -1)}


_POINTS = 0.42 * 72
"""Points in a unit of the drawing."""

_CAPITALS = 0.73
"""Height of capitals and figures, as a part of the font's size (DejaVu Sans, Verdana)."""


class _Ink(elm.Element):
    """A line of text that stands on its point: programs differ over every other alignment."""

    def __init__(self, text: str, across: str, size: float, colour: str):
        super().__init__()
        self.segments.append(SegmentText((0, 0), text, align=(across, "base"), fontsize=size,
                                         color=colour))  # fmt: skip
        self.elmparams["theta"] = 0


class Sheet:
    """One drawing.

    Parameters
    ----------
    netlist : Netlist
    name : str
        Sheet of the parts that have to be on it.
    """

    def __init__(self, netlist: Netlist, name: str):
        self.netlist = netlist
        self.name = name
        self.at: dict[Pin, Point] = {}
        self._said: set[Pin] = set()
        self._side: dict[Pin, str] = {}
        self.drawing = schemdraw.Drawing(show=False)
        self.drawing.config(fontsize=9, unit=2, inches_per_unit=_POINTS / 72, lw=1.2, margin=1.0,
                            bgcolor="white")

    # -- parts --------------------------------------------------------------------------

    def _place(self, ref: str, pin: str, point) -> None:
        if (ref, pin) in self.at:
            raise ValueError(f"{ref} pin {pin} is drawn twice")
        if pin not in self.netlist[ref].pins:
            raise ValueError(f"{ref} has no pin {pin}")
        here = (round(float(point[0]), 4), round(float(point[1]), 4))
        for other, place in self.at.items():
            if place == here and self.net(other) != self.net((ref, pin)):
                raise ValueError(f"{ref} pin {pin} is drawn onto {other[0]} pin {other[1]}")
        self.at[ref, pin] = here

    def two(self, ref: str, at: Point, way: str = "right", length: float = 1.6,
            pins: tuple[str, str] | None = None, symbol=None, side: str = "top",
            label: str | None = None):  # fmt: skip
        """Draw a part of two pins from `at`, its first pin first."""
        part = self.netlist[ref]
        first, second = pins or tuple(part.pins)
        symbol = symbol or _SYMBOLS.get(part.kind)
        if "Schottky" in part.text:
            symbol = elm.Schottky
        step = _STEP[way]
        to = (at[0] + step[0] * length, at[1] + step[1] * length)
        self.drawing.add(symbol().at(at).to(to))
        text = label if label is not None else _words(part)
        flat = part.kind == "relay" and symbol is not elm.RBox
        self._beside(((at[0] + to[0]) / 2, (at[1] + to[1]) / 2), way, text, side, flat)
        self._place(ref, first, at)
        self._place(ref, second, to)

    def _beside(self, middle: Point, way: str, text: str, side: str, flat: bool) -> None:
        x, y = middle
        if way in ("left", "right"):
            dy = 0.36 if side == "top" else -0.22 if flat else -0.36
            self.text((x, y + dy), text.replace("\n", "  "), "center",
                      "bottom" if side == "top" else "top", 8)  # fmt: skip
        else:
            self.text((x + (0.46 if side != "left" else -0.46), y), text,
                      "left" if side != "left" else "right", "center", 8)  # fmt: skip

    def box(self, ref: str, at: Point, left=(), right=(), width: float = 2.4, pitch: float = 0.6,
            title: str | None = None, show: dict[str, str] | None = None):  # fmt: skip
        """Draw a box with pins on two sides; `at` is its upper left corner, None is a gap."""
        show = show or {}
        rows = max(len(left), len(right))
        height = pitch * (rows + 0.4)
        x, y = at
        box = elm.Rect(corner1=(0, 0), corner2=(width, -height), lw=1.4)
        self.drawing.add(box.at(at).right())
        self.text((x + width / 2, y + 0.12), title or _words(self.netlist[ref]).replace("\n", "  "),
                  "center", "bottom")  # fmt: skip
        for side, names in (("left", left), ("right", right)):
            for row, name in enumerate(names):
                if name is None:
                    continue
                py = y - pitch * (row + 0.7)
                inner, outer = (x, x - 0.4) if side == "left" else (x + width, x + width + 0.4)
                self.line((inner, py), (outer, py))
                number = leg(self.netlist[ref], name)
                words = show.get(name, name) + (f" ({number})" if number else "")
                self.text((inner + (0.1 if side == "left" else -0.1), py), words,
                          side, "center", 8)  # fmt: skip
                self._place(ref, name, (outer, py))
                self._side[ref, name] = side
        return height

    def transistor(self, ref: str, gate: Point, side: str = "right"):
        """Draw an N-channel transistor, its gate at a point and its drain up."""
        fet = elm.AnalogNFet().theta(0).reverse().anchor("gate").at(gate)
        self.drawing.add(fet)
        for pin, anchor in (("G", "gate"), ("D", "drain"), ("S", "source")):
            self._place(ref, pin, fet.absanchors[anchor])
        x, y = self.at[ref, "D"]
        self.text((x + 0.15, (y + self.at[ref, "S"][1]) / 2), ref, "left", "center")

    def amplifier(self, ref: str, unit: int, at: Point):
        """Draw one amplifier of a case; `at` is its upper, not inverting input."""
        symbol = elm.Opamp().flip().anchor("in2").at(at).right()
        self.drawing.add(symbol)
        for pin, anchor in (("+", "in2"), ("-", "in1"), ("out", "out")):
            self._place(ref, f"{unit}{pin}", symbol.absanchors[anchor])
            x, y = symbol.absanchors[anchor]
            number, aside = leg(self.netlist[ref], f"{unit}{pin}"), 0.08 if pin == "out" else -0.08
            self.text((x + aside, y + 0.08), number, "left" if aside > 0 else "right", "bottom", 7)
        x, y = symbol.absanchors["center"]
        self.text((x + 0.1, y), f"{ref}.{unit}", "center", "center", 8)

    def transformer(self, ref: str, at: Point):
        """Draw a transformer; `at` is the upper end of its first winding."""
        symbol = elm.Transformer(t1=4, t2=4).anchor("p1").at(at).right()
        self.drawing.add(symbol)
        for pin, anchor in (("1", "p1"), ("2", "p2"), ("3", "s1"), ("4", "s2")):
            self._place(ref, pin, symbol.absanchors[anchor])
        (x1, y), (x2, _) = symbol.absanchors["p1"], symbol.absanchors["s1"]
        self.text(((x1 + x2) / 2, y + 0.2), f"{ref}  600 Ω : 600 Ω", "center", "bottom")

    def column(self, ref: str, at: Point, length: float = 1.6, pins=None):
        """Draw a part of two pins downwards, each end at its net's name."""
        self.two(ref, at, "down", length, pins=pins, side="right")
        first, second = pins or tuple(self.netlist[ref].pins)
        self.name_net((ref, first), "up")
        self.name_net((ref, second), "down")

    # -- nets ---------------------------------------------------------------------------

    def net(self, pin: Pin) -> str:
        return self.netlist[pin[0]].pins[pin[1]]

    def wire(self, *pins: Pin, shape: str = "-", dot: bool = False):
        """Draw a wire from each pin to the next; they have to be on one net.

        `shape` is schemdraw's, or "under": round below both.
        """
        for a, b in itertools.pairwise(pins):
            if self.net(a) != self.net(b):
                raise ValueError(f"{a} is on {self.net(a)}, {b} on {self.net(b)}: no wire")
            if self.at[a] != self.at[b]:
                self._wire(self.at[a], self.at[b], shape)
            if dot:
                self.drawing.add(elm.Dot(radius=0.06).at(self.at[b]))
        self._said |= set(pins)

    def _wire(self, a: Point, b: Point, shape: str) -> None:
        if shape == "under":
            below, beside = min(a[1], b[1]) - 0.9, b[0] - 0.5
            corners = (a, (a[0], below), (beside, below), (beside, b[1]), b)
            for start, end in itertools.pairwise(corners):
                self.line(start, end)
        else:
            self.drawing.add(elm.Wire(shape).at(a).to(b))

    def name_net(self, pin: Pin, way: str, length: float = 0.0):
        """Draw a net's name, or its symbol, at a pin."""
        net, start = self.net(pin), self.at[pin]
        self._said.add(pin)
        step = _STEP[way]
        end = (start[0] + step[0] * length, start[1] + step[1] * length)
        if length:
            self.line(start, end)
        if net == "GND" and way == "down":
            self.drawing.add(elm.Ground().at(end))
            return
        if way in ("left", "right"):
            x = end[0] + 0.1 * step[0]
            self.text((x, end[1]), net, "right" if way == "left" else "left", "center", 8, "blue")
        else:
            self.text((end[0], end[1] + 0.12 * step[1]), net, "center",
                      "bottom" if way == "up" else "top", 8, "blue")  # fmt: skip

    def name_rest(self, ref: str, length: float = 0.15):
        """Name every pin of a box that no wire reaches."""
        for pin, side in self._side.items():
            if pin[0] == ref and pin not in self._said:
                self.name_net(pin, side, length)

    # -- ink ----------------------------------------------------------------------------

    def line(self, a: Point, b: Point, dashed: bool = False):
        self.drawing.add(elm.Line(ls="--" if dashed else "-").at(a).to(b))

    def frame(self, corner: Point, other: Point, text: str):
        """Draw a dashed frame around parts, with its text below it."""
        (x1, y1), (x2, y2) = corner, other
        corners = ((x1, y1), (x2, y1), (x2, y2), (x1, y2), (x1, y1))
        for start, end in itertools.pairwise(corners):
            self.line(start, end, dashed=True)
        self.text((x1, y2 - 0.15), text, "left", "top", 8)

    def dot(self, at: Point):
        self.drawing.add(elm.Dot(radius=0.06).at(at))

    def text(self, at: Point, text: str, across: str = "left", upright: str = "center",
             size: float = 9, colour: str = "black"):  # fmt: skip
        """Write lines beside a point; `across` and `upright` say which point of them it is."""
        lines = text.split("\n")
        pitch, capitals = 1.25 * size / _POINTS, _CAPITALS * size / _POINTS
        x, y = at
        rows = len(lines) - 1
        base = {"top": y - capitals, "bottom": y + rows * pitch,
                "center": y + (rows * pitch - capitals) / 2}[upright]  # fmt: skip
        for i, line in enumerate(lines):
            self.drawing.add(_Ink(line, across, size, colour).at((x, base - i * pitch)))

    def finish(self, elsewhere: set[str] = frozenset()) -> str:
        """Give the drawing as SVG.

        Parameters
        ----------
        elsewhere : set of str
            Parts of the sheet that are described beside those drawn.

        Raises
        ------
        ValueError
            A part or pin of the sheet isn't drawn.
        """
        for part in self.netlist:
            if part.sheet != self.name or part.ref in elsewhere:
                continue
            for pin in part.pins:
                if (part.ref, pin) not in self._said and not self._elsewhere(part, pin):
                    raise ValueError(f"{self.name}: {part.ref} pin {pin} isn't drawn")
        edge = self.drawing.get_bbox()
        if any(leg(self.netlist[ref], pin) for ref, pin in self.at):
            self.text((edge.xmin, edge.ymin - 0.4), LEGS_NOTE, "left", "top", 8)
        svg = self.drawing.get_imagedata("svg").decode("utf-8")
        svg = svg.replace("stroke-dasharray:-;", "")
        svg = svg.replace('font-family="sans"', 'font-family="DejaVu Sans, Verdana, sans-serif"')
        return re.sub(r"[ \t]+\n", "\n", svg.replace("><", ">\n<")).strip() + "\n"

    def _elsewhere(self, part: Part, pin: str) -> bool:
        """Say whether a pin of a case of several amplifiers belongs to another sheet."""
        return part.kind == "amplifier" and pin not in {p for r, p in self.at if r == part.ref}


def _words(part: Part) -> str:
    if part.kind in ("diode", "rectifier", "transistor", "relay"):
        return part.ref
    short = re.search(r"\((\w+) type\)", part.text)
    if short:
        return f"{part.ref}\n{short[1]} type"
    return f"{part.ref}\n{part.label}" if part.label else part.ref
