"""What is said of each threshold beside its value."""

from __future__ import annotations

from dataclasses import field
from typing import Any

OURS = "our choice"
SPEECH = "recorded speech with known changes, seeds 1 to 9 (tests/outside/test_known_changes.py)"
NOTES = "made-up notes with known changes (tests/unit/test_listen_notes.py)"
HANDS = "made-up sounds and simulated toys, seeds 1 to 9; on no recordings of hands"


def threshold(value: Any, unit: str, decides: str, chosen: str = OURS) -> Any:
    """Give a field of a frozen dataclass with its value, and what is to be known of it.

    Parameters
    ----------
    value : float, int or tuple
    unit : str
        "1" for shares, ratios and counts.
    decides : str
        What hangs on it.
    chosen : str
        How, and on which seeds; `OURS` where nothing more is known.
    """
    return field(default=value, metadata={"unit": unit, "decides": decides, "chosen": chosen})
