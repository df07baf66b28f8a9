"""What every pair of a simulated board really does, for tests and benchmarks only.

    python -m rig.bench.simulated.truth --seed 7 --pads 24

Each pair of nets is touched over the series values, keys and timings of the set-up, from
the highest value down to the first that freezes the toy, in several states of the toy's
own chance. Its noise-free sound is held against that of the same toy in the same state
with nothing bridged.

**The limit of audible**: third-octave bands from 100 Hz to 5 kHz in windows of 100 ms
every 50 ms, levels within 40 dB of the toy's own; a window differs where the root mean
square of the bands' differences is above 3 dB; a touch differs where two windows or more in
a row do. A pair is listed when at least half of the states show it at one series value;
`sometimes` lists those that fewer show, whose finding is a matter of luck.

**The limit of frozen**: after the touch and the longest phrase the key is pressed again,
and the toy gives, sample for sample, the sound it would have given without the press.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from rig.bench.simulated.board import make_board
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.folder import new_simulated_project
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.project import Project, touchable

LIMIT_DB = 3.0
RANGE_DB = 40.0
STATES = 4
SHARE = 0.5
_WINDOW = RATE_HZ // 10
_HOP = RATE_HZ // 20
_ANSWER_S = 0.5


@dataclass(frozen=True)
class Shown:
    """What one pair of nets did over one series value.

    Parameters
    ----------
    series_ohm : float
    differs, freezes : float
        Share of the states, 0 to 1.
    worst_db : tuple of float
        For each state, the difference that two windows in a row reach.
    """

    series_ohm: float
    differs: float
    freezes: float
    worst_db: tuple[float, ...]


def band_levels_db(sound: np.ndarray) -> np.ndarray:
    """Give third-octave levels, 100 Hz to 5 kHz, dB re full scale.

    Parameters
    ----------
    sound : ndarray, shape (n,), at 48 kHz

    Returns
    -------
    ndarray, shape (windows, 18)
    """
    count = max(0, (len(sound) - _WINDOW) // _HOP + 1)
    at = np.arange(count)[:, None] * _HOP + np.arange(_WINDOW)
    hann = np.hanning(_WINDOW)
    power = np.abs(np.fft.rfft(sound[at] * hann, axis=1)) ** 2
    power *= 2.0 / (np.sum(hann**2) * _WINDOW)
    centres = 1000.0 * 2.0 ** (np.arange(-10, 8) / 3.0)
    hz = np.fft.rfftfreq(_WINDOW, 1 / RATE_HZ)
    edges = np.searchsorted(hz, [*(centres * 2 ** (-1 / 6)), centres[-1] * 2 ** (1 / 6)])
    sums = np.concatenate((np.zeros((count, 1)), np.cumsum(power, axis=1)), axis=1)
    bands = sums[:, edges[1:]] - sums[:, edges[:-1]]
    return 10 * np.log10(np.maximum(bands, 1e-20))


def difference_db(
    reference: np.ndarray, sound: np.ndarray, levels: np.ndarray | None = None
) -> float:
    """Give the difference that two successive windows reach, dB; 0 where none.

    Parameters
    ----------
    reference, sound : ndarray, shape (n,), at 48 kHz, of the same moments
    levels : ndarray or None
        `band_levels_db(reference)`, where it is at hand.
    """
    if np.array_equal(reference, sound):
        return 0.0
    if levels is None:
        levels = band_levels_db(reference)
    floor_db = float(np.max(levels)) - RANGE_DB
    apart = np.maximum(band_levels_db(sound), floor_db) - np.maximum(levels, floor_db)
    window_db = np.sqrt(np.mean(apart**2, axis=1))
    return float(np.max(np.minimum(window_db[1:], window_db[:-1]), initial=0.0))


class Truth:
    """Plays every touch of a set-up on copies of one toy.

    Parameters
    ----------
    project : Project
        A simulated one.
    """

    def __init__(self, project: Project):
        self._project = project
        rig = project.rig
        self.board = make_board(rig.simulated.seed, rig.simulated.pads)
        self._timings = rig.timings
        self._keys = list(rig.sweep.keys or list(project.toy.keys)[:1])
        self._states = {key: self._make_states(key) for key in self._keys}

    def _make_states(self, key: str) -> list[tuple[SimulatedToy, np.ndarray, np.ndarray]]:
        toy = SimulatedToy(self.board, self._project.rig.simulated.seed)
        switch_on(toy)
        found = []
        for _ in range(STATES):
            start = toy.fork()
            reference = self._play(toy, key, [])
            found.append((start, reference, band_levels_db(reference)))
            toy.run(round((self.board.longest_phrase_s + 0.137) * RATE_HZ))
        return found

    def _play(self, toy: SimulatedToy, key: str, links: list[Link]) -> np.ndarray:
        """Make one touch on the toy; gives the sound from the closing on."""
        t = self._timings
        close = t.before_ms + t.lead_in_ms
        release = t.before_ms + self._project.toy.keys[key].press_ms
        opened = close + t.dwell_ms
        end = opened + t.tail_ms
        steps = sorted([
            (t.before_ms, 0, lambda: toy.keys({key})),
            (close, 1, lambda: toy.connect(links)),
            (min(release, end), 2, lambda: toy.keys(set())),
            (opened, 3, lambda: toy.connect([])),
        ], key=lambda step: step[:2])
        parts, now = [], 0
        for at, _, act in [*steps, (end, 4, lambda: None)]:
            parts.append(toy.run((at - now) * RATE_HZ // 1000))
            now = at
            act()
        return np.concatenate(parts)[close * RATE_HZ // 1000 :]

    def _is_frozen(self, toy: SimulatedToy, key: str) -> bool:
        toy.run(round(self.board.longest_phrase_s * RATE_HZ))
        other = toy.fork()
        other.keys({key})
        return np.array_equal(
            other.run(round(_ANSWER_S * RATE_HZ)), toy.run(round(_ANSWER_S * RATE_HZ))
        )

    def shown(self, pad_1: str, pad_2: str) -> Iterator[Shown]:
        """Touch a pair from the highest series value down to the first that freezes."""
        rig = self._project.rig
        for series_ohm in sorted(set(rig.series_ohm), reverse=True):
            if touchable(self._project, (pad_1,), (pad_2,), series_ohm) is not None:
                continue
            link = Link((pad_1,), (pad_2,), rig.lead_ohm, series_ohm, rig.switch_ohm)
            worst_db, frozen, touches = [], 0, 0
            for key in self._keys:
                for start, reference, levels in self._states[key]:
                    touches += 1
                    toy = start.fork()
                    sound = self._play(toy, key, [link])
                    worst_db.append(difference_db(reference, sound, levels))
                    if worst_db[-1] > 0:
                        frozen += self._is_frozen(toy, key)
            differs = sum(db > LIMIT_DB for db in worst_db) / touches
            yield Shown(series_ohm, differs, frozen / touches, tuple(worst_db))
            if frozen:
                return

    def pairs(self) -> dict[tuple[str, str], list[Shown]]:
        """Give what every pair of pads shows; pads of one net show the same."""
        net_of = self.board.net_of
        by_nets: dict[tuple[int, int], list[Shown]] = {}
        found = {}
        for pad_1, pad_2 in combinations(self.board.letters, 2):
            nets = tuple(sorted((net_of[pad_1], net_of[pad_2])))
            if nets[0] == nets[1]:
                found[pad_1, pad_2] = []
                continue
            if nets not in by_nets or pad_1 in self.board.rails or pad_2 in self.board.rails:
                by_nets[nets] = list(self.shown(pad_1, pad_2))
            found[pad_1, pad_2] = by_nets[nets]
        return found


def truth(project: Project) -> dict:
    """Give the lists of a set-up's bends and freezes.

    Returns
    -------
    dict
        `bends`, `freezes`: lists of [pad, pad]; `sometimes`: the same two for pairs that
        fewer than half of the states show; `limit`: the limit in words and numbers.
    """
    lists: dict[str, list] = {"bends": [], "freezes": []}
    some: dict[str, list] = {"bends": [], "freezes": []}
    for pair, shown in Truth(project).pairs().items():
        for word, shares in (
            ("bends", [s.differs for s in shown]),
            ("freezes", [s.freezes for s in shown]),
        ):
            most = max(shares, default=0.0)
            if most >= SHARE:
                lists[word].append(list(pair))
            elif most > 0:
                some[word].append(list(pair))
    limit = {
        "limit_db": LIMIT_DB, "range_db": RANGE_DB, "window_s": _WINDOW / RATE_HZ,
        "bands": "third octaves, 100 Hz to 5 kHz, root mean square of their differences",
        "states": STATES, "share": SHARE,
    }
    return {**lists, "sometimes": some, "limit": limit}


def main(arguments: list[str] | None = None) -> None:
    """Print the truth of a board as JSON."""
    parser = argparse.ArgumentParser(prog="python -m rig.bench.simulated.truth")
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--pads", type=int, default=24)
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        project = new_simulated_project(folder + "/toy", asked.seed, asked.pads)
    print(json.dumps(truth(project)))


if __name__ == "__main__":
    main()
