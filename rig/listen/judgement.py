"""What the judge says of one touch: the words and amounts that are stored."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass, field

CALIBRATING, AS_FAR = "calibrating", "as_far"
"""Measures: how many clean takes calibrate, and how many of them lie at least as far."""
AS_WITH_LEAD, BESIDE_LEAD = "as_with_lead", "beside_lead"
"""Measures: the pad whose lead alone explains all that was heard; or beside whose it was told."""
LIKE_KEY = "like_key"
"""Measure: the key whose own sound a change is."""


@dataclass(frozen=True)
class Judgement:
    """One judgement of one take.

    Parameters
    ----------
    sound : str
        One of `rig.outcomes.SOUNDS`.
    amount : float or None
        How much, in `unit`: cents, dB, s (a loop's period, when a cut comes) or Hz (a drone's tone;
        a noise under the sound is a drone in dB, re that sound).
    score : float
        How far from the baseline, in units of the baseline's own threshold: 1 is just a hit.
    p_value : float or None
        Its rank among the clean takes, as a chance; None where the take can't be judged.
    measures : dict
        Every amount measured, by name with unit, kept beside the one word.
    judge : str
        Version of the judge.
    """

    sound: str
    _: KW_ONLY
    amount: float | None = None
    unit: str | None = None
    score: float
    p_value: float | None = None
    judge: str
    measures: dict = field(default_factory=dict)
