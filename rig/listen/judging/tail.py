"""p values from few clean takes: their ranks, and beyond the farthest one a tail."""

from __future__ import annotations

import numpy as np

from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.judging


class Tail:
    """What is known of how far clean takes lie from each other.

    Parameters
    ----------
    distances_db : ndarray of float, shape (K,)
        Of clean takes, each left out in turn; K at least 3.
    """

    def __init__(self, distances_db: np.ndarray):
        self.distances_db = np.sort(np.asarray(distances_db, dtype=float))
        self._upper = max(1, round(len(self.distances_db) / 2))
        threshold_db = self.distances_db[-self._upper - 1]
        excess_db = self.distances_db[-self._upper :] - threshold_db
        self._total_db = max(float(np.sum(excess_db)), T.least_excess_db * self._upper)

    @property
    def least_rank_p(self) -> float:
        """Give the p value that no rank goes below, 1 / (K + 1)."""
        return 1.0 / (len(self.distances_db) + 1)

    def p_value(self, distance_db: float) -> float:
        """Give the chance that the next clean take is at least this far.

        Within the range of the K clean takes it is the rank: (1 + how many are at least as far)
        / (K + 1), which holds whatever their distribution is. Beyond the farthest it falls on
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
            at_least = int(np.count_nonzero(self.distances_db >= distance_db))
            return (1 + at_least) * self.least_rank_p
        return float((1.0 + beyond_db / self._total_db) ** -self._upper * self.least_rank_p)
