"""How sure one can be: false discoveries among many tests, and shares of few trials."""

from __future__ import annotations

import numpy as np
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
