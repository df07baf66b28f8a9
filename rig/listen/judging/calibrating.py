"""Clean takes that are held against the others as a touch is: what a pair's p value rests on."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from rig.listen.judging.baseline import Baseline
from rig.listen.judging.tail import Ranks
from rig.listen.measures.span import Span
from rig.pcm import packed, unpacked


@dataclass
class Calibration:
    """The calibrating takes of one key, which are none of its baseline's.

    Attributes
    ----------
    takes : list of (ndarray of int16 or float32, Span)
        As they were recorded; see `packed`.
    distances_db : list of float
        Of each to the nearest take of the baseline: as that was when it came, until `score_anew`.
    """

    takes: list[tuple[np.ndarray, Span]] = field(default_factory=list)
    distances_db: list[float] = field(default_factory=list)

    def add(self, samples: np.ndarray, span: Span, baseline: Baseline) -> None:
        """Take one more in (samples of shape (n,), full scale 1.0)."""
        self.takes.append((packed(np.asarray(samples, dtype=np.float32)), span))
        self.distances_db.append(_distance_db(samples, span, baseline))

    def score_anew(self, baseline: Baseline) -> None:
        """Measure all of them against one and the same baseline."""
        self.distances_db = [
            _distance_db(unpacked(held), span, baseline) for held, span in self.takes
        ]

    def as_far(self, distance_db: float) -> int:
        """Count those that lie at least this far."""
        return Ranks(np.array(self.distances_db)).as_far(distance_db)


def _distance_db(samples: np.ndarray, span: Span, baseline: Baseline) -> float:
    return baseline.distance(baseline.align(samples, span)).both_db
