"""How sure one can be: false discoveries among many tests, shares of few trials, and a test
that ends as soon as it can."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import correlate
from scipy.stats import binomtest, false_discovery_control


def q_values(p_values: np.ndarray) -> np.ndarray:
    """Adjust p values so that those at or below a level keep to that false discovery rate [1]_.

    Parameters
    ----------
    p_values : ndarray of float, shape (n,)
        0 to 1, independent or positively dependent.

    Returns
    -------
    ndarray of float, shape (n,)
        0 to 1: the lowest rate at which each is still counted as a discovery.

    Raises
    ------
    ValueError
        When one isn't a number from 0 to 1.

    References
    ----------
    .. [1] Y. Benjamini and Y. Hochberg, J. R. Stat. Soc. B 57(1), 1995.
    """
    p_values = np.asarray(p_values, dtype=np.float64)
    if not np.all((p_values >= 0.0) & (p_values <= 1.0)):
        raise ValueError("p values must be numbers from 0 to 1")
    if not len(p_values):
        return p_values
    return false_discovery_control(p_values, method="bh")


def wilson_interval(hits: int, trials: int, confidence: float = 0.95) -> tuple[float, float]:
    """Give the range in which the true share of hits lies [1]_.

    Parameters
    ----------
    hits, trials : int
        0 ≤ hits ≤ trials. Of no trials nothing is known: 0 to 1.
    confidence : float
        0 to 1.

    Returns
    -------
    low, high : float

    Raises
    ------
    ValueError
        When the numbers are out of range.

    References
    ----------
    .. [1] E. B. Wilson, J. Am. Stat. Assoc. 22(158), 1927.
    """
    if hits == trials == 0:
        return 0.0, 1.0
    interval = binomtest(hits, trials).proportion_ci(confidence, method="wilson")
    return float(interval.low), float(interval.high)


@dataclass(frozen=True)
class SequentialTest:
    """Wald's sequential probability ratio test [1]_.

    The logs of the likelihood ratio (altered over unaltered) of independent observations are
    summed until the sum leaves the range between the boundaries. Whatever the observations are,
    the chance of a false alarm is at most `false_alarm / (1 - miss)` and that of a miss at most
    `miss / (1 - false_alarm)`.

    Parameters
    ----------
    false_alarm, miss : float
        Chances aimed at, each above 0, together below 1.

    Raises
    ------
    ValueError
        When they are out of range.

    References
    ----------
    .. [1] A. Wald, Sequential tests of statistical hypotheses, Ann. Math. Stat. 16(2), 1945.
    """

    false_alarm: float
    miss: float

    def __post_init__(self):
        if not (self.false_alarm > 0.0 and self.miss > 0.0 and self.false_alarm + self.miss < 1.0):
            raise ValueError("false_alarm and miss must be above 0 and together below 1")

    @property
    def upper(self) -> float:
        """The sum from which on it is altered."""
        return float(np.log((1.0 - self.miss) / self.false_alarm))

    @property
    def lower(self) -> float:
        """The sum down from which it is unaltered."""
        return float(np.log(self.miss / (1.0 - self.false_alarm)))

    def decide(self, log_ratios: np.ndarray) -> tuple[bool | None, int]:
        """Go through the log likelihood ratios of observations until they decide.

        Parameters
        ----------
        log_ratios : ndarray of float, shape (n,)

        Returns
        -------
        altered : bool or None
            None when all of them don't suffice.
        used : int
            Number of observations that it took.
        """
        total = np.cumsum(log_ratios)
        over = np.flatnonzero((total >= self.upper) | (total <= self.lower))
        if not len(over):
            return None, len(total)
        return bool(total[over[0]] >= self.upper), int(over[0]) + 1

    def average_number(self, mean_unaltered: float, mean_altered: float) -> tuple[float, float]:
        """Give the average number of observations until a decision, by Wald's approximation.

        It takes the sum to end right on a boundary; the larger one observation's ratio, the
        more it falls short.

        Parameters
        ----------
        mean_unaltered, mean_altered : float
            Mean log likelihood ratio of one observation, below 0 and above 0.

        Returns
        -------
        unaltered, altered : float
        """
        a, b = self.false_alarm, self.miss
        return (
            ((1.0 - a) * self.lower + a * self.upper) / mean_unaltered,
            (b * self.lower + (1.0 - b) * self.upper) / mean_altered,
        )


def dependence(series: np.ndarray) -> float:
    """Give how many times larger the variance of a series' mean is than if it were independent.

    One plus twice the sum of the autocorrelations, up to where neighbouring pairs of them stop
    being positive [1]_. Log likelihood ratios of frames, divided by it, can be summed as if the
    frames were independent.

    Parameters
    ----------
    series : ndarray of float, shape (n,)
        Stationary, at least 4 values.

    Returns
    -------
    float
        1 (independent) or more.

    Raises
    ------
    ValueError
        With fewer values.

    References
    ----------
    .. [1] C. J. Geyer, Practical Markov chain Monte Carlo, Stat. Sci. 7(4), 1992.
    """
    centred = np.asarray(series, dtype=np.float64) - np.mean(series)
    if len(centred) < 4:
        raise ValueError(f"{len(centred)} values don't show any dependence; 4 are needed")
    covariance = correlate(centred, centred)[len(centred) - 1 :]
    if covariance[0] == 0.0:
        return 1.0
    pairs = covariance[: len(centred) // 2 * 2].reshape(-1, 2).sum(axis=1) / covariance[0]
    stop = np.argmax(pairs <= 0.0) if np.any(pairs <= 0.0) else len(pairs)
    return max(1.0, float(2.0 * pairs[:stop].sum() - 1.0))
