"""From touches to pairs: one p value each, and which of them hold the rate of false finds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence

import numpy as np

from rig.listen import AS_FAR, CALIBRATING, allowed_beyond, statistics
from rig.listen.statistics import Staged, staged_p_value
from rig.log import Record
from rig.log.between import STAGE
from rig.outcomes import is_heard

FALSE_DISCOVERY = 0.05
"""Share of false ones among the finds that is held where nobody asks for another."""


def pair_p_value(confirming: Sequence[Record], counting: Container[int]) -> float | None:
    """Combine a pair's fresh confirming touches over all paths and keys.

    Those count that lie between two clean presses which sound like the toy. One is heard when
    it lies beyond all but a twentieth of the clean presses that lie between such as well, all held
    against the same takes: see `staged_p_value`. The touches that only led to confirming ones don't
    enter, since they were picked for what they showed.

    Parameters
    ----------
    confirming : sequence of Record
        Those of a pair that could be judged or stopped the toy.
    counting : container of int
        Numbers of all touches that count; see `rig.log.between.parts`.

    Returns
    -------
    float or None
        None where none counts: nothing is claimed of the pair. 1 where no change was heard.
    """
    judged = [one for one in confirming if one.p_value is not None]
    if judged and not any(CALIBRATING in one.measures for one in judged):
        return _older_p_value(judged)
    by_key: dict[str, list[Record]] = defaultdict(list)
    for one in confirming:
        if one.number in counting:
            by_key[one.key].append(one)
    return staged_p_value(map(_staged, by_key.values())) if by_key else None


def _staged(of_key: Sequence[Record]) -> Staged:
    known = min(
        (one.measures[CALIBRATING] for one in of_key if CALIBRATING in one.measures), default=0
    )
    stages = [[one for one in of_key if (one.facts.get(STAGE) == 2) == second]
              for second in (False, True)]
    return Staged(
        known=known, beyond=allowed_beyond(known),
        made=(len(stages[0]), len(stages[1])),
        heard=(sum(map(_is_heard, stages[0])), sum(map(_is_heard, stages[1]))),
    )


def _is_heard(one: Record) -> bool:
    if not is_heard(one.sound, one.after) or CALIBRATING not in one.measures:
        return False
    return one.measures[AS_FAR] <= allowed_beyond(one.measures[CALIBRATING])


def _older_p_value(confirming: Iterable[Record]) -> float:
    """Combine those of a log that was judged before clean presses were held against others.

    The i-th of them, in the order in which they were made, counts i·(i + 1) times: Bonferroni's
    inequality with weights 1/2, 1/6, 1/12 …, whose sum is 1 however many follow.
    """
    made = sorted(confirming, key=lambda one: one.number)
    weighed = [
        i * (i + 1) * one.p_value
        for i, one in enumerate(made, 1)
        if one.p_value is not None and is_heard(one.sound, one.after)
    ]
    return min([1.0, *weighed])


def q_values(p_values: Mapping[str, float]) -> dict[str, float]:
    """Adjust p values of pairs by Benjamini and Hochberg's procedure.

    Parameters
    ----------
    p_values : mapping of pair to float
        Of the pairs that went to confirming. What was heard before only decided which.

    Returns
    -------
    dict of pair to float
        The lowest rate of false discoveries at which each pair is still kept.
    """
    adjusted = statistics.q_values(np.array(list(p_values.values())))
    return dict(zip(p_values, map(float, adjusted), strict=True))


def doubtful(p_values: Mapping[str, float], false_discovery: float) -> Sequence[str]:
    """Give the pairs whose change came back, but not surely enough to be kept."""
    adjusted = q_values(p_values)
    return [one for one, p in p_values.items() if p < 1.0 and adjusted[one] > false_discovery]
