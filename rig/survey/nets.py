"""Which pads are one conductor: what ohms and volts say of each pair, and what they can't.

The sense circuit sees both leads' resistors with whatever is between the pads, so what it can tell
apart is what the leads' tolerance leaves: two leads of 2.7 kohm at 1 % hide 54 ohm. Up to `ONE_NET_OHM`
between two pads are one net only where the toy's own voltages don't tell them apart either, at rest,
while it sounds and while a rail pulls at them: a loudspeaker's two wires and a small resistor aren't
a wire. What lies between is "maybe" one net, and the person's to say.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import mean, stdev

from rig.bench.measuring import SENSE_STEP_V, SOURCE_OHM, steps_ohm
from rig.project import Project
from rig.survey.readings import Beside, PadReadings, Readings

LEAD_TOLERANCE = 0.01
"""Of each lead's resistor (firmware/README.md, Parts)."""

ONE_NET_OHM = 100.0
"""With surely less between them two pads are one net; toys' own resistors in lines begin about there
(common practice, no source)."""

SCALE_TOLERANCE, SCALE_BY_BANK = 0.075, 0.01
"""How far the senses' own parts may put a reading off: 3 kohm reads 2,782 to 3,209 (firmware/README.md,
Senses); and once they are held against two values of the bank, each within 1 % itself."""

SCALE_BY_LEADS = 6
"""From so many pairs that read alike the leads themselves are the better measure: their tolerances
even out."""

BELOW_MIDDLE = 0.35
"""From this part of those that read alike the scale is taken: a few with a resistor between them
don't move it, and with none it only makes fewer nets sure."""

STEP_SHARE = 0.25
"""What is left of one step by the converter's noise and eight conversions a reading."""

SAME_V = 0.06
"""Two readings of one voltage lie this near: 2 steps each way."""

SWINGS_V, MOVES_V = 0.12, 0.36
"""What spreads by more is moved by the toy's sound, and surely so, volts."""

RAIL_MOVES = 0.04
"""By this share of the rail a pad may seem to move with tired cells, which give way as the toy sounds:
the rail is read after the pad."""

SWINGS_ALIKE, CANCELS = 0.5, 0.25
"""Pads of one net that move still move by this share with both on the bus; what moves by less than
that one is of two that move against each other."""


@dataclass(frozen=True)
class Between:
    """What is between two pads.

    Parameters
    ----------
    pads : tuple of str
    low_ohm, high_ohm : float
        Between which it lies, leads taken away, ohms.
    is_net : bool or None
        Whether they are one net; None: it can't be told.
    why : str
        What speaks against it, in a few words; "" where nothing does.
    """

    pads: tuple[str, str]
    low_ohm: float
    high_ohm: float
    is_net: bool | None
    why: str = ""


def between(project: Project, readings: Readings) -> list[Between]:
    """Say of each pair that isn't surely more than `ONE_NET_OHM` apart what is between it.

    Parameters
    ----------
    project : Project
        Its lead and switch resistances are taken away.
    readings : Readings
    """
    expected_ohm = 2 * (project.rig.lead_ohm + project.rig.switch_ohm)
    scale, _ = _scale(readings, expected_ohm)
    off_ohm = uncertainty_ohm(project, readings)
    found = []
    for one, other in combinations(readings.pads, 2):
        reads_ohm = readings.ohm_of(one, other)
        more_ohm = reads_ohm / scale - expected_ohm
        if more_ohm - off_ohm >= ONE_NET_OHM:
            continue
        why = _apart(readings, one, other)
        low_ohm, high_ohm = max(0.0, more_ohm - off_ohm), max(0.0, more_ohm + off_ohm)
        if why:
            found.append(Between((one, other), low_ohm, high_ohm, False, why))
        else:
            is_sure = high_ohm <= ONE_NET_OHM and not _is_doubtful(readings, one, other)
            found.append(Between((one, other), low_ohm, high_ohm, is_sure or None))
    return found


def uncertainty_ohm(project: Project, readings: Readings) -> float:
    """Give how far what is between two pads may be off, ohms: both leads at their worst, and the senses."""
    expected_ohm = 2 * (project.rig.lead_ohm + project.rig.switch_ohm)
    _, scale_off = _scale(readings, expected_ohm)
    leads_ohm = 2 * project.rig.lead_ohm * LEAD_TOLERANCE
    return leads_ohm + STEP_SHARE * steps_ohm(expected_ohm) + scale_off * expected_ohm


def _scale(readings: Readings, expected_ohm: float) -> tuple[float, float]:
    """Give what the senses read too much, as a factor, and how far that may be off itself."""
    factor, off = _by_bank(readings, expected_ohm)
    alike = [ohm / factor for ohm in readings.ohm.values()
             if abs(ohm / factor / expected_ohm - 1) <= off + 2 * LEAD_TOLERANCE]  # fmt: skip
    if len(alike) < SCALE_BY_LEADS:
        return factor, off
    # What has a resistor between it only reads more, so the scale is taken from below the middle.
    # A lead within +-t has a standard deviation of t / sqrt 3 at most where it's spread evenly, a pair's
    # share is that over sqrt 2. A median is 1.25 times as uncertain as a mean; pairs share leads, so
    # three count as two; twice for 95 %.
    even_off = 2 * 1.25 * LEAD_TOLERANCE / 6**0.5 / (len(alike) * 2 / 3) ** 0.5
    return factor * sorted(alike)[int(BELOW_MIDDLE * len(alike))] / expected_ohm, even_off


def _by_bank(readings: Readings, expected_ohm: float) -> tuple[float, float]:
    """Hold the senses against the bank's values on either side of what the leads are."""
    known = sorted((one.fitted_ohm, one.reads_ohm) for one in readings.bank)
    below = [one for one in known if one[0] <= expected_ohm]
    above = [one for one in known if expected_ohm < one[0] <= 5 * expected_ohm]
    if not below or not above:
        return 1.0, SCALE_TOLERANCE
    points = [(_share(fitted), _share(reads)) for fitted, reads in (below[-1], above[0])]
    (x0, y0), (x1, y1) = points
    at = _share(expected_ohm)
    reads = y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return SOURCE_OHM * reads / (1 - reads) / expected_ohm, SCALE_BY_BANK


def _share(ohm: float) -> float:
    """Give which share of its voltage the source's node has: ohm / (ohm + R)."""
    return ohm / (ohm + SOURCE_OHM)


def _apart(readings: Readings, one: str, other: str) -> str:
    """Say by which voltages two pads aren't one net; "" where none shows it."""
    a, b = readings.pads[one], readings.pads[other]
    if _steady(a.idle_v) and _steady(b.idle_v):
        apart_v = abs(mean(a.idle_v) - mean(b.idle_v))
        if apart_v > _same_v(readings):
            return f"{apart_v:.2g} V between them"
        if any(abs(p - q) > 2 * _same_v(readings) for p, q in _pulled_alike(a, b)):
            return "one gives way to a pull, the other doesn't"
    if (beside := _beside(readings, one, other)) is None:
        return ""
    least_v, most_v = sorted((spread(beside.one_v), spread(beside.other_v)))
    if most_v > MOVES_V and least_v < SAME_V:
        return "one moves while it sounds, the other doesn't"
    if least_v > MOVES_V and _together(beside) < CANCELS:
        return "they move against each other while it sounds"
    return ""


def _is_doubtful(readings: Readings, one: str, other: str) -> bool:
    """Say whether the toy's sound moves a pad, and they weren't seen to move together."""
    rail_v = readings.rail_v
    if not (swings(readings.pads[one], rail_v) or swings(readings.pads[other], rail_v)):
        return False
    beside = _beside(readings, one, other)
    if beside is None:
        return True
    least_v = min(spread(beside.one_v), spread(beside.other_v))
    return least_v < SWINGS_V or _together(beside) < SWINGS_ALIKE


def _beside(readings: Readings, one: str, other: str) -> Beside | None:
    """Give what was read of two pads in turn, and how they were at rest."""
    if (found := readings.beside.get(f"{one}-{other}")) is None:
        return None
    rest_v = [mean(readings.pads[pad].idle_v) for pad in (one, other)]
    return Beside(one_v=[rest_v[0], *found.one_v], other_v=[rest_v[1], *found.other_v],
                  both_v=[mean(rest_v), *found.both_v])  # fmt: skip


def _together(beside: Beside) -> float:
    """Give how much of what each pad moves by is left with both on the bus: 1 for one net."""
    return stdev(beside.both_v) / max(min(stdev(beside.one_v), stdev(beside.other_v)), 1e-3)


def _pulled_alike(a: PadReadings, b: PadReadings) -> list[tuple[float, float]]:
    theirs = {(one.rail, one.series_ohm): one.volts for one in b.pulled}
    return [(one.volts, theirs[one.rail, one.series_ohm]) for one in a.pulled
            if (one.rail, one.series_ohm) in theirs]  # fmt: skip


def _same_v(readings: Readings) -> float:
    return SAME_V + 0.01 * readings.rail_v


def _steady(volts: Sequence[float]) -> bool:
    return spread(volts) <= 3 * SENSE_STEP_V


def swings(pad: PadReadings, rail_v: float) -> bool:
    """Say whether a pad was seen to move: by the toy's sound, a key, or at rest."""
    seen_v = [*pad.idle_v, *pad.sounding_v, *pad.keys_v.values()]
    return spread(seen_v) > SWINGS_V + RAIL_MOVES * rail_v


def spread(volts: Sequence[float]) -> float:
    """Give how far readings lie apart, volts."""
    return max(volts) - min(volts)


def nets(pads: Iterable[str], pairs: Iterable[Between]) -> tuple[list[tuple[str, ...]], ...]:
    """Give the sure nets and those that may be one, each of two pads or more, in the pads' order.

    A chain of sure pairs is one net, unless voltages tell two of its pads apart: then none of it is
    sure. What may be one net holds at least one pair that isn't sure.
    """
    pads, pairs = list(pads), list(pairs)
    sure = joined(pads, [one.pads for one in pairs if one.is_net])
    against = [one.pads for one in pairs if one.is_net is False]
    broken = [net for net in sure if any(set(pair) <= set(net) for pair in against)]
    sure = [net for net in sure if net not in broken]
    loose = [one.pads for one in pairs if one.is_net is None]
    maybe = joined(pads, [*loose, *sure])
    return sure, sorted([*broken, *(net for net in maybe if net not in sure)], key=lambda n: pads.index(n[0]))


def joined(pads: Sequence[str], groups: Iterable[Sequence[str]]) -> list[tuple[str, ...]]:
    """Give what groups that share a pad make together, those of two pads or more, in the pads' order."""
    of: dict[str, set[str]] = {}
    for group in groups:
        whole = set(group).union(*(of.get(pad, ()) for pad in group))
        for pad in whole:
            of[pad] = whole
    found = {min(map(pads.index, net)): net for net in of.values() if len(net) > 1}
    return [tuple(sorted(found[at], key=pads.index)) for at in sorted(found)]


def agreed(
    sure: Sequence[tuple[str, ...]], answers: Mapping[str, str]
) -> list[tuple[str, ...]]:
    """Give the sure nets about whose pads the person has said nothing yet."""
    said = {pad for name in answers for pad in name.split("+")}
    return [net for net in sure if said.isdisjoint(net)]
