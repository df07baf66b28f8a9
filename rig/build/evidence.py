"""What the sweep has seen on each pair: the evidence that a control is chosen by."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from rig.build.series import TOLERANCE
from rig.choose.find import Find
from rig.choose.matching import finds_of, is_same
from rig.choose.picks import Pick
from rig.log import Record
from rig.log.between import parts
from rig.log.records import CONTROL, WAY
from rig.outcomes import is_crash, is_heard, is_stop


@dataclass(frozen=True)
class Trial:
    """One complete touch of a pair: over which path, what was heard, how the toy was after.

    Of several connections the path is the least one. `way` is "down" or "up" where it measures the
    pair; `change_db` is its fingerprint, empty where none is stored.
    """

    path_ohm: float
    sound: str
    after: str
    amount: float | None = None
    unit: str | None = None
    key: str = ""
    way: str = ""
    change_db: tuple[float, ...] = ()

    @property
    def stopped(self) -> bool:
        """Say whether the toy froze or the guard tripped."""
        return is_stop(self.after)

    @property
    def is_crash(self) -> bool:
        """Say whether it stopped the toy and let it sound on."""
        return is_crash(self.sound, self.after)

    @property
    def heard(self) -> bool:
        """Say whether the toy sounded changed, or ran on by itself, and lived."""
        return not self.stopped and is_heard(self.sound, self.after)


@dataclass(frozen=True)
class Evidence:
    """What a sweep knows of a pick's pair.

    Parameters
    ----------
    find : Find or None
        The sound that was kept, over its path, with its key; see `rig.choose.matching.find_of`.
    trials : sequence of Trial
        Every touch that counts, with any key: a stop is a stop.
    """

    find: Find | None = None
    trials: Sequence[Trial] = ()

    @property
    def stopped_ohm(self) -> float | None:
        """The highest path over which the toy was stopped, ohms."""
        return stopped_ohm(self.trials)

    @property
    def heard_ohm(self) -> list[float]:
        """The paths over which a control may play it, ascending, ohms.

        Those of the find's range; neither there nor over a higher path was the toy stopped. Empty
        where nothing counts as found.
        """
        above = self.stopped_ohm or 0.0
        return [one for one in self.find.heard_ohm if one > above] if self.find else []

    def kept_ohm(self, pick: Pick) -> float | None:
        """Give the path that was kept, ohms: of a pick without a resistance the best one.

        None where nothing was heard again over the pick's resistance: it's the person's own.
        """
        if self.find is None or self.find.best_path_ohm not in self.heard_ohm:
            return None
        if pick.at_ohm is None or is_same(pick.at_ohm, self.find.best_path_ohm):
            return self.find.best_path_ohm
        return None


    def crash(self, pick: Pick) -> Trial | None:
        """Give the touch of a crash that was kept: it stops the toy there, by wish, and sounds on.

        None for all else: a stop in silence, one that wasn't heard again over the pick's resistance, or
        where the guard opened over so much or more.
        """
        at_ohm = pick.at_ohm
        if at_ohm is None and self.find is not None and self.find.stops_only:
            at_ohm = self.find.best_path_ohm
        if at_ohm is None or any(is_same(at_ohm, one) for one in self.heard_ohm):
            return None
        here = [one for one in self.trials if is_same(one.path_ohm, at_ohm)]
        made = [one for one in here if one.is_crash]
        guarded = any(one.after == "guarded" and one.path_ohm >= at_ohm * (1 - TOLERANCE) for one in self.trials)
        return made[0] if len(made) >= max(2, len(here) / 2) and not guarded else None


Trials = Mapping[str, Sequence[Trial]]
"""By the name of the pair, or of the group, in the letters' order."""


def trials_by_pair(records: Iterable[Record]) -> dict[str, list[Trial]]:
    """Gather the touches of each pair, and of each group of pads, that count.

    Parameters
    ----------
    records : iterable of Record

    Returns
    -------
    dict
        Name, such as "C-F" or "A+B-C" -> trials in the order they were made.
    """
    records = list(records)
    told = parts(records)
    found: dict[str, list[Trial]] = {}
    for record in records:
        if not record.counts or record.path_ohm is None or record.sound is None:
            continue
        if record.kind == CONTROL and not record.stops and record.number not in told.measuring:
            continue  # the toy may not have been itself
        found.setdefault(record.target.in_order().name, []).append(
            Trial(record.path_ohm, record.sound, record.after or "answers", amount=record.amount,
                  unit=record.unit, key=record.key, way=record.facts.get(WAY, ""),
                  change_db=tuple(record.measures.get("change_db", ())))
        )  # fmt: skip
    return found


def evidence_for(
    picks: Sequence[Pick], records: Sequence[Record], false_discovery: float,
    found: Sequence[Find] | None = None, trials: Trials | None = None,
) -> list[Evidence]:
    """Give what the sweep knows of each pick.

    Parameters
    ----------
    picks : sequence of Pick
    records : sequence of Record
        Of the whole sweep; empty where there was none.
    false_discovery : float
        Share of false ones among the finds, 0 to 1.
    found, trials : optional
        What `finds` and `trials_by_pair` give of these records, where that is known.
    """
    trials = trials_by_pair(records) if trials is None else trials
    return [
        Evidence(find, trials.get(pick.pair, ()))
        for pick, find in zip(picks, finds_of(picks, records, false_discovery, found), strict=True)
    ]


def amounts(trials: Sequence[Trial], sound: str, unit: str | None) -> list[tuple[float, float]]:
    """Give the middle amount of one sound over each path, from the lowest path up.

    Returns
    -------
    list of (path_ohm, amount)
    """
    by_path: dict[float, list[float]] = {}
    for trial in trials:
        if trial.sound == sound and trial.unit == unit and trial.amount is not None:
            by_path.setdefault(trial.path_ohm, []).append(trial.amount)
    return [(path, median(values)) for path, values in sorted(by_path.items())]


def stop_over(trials: Sequence[Trial], ohm: float) -> float | None:
    """Give over how much the toy was stopped, where a part of so many ohms may do it too; else None."""
    stopped = stopped_ohm(trials)
    return stopped if stopped is not None and ohm * (1 - TOLERANCE) <= stopped else None


def stopped_ohm(trials: Sequence[Trial]) -> float | None:
    """Give the highest path over which the toy froze or the guard tripped, or None."""
    return max((one.path_ohm for one in trials if one.stopped), default=None)


A_LITTLE_LESS = 0.9
"""A part may have so much of a path below which the same wasn't heard, but the toy lived."""


def floor_ohm(low: float, trials: Sequence[Trial]) -> float:
    """Give below what no part may be, where the same wasn't heard over less.

    Where something less was tried and the toy lived, a part may be a little less, so that one is found
    near enough; where the next that was tried stopped the toy, or nothing was, it may not.

    Parameters
    ----------
    low : float
        The lowest path over which it was heard, ohms.
    trials : sequence of Trial
        Of the pair, with all keys.
    """
    stopped = stopped_ohm(trials) or 0.0
    alive = [one.path_ohm for one in trials if stopped < one.path_ohm < low * 0.98]
    return max(*alive, low * A_LITTLE_LESS) if alive else low


def crash_floor_ohm(kept: float, trials: Sequence[Trial]) -> float:
    """Give below what no part for a crash may be.

    The next lower path where that gave it too; a little less than its own where less was tried; where
    less wasn't, or tripped the guard, its own.

    Parameters
    ----------
    kept : float
        The path of the crash that was kept, ohms.
    trials : sequence of Trial
        Of the pair, with all keys.
    """
    lower = sorted((one for one in trials if one.path_ohm < kept * 0.98), key=lambda one: -one.path_ohm)
    if not lower or any(one.after == "guarded" for one in lower):
        return kept
    return lower[0].path_ohm if lower[0].is_crash else max(lower[0].path_ohm, kept * A_LITTLE_LESS)
