"""How amounts are said to a person, the same everywhere."""

from __future__ import annotations


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


def sound_words(sound: str | None, amount: float | None, unit: str | None) -> str:
    """Say what a touch did, in a bender's words.

    Parameters
    ----------
    sound : str or None
        A word of the judge.
    amount : float or None
        In `unit`: cents, dB, s or Hz.
    unit : str or None
    """
    if sound is None:
        return "not measured"
    if sound == "none":
        return "no change of the sound"
    if amount is None:
        return {"drone": "drones without a pitch"}.get(sound, sound)
    size = abs(amount)
    if sound == "pitch":
        return f"pitch {'up' if amount > 0 else 'down'} {interval(size)}"
    if sound == "loop":
        return f"loops every {amount:.2f} s"
    if sound == "drone" and unit == "dB":
        return f"noise under the sound, {amount:+.0f} dB"
    if sound == "drone":
        return f"drones at {amount:.0f} {unit}"
    if sound == "cut" and unit == "s":
        return f"goes silent after {amount:.2f} s" if amount >= 0.01 else "stays silent"
    if sound == "cut":
        return f"cuts the sound by {size:.0f} dB"
    if sound == "level":
        return f"{'louder' if amount > 0 else 'quieter'} by {size:.0f} dB"
    if sound == "timbre":
        return f"other timbre, by {size:.0f} dB"
    if sound == "blip":
        return f"a blip of {size:.0f} dB"
    return f"{sound} {amount:g} {unit or ''}".rstrip()


def interval(cents: float) -> str:
    """Say a change of pitch: in cents, with the name of the interval where it is one."""
    named = round(cents / 100) * 100
    if named in INTERVALS and abs(cents - named) <= NAMED_WITHIN_CENTS:
        return f"{INTERVALS[named]} ({cents:.0f} cents)"
    return f"{cents:.0f} cents"


def after_words(after: str | None) -> str:
    """Say how the toy is afterwards, as the end of a sentence; "" where it answers."""
    return {
        "runs on": "then runs on",
        "freeze": "then stops until reset",
        "guarded": "trips the current guard",
    }.get(after or "", "")
