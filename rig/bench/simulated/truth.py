"""What every pair of a simulated board really does, for tests and benchmarks only.

    python -m rig.bench.simulated.truth --seed 7 --pads 24 [--kind talker|keyboard|sampler]
        [--drivers real]
    python -m rig.bench.simulated.truth --board FILE

Each pair of nets is touched over the series values, keys and timings of the set-up, from
the highest value down to the first that freezes the toy or trips the guard, in several states
of the toy's own chance. Its noise-free sound is held against that of the same toy in the same
state with nothing bridged; where a pad's node feels a lead, also against that of the toy with this
lead alone closed: the nearer one counts, and what was done is told beside the lead's. What such
leads do alone stands apart, as `alone`.

**The limit of audible**: a window of `difference` differs above 3 dB; a touch differs where
two windows or more in a row do. A pair is listed when at least half of the states show it at
one series value; `sometimes` lists those that fewer show, whose finding is a matter of luck.

**The limit of frozen**: after the touch and the longest phrase the key is pressed again,
and the toy gives, sample for sample, the sound it would have given without the press. A toy
with habits is asked several times, each time from quiet where it comes to that, and misses none
of these presses (`asking.py`).

**The closing** comes `lead_in_ms` after the press where a toy answers at once. One with habits is
pressed from quiet until it notices, and its pads close `lead_in_ms` after it begins to sound.

**Trips**: the guard of the supply current cuts everything, or the rail falls so low that
the chips stand still or start anew.

**Runs on**: after the touch and the longest phrase it still sounds where it would have been
quiet, and isn't frozen.

`pairs` says of every pair that shows anything: the smallest and largest path over which it
does, by how much and in what way the sound differs most, and in what share of the states.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np

from rig.bench.simulated.asking import (
    ANSWER_S,
    answers,
    begin_sounding,
    press_or_not,
    wait_for_quiet,
)
from rig.bench.simulated.board import KINDS, Board
from rig.bench.simulated.circuit import Drive, Link
from rig.bench.simulated.difference import (
    HOP,
    LIMIT_DB,
    RANGE_DB,
    WINDOW,
    band_levels_db,
    change,
    difference_db,
)
from rig.bench.simulated.drivers import REAL
from rig.bench.simulated.folder import new_simulated_project, project_board, simulated_part
from rig.bench.simulated.shown import Shown, facts
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.supply import Guard
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.errors import RigError
from rig.project import Project, touchable

STATES = 4
SHARE = 0.5
_QUIET_RMS = 1e-3
_PER_MS = RATE_HZ // 1000


@dataclass(frozen=True)
class _State:
    """A toy at the closing of a touch, for how long its key is held on, ms, and what it gives
    untouched: sound, its levels, quiet after it."""

    toy: SimulatedToy
    held_ms: int
    reference: np.ndarray
    levels: np.ndarray
    rest_rms: float


@dataclass(frozen=True)
class _Sound:
    """A sound that others are held against, and its levels."""

    samples: np.ndarray
    levels: np.ndarray


class Truth:
    """Plays every touch of a set-up on copies of one toy.

    Parameters
    ----------
    project : Project
        A simulated one.
    board : Board or None
        In place of the project's own; its pads must be those of the project's toy.
    states : int
        In how many states of the toy each touch is made.
    guard : bool
        Whether the rig's guard watches; on its own cells a toy has none.
    """

    def __init__(
        self, project: Project, board: Board | None = None, states: int = STATES,
        guard: bool = True,
    ):
        self.project = project
        self._count, self._guarded = states, guard
        rig = project.rig
        self.board = board or project_board(project)
        self._timings = rig.timings
        self._keys = list(rig.sweep.keys or list(project.toy.keys)[:1])
        self._states = {key: self._make_states(key) for key in self._keys}
        self._with_lead: dict[int, list[_Sound]] = {}

    def _make_states(self, key: str) -> list[_State]:
        rig = self.project.rig
        guard = Guard.of(rig.guard) if self._guarded else None
        toy = SimulatedToy(self.board, simulated_part(self.project).seed, guard)
        toy.notice_all()
        switch_on(toy)
        found = []
        for _ in range(self._count):
            held_ms = self._press(toy, key)
            start = toy.fork()
            reference = self._touch(toy, held_ms, [])
            rest = toy.fork()
            rest.run(round(self.board.longest_phrase_s * RATE_HZ))
            rest_rms = _rms(rest.run(round(ANSWER_S * RATE_HZ)))
            found.append(_State(start, held_ms, reference, band_levels_db(reference), rest_rms))
            toy.run(round((self.board.longest_phrase_s + 0.137) * RATE_HZ))
        return found

    def _press(self, toy: SimulatedToy, key: str) -> int:
        """Begin a touch on the toy, up to its closing; gives how long the key is held on, ms."""
        t = self._timings
        press_ms = self.project.toy.keys[key].press_ms
        toy.run(t.before_ms * _PER_MS)
        if not self.board.habits.is_plain:
            wait_for_quiet(toy, self.board.longest_phrase_s)
            past_ms = begin_sounding(toy, key, press_ms, self.board.longest_phrase_s)
            if 0 <= press_ms - past_ms < t.lead_in_ms:
                toy.run((press_ms - past_ms) * _PER_MS)
                toy.keys(set())
                toy.run((t.lead_in_ms - press_ms + past_ms) * _PER_MS)
            else:
                toy.run(t.lead_in_ms * _PER_MS)
            return max(0, press_ms - past_ms - t.lead_in_ms)
        toy.keys({key})
        toy.run(min(press_ms, t.lead_in_ms) * _PER_MS)
        if press_ms <= t.lead_in_ms:
            toy.keys(set())
            toy.run((t.lead_in_ms - press_ms) * _PER_MS)
        return max(0, press_ms - t.lead_in_ms)

    def _touch(self, toy: SimulatedToy, held_ms: int, links: list[Link]) -> np.ndarray:
        """Close, open and wait out the tail; gives the sound from the closing on."""
        t = self._timings
        end_ms = t.dwell_ms + t.tail_ms
        release_ms = min(held_ms, end_ms)
        steps = [(t.dwell_ms, lambda: toy.connect([])), (end_ms, lambda: None)]
        if release_ms > 0:
            steps.append((release_ms, lambda: toy.keys(set())))
        toy.connect(links)
        parts, now = [], 0
        for at, act in sorted(steps, key=lambda step: step[0]):
            parts.append(toy.run((at - now) * _PER_MS))
            now = at
            act()
        return np.concatenate(parts)

    def _afterwards(self, toy: SimulatedToy, key: str, rest_rms: float) -> str:
        """Say whether the toy answers, runs on, is frozen, or was cut off by the guard."""
        toy.run(round(self.board.longest_phrase_s * RATE_HZ))
        if toy.tripped:
            return "guarded"
        if not self.board.habits.is_plain:
            if not answers(toy, key, self.board.longest_phrase_s):
                return "freeze"
            still = toy.run(round(ANSWER_S * RATE_HZ))
        else:
            pressed, still = press_or_not(toy, key)
            if np.array_equal(pressed, still):
                return "freeze"
        return "runs on" if _rms(still) > 2 * rest_rms + _QUIET_RMS else "answers"

    def shown(self, pad_1: str, pad_2: str) -> Iterator[Shown]:
        """Touch a pair from the highest series value down to the first that freezes.

        Nothing is given where the pair changes no sample over any path.
        """
        rig = self.project.rig
        links = [
            self.link(pad_1, pad_2, series_ohm)
            for series_ohm in sorted(set(rig.swept_ohm), reverse=True)
            if touchable(self.project, (pad_1,), (pad_2,), series_ohm) is None
        ]
        yield from self.over(pad_1, pad_2, links)

    def over(self, pad_1: str, pad_2: str, links: list[Link]) -> Iterator[Shown]:
        """Touch a pair over paths of any kind, the highest first, down to the first that freezes."""
        if not links or self._does_nothing(links[-1]):
            return
        with_leads = [self._heard_with(pad) for pad in (pad_1, pad_2) if self._feels(pad)]
        for link in links:
            whole_ohm = 2 * link.lead_ohm + 2 * link.switch_ohm + link.series_ohm
            shown = self._shown([link], whole_ohm, with_leads)
            yield shown
            if shown.freezes or shown.guarded:
                return

    def alone(self) -> dict[str, Shown]:
        """Give what each pad's lead does that is closed with nothing on the other bus."""
        series_ohm = min(self.project.rig.swept_ohm)
        known: dict[int, Shown] = {}
        found = {}
        for pad in self.board.letters:
            if not self._feels(pad) or touchable(self.project, (pad,), (), series_ohm) is not None:
                continue
            net = self.board.net_of[pad]
            if net not in known:
                known[net] = self._shown([self.link(pad, None, series_ohm)], None, [])
            found[pad] = known[net]
        return found

    def link(self, pad: str, other: str | None, series_ohm: float) -> Link:
        """Give a pair's closure over the rig's own leads, or that of one pad's lead alone."""
        rig = self.project.rig
        others = () if other is None else (other,)
        return Link((pad,), others, rig.lead_ohm, series_ohm, rig.switch_ohm)

    def _shown(
        self, links: list[Link], path_ohm: float | None, with_leads: list[list[_Sound]]
    ) -> Shown:
        """Touch in every state; `with_leads` are the sounds of leads alone, state by state."""
        worst_db: list[float] = []
        changes: Counter[str] = Counter()
        afterwards: Counter[str] = Counter()
        closed_s = self._timings.dwell_ms / 1000
        states = [(key, state) for key in self._keys for state in self._states[key]]
        for number, (key, state) in enumerate(states):
            toy = state.toy.fork()
            toy.brown_outs = 0
            sound = self._touch(toy, state.held_ms, links)
            if np.array_equal(sound, state.reference):
                worst_db.append(0.0)
                continue
            other = band_levels_db(sound)
            clean = _Sound(state.reference, state.levels)
            apart_db = [
                (difference_db(one.levels, other), one)
                for one in (clean, *(heard[number] for heard in with_leads))
            ]
            worst_db.append(min(db for db, _ in apart_db))
            if worst_db[-1] > LIMIT_DB:
                nearest = min(apart_db[1:] or apart_db, key=lambda pair: pair[0])[1]
                around = nearest.samples, sound, closed_s, nearest.levels, other
                changes[change(*around)] += 1
            if apart_db[0][0] > 0:
                afterwards[self._afterwards(toy, key, state.rest_rms)] += 1
                afterwards["browns out"] += toy.brown_outs > 0
        touches = len(worst_db)
        return Shown(
            series_ohm=links[0].series_ohm,
            path_ohm=path_ohm,
            differs=sum(changes.values()) / touches,
            freezes=afterwards["freeze"] / touches,
            runs_on=afterwards["runs on"] / touches,
            guarded=afterwards["guarded"] / touches,
            browns_out=afterwards["browns out"] / touches,
            worst_db=tuple(worst_db),
            change=changes.most_common(1)[0][0] if changes else "",
        )

    def _feels(self, pad: str) -> bool:
        return self._feels_leads([self.board.net_of[pad]])

    def _heard_with(self, pad: str) -> list[_Sound]:
        """Give what the toy sounds like with one pad's lead alone closed, for each key and state."""
        net = self.board.net_of[pad]
        if net not in self._with_lead:
            link = self.link(pad, None, min(self.project.rig.swept_ohm))
            sounds = [
                self._touch(state.toy.fork(), state.held_ms, [link])
                for key in self._keys for state in self._states[key]
            ]
            self._with_lead[net] = [_Sound(one, band_levels_db(one)) for one in sounds]
        return self._with_lead[net]

    def fitted(self, *joined: tuple[str, str, float]) -> Shown:
        """Give what controls do that are on at once, each two pads joined through so many ohms."""
        return self._shown(_resistors(joined), None, [])

    def fitted_sounds(self, *joined: tuple[str, str, float]) -> list[tuple[np.ndarray, np.ndarray]]:
        """Give the toy's own sound, and that with controls on, for each key and state of the toy.

        Returns
        -------
        list of (ndarray, ndarray), shape (n,) each, at 48 kHz, from the closing on
        """
        return [
            (state.reference, self._touch(state.toy.fork(), state.held_ms, _resistors(joined)))
            for key in self._keys for state in self._states[key]
        ]

    def levels_db(self, pad_1: str, pad_2: str, series_ohm: float) -> list[np.ndarray]:
        """Give what a touch of a pair sounds like, for each key and state of the toy.

        Returns
        -------
        list of ndarray, shape (windows, bands)
            Third-octave levels as `band_levels_db` has them, none below the range of the toy's own.
        """
        link = self.link(pad_1, pad_2, series_ohm)
        return [
            np.maximum(
                band_levels_db(self._touch(state.toy.fork(), state.held_ms, [link])),
                np.max(state.levels) - RANGE_DB,
            )
            for key in self._keys
            for state in self._states[key]
        ]

    def _does_nothing(self, link: Link) -> bool:
        """Whether a link leaves every sample as it was.

        The lower a bridge, the further it moves every level, and always the same way (level =
        a + b / (R + c) in a network of resistors): what the lowest path leaves alone, no
        higher one changes.
        """
        for key in self._keys:
            for state in self._states[key]:
                toy = state.toy.fork()
                if not np.array_equal(self._touch(toy, state.held_ms, [link]), state.reference):
                    return False
                if toy.tripped:
                    return False
        return True

    def _leads_nowhere(self, net: int) -> bool:
        """Whether a net is a bare piece of track: nothing flows to it, and nothing reads it."""
        board = self.board
        joined = [
            *board.circuit.resistors, *board.always, *board.fitted, *board.contacts.values()
        ]  # fmt: skip
        return (
            board.nets[net].drive == Drive()
            and board.nets[net].role.startswith("nc")
            and net not in board.circuit.fixed
            and not any(net in ends[:2] for ends in joined)
        )

    def _feels_leads(self, nets: Collection[int]) -> bool:
        return self.board.clock.lead_farad > 0 and self.board.roles.get("osc") in nets

    def pairs(self) -> dict[tuple[str, str], list[Shown]]:
        """Give what every pair of pads shows; those of one net and kind show the same."""
        net_of = self.board.net_of
        known: dict[tuple, list[Shown]] = {}
        found: dict[tuple[str, str], list[Shown]] = {}
        for pad_1, pad_2 in combinations(self.board.letters, 2):
            nets = tuple(sorted((net_of[pad_1], net_of[pad_2])))
            if nets[0] == nets[1]:
                found[pad_1, pad_2] = []
                continue
            if any(map(self._leads_nowhere, nets)) and not self._feels_leads(nets):
                found[pad_1, pad_2] = []
                continue
            # pads said to be rail or clock are spared the low paths that others of their net get
            ends = tuple(sorted((net_of[p], self.project.toy.pads[p].kind) for p in (pad_1, pad_2)))
            if ends not in known:
                known[ends] = list(self.shown(pad_1, pad_2))
            found[pad_1, pad_2] = known[ends]
        return found


def _resistors(joined: Collection[tuple[str, str, float]]) -> list[Link]:
    return [Link((one,), (other,), ohm / 2, 0.0, 0.0) for one, other, ohm in joined]


def _rms(sound: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(sound, dtype=float))))


def truth(project: Project, board: Board | None = None) -> dict:
    """Give the lists of a set-up's bends and freezes.

    Returns
    -------
    dict
        `bends`, `freezes`: lists of [pad, pad]; `sometimes`: the same two for pairs that
        fewer than half of the states show; `pairs`: `facts` of each pair that shows any, with
        its `pads`; `alone`: the same of each pad whose lead does so by itself; `limit`: the limit in
        words and numbers.
    """
    lists: dict[str, list] = {"bends": [], "freezes": []}
    some: dict[str, list] = {"bends": [], "freezes": []}
    pairs = []
    played = Truth(project, board)
    for pair, shown in played.pairs().items():
        found = facts(shown)
        if found is None:
            continue
        pairs.append({"pads": list(pair), **found})
        for word in ("bends", "freezes"):
            if found[word] > 0:
                (lists if found[word] >= SHARE else some)[word].append(list(pair))
    alone = [
        {"pads": [pad], **found}
        for pad, one in played.alone().items() if (found := facts([one])) is not None
    ]
    limit = {
        "limit_db": LIMIT_DB, "range_db": RANGE_DB, "window_s": WINDOW / RATE_HZ,
        "hop_s": HOP / RATE_HZ,
        "bands": "third octaves, 100 Hz to 5 kHz, root mean square of their differences",
        "states": STATES, "share": SHARE,
    }  # fmt: skip
    return {**lists, "sometimes": some, "pairs": pairs, "alone": alone, "limit": limit}


def main(arguments: list[str] | None = None) -> None:
    """Print the truth of a board as JSON."""
    parser = argparse.ArgumentParser(prog="python -m rig.bench.simulated.truth")
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--seed", type=int)
    what.add_argument("--board", type=Path, metavar="FILE", help="a board file")
    parser.add_argument("--pads", type=int, default=24)
    parser.add_argument("--kind", choices=list(KINDS), default="talker")
    parser.add_argument("--drivers", choices=[REAL], help="lines as strong as chips drive them")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        of_seed = (asked.seed or 0, asked.pads, asked.kind)
        try:
            project = new_simulated_project(
                folder + "/toy", *of_seed, board=asked.board, drivers=asked.drivers
            )
            print(json.dumps(truth(project)))
        except RigError as error:
            parser.exit(1, f"{error}\n")


if __name__ == "__main__":
    main()
