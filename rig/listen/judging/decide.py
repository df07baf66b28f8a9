"""The decision: is this take different from what the toy does anyway?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np

from rig.listen.describing.describe import describe
from rig.listen.describing.excerpts import Description, Take
from rig.listen.judgement import AS_FAR, AS_WITH_LEAD, BESIDE_LEAD, CALIBRATING, LIKE_KEY, Judgement
from rig.listen.judging.baseline import Baseline
from rig.listen.judging.calibrating import Calibration
from rig.listen.judging.fingerprint import fingerprint
from rig.listen.judging.kept import Kept
from rig.listen.judging.other_keys import Sounding, like_key, sounding
from rig.listen.judging.tail import Ranks
from rig.listen.measures.clipping import is_clipped, over_db, peak_dbfs
from rig.listen.measures.features import frames
from rig.listen.measures.span import Span
from rig.listen.thresholds import THRESHOLDS

DESCRIBING = THRESHOLDS.describing
JUDGING = THRESHOLDS.judging

JUDGE = THRESHOLDS.version
"""Version of the judge, stored with every judgement."""


class Ear:
    """Judges takes against the baseline of their key, and those of the toy with a lead on.

    Parameters
    ----------
    rate_hz : int
        Sample rate of all takes, Hz.
    """

    def __init__(self, rate_hz: int):
        self.rate_hz = rate_hz
        self._kept: dict[str, Kept] = {}
        self._baselines: dict[str, Baseline] = {}
        self._calibrations: dict[str, Calibration] = {}
        self._peak_dbfs: dict[str, float] = {}
        self._soundings: dict[str, Sounding] = {}

    def learn(self, key: str, samples: np.ndarray, span: Span) -> None:
        """Add a clean take (shape (n,), full scale 1.0) to a key's baseline."""
        self._kept.setdefault(key, Kept(self.rate_hz)).add(samples, span)
        self._baselines.pop(key, None)
        self._peak_dbfs[key] = max(self._peak_dbfs.get(key, -np.inf), peak_dbfs(samples))

    def learn_other(self, key: str, samples: np.ndarray, span: Span) -> None:
        """Take in what a key does, from its first press with nothing bridged; see `like_key`."""
        if key not in self._soundings and (found := sounding(samples, span, self.rate_hz)):
            self._soundings[key] = found

    def calibrate(self, key: str, samples: np.ndarray, span: Span) -> None:
        """Add a clean take that doesn't join the baseline, but shows how far the next one lies."""
        self._calibrations.setdefault(key, Calibration()).add(samples, span, self.baseline(key))

    def score_anew(self) -> None:
        """Hold all calibrating takes against their baselines as these are by now."""
        for key, calibration in self._calibrations.items():
            calibration.score_anew(self.baseline(key))

    def takes_learnt(self, key: str) -> int:
        """Count the clean takes of a key that it has learnt, kept or not."""
        return self._kept[key].learnt if key in self._kept else 0

    def peak_dbfs(self, key: str) -> float:
        """Give the highest peak of a key's clean takes, dB re full scale."""
        return self._peak_dbfs[key]

    def baseline(self, key: str) -> Baseline:
        """Give the baseline of a key, calibrated on its clean takes.

        Raises
        ------
        ValueError
            With fewer than three clean takes.
        """
        if key not in self._baselines:
            self._baselines[key] = Baseline(self._kept.get(key, Kept(self.rate_hz)))
        return self._baselines[key]

    def judge(
        self, key: str, samples: np.ndarray, span: Span, leads: Iterable[str] = ()
    ) -> Judgement:
        """Judge one take.

        A change is one from the toy alone, and from the toy with any one of the leads on of which
        that is known. Where there is such a lead it is told beside the nearest one, since a pair has
        its leads on all the while; its p value is that among the clean takes.

        Parameters
        ----------
        key : str
        samples : ndarray of float, shape (n,)
            The take, full scale 1.0.
        span : Span
            Where its steps lie.
        leads : iterable of str
            Pads whose leads were on; see `rig.touches.Target.leads`.

        Returns
        -------
        Judgement
            Sound "none" when it is indistinguishable from the baseline, or the difference
            is not audible; "lost" when the take is clipped.
        """
        if is_clipped(samples):
            return too_loud(samples)
        alone = self._beside(key, samples, span)
        if alone.sound == "none":
            return alone
        beside = {
            lead: self._beside(key, samples, span, lead) for lead in leads
            if self.takes_learnt(with_lead(key, lead)) >= JUDGING.least_takes
        }
        if not beside:
            return alone
        nearest = min(beside, key=lambda lead: (beside[lead].sound != "none", beside[lead].score))
        told = beside[nearest]
        if told.sound == "none":
            return _explained(alone, told, nearest)
        measures = told.measures | {BESIDE_LEAD: nearest}
        measures |= {name: alone.measures[name] for name in (CALIBRATING, AS_FAR)}
        return replace(told, p_value=alone.p_value, measures=measures)

    def _beside(
        self, key: str, samples: np.ndarray, span: Span, lead: str | None = None
    ) -> Judgement:
        """Hold a take against the toy alone, or with one lead on."""
        known_as = key if lead is None else with_lead(key, lead)
        baseline = self.baseline(known_as)
        aligned = baseline.align(samples, span)
        span = aligned.span
        distance = baseline.distance(aligned)
        calibration = self._calibrations.get(known_as, Calibration())
        ranks = Ranks(np.concatenate([baseline.apart_db, calibration.distances_db]))
        p_value = ranks.p_value(distance.both_db)
        score = distance.local_db / JUDGING.audible_db
        measures: dict[str, Any] = {
            "local_db": round(distance.local_db, 2),
            "mean_db": round(distance.mean_db, 2),
            CALIBRATING: len(calibration.takes),
            AS_FAR: calibration.as_far(distance.both_db),
        }
        nothing = Judgement("none", score=score, p_value=p_value, judge=JUDGE, measures=measures)
        usual = distance.both_db <= ranks.bar_db
        if usual or distance.local_db < JUDGING.pitch_audible_db:
            return nothing
        clean = baseline.takes[baseline.likeliest(aligned)]
        told = describe(
            self._taken(samples, span), self._taken(clean.samples, clean.span),
            baseline.noise_level_db, self.rate_hz, baseline.other_phrases(clean),
        )
        if not is_audible(distance.local_db, told):
            return nothing
        change_db = fingerprint(aligned, clean.frames, clean.span, baseline.floor_db)
        others = {other: one for other, one in self._soundings.items() if other != key}
        if like := like_key(others, aligned, baseline):
            measures[LIKE_KEY] = like
        return Judgement(
            told.sound, amount=told.amount, unit=told.unit,
            score=score, p_value=p_value, judge=JUDGE,
            measures=measures | {"change_db": change_db} | told.measures,
        )

    def _taken(self, samples: np.ndarray, span: Span) -> Take:
        return Take(samples, frames(samples, self.rate_hz), span)


def with_lead(key: str, lead: str) -> str:
    """Name what is heard with a key while one pad's lead is on, as an ear learns it."""
    return f"{key} with lead {lead}"


def _explained(alone: Judgement, with_it: Judgement, lead: str) -> Judgement:
    """Give the judgement of a take that differs from the clean ones by what one lead does alone."""
    facts = {name: value for name, value in alone.measures.items() if name in with_it.measures}
    return replace(with_it, measures=facts | {AS_WITH_LEAD: lead})


def is_audible(local_db: float, told: Description) -> bool:
    """Say whether a change is worth a control; a re-pitching that fits is with less than others."""
    fits = told.sound == "pitch" and told.measures.get("pitch_fit", 0.0) > DESCRIBING.least_fit
    return local_db >= (JUDGING.pitch_audible_db if fits else JUDGING.audible_db)


def lost(why: str, **measures: float) -> Judgement:
    """Give the judgement of a take that can't be judged, with the reason."""
    return Judgement("lost", score=0.0, judge=JUDGE, measures={"why": why} | measures)


def too_loud(samples: np.ndarray) -> Judgement:
    """Give the judgement of a take that is clipped, with how far; see `over_db`."""
    return lost("clipped", over_db=round(over_db(samples), 1))


def clean() -> Judgement:
    """Give the judgement of a take that is itself part of the baseline."""
    return Judgement("none", score=0.0, judge=JUDGE)
