"""A survey in a person's words: warnings first, then the nets, then a line a pad of 80 columns at most."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from rig.project import Project
from rig.project.electrical import rail_range_v
from rig.survey.nets import ONE_NET_OHM, Between, between, nets, uncertainty_ohm
from rig.survey.points import (
    BETWEEN,
    BEYOND,
    FLOATS,
    HIGH,
    LOW,
    MINUS,
    PLUS,
    TOGGLES,
    Point,
    at_rail,
    points,
    rail_is_off,
    rail_pads,
)
from rig.survey.readings import Readings
from rig.words import ohms

WIDTH = 80
HELD = "\u00a0=\u00a0"
WORDS = {
    PLUS: "plus", MINUS: "minus", HIGH: "high", LOW: "low", BETWEEN: "between the rails",
    TOGGLES: "toggles at rest", FLOATS: "nothing holds it",
    BEYOND: "BEYOND THE RAILS: leave it alone",
}  # fmt: skip


def lines(project: Project, readings: Readings) -> Iterator[str]:
    """Give all lines of a survey's report."""
    pairs = between(project, readings)
    sure, maybe = nets(readings.pads, pairs)
    seen = points(project, readings)
    for warning in warnings(project, readings, seen, sure, maybe):
        yield from folded(f"caution  {warning}")
    low_v, high_v = rail_range_v(project.toy)
    yield (f"supply   {readings.rail_v:.2f} V ({low_v:.1f} to {high_v:.1f} V expected), "
           f"{readings.idle_ma:.1f} mA at rest")  # fmt: skip
    off_ohm = uncertainty_ohm(project, readings)
    yield from folded(
        f"nets     one are pads with surely less than {ohms(ONE_NET_OHM)} between them and the same "
        f"voltages; with leads of {ohms(project.rig.lead_ohm)} a reading is off by {ohms(_two(off_ohm))} at most"
    )
    yield from net_lines(pairs, sure, maybe)
    yield f"{'pad':<5}{'at rest':>8}  what it is"
    for point in seen.values():
        yield from folded(f"{point.pad:<5}{point.idle_v:>6.2f} V  {words(point)}", 15)


def warnings(
    project: Project, readings: Readings, seen: dict[str, Point],
    sure: Sequence[tuple[str, ...]], maybe: Sequence[tuple[str, ...]] = (),
) -> Iterator[str]:
    """Give what a person must know before a sweep, the gravest first."""
    pads = project.toy.pads
    beyond = [pad for pad, point in seen.items() if point.kind == BEYOND]
    if beyond:
        yield (f"{', '.join(beyond)}: above the supply of {readings.rail_v:.2f} V, boosted perhaps: "
               f"mark {'it' if len(beyond) == 1 else 'them'} `forbidden: true` in toy.yaml")  # fmt: skip
    if rail_is_off(project, readings):
        yield (f"the rail is at {readings.rail_v:.2f} V, toy.yaml says {project.toy.supply.volts:g} V: "
               "look at the cells and at supply in toy.yaml")  # fmt: skip
    for pad, one in readings.pads.items():
        if pads[pad].kind == "rail" and not at_rail(one, readings.rail_v):
            yield (f"{pad} is marked `kind: rail` but stands at {seen[pad].idle_v:.2f} V: is its lead "
                   "on, is it the letter's pad?")  # fmt: skip
    for net, said in [*((net, "is") for net in sure), *((net, "may be") for net in maybe)]:
        rail = next((pad for pad in net if pads[pad].kind == "rail"), None)
        unmarked = [pad for pad in net if pads[pad].kind != "rail"] if rail else []
        for pad in unmarked:
            yield f"{pad} {said} one net with rail {rail}: mark it `kind: rail` in toy.yaml if it is"
    rails = rail_pads(readings, project)
    if missing := [rail for rail in (PLUS, MINUS) if rail not in rails]:
        yield (f"no pad that is marked `kind: rail` stands at {' or '.join(missing)}: without it nothing "
               "can be said of what holds the lines")  # fmt: skip


def net_lines(
    pairs: Sequence[Between], sure: Sequence[tuple[str, ...]], maybe: Sequence[tuple[str, ...]]
) -> Iterator[str]:
    """Give the lines on nets, the sure ones first."""
    for net in sure:
        yield from folded(f"one net  {name(net)}")
    for net in maybe:
        of_it = [one for one in pairs if set(one.pads) <= set(net)]
        why = next((one.why for one in of_it if one.why), "")
        loose = [one for one in of_it if one.is_net is None] or of_it
        low, high = min(one.low_ohm for one in loose), max(one.high_ohm for one in loose)
        told = f" ({why})" if why else ""
        yield from folded(f"maybe    {name(net)}: {low:.0f} to {ohms(high)} between them{told}")
    for one in pairs:
        if one.is_net is False and not any(set(one.pads) <= set(net) for net in maybe):
            yield from folded(f"near     {name(one.pads)}: at most {ohms(one.high_ohm)}, but {one.why}")


def name(net: Sequence[str]) -> str:
    """Name a net as a person would: "A = C = F"."""
    return " = ".join(net)


def words(point: Point) -> str:
    """Say what a pad is, with how sure its resistance is."""
    text = WORDS[point.kind]
    if point.kind == BEYOND:
        return text
    if point.held_ohm is not None and point.off_ohm is not None:
        text += f", held by {_about(point.held_ohm, point.off_ohm)}"
    if point.moves and point.kind != TOGGLES:
        text += ", moves while it sounds"
    if point.keys:
        more = f" and {len(point.keys) - 2} more" if len(point.keys) > 2 else ""
        text += f", changes with {', '.join(point.keys[:2])}{more}"
    return text


def _about(ohm: float, off_ohm: float) -> str:
    """Say a resistance with its uncertainty, or only its bound where that is all there is."""
    if off_ohm >= ohm:
        return f"at most {ohms(_two(ohm + off_ohm))}"
    return f"{ohms(_two(ohm))} ± {ohms(_two(off_ohm))}"


def _two(ohm: float) -> float:
    return float(f"{ohm:.2g}")


def folded(line: str, indent: int = 9) -> list[str]:
    """Fold a line to the width, what follows below what it says; a net's name stays whole."""
    whole = textwrap.wrap(line.replace(" = ", HELD), WIDTH, subsequent_indent=" " * indent,
                          break_long_words=False, break_on_hyphens=False)  # fmt: skip
    return [one.replace(HELD, " = ") for one in whole]
