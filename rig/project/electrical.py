"""What flows at worst through a touch, and the set-ups and touches refused for it.

The switch's own resistance moves with voltage, so it is reported in a path but never
counted on where a current is limited.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil, floor, log10

from rig.project.hints import another_unit
from rig.project.low_pads import low_lead_ohm, refusal_of_low, refusals_of_low
from rig.project.models import Project, Rig, Toy
from rig.project.side_by_side import channels, counted_ohm
from rig.words import ohms

MAX_SUPPLY_V = 12.0
"""Battery toys only; far below the 60 V d.c. of the least hazardous class."""

FRESH_CELL = 1.6 / 1.5
"""A fresh 1.5 V cell gives 1.6 V (common practice, no source)."""

RAIL_SHARE = {"cells": (0.6, 1.2), "bench": (0.9, 1.1)}
"""What a rail may be, as a share of toy.yaml's volts: a cell of 1.5 V is flat at 0.9 V and fresh
at 1.6 V (common practice, no source), measured with a reference that may be some per cent off."""

ASK_ABOVE_MA = 5.0
REFUSE_ABOVE_MA = 10.0
"""Toy chips drive a few mA; 4000-series inputs stand about 10 mA (data sheets, from memory)."""

LEAST_LIMIT_MA = 0.02
"""12 V over 600 kohm: fingertips."""

RAIL_LIMIT_MA = 0.5
"""Most that may flow between two pads known as rails: nothing is to be heard there."""

CLOCK_LEAST_OHM = 30_000.0
"""Least path on a pad marked as clock: too fast a clock crashes the chip (common practice)."""

SWITCH_RAIL_V = {"reed": None, "crosspoint": 12.0, "multiplexer": 5.0}
"""What each switch type can pass, volts; None: a metal contact passes anything."""

Finding = tuple[str, tuple, str]
"""File ('toy' or 'rig'), place of the value in it, message."""


def highest_v(toy: Toy) -> float:
    """Give the most that the toy's supply can be, volts: fresh cells are above their name."""
    if toy.supply.source == "cells":
        return toy.supply.volts * FRESH_CELL
    return toy.supply.volts


def rail_range_v(toy: Toy) -> tuple[float, float]:
    """Give the least and the most that the toy's rail may be while it is supplied, volts."""
    low, high = RAIL_SHARE[toy.supply.source]
    return low * toy.supply.volts, high * toy.supply.volts


def path_ohm(rig: Rig, series_ohm: float) -> float:
    """Give the whole resistance between two pads, ohms.

    Parameters
    ----------
    series_ohm : float
        Value of the series bank in the path, ohms.
    """
    return 2 * rig.lead_ohm + 2 * rig.switch_ohm + series_ohm


def limiting_ohm(rig: Rig, series_ohm: float) -> float:
    """Give the part of a path that limits the current for certain, ohms (no switch)."""
    return 2 * rig.lead_ohm + series_ohm


def pad_path_ohm(
    rig: Rig,
    beside: int,
    across: int,
    series_ohm: float,
    *,
    own_ohm: float | None = None,
    across_lead_ohm: float | None = None,
) -> float:
    """Give what limits one pad's current at worst: it is at one rail, all others at the other.

    The current of a pad is a sum over all others, each through a conductance that is not
    negative; so it is highest where every other one is at the other rail.

    Parameters
    ----------
    beside, across : int
        Pads that share its bus, and pads on the other bus (at least one).
    series_ohm : float
        All that is between the buses, ohms.
    own_ohm, across_lead_ohm : float, optional
        Each lead of its bus and of the other one, ohms; those of rig.yaml where none is given.
    """
    lead_ohm = rig.lead_ohm if own_ohm is None else own_ohm
    across_ohm = series_ohm + (rig.lead_ohm if across_lead_ohm is None else across_lead_ohm) / across
    if beside:
        across_ohm = _parallel(lead_ohm / beside, across_ohm)
    return lead_ohm + across_ohm


def rail_path_ohm(rig: Rig, beside_1: int, beside_2: int, series_ohm: float) -> float:
    """Give the least resistance from a rail pad on bus 1 to one on bus 2, ohms.

    The other pads may be one net within the toy: their leads are then another way past the
    series value.

    Parameters
    ----------
    beside_1, beside_2 : int
        Other pads on bus 1 and on bus 2.
    series_ohm : float
        All that is between the buses, ohms.
    """
    if beside_1 and beside_2:
        past_ohm = rig.lead_ohm / beside_1 + rig.lead_ohm / beside_2
        series_ohm = _parallel(series_ohm, past_ohm)
    return limiting_ohm(rig, series_ohm)


def _parallel(one_ohm: float, other_ohm: float) -> float:
    both = one_ohm + other_ohm
    return one_ohm * other_ohm / both if both > 0 else 0.0


def current_ma(toy: Toy, ohm: float) -> float:
    """Give the current of the highest supply through `ohm`, mA (infinite at 0 ohms)."""
    return highest_v(toy) / ohm * 1000 if ohm > 0 else float("inf")


def worst_current_ma(project: Project) -> float:
    """Give the highest current that any pair of the sweep can carry, mA.

    One pad on each bus, the bank's least value between, the whole (fresh) supply across.
    """
    return current_ma(project.toy, limiting_ohm(project.rig, project.rig.least_ohm))


def least_lead_ohm(toy: Toy, rig: Rig) -> float:
    """Give the smallest lead resistor that keeps the current limit, ohms, rounded up."""
    exact = (highest_v(toy) / rig.current_limit_ma * 1000 - rig.least_ohm) / 2
    return _rounded_up(exact) if exact > 0 else 0.0


def _rounded_up(exact: float) -> float:
    """Give a value of two digits that is no less."""
    step = 10.0 ** (floor(log10(exact)) - 1)
    return ceil(exact / step - 1e-9) * step


def rail_safe_ohm(toy: Toy) -> float:
    """Give the least path between two rail pads, ohms."""
    return highest_v(toy) / RAIL_LIMIT_MA * 1000


def switch_rail_v(rig: Rig) -> float | None:
    """Give what the switch can pass, volts, or None for a metal contact."""
    if rig.switch == "reed":
        return None
    return rig.switch_rail_v or SWITCH_RAIL_V[rig.switch]


def touchable(
    project: Project,
    pads_1: tuple[str, ...],
    pads_2: tuple[str, ...],
    series_ohm: float,
    closed_ms: float | None = None,
) -> str | None:
    """Say why pads may not be closed onto the buses, or None where they may.

    Parameters
    ----------
    pads_1, pads_2 : tuple of str
        Letters of the pads on bus 1 and on bus 2. A rig may close one pad's lead alone, through
        which nothing can flow; by hand there are no leads.
    series_ohm : float
        All that is between the buses, ohms: a value of the bank, or of channels side by side.
    closed_ms : float, optional
        For how long, ms; without it no low pad may (see `rig.project.low_pads`).

    Returns
    -------
    str or None
        The reason in a few words.
    """
    toy, rig = project.toy, project.rig
    pads_1, pads_2 = tuple(pads_1), tuple(pads_2)
    is_lone = len(pads_1) == 1 and not pads_2 and rig.bench != "by-hand"
    if not is_lone and (not pads_1 or not pads_2):
        return "a touch needs a pad on each bus"
    for pad in pads_1 + pads_2:
        if pad not in toy.pads:
            return f"there is no pad {pad} in toy.yaml"
        if toy.pads[pad].forbidden:
            return f"pad {pad} is forbidden in toy.yaml"
    if why := refusal_of_low(project, pads_1, pads_2, series_ohm, closed_ms):
        return why
    if is_lone:
        return None
    if len(set(pads_1 + pads_2)) < len(pads_1 + pads_2):
        return "a pad can't be closed twice"
    if rig.switch == "multiplexer" and (len(pads_1) > 1 or len(pads_2) > 1):
        return "a multiplexer closes one pad on each bus"

    def rails(pads: tuple[str, ...]) -> list[str]:
        return [pad for pad in pads if toy.pads[pad].kind == "rail"]

    for bus, pads in ((1, pads_1), (2, pads_2)):
        if len(rails(pads)) > 1:
            return f"rail pads {' and '.join(rails(pads))} would share bus {bus}"
    if rails(pads_1) and rails(pads_2) and len(channels(rig.series_ohm, series_ohm) or ()) > 1:
        return f"{rails(pads_1)[0]} and {rails(pads_2)[0]} are rails: over one channel of the bank"
    series_ohm = counted_ohm(rig.series_ohm, series_ohm)
    count_1, count_2 = len(pads_1), len(pads_2)
    between_ohm = rail_path_ohm(rig, count_1 - 1, count_2 - 1, series_ohm)
    if rails(pads_1) and rails(pads_2) and between_ohm < rail_safe_ohm(toy):
        return (
            f"{rails(pads_1)[0]} and {rails(pads_2)[0]} are rails: at least "
            f"{ohms(rail_safe_ohm(toy))} between them"
        )
    low_1, low_2 = (pads[0] in toy.low_pads for pads in (pads_1, pads_2))  # it is alone there
    if low_1 and low_2:
        return None  # the limiter holds what flows
    lead_1, lead_2 = (low_lead_ohm(toy, rig) if low else rig.lead_ohm for low in (low_1, low_2))
    path_1 = pad_path_ohm(rig, count_1 - 1, count_2, series_ohm, own_ohm=lead_1, across_lead_ohm=lead_2)
    path_2 = pad_path_ohm(rig, count_2 - 1, count_1, series_ohm, own_ohm=lead_2, across_lead_ohm=lead_1)
    for pads, path in ((pads_1, path_1), (pads_2, path_2)):
        for pad in pads:
            if toy.pads[pad].kind == "clock" and path < CLOCK_LEAST_OHM:
                return f"pad {pad} is a clock: at least {ohms(CLOCK_LEAST_OHM)} to it"
    worst = current_ma(toy, min(path_1, path_2))
    if worst > rig.current_limit_ma * (1 + 1e-9):
        return f"{worst:.2f} mA could flow, the limit is {rig.current_limit_ma:g} mA"
    return None


def too_high(volts: float) -> str:
    """Say why a supply above the limit is refused."""
    return (
        f"a supply of {volts:g} V is refused: battery toys up to {MAX_SUPPLY_V:g} V d.c. only, "
        "never mains"
    )


def refusals(toy: Toy, rig: Rig) -> Iterator[Finding]:
    """Give every reason to refuse the set-up, the gravest first."""
    volts = toy.supply.volts
    for index, word in enumerate(toy.contains):
        yield ("toy", ("contains", index), CONTAINS_REFUSED[word])
    if volts > MAX_SUPPLY_V:
        yield (
            "toy",
            ("supply", "volts"),
            too_high(volts),
        )
        return
    passes = switch_rail_v(rig)
    if passes is not None and highest_v(toy) > passes + 1e-9:
        fresh = " (fresh cells)" if toy.supply.source == "cells" else ""
        yield (
            "rig",
            ("switch",),
            (
                f"the {rig.switch} passes only what lies within its own {passes:g} V, the toy has up "
                f"to {highest_v(toy):.1f} V{fresh}; use reed relays"
            ),
        )
    limit = rig.current_limit_ma
    if limit > REFUSE_ABOVE_MA:
        yield (
            "rig",
            ("current_limit_ma",),
            f"{limit:g} mA is refused: the most is {REFUSE_ABOVE_MA:g} mA, the usual is 2",
        )
    elif limit > ASK_ABOVE_MA and not rig.accept_higher_current:
        yield (
            "rig",
            ("current_limit_ma",),
            (
                f"{limit:g} mA can kill a toy's chip: keep to {ASK_ABOVE_MA:g} mA, or write "
                "`accept_higher_current: true` beside it"
            ),
        )
    elif limit < LEAST_LIMIT_MA:
        yield (
            "rig",
            ("current_limit_ma",),
            f"{limit:g} mA is less than any bend needs: the usual is 2"
            + another_unit("current_limit_ma", limit),
        )
    yield from refusals_of_low(toy, rig, ASK_ABOVE_MA)
    least = rig.least_ohm
    worst = current_ma(toy, limiting_ohm(rig, least))
    if worst > limit * (1 + 1e-9) and rig.bench == "by-hand":
        bare = "a bare wire" if least == 0 else f"a path of {least:g} ohm"
        yield (
            "rig",
            ("by_hand", "path_ohm"),
            (
                f"{bare} lets {_ma(worst)} mA flow at {highest_v(toy):.1f} V, the limit is "
                f"{limit:g} mA: put a resistor of at least "
                f"{_rounded_up(highest_v(toy) / limit * 1000):g} ohm between the tips"
                + _if_kilo_ohms(least, highest_v(toy) / limit * 1000)
            ),
        )
    elif worst > limit * (1 + 1e-9):
        yield (
            "rig",
            ("lead_ohm",),
            (
                f"lead resistors of {rig.lead_ohm:g} ohm let {_ma(worst)} mA flow at "
                f"{highest_v(toy):.1f} V, the limit is {limit:g} mA: fit at least "
                f"{least_lead_ohm(toy, rig):.10g} ohm in each lead"
                + _if_kilo_ohms(rig.lead_ohm, least_lead_ohm(toy, rig))
            ),
        )


CONTAINS_REFUSED = {
    "lithium": "toys with a lithium pack are refused: a short can start a fire",
    "charger": "toys with a charger are refused: take a toy that runs on plain cells",
    "flash": "toys with a camera flash are refused: its capacitor holds hundreds of volts",
    "inverter": "toys with a back-light inverter are refused: it makes a high voltage",
    "mains": "toys that plug into the mains are refused: battery toys only",
}
"""Why each thing that a toy may contain is refused."""


def _if_kilo_ohms(written: float, least_ohm: float) -> str:
    meant = written * 1000
    is_likely = 0 < written < 100 and meant >= least_ohm
    return f"; if kilo-ohms were meant write {meant:.10g}" if is_likely else ""


def _ma(value: float) -> str:
    return "any number of" if value == float("inf") else f"{value:.3g}" if value < 1000 else f"{value:.0f}"
