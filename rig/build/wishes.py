"""What the person wishes for, where it can't work: a warning, never a refusal."""

from __future__ import annotations

from rig.build.fitting import BODY_LEAST_OHM, Known
from rig.build.stepped import positions
from rig.words import ohms

PHOTOCELL_LIGHT_OHM = 3_000.0
"""What a photocell has in bright light (a few kohm: common practice, no source)."""


def warning(kind: str, sound: str, seen: Known) -> str:
    """Say why a control that was wished for can't give the kept sound; "" where nothing speaks against.

    Parameters
    ----------
    kind : str
        One of `rig.choose.picks.CONTROLS`.
    sound : str
        What was heard of the pick, one of `rig.outcomes.SOUNDS`.
    seen : Known
    """
    course = seen.course
    if kind == "potentiometer" and course is not None and course.is_measured and not course.is_smooth:
        if course.jump_ohm:
            low, high = course.jump_ohm
            return (f"A knob would only switch it, somewhere between {ohms(high)} and {ohms(low)}: most "
                    "of its turn does nothing.")  # fmt: skip
        return "A knob would do little: it was about the same wherever it was heard."
    if kind == "body contacts" and seen.high < BODY_LEAST_OHM:
        return (f"Skin can't play it: two fingertips are {ohms(BODY_LEAST_OHM)} or more, and beyond "
                f"{ohms(seen.high)} nothing of it was heard.")  # fmt: skip
    if kind == "photocell" and seen.high < seen.fixed + PHOTOCELL_LIGHT_OHM:
        return (f"No light is bright enough: a photocell keeps some {ohms(PHOTOCELL_LIGHT_OHM)}, and with "
                f"its resistor that is beyond the {ohms(seen.high)} up to which it was heard.")  # fmt: skip
    if kind == "toggle" and sound == "blip":
        return "It ends by itself: a toggle gives it once for each time it is switched on."
    if kind == "stepped switch" and (course is None or len(positions(course, seen.kept, seen.drawer, seen.floor_of)) < 2):
        return "Only one sound of it is known, so there is one position, and off: a toggle does the same."
    return ""
