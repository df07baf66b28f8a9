"""Low pads: a second resistor across that of their leads leaves hardly any, so that two of them meet
nearly as over a wire, over the current limiter alone and for a moment.

The controller holds to the same rules by itself (`guard_allows` in firmware/guard.c).
"""

from __future__ import annotations

from collections.abc import Iterator

from rig.project.models import Project, Rig, Toy
from rig.project.side_by_side import channels
from rig.words import ohms

BESIDE_OHM = 33.0
"""Soldered across the resistor of a low pad's lead, where toy.yaml doesn't say what the lead has."""

LIMITER_SPREAD = 10.2 / 9.0
"""At worst a limiter lets through so much more than it was trimmed to at 20 to 25 degrees: trimmed to
9 mA 10.2 mA, from 0 to 50 degrees, by simulation (device parameters from memory)."""

LIMITER_MOST_MA = 10.2
"""Between two lines of one supply, for a moment: 4000-series outputs stand 100 mW, 74HC 25 mA (data
sheets, from memory)."""

LIMITER_CHANNEL = 1
"""The series channel in whose place the limiter is."""

LIMITER_OHM = 100.0
"""More than a limiter has near 0 V: 59 to 71 ohm, by the same simulation."""

MARGIN_MS = 5
"""A touch of two low pads stays so much below their longest time (TOUCH_LOW_MARGIN_MS in the firmware)."""

NEVER_LOW = {"rail": "a rail", "clock": "a clock"}


def lead_ohm(toy: Toy, rig: Rig, pad: str) -> float:
    """Give all of a pad's lead, ohms."""
    if pad not in toy.low_pads:
        return rig.lead_ohm
    own = toy.pads[pad].lead_ohm
    return rig.lead_ohm * BESIDE_OHM / (rig.lead_ohm + BESIDE_OHM) if own is None else own


def low_lead_ohm(toy: Toy, rig: Rig) -> float:
    """Give the least lead of the low pads, with which the controller counts for each of them, ohms."""
    return min((lead_ohm(toy, rig, pad) for pad in toy.low_pads), default=rig.lead_ohm)


def limiter_ma(rig: Rig) -> float:
    """Give what the limiter lets through at worst, mA; 0 where none is fitted."""
    return rig.limiter.limit_ma * LIMITER_SPREAD if rig.limiter and rig.limiter.fitted else 0.0


def refusal_of_low(
    project: Project,
    pads_1: tuple[str, ...],
    pads_2: tuple[str, ...],
    series_ohm: float,
    closed_ms: float | None,
) -> str | None:
    """Say why low pads may not be closed onto the buses so, or None where they may.

    What flows beside an ordinary pad isn't looked at here.

    Parameters
    ----------
    pads_1, pads_2 : tuple of str
        Letters of the pads on bus 1 and on bus 2.
    series_ohm : float
        All that is between the buses, ohms.
    closed_ms : float or None
        For how long, ms; None: until they are opened, or as in a sweep.
    """
    toy, limiter = project.toy, project.rig.limiter
    low_1, low_2 = ([pad for pad in pads if pad in toy.low_pads] for pads in (pads_1, pads_2))
    for low, pads in ((low_1, pads_1), (low_2, pads_2)):
        if low and len(pads) > 1:
            return f"pad {low[0]} is low: it is alone on its bus"
    for pad in low_1 + low_2:
        if pad in pads_1 and pad in pads_2:
            return "a pad can't be closed twice"
        if closed_ms is None:
            return f"pad {pad} is low: neither swept nor held yet"
    if not (low_1 and low_2):
        return None
    both = f"{low_1[0]} and {low_2[0]}"
    assert limiter is not None and closed_ms is not None  # a project is loaded with a limiter then
    if channels(project.rig.series_ohm, series_ohm) != (LIMITER_CHANNEL,):
        return f"{both} are low: over the limiter of series channel {LIMITER_CHANNEL} alone"
    if closed_ms + MARGIN_MS > limiter.longest_ms:
        return f"{both} are low: closed for at most {limiter.longest_ms - MARGIN_MS} ms"
    return None


def refusals_of_low(toy: Toy, rig: Rig, ask_above_ma: float) -> Iterator[tuple[str, tuple, str]]:
    """Give every reason to refuse a set-up for its limiter and low pads: file, place, message.

    Parameters
    ----------
    ask_above_ma : float
        Above this rig.yaml has to say `accept_higher_current: true`, mA.
    """
    worst = limiter_ma(rig)
    if worst > LIMITER_MOST_MA * (1 + 1e-9):
        yield "rig", ("limiter", "limit_ma"), (
            f"a limiter of {rig.limiter.limit_ma:g} mA lets up to {worst:.1f} mA through, the most is "
            f"{LIMITER_MOST_MA:g} mA: trim it to {LIMITER_MOST_MA / LIMITER_SPREAD:g} mA or less"
        )
    for index, pad in enumerate(toy.low_pads):
        path, known = ("low_pads", index), toy.pads[pad]
        if not worst:
            yield "toy", path, (
                f"pad {pad} can't be low without a limiter: fit it in series channel "
                f"{LIMITER_CHANNEL}'s place and write `limiter: {{fitted: true}}` in rig.yaml"
            )
        if known.forbidden or known.kind in NEVER_LOW:
            why = "forbidden" if known.forbidden else NEVER_LOW[known.kind]
            yield "toy", path, f"pad {pad} is {why}, which is never low: take it out"
    if not toy.low_pads:
        return
    if rig.switch != "reed":
        yield "rig", ("switch",), f"low pads need reed relays: a {rig.switch} adds too many ohms"
    if worst > ask_above_ma and not rig.accept_higher_current:
        yield "rig", ("limiter",), (
            f"up to {worst:.1f} mA between low pads can kill a toy's chip: write "
            "`accept_higher_current: true` in rig.yaml, or take low_pads out of toy.yaml"
        )


def told(toy: Toy, rig: Rig) -> str:
    """Say in a line what is low, and what that lets flow; "" where nothing is."""
    if not toy.low_pads or rig.limiter is None:
        return ""
    leads = ohms(low_lead_ohm(toy, rig))
    return (
        f"{', '.join(toy.low_pads)}: leads of {leads}; two of them carry at most "
        f"{limiter_ma(rig):.1f} mA, for {rig.limiter.longest_ms} ms; no sweep touches them yet"
    )
