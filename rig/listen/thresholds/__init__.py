"""Every threshold of the ear: one frozen object, with what each decides and how it was chosen."""

from __future__ import annotations

from dataclasses import dataclass, field

from rig.listen.thresholds.describing import Describing
from rig.listen.thresholds.judging import Judging
from rig.listen.thresholds.manners import Manners
from rig.listen.thresholds.measuring import Measuring
from rig.listen.thresholds.recordings import OfRecordings
from rig.listen.thresholds.watching import Watching

__all__ = [
    "THRESHOLDS",
    "Describing",
    "Judging",
    "Manners",
    "Measuring",
    "OfRecordings",
    "Thresholds",
    "Watching",
]


@dataclass(frozen=True)
class Thresholds:
    """All of them, by the rooms that use them.

    Parameters
    ----------
    version : str
        That of the judge, stored with every judgement. It changes with any value, and with
        whatever else makes the judge judge otherwise.
    measuring, judging, describing, manners, watching, recordings : dataclass
    """

    version: str = "8"
    measuring: Measuring = field(default_factory=Measuring)
    judging: Judging = field(default_factory=Judging)
    describing: Describing = field(default_factory=Describing)
    manners: Manners = field(default_factory=Manners)
    watching: Watching = field(default_factory=Watching)
    recordings: OfRecordings = field(default_factory=OfRecordings)


THRESHOLDS = Thresholds()
