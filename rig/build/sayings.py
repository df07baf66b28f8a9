"""The tables' words as a builder says them."""

from __future__ import annotations


def sound_words(sound: str | None, amount: float | None, unit: str | None) -> str:
    """Say what a pick does.

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
        return sound
    if sound == "pitch":
        return f"pitch {'up' if amount > 0 else 'down'} {_interval(abs(amount))}"
    if sound == "loop":
        return f"loop of {amount:.2g} s"
    if sound == "drone":
        return f"drone at {amount:.0f} Hz"
    if sound == "cut":
        return f"cuts the sound (by {abs(amount):.0f} dB)"
    if sound == "level":
        return f"{'louder' if amount > 0 else 'quieter'} by {abs(amount):.0f} dB"
    return f"{sound} ({abs(amount):.3g} {unit})" if unit else f"{sound} ({amount:.3g})"


def after_words(after: str | None) -> str:
    """Say how the toy is afterwards, as the end of a sentence; "" where it answers."""
    return {
        "runs on": "then runs on",
        "freeze": "then stops until reset",
        "guarded": "trips the current guard",
    }.get(after or "", "")


def _interval(cents: float) -> str:
    if cents >= 150:
        return f"{cents / 100:.0f} semitones ({cents:.0f} cents)"
    return f"{cents:.0f} cents"
