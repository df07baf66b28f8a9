"""Going through the finds: which is shown, what is played, what was decided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rig.choose import keeping, picks
from rig.choose.find import Find, over
from rig.choose.matching import decision, entry_of, find_of, is_same
from rig.choose.taste import by_taste
from rig.errors import ConfigError
from rig.log import SweepLog
from rig.log.takes import take_path

GAP_S = 0.35
"""Silence between the baseline and the bend."""


@dataclass(frozen=True)
class Sample:
    """Something to listen to: what it is, where it is, and its sound.

    Parameters
    ----------
    what : str
        "baseline" or "bend".
    path : Path
    samples : ndarray of float32, shape (n,)
        Full scale 1.0.
    rate_hz : int
    """

    what: str
    path: Path
    samples: np.ndarray
    rate_hz: int


class Session:
    """A person going through ranked finds.

    Parameters
    ----------
    found : sequence of Find
    log : SweepLog
        The log they were found in.
    folder : Path
        The project folder, where picks.yaml is.
    again : bool
        Also show those already kept or set aside.

    Attributes
    ----------
    found, all_found : list of Find
        Those to go through, in the order of the person's taste, and all of them.
    """

    def __init__(
        self, found: Sequence[Find], log: SweepLog, folder: Path, again: bool = False
    ) -> None:
        self.log = log
        self.folder = Path(folder)
        self.all_found = list(found)
        entries = picks.load_picks(self.folder, set_aside=True)
        self.found = [one for one in by_taste(found, entries)
                      if again or decision(entries, found, one) is None]  # fmt: skip
        self._at = 0
        self._along: Find | None = None

    @property
    def current(self) -> Find | None:
        """The find that is shown, over the path that is shown, or None behind the last."""
        if self._along is not None:
            return self._along
        return self.found[self._at] if self._at < len(self.found) else None

    @property
    def place(self) -> tuple[int, int]:
        """Which it is, from 1, and of how many."""
        return self._at + 1, len(self.found)

    @property
    def is_once(self) -> bool:
        """Say whether what is shown was heard too seldom over this path to count."""
        return self._shown().best_path_ohm in self._shown().seen_once_ohm

    @property
    def is_along(self) -> bool:
        """Say whether another path than a find's best is shown."""
        return self._along is not None

    def move(self, steps: int) -> None:
        """Go on or back, as far as there are finds; one beyond the last is the end."""
        self._along = None
        self._at = min(max(0, self._at + steps), len(self.found))

    def step(self, steps: int) -> bool:
        """Go up or down through what the pair does over other paths, with the same key.

        Returns
        -------
        bool
            Whether there is one; else what is shown stays.
        """
        shown = self._shown()
        heard = sorted(
            ((one.path_ohm, find, one) for find in self.all_found
             if (find.pair, find.key) == (shown.pair, shown.key)
             for one in find.along if one.path_ohm is not None),
            key=lambda told: told[0],
        )  # fmt: skip
        at = next((n for n, (ohm, *_) in enumerate(heard) if ohm == shown.best_path_ohm), None)
        if at is None or not 0 <= at + steps < len(heard):
            return False
        _, find, one = heard[at + steps]
        self._along = over(find, one)
        return True

    def keep(self, note: str | None = None) -> None:
        """Keep what is shown."""
        keep_find(self.folder, self.all_found, self._shown(), note, exact=self.is_along)

    def set_aside(self) -> None:
        """Set what is shown aside."""
        set_find_aside(self.folder, self.all_found, self._shown(), exact=self.is_along)

    def note(self, text: str) -> None:
        """Note something about what is shown, which keeps it."""
        self.keep(text)

    def undo(self) -> bool:
        """Take the decision about what is shown back; says if there was one."""
        shown = self._shown()
        return not shown.is_lone and undo_find(
            self.folder, self.all_found, shown, exact=self.is_along)

    def state(self, find: Find) -> str:
        """Say what was decided about a find: "kept", "set aside" or ""."""
        return decided(picks.load_picks(self.folder, set_aside=True), self.all_found, find)

    def alike(self) -> list[Find]:
        """Give the others of the family of the find that is shown, decided ones too."""
        shown = self._shown()
        return [one for one in self.all_found
                if one.family == shown.family and one.place != shown.place]  # fmt: skip

    def baseline(self) -> Sample | None:
        """Give the baseline that the find is compared with, if one was recorded."""
        number = self._shown().baseline_touch
        return None if number is None else sample_of(self.log, "baseline", number)

    def bend(self) -> Sample:
        """Give the take of the find that is shown."""
        return sample_of(self.log, "bend", self._shown().best_touch)

    def paths(self) -> list[tuple[str, Path]]:
        """Give what there is to listen to, and in which file, without reading it."""
        return listening_paths(self._shown(), self.log.folder)

    def _shown(self) -> Find:
        if self.current is None:
            raise ConfigError("no find is shown")
        return self.current


def sample_of(log: SweepLog, what: str, number: int) -> Sample:
    """Read a touch's take as a sample to listen to. Raises `LogError` as `read_take` does."""
    samples, rate_hz = log.read_take(number)
    return Sample(what, log.folder / take_path(number), samples, rate_hz)


def keep_find(
    folder: Path, found: Sequence[Find], find: Find, note: str | None = None, exact: bool = False
) -> None:
    """Keep a find as it is shown: its pair, resistance and key.

    One that is kept already stays as it's written, with a value of the person's own too.

    Parameters
    ----------
    folder : Path
        The project folder.
    found : sequence of Find
        All of the sweep.
    find : Find
    note : str, optional
    exact : bool
        The resistance was asked for: an entry with another value won't do.
    """
    entry = entry_of(picks.load_picks(folder, set_aside=True), found, find, exact=True)
    at_ohm, key = spot_of(find)
    if exact and entry and entry.at_ohm and at_ohm and not is_same(entry.at_ohm, at_ohm):
        entry = None
    keeping.keep(folder, find.pair, note, at_ohm=at_ohm, key=key, entry=entry)


def set_find_aside(
    folder: Path, found: Sequence[Find], find: Find, exact: bool = False
) -> None:
    """Set a find aside: its entry, whichever resistance that has; with `exact` only the one shown."""
    entry = entry_of(picks.load_picks(folder, set_aside=True), found, find, exact)
    at_ohm, key = spot_of(find)
    keeping.set_aside(folder, find.pair, at_ohm=at_ohm, key=key, entry=entry)


def undo_find(folder: Path, found: Sequence[Find], find: Find, exact: bool = False) -> bool:
    """Take out the entry about a find, as for `set_find_aside`; says if there was one."""
    entry = entry_of(picks.load_picks(folder, set_aside=True), found, find, exact)
    return entry is not None and keeping.remove(folder, find.pair, entry)


def set_pair_aside(folder: Path, found: Sequence[Find], pair: str) -> None:
    """Set all sounds of a pair aside."""
    keeping.set_aside(folder, pair)
    entries = picks.load_picks(folder, set_aside=True)
    if any(one.pair == pair and entry_of(entries, found, one) is None for one in found):
        keeping.set_aside(folder, pair, others=True)


def spot_of(find: Find) -> tuple[float | None, str | None]:
    """Give a find's resistance and key as they are kept: of one that only stops the toy, neither."""
    if find.stops_only or find.best_path_ohm is None:
        return None, None
    within = min(max(find.best_path_ohm, picks.AT_LEAST_OHM), picks.AT_MOST_OHM)
    return float(f"{within:.3g}"), find.key


def decided(entries: Sequence[picks.Pick], found: Sequence[Find], find: Find) -> str:
    """Say what was decided about a find: "kept", "set aside" or "".

    Where another resistance or sound of its pair is kept it says which: "kept as S-W 3.6k".
    """
    made = decision(entries, found, find)
    if made is None:
        return ""
    entry, _ = made
    if entry.set_aside:
        return "set aside"
    built = find_of(entry, found)
    if built is None or (built.place, built.best_path_ohm) == (find.place, find.best_path_ohm):
        return "kept"
    return f"kept as {built.label}"


def listening_paths(find: Find, sweep_folder: Path) -> list[tuple[str, Path]]:
    """Give the files of a find's baseline (if any) and of its bend."""
    found = []
    if find.baseline_touch is not None:
        found.append(("baseline", sweep_folder / take_path(find.baseline_touch)))
    found.append(("bend", sweep_folder / take_path(find.best_touch)))
    return found


def one_after_the_other(samples: Sequence[Sample]) -> tuple[np.ndarray, int]:
    """Join samples with a gap between them, for playing in one go.

    Returns
    -------
    samples : ndarray of float32, shape (n,)
    rate_hz : int
        Of the first; a log has one rate.
    """
    rate_hz = samples[0].rate_hz
    gap = np.zeros(int(GAP_S * rate_hz), np.float32)
    pieces: list[np.ndarray] = []
    for one in samples:
        pieces += [one.samples, gap]
    return np.concatenate(pieces[:-1]), rate_hz
