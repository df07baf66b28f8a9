"""The parts list: how many of what, its colour bands, what it must stand, and what would do too."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from rig.build import line_out
from rig.build.content import PartRow
from rig.build.fitting import PHOTOCELL_DARK_OHM, Control
from rig.build.pieces import bands_of, fitted
from rig.build.power import BLEED_OHM, Power, rating_words
from rig.build.series import TOLERANCE, at_least
from rig.choose.picks import Pick
from rig.project import Project
from rig.project.electrical import highest_v
from rig.words import ohms

RATINGS_W = ((0.25, "1/4 W"), (0.5, "1/2 W"), (1.0, "1 W"), (2.0, "2 W"), (5.0, "5 W"))
"""Ratings of resistors that shops have (common practice, no source)."""
USED_SHARE = 0.5
"""A resistor is used up to half of its rating: our choice."""

SUBSTITUTES = {
    "toggle": "a slide switch",
    "push-button": "a toggle that springs back",
    "potentiometer": "a trimmer, where it is set once",
    "photocell": f"a potentiometer of {ohms(PHOTOCELL_DARK_OHM)}",
    "body contacts": "two brass screws",
    "rotary switch": "a socket for each position and one plug",
}
"""What would do in a control's place (common practice, no source)."""


def rating(ohm: float, volts: float) -> str:
    """Say what a resistor must stand with all of the supply across it.

    Parameters
    ----------
    ohm : float
        Its value, above 0.
    volts : float
        The highest supply, V.
    """
    needed_w = volts**2 / ohm / USED_SHARE
    return next((text for watt, text in RATINGS_W if watt >= needed_w),
                f"{needed_w:.3g} W at worst: take a larger value")  # fmt: skip


def next_above(ohm: float) -> float:
    """Give the preferred value above a resistor's: less would do what was never tried."""
    return at_least(ohm * 1.02, tolerance=0.0)


def parts(
    project: Project, picks: Sequence[Pick], controls: Sequence[Control], power: Power,
    with_line_out: bool,
) -> tuple[PartRow, ...]:
    """Give the list of parts and wires.

    Parameters
    ----------
    project : Project
    picks : sequence of Pick
        One for each pair, in the order of the sheet.
    controls : sequence of Control
        The proposal for each.
    power : Power
    with_line_out : bool
    """
    built = fitted(picks, controls)
    kinds = Counter((one.control.part, one.control.kind) for one in built)
    rows = [
        PartRow(count, part, rating="any", substitute=SUBSTITUTES.get(kind, ""))
        for (part, kind), count in kinds.items()
    ]
    resistors = Counter(ohm for one in built for ohm, _ in one.control.resistors)
    rows += [_resistor(n, ohm, highest_v(project.toy)) for ohm, n in sorted(resistors.items())]
    rows += [
        PartRow(1, "push-button for the reset, changeover", rating=rating_words(project, power),
                substitute="one that is closed at rest, without the bleed"
                + ", held longer" * any(one.control.stops for one in built)),
        PartRow(1, f"resistor {ohms(BLEED_OHM)} for the changeover", bands_of(BLEED_OHM), "1/4 W, 5 %",
                "47 Ω to 220 Ω"),
    ]  # fmt: skip
    if with_line_out:
        rows += _line_out()
    if built:
        uses = Counter(pad for one in built for pad in one.pick.pads)
        links = "; fewer, with links between the controls, where a pad is shared"
        rows.append(PartRow(2 * len(built), "wires, pad to control" + links * (max(uses.values()) > 1),
                            rating="28 to 30 AWG, stranded",
                            substitute="" if project.rig.bench == "by-hand" else "the rig's own leads"))  # fmt: skip
    return tuple(rows)


def _resistor(count: int, ohm: float, volts: float) -> PartRow:
    known = bands_of(ohm)
    wished = "" if known else ", as you wished it"
    return PartRow(
        count, f"resistor {ohms(ohm)}{wished}", known,
        f"{rating(ohm, volts)}, {TOLERANCE * 100:.0f} %", f"{ohms(next_above(ohm))}; never less",
    )


def _line_out() -> list[PartRow]:
    film = f"film, {line_out.SERIES_V} V or more"
    return [
        PartRow(1, f"capacitor {line_out.farads(line_out.SERIES_F)}, line out", rating=film,
                substitute=f"{line_out.farads(2.2e-6)} film"),
        PartRow(1, f"resistor {ohms(line_out.UPPER_OHM)}, line out", bands_of(line_out.UPPER_OHM),
                "1/4 W, 5 %", "more: softer"),
        PartRow(1, f"resistor {ohms(line_out.LOWER_OHM)}, line out", bands_of(line_out.LOWER_OHM),
                "1/4 W, 5 %", "less: softer"),
        PartRow(1, f"capacitor {line_out.farads(line_out.LOW_PASS_F)}, line out", rating=film),
        PartRow(1, line_out.TRANSFORMER, rating="1.5 V", substitute="none: it keeps the toy apart"),
        PartRow(1, "jack, mono, with a switch of its own", substitute="without the switch"),
    ]  # fmt: skip
