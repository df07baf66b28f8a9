"""Families: finds whose sounds change alike, so that a person needn't hear them all."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from rig.listen.judging.fingerprint import SIZE
from rig.log import Record
from rig.outcomes import unit_of

FAMILY_DISTANCE = 0.25
"""Finds that are closer than this on average are one family. Chosen on simulated boards of
seeds 2500 to 2517."""
RANGE_PART = 0.2
"""So much of a distance is whether finds are heard over the same paths."""
LEAST_DB = 1.0
"""The distance of two changes is relative to their size, but at least to this."""
NEVER = 1e9
"""A distance that no average with others brings near."""


def families(
    touches: Sequence[Sequence[Record]], pairs: Sequence[str] | None = None
) -> np.ndarray:
    """Number the families of some finds.

    They are clustered from below by the average of their distances, up to `FAMILY_DISTANCE`.

    Parameters
    ----------
    touches : sequence of sequence of Record
        The touches that show each find, at least one each.
    pairs : sequence of str, optional
        The pair of each: two sounds of one pair are never one family.

    Returns
    -------
    ndarray of int, shape (finds,)
        From 1 on.
    """
    if len(touches) < 2:
        return np.ones(len(touches), dtype=int)
    apart = distances(touches)
    if pairs is not None:
        of = np.array(pairs)
        apart[(of[:, None] == of) & ~np.eye(len(of), dtype=bool)] = NEVER
    condensed = scipy.spatial.distance.squareform(apart, checks=False)
    joined = scipy.cluster.hierarchy.linkage(condensed, "average")
    return scipy.cluster.hierarchy.fcluster(joined, FAMILY_DISTANCE, "distance")


def distances(touches: Sequence[Sequence[Record]]) -> np.ndarray:
    """Give how far finds are from each other, 0 (alike) to 1.

    One bridge in two places does the same over the same path. So finds are compared over each
    path, with each key, that both were heard with: the two nearest touches count, since a toy
    that speaks by chance may have said something else in the others. Without any, their surest
    touches are compared. `RANGE_PART` of the distance is the share of paths that only one of
    them was heard over.

    Parameters
    ----------
    touches : sequence of sequence of Record
        As for `families`.

    Returns
    -------
    ndarray, shape (finds, finds)
        Symmetric.
    """
    count = len(touches)
    by_spot: dict[tuple, list[tuple[int, Record]]] = defaultdict(list)
    for index, mine in enumerate(touches):
        for one in mine:
            by_spot[one.path_ohm, one.key].append((index, one))
    total, both = np.zeros((count, count)), np.zeros((count, count))
    for here in by_spot.values():
        # A find's touches stand side by side, so the nearest two are the least of a block.
        owners, firsts = np.unique([index for index, _ in here], return_index=True)
        told = Compared.of([one for _, one in here])
        ends = [*firsts[1:], len(here)]
        near = np.empty((len(owners), len(owners)))
        for row, (first, end) in enumerate(zip(firsts, ends, strict=True)):
            near[row] = np.minimum.reduceat(_apart(told, slice(first, end)).min(axis=0), firsts)
        spots = np.ix_(owners, owners)
        total[spots] += near
        both[spots] += 1
    surest = touch_distances(
        [max(mine, key=lambda one: (one.score or 0.0, -one.number)) for mine in touches]
    )
    sound = np.where(both > 0, total / np.maximum(both, 1), surest)
    heard = np.diag(both)
    one_alone = 1.0 - both / (heard[:, None] + heard - both)
    apart = (1.0 - RANGE_PART) * sound + RANGE_PART * one_alone
    np.fill_diagonal(apart, 0.0)
    return apart


def touch_distances(touches: Sequence[Record]) -> np.ndarray:
    """Give how far single touches are from each other, 0 (alike) to 1, shape (n, n).

    The distance of two fingerprints over the sum of their lengths.
    """
    return _apart(Compared.of(touches), slice(None))


@dataclass(frozen=True)
class Compared:
    """What is compared of some touches: their fingerprints, and words and amounts as numbers."""

    prints: np.ndarray
    words: np.ndarray

    @classmethod
    def of(cls, touches: Sequence[Record]) -> Compared:
        """Gather it."""
        number: dict[tuple, int] = {}
        return cls(
            np.array([print_of(one) for one in touches]),
            np.array([number.setdefault(rough(one.sound, one.after, one.amount, one.unit), len(number))
                      for one in touches]),
        )  # fmt: skip


def _apart(told: Compared, some: slice) -> np.ndarray:
    """Give how far some touches are from all of them, shape (some, all)."""
    apart = print_distances(told.prints, some)
    lacking = np.isnan(apart)
    if lacking.any():
        apart[lacking] = (told.words[some, None] != told.words)[lacking]
    return apart


def print_of(one: Record) -> list[float]:
    """Give a touch's fingerprint, dB, shape (SIZE,); of judges that stored none, nan."""
    return one.measures.get("change_db", [np.nan] * SIZE)


def print_distances(prints: np.ndarray, some: slice = slice(None)) -> np.ndarray:
    """Give how far fingerprints are from each other, 0 (alike) to 1; nan where one is nan.

    Parameters
    ----------
    prints : ndarray, shape (n, SIZE)
        dB.
    some : slice
        Those whose distances to all are wanted.

    Returns
    -------
    ndarray, shape (some, n)
    """
    lengths = np.sqrt(np.sum(prints**2, axis=1))
    least = 2.0 * LEAST_DB * np.sqrt(SIZE)
    apart = scipy.spatial.distance.cdist(prints[some], prints)
    return np.minimum(apart / np.maximum(lengths[some, None] + lengths, least), 1.0)


def rough(sound: str | None, after: str | None, amount: float | None, unit: str | None) -> tuple:
    """Give what the word and amount say of a sound: the word, the after, about how much.

    Touches of judges that stored no fingerprint are alike where this is.
    """
    if amount is None:
        return sound, after, None
    return sound, after, round(amount / unit_of(unit).alike)
