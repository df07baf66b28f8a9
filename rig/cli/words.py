"""How amounts are said to a person."""

from __future__ import annotations


def ohms(value: float) -> str:
    """Say a resistance: 950 Ω, 13 kΩ, 1.2 MΩ.

    Parameters
    ----------
    value : float
        Ohms, >= 0.
    """
    for size, unit in ((1e6, "MΩ"), (1e3, "kΩ")):
        if value >= size:
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


def change(sound: str, amount: float | None, unit: str | None) -> str:
    """Say what a touch did, in a bender's words.

    Parameters
    ----------
    sound : str
        A word of the judge.
    amount : float or None
    unit : str or None
        cents, dB, s or Hz.
    """
    if amount is None:
        return {"drone": "drones without a pitch"}.get(sound, sound)
    if sound == "loop":
        return f"loops every {amount:.2f} s"
    if sound == "drone":
        return f"drones at {amount:.0f} {unit}"
    if sound == "pitch":
        return f"pitch {'up' if amount > 0 else 'down'} {abs(amount):.0f} cents"
    if sound == "cut":
        return f"cuts the sound ({amount:.0f} dB)"
    if sound == "level":
        return f"{'louder' if amount > 0 else 'quieter'} by {abs(amount):.0f} dB"
    if sound == "timbre":
        return f"other timbre (by {amount:.0f} dB)"
    if sound == "blip":
        return f"a blip ({amount:.0f} dB)"
    return f"{sound} {amount:g} {unit}"
