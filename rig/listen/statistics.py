"""How sure one can be: ranks among known scores, false discoveries among many tests, and shares of
few trials."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import comb

import numpy as np
import scipy


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
    # scipy.stats has it too, but it brings 45 MB along, and half a second for whoever lists finds.
    order = np.argsort(p_values)
    adjusted = p_values[order] * (len(order) / np.arange(1.0, len(order) + 1))
    q = np.empty_like(adjusted)
    q[order] = np.minimum.accumulate(adjusted[::-1])[::-1]
    return np.clip(q, 0.0, 1.0)


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
    interval = scipy.stats.binomtest(hits, trials).proportion_ci(confidence, method="wilson")
    return float(interval.low), float(interval.high)


def placements(fresh: int, known: int, beyond: int) -> np.ndarray:
    """Give the chance that so many fresh scores lie beyond all but `beyond` of the known ones.

    All of them are exchangeable, so that every order of them is as likely, and none are equal;
    then the fresh ones beyond a known score of given rank have the negative hypergeometric
    distribution [1]_, whatever the scores' own is.

    Parameters
    ----------
    fresh, known : int
        How many there are of each, 0 or more.
    beyond : int
        0 or more. With no known score left below, nothing can be told: all fresh ones count as
        beyond.

    Returns
    -------
    ndarray of float, shape (fresh + 1,)
        The chance of each number, 0 to `fresh`.

    References
    ----------
    .. [1] The placement of one sample's order statistic in another sample, as in H. A. David,
       Order Statistics, Wiley (from memory); the urn of the negative hypergeometric distribution
       is N. L. Johnson, S. Kotz, Discrete Distributions (from memory).
    """
    if known <= beyond:
        return np.eye(1, fresh + 1, fresh)[0]
    ways = [
        comb(beyond + j, j) * comb(known - beyond - 1 + fresh - j, fresh - j)
        for j in range(fresh + 1)
    ]
    return np.array([one / comb(known + fresh, fresh) for one in ways])


@dataclass(frozen=True)
class Staged:
    """Fresh touches in two stages, held against the same known scores.

    Parameters
    ----------
    known : int
        Known scores.
    beyond : int
        A touch is heard when its score lies beyond all but so many of them.
    made, heard : tuple of (int, int)
        Touches of the first and the second stage, and those of them that were heard.
    """

    known: int
    beyond: int
    made: tuple[int, int]
    heard: tuple[int, int]

    def chances(self) -> np.ndarray:
        """Give the chance of each outcome where all scores are exchangeable.

        Returns
        -------
        ndarray of float, shape (made[0] + 1, made[1] + 1)
            By how many of either stage are heard. Given their sum, how they fall on the two
            stages is hypergeometric.
        """
        first, second = self.made
        whole = placements(first + second, self.known, self.beyond)
        return np.array([
            [whole[i + j] * comb(first, i) * comb(second, j) / comb(first + second, i + j)
             for j in range(second + 1)]
            for i in range(first + 1)
        ])  # fmt: skip


def staged_p_value(sets: Iterable[Staged]) -> float:
    """Give the chance that touches which do nothing are heard as often as these were.

    A second stage is made where some of the first, but not all of it, were heard. What comes
    first counts as more: all of the first stage heard, then as many of both stages together,
    then none of the first. The chance is summed over what counts as much or more (the stagewise
    order of group sequential tests [1]_), so no level is given away for looking twice.

    Parameters
    ----------
    sets : iterable of Staged
        Each with known scores of its own, independent of the others'; they count together.

    Returns
    -------
    float
        1 where none was made, or none of the first stage heard.

    References
    ----------
    .. [1] K. Fairbanks and R. Madsen, Biometrika 69(1), 1982 (from memory).
    """
    chances: np.ndarray | None = None
    heard = np.zeros(2, dtype=int)
    for one in sets:
        mine = one.chances()
        chances = mine if chances is None else scipy.signal.convolve2d(chances, mine)
        heard += one.heard
    if chances is None:
        return 1.0
    first, second = np.indices(chances.shape)
    all_of_it, none_of_it = first == len(chances) - 1, first == 0
    if heard[0] == 0:
        return 1.0
    if heard[0] == len(chances) - 1:
        counts = all_of_it
    elif chances.shape[1] == 1:  # the second stage is not made, or not yet
        counts = first >= heard[0]
    else:
        counts = all_of_it | (~none_of_it & (first + second >= heard.sum()))
    return float(min(1.0, chances[counts].sum()))
