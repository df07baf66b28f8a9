"""The shape of a change: few enough numbers to be stored with each judgement, so that touches
can be told alike without their takes."""

from __future__ import annotations

import itertools

import numpy as np

from rig.listen.judging.baseline import Aligned
from rig.listen.measures.features import BANDS, Frames
from rig.listen.measures.span import Span
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.judging

SIZE = (T.dwell_parts + 1) * T.band_groups
"""Numbers in a fingerprint."""


def fingerprint(
    take: Aligned, clean: Frames, clean_span: Span, floor_db: np.ndarray
) -> list[float]:
    """Give by how much a take differs from a clean one, over time and bands.

    Parameters
    ----------
    take : Aligned
        Laid over the clean take it began as.
    clean : Frames
        That take's frames.
    clean_span : Span
        Where its steps lie.
    floor_db : ndarray, shape (BANDS,)
        Levels below this count as this, dB re full scale.

    Returns
    -------
    list of float
        `SIZE` means of the bands' differences, dB, whole: each part of the time with its
        `band_groups` groups of bands, low to high. A part of no length has zeros.
    """
    span = take.span
    start = max(span.close, span.press + T.skip_frames)
    clean_start = clean_span.press + start - span.press
    length = max(0, min(len(take.frames) - start, len(clean) - clean_start))
    mine = np.maximum(take.frames.mel_db[start : start + length], floor_db)
    theirs = np.maximum(clean.mel_db[clean_start : clean_start + length], floor_db)
    groups = np.linspace(0, BANDS, T.band_groups + 1).round().astype(int)
    change = np.add.reduceat(mine - theirs, groups[:-1], axis=1) / np.diff(groups)
    dwell = min(max(0, span.open - start), length)
    cuts = [*np.linspace(0, dwell, T.dwell_parts + 1).round().astype(int), length]
    parts = [
        change[a:b].mean(axis=0) if b > a else np.zeros(T.band_groups)
        for a, b in itertools.pairwise(cuts)
    ]
    return [float(one) for one in np.concatenate(parts).round()]
