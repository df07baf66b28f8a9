"""What is said of a find, the same on every screen and page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rig.choose.find import Find
from rig.outcomes import AFTERS, is_stop, left_words, like_key_words
from rig.project import Toy
from rig.words import ohms


def what(find: Find) -> str:
    """Say what a find does to the sound."""
    if find.sound == "none" and find.manner is None:
        return "nothing heard" if is_stop(find.after) else "sounds on"
    return like_key_words(find.like_key) or find.words


def pressed(find: Find, found: Sequence[Find]) -> str:
    """Say with which key a find was heard, where that isn't the same for all."""
    return find.key or "none" if len({one.key for one in found}) > 1 else ""


def where(toy: Toy, pads: Iterable[str]) -> str:
    """Say where pads are, by their notes: "C (IC2, leg 4), F (R4)"; "" without notes."""
    return ", ".join(f"{pad} ({toy.pads[pad].note})" for pad in pads
                     if pad in toy.pads and toy.pads[pad].note)  # fmt: skip


def span(low_ohm: float, high_ohm: float) -> str:
    """Say a range of resistance: "3 kΩ", "3 to 13 kΩ" or "470 Ω to 3 kΩ"."""
    low, high = ohms(low_ohm), ohms(high_ohm)
    if low == high:
        return low
    (size, unit), of = low.split(), high.split()[1]
    return f"{size if unit == of else low} to {high}"


def path_words(find: Find) -> str:
    """Say over which paths a find was heard, or that it is one pad's lead alone."""
    if find.path_min_ohm is None or find.path_max_ohm is None:
        return "its lead alone"
    return span(find.path_min_ohm, find.path_max_ohm)


def afterwards(find: Find) -> str:
    """Say how the toy is after a find's touches, and over which path it's too much for it."""
    told = AFTERS[find.after].told
    if find.stop and find.after != find.stop:
        at = "" if find.stops_at_ohm is None else f" at {ohms(find.stops_at_ohm)}"
        told = AFTERS[find.stop].told + at
    return ", ".join(filter(None, (told, left_words(find.changed_presses))))
