"""From touches to pairs: one p value each, and which of them hold the rate of false finds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from rig.listen import statistics
from rig.log import Record
from rig.outcomes import is_heard

FALSE_DISCOVERY = 0.05
"""Share of false ones among the finds that is held where nobody asks for another."""


def pair_p_value(confirming: Iterable[Record]) -> float:
    """Combine a pair's fresh confirming touches over all paths, keys and repeats.

    The i-th of them, in the order in which they were made, counts i·(i + 1) times: Bonferroni's
    inequality with weights 1/2, 1/6, 1/12 …, whose sum is 1 however many follow. So the p value
    holds whenever touching stops, and though all touches share one baseline. The touches that
    only led to confirming ones don't enter, since they were picked for what they showed.

    Parameters
    ----------
    confirming : iterable of Record
        Complete ones that could be judged.

    Returns
    -------
    float
        1 where no change was heard in any of them.
    """
    made = sorted(confirming, key=lambda one: one.number)
    weighed = [
        i * (i + 1) * one.p_value
        for i, one in enumerate(made, 1)
        if one.p_value is not None and is_heard(one.sound, one.after)
    ]
    return min([1.0, *weighed])


def q_values(p_values: Mapping[str, float]) -> dict[str, float]:
    """Adjust the p values of all touched pairs by Benjamini and Hochberg's procedure.

    Parameters
    ----------
    p_values : mapping of pair to float
        Of every pair that was touched: those that were never looked at again have 1.

    Returns
    -------
    dict of pair to float
        The lowest rate of false discoveries at which each pair is still kept.
    """
    adjusted = statistics.q_values(np.array(list(p_values.values())))
    return dict(zip(p_values, map(float, adjusted), strict=True))


def takes_needed(pairs: int, kept: int, false_discovery: float) -> int:
    """Give how many clean takes make a pair a find by their rank alone, without a tail model.

    Two of K + 1 (the first confirming touch counts twice) must be at most the level's share
    for one pair more than those that are kept.
    """
    return round(2 * pairs / ((kept + 1) * false_discovery))


def doubtful(
    p_values: Mapping[str, float], false_discovery: float
) -> Sequence[str]:
    """Give the pairs whose change came back, but not surely enough to be kept."""
    adjusted = q_values(p_values)
    return [one for one, p in p_values.items() if p < 1.0 and adjusted[one] > false_discovery]
