"""Going through the finds: which is shown, what is played, what was decided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rig.choose import keeping, picks
from rig.choose.rank import Find, finds
from rig.errors import ConfigError
from rig.log import Record, SweepLog
from rig.log.takes import take_path
from rig.pads import letters_of

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
        Those to go through, and all of them.
    """

    def __init__(
        self, found: Sequence[Find], log: SweepLog, folder: Path, again: bool = False
    ) -> None:
        self.log = log
        self.folder = Path(folder)
        decided = {one.pair for one in picks.load_picks(self.folder, set_aside=True)}
        self.found = [one for one in found if again or one.pair not in decided]
        self.all_found = list(found)
        self._at = 0

    @property
    def current(self) -> Find | None:
        """The find that is shown, or None behind the last."""
        return self.found[self._at] if self._at < len(self.found) else None

    @property
    def place(self) -> tuple[int, int]:
        """Which it is, from 1, and of how many."""
        return self._at + 1, len(self.found)

    def move(self, steps: int) -> None:
        """Go on or back, as far as there are finds; one beyond the last is the end."""
        self._at = min(max(0, self._at + steps), len(self.found))

    def keep(self, note: str | None = None) -> None:
        """Keep the find that is shown."""
        keeping.keep(self.folder, self._shown().pair, note)

    def set_aside(self) -> None:
        """Set the find that is shown aside."""
        keeping.set_aside(self.folder, self._shown().pair)

    def note(self, text: str) -> None:
        """Note something about the find that is shown, which keeps it."""
        self.keep(text)

    def undo(self) -> bool:
        """Take the decision about the find that is shown back; says if there was one."""
        return not self._shown().is_lone and keeping.remove(self.folder, self._shown().pair)

    def state(self, find: Find) -> str:
        """Say what was decided about a find: "kept", "set aside" or ""."""
        return decisions(self.folder).get(find.pair, "")

    def alike(self) -> list[Find]:
        """Give the others of the family of the find that is shown, decided ones too."""
        shown = self._shown()
        return [one for one in self.all_found if one.family == shown.family and one != shown]

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


def finds_of(
    chosen: Sequence[picks.Pick], records: Sequence[Record], false_discovery: float
) -> list[Find | None]:
    """Give what was found of each pick, with its own key where it names one."""
    found = {
        key: {one.pair: one for one in finds(records, false_discovery, key)}
        for key in {pick.key for pick in chosen}
    }
    return [found[pick.key].get(pick.pair) for pick in chosen]


def decisions(folder: Path) -> dict[str, str]:
    """Give "kept" or "set aside" for each pair in picks.yaml."""
    return {
        one.pair: "set aside" if one.set_aside else "kept"
        for one in picks.load_picks(folder, set_aside=True)
    }


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


def find_pair(found: Sequence[Find], text: str) -> Find:
    """Give the find of a pair that a person typed, or of one pad's lead alone.

    Raises
    ------
    ConfigError
        It isn't a pair, or nothing was found on it.
    """
    lone = [one for one in found if one.is_lone and one.pair == text.strip().upper()]
    if lone:
        return lone[0]
    wanted = picks.tidy_pair(text)
    for one in found:
        if one.pair == wanted:
            return one
    near = [one.pair for one in found if set(one.pads) & set(letters_of(wanted))]
    listed = f": found with these pads: {', '.join(near[:6])}" if near else ""
    raise ConfigError(f"nothing was found on {wanted}{listed}; see `padsweep replay --list`")
