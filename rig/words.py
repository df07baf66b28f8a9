"""How amounts are said to a person, the same everywhere."""

from __future__ import annotations

import re
from datetime import UTC, datetime


def ohms(value: float) -> str:
    """Say a resistance in three figures: 470 Ω, 3 kΩ, 1.5 MΩ.

    Parameters
    ----------
    value : float
        Ohms, >= 0.
    """
    for size, unit in ((1e6, "MΩ"), (1e3, "kΩ")):
        if value >= size * 0.9995:
            return f"{value / size:.3g} {unit}"
    return f"{value:.3g} Ω"


def short_ohms(value: float) -> str:
    """Say a resistance as a name's part: 470, 3.6k, 1.5M.

    Parameters
    ----------
    value : float
        Ohms, >= 0.
    """
    return re.sub(r" (\w?)Ω", r"\1", ohms(value))


def over_path(path_ohm: float | None) -> str:
    """Say over what pads were touched: " over 3 kΩ", or that it was one pad's lead alone."""
    return ", its lead alone" if path_ohm is None else f" over {ohms(path_ohm)}"


def duration(seconds: float) -> str:
    """Say a time span as a person would: 40 s, 12 min, 3 h 20 min."""
    if seconds < 100:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    if minutes < 100:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60:02d} min"


INTERVALS = {
    100: "a semitone", 200: "a tone", 300: "a minor third", 400: "a major third",
    500: "a fourth", 600: "a tritone", 700: "a fifth", 800: "a minor sixth",
    900: "a major sixth", 1000: "a minor seventh", 1100: "a major seventh", 1200: "an octave",
    1900: "an octave and a fifth", 2400: "two octaves",
}
"""Names of intervals, by their equal-tempered size in cents."""
NAMED_WITHIN_CENTS = 15


def clock_words(at: str, now: datetime | None = None) -> str:
    """Say a moment by this machine's clock: "14:02", or "27 Nov 14:02" where it was another day.

    Parameters
    ----------
    at : str
        UTC, ISO 8601.
    now : datetime, optional
        The time of now.
    """
    then = datetime.fromisoformat(at).astimezone()
    today = (now or datetime.now(UTC)).astimezone().date()
    return f"{then:%H:%M}" if then.date() == today else f"{then.day} {then:%b %H:%M}"


def interval(cents: float) -> str:
    """Say a change of pitch: in cents, with the name of the interval where it is one."""
    named = round(cents / 100) * 100
    if named in INTERVALS and abs(cents - named) <= NAMED_WITHIN_CENTS:
        return f"{INTERVALS[named]} ({cents:.0f} cents)"
    return f"{cents:.0f} cents"

