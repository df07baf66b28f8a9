"""Where a take stands among clean ones: its rank, and beyond the farthest one a tail."""

from __future__ import annotations

import numpy as np

from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.judging


class Ranks:
    """What is known of how far clean takes lie from others.

    Parameters
    ----------
    distances_db : ndarray of float, shape (K,)
        Of each to the nearest other one; K at least 1.
    """

    def __init__(self, distances_db: np.ndarray):
        self.distances_db = np.sort(np.asarray(distances_db, dtype=float))

    @property
    def bar_db(self) -> float:
        """Give what a distance must exceed to lie beyond all but a few of the clean ones."""
        return float(self.distances_db[-allowed_beyond(len(self.distances_db)) - 1])

    def as_far(self, distance_db: float) -> int:
        """Count the clean takes that lie at least this far."""
        return int(np.count_nonzero(self.distances_db >= distance_db))

    def p_value(self, distance_db: float) -> float:
        """Give the rank of a distance as a chance, (1 + how many are at least as far) / (K + 1)."""
        return (1 + self.as_far(distance_db)) / (len(self.distances_db) + 1)


def allowed_beyond(takes: int) -> int:
    """Give how many of so many clean takes may lie beyond one that is odd."""
    return takes // T.one_beyond_takes


class Tail(Ranks):
    """Ranks, with a tail beyond the farthest clean take: for few recordings.

    Parameters
    ----------
    distances_db : ndarray of float, shape (K,)
        Of clean takes, each left out in turn; K at least 3.
    """

    def __init__(self, distances_db: np.ndarray):
        super().__init__(distances_db)
        self._upper = max(1, round(len(self.distances_db) / 2))
        threshold_db = self.distances_db[-self._upper - 1]
        excess_db = self.distances_db[-self._upper :] - threshold_db
        self._total_db = max(float(np.sum(excess_db)), T.least_excess_db * self._upper)

    @property
    def least_rank_p(self) -> float:
        """Give the p value that no rank goes below, 1 / (K + 1)."""
        return 1.0 / (len(self.distances_db) + 1)

    def p_value(self, distance_db: float) -> float:
        """Give about the chance that the next clean take is at least this far.

        Within the range of the K clean takes it is the rank. Beyond the farthest it falls on
        exponentially, as excesses over a threshold do in the middle case of extreme value theory
        [1]_; the threshold is the median, and since the mean excess is only estimated from the k
        takes above it, the next one's excess follows the predictive distribution
        (1 + x / sum of excesses)^-k.

        References
        ----------
        .. [1] J. Pickands, Ann. Statist. 3(1), 1975.
        """
        beyond_db = distance_db - self.distances_db[-1]
        if beyond_db <= 0.0:
            return super().p_value(distance_db)
        return float((1.0 + beyond_db / self._total_db) ** -self._upper * self.least_rank_p)
