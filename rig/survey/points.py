"""What each pad is, from its voltages: a rail, a line high or low, toggling, floating, beyond the rails."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import mean

from rig.bench.measuring import SENSE_STEP_V
from rig.project import Project
from rig.project.electrical import rail_range_v
from rig.survey.nets import RAIL_MOVES, SWINGS_V, spread
from rig.survey.readings import PadReadings, Pulled, Readings

PLUS, MINUS, HIGH, LOW = "plus", "minus", "high", "low"
BETWEEN, TOGGLES, FLOATS, BEYOND = "between", "toggles", "floats", "beyond"

HIGH_SHARE, LOW_SHARE = 0.7, 0.3
"""From and up to which share of the rail 4000-series and 74HC inputs read high and low (data sheets,
memory: 0.7 and 0.3 of the supply)."""
RAIL_SHARE = 0.03
"""A rail lies this near to the rail or to minus."""
BEYOND_V = 0.3
"""Over the rail by more is no chip's own output on it: a diode's drop begins there."""
FOLLOWS = 0.8
"""What goes this far along with a pull to either rail is held by nothing."""
KEY_SHARE = 0.3
"""A key that moves a pad by this share of the rail changes it."""
HELD_STEPS = 3
"""A pull must move a pad by so many steps for its resistance to be told."""


@dataclass(frozen=True)
class Point:
    """What a pad is.

    Parameters
    ----------
    pad : str
    kind : str
        One of the words above.
    idle_v : float
        At rest, volts.
    held_ohm, off_ohm : float or None
        What holds it, and how far that may be off, ohms; None where it can't be told.
    moves : bool
        Whether the toy's sound moves it.
    keys : tuple of str
        Keys that change it while they are down, where its sound doesn't.
    """

    pad: str
    kind: str
    idle_v: float
    held_ohm: float | None = None
    off_ohm: float | None = None
    moves: bool = False
    keys: tuple[str, ...] = ()


def points(project: Project, readings: Readings) -> dict[str, Point]:
    """Say of each pad what it is."""
    rails = rail_pads(readings, project)
    return {pad: _point(project, readings, pad, rails) for pad in readings.pads}


def rail_pads(readings: Readings, project: Project) -> dict[str, str]:
    """Give which of the pads marked as rails stands at plus and which at minus, by these words."""
    found: dict[str, str] = {}
    for pad, one in readings.pads.items():
        if project.toy.pads[pad].kind == "rail" and (is_at := at_rail(one, readings.rail_v)):
            found.setdefault(is_at, pad)
    return found


def at_rail(pad: PadReadings, rail_v: float) -> str:
    """Say at which rail a pad stands, `PLUS` or `MINUS`; "" for neither."""
    near_v = RAIL_SHARE * rail_v + 2 * SENSE_STEP_V
    volts = mean(pad.idle_v)
    if spread(pad.idle_v) > near_v:
        return ""
    return PLUS if abs(volts - rail_v) <= near_v else MINUS if volts <= near_v else ""


def _point(project: Project, readings: Readings, pad: str, rails: Mapping[str, str]) -> Point:
    one, rail_v = readings.pads[pad], readings.rail_v
    idle_v = mean(one.idle_v)
    seen_v = [*one.idle_v, *one.sounding_v, *one.keys_v.values()]
    held = held_ohm(project, readings, pad, rails)
    is_marked = project.toy.pads[pad].kind == "rail"
    if max(seen_v) > rail_v * (1 + RAIL_SHARE) + BEYOND_V:
        kind = BEYOND
    elif is_marked and (is_at := at_rail(one, rail_v)):
        kind = is_at
    elif spread(one.idle_v) > HIGH_SHARE * rail_v - LOW_SHARE * rail_v:
        kind = TOGGLES
    elif idle_v <= LOW_SHARE * rail_v and follows(one, rails, rail_v):
        kind = FLOATS
    else:
        share = idle_v / rail_v if rail_v else 0.0
        kind = HIGH if share >= HIGH_SHARE else LOW if share <= LOW_SHARE else BETWEEN
    moves = spread([*one.idle_v, *one.sounding_v]) > SWINGS_V + RAIL_MOVES * rail_v
    keys = () if moves else tuple(
        key for key, volts in one.keys_v.items() if abs(volts - idle_v) > KEY_SHARE * rail_v
    )  # fmt: skip
    ohm, off_ohm = held if held and kind not in (FLOATS, PLUS, MINUS) else (None, None)
    return Point(pad, kind, idle_v, ohm, off_ohm, moves, keys)


def follows(pad: PadReadings, rails: Mapping[str, str], rail_v: float) -> bool:
    """Say whether a pad goes along with what pulls at it, so that nothing of the toy holds it.

    The bus itself pulls it down, so that going up shows it.
    """
    ups = [one.volts for one in pad.pulled if one.rail == rails.get(PLUS)]
    downs = [one.volts for one in pad.pulled if one.rail == rails.get(MINUS)]
    return bool(ups) and max(ups) >= FOLLOWS * rail_v and max(downs, default=0.0) <= 0.05 * rail_v


def held_ohm(
    project: Project, readings: Readings, pad: str, rails: Mapping[str, str]
) -> tuple[float, float] | None:
    """Give what holds a pad, and how far that may be off, ohms; None where no pull moved it.

    With V the pad's own voltage, V1 that of bus 1 under a pull from a rail at Vr, and S + L between
    the rail and the bus, (V - V1) / (V1 - Vr) (S + L) is the pad's own resistance with its lead.
    """
    rig, idle_v = project.rig, mean(readings.pads[pad].idle_v)
    lead_ohm = rig.lead_ohm + rig.switch_ohm
    best: tuple[float, float] | None = None
    for one in readings.pads[pad].pulled:
        rail_v = mean(readings.pads[one.rail].idle_v)
        moved_v, over_v = idle_v - one.volts, one.volts - rail_v
        error_v = HELD_STEPS * SENSE_STEP_V
        if abs(moved_v) < error_v or abs(over_v) < error_v or moved_v * over_v <= 0:
            continue
        whole_ohm = one.series_ohm + lead_ohm
        ohm = moved_v / over_v * whole_ohm - lead_ohm
        share = error_v / abs(moved_v) + error_v / abs(over_v) + 0.02
        off_ohm = share * (ohm + lead_ohm) + 0.01 * lead_ohm
        if best is None or off_ohm < best[1]:
            best = max(0.0, ohm), off_ohm
    return best


def pulled_far(pulled: Pulled, idle_v: float) -> bool:
    """Say whether a gentle pull moved a pad so far that a stronger one would tell nothing more."""
    return abs(pulled.volts - idle_v) > 8 * HELD_STEPS * SENSE_STEP_V


def rail_is_off(project: Project, readings: Readings) -> bool:
    """Say whether the supplied rail isn't what toy.yaml says."""
    low_v, high_v = rail_range_v(project.toy)
    return not low_v <= readings.rail_v <= high_v
