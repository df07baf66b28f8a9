"""How many finds are chance, on paper: sweeps of a toy that is nothing but its distances.

    python tests/benchmarks/false_finds.py [--sweeps 10000] [--pairs 276] [--bends 0,30]
        [--toys still,drifting,moody] [--level 0.05] [--jobs 2]

A take is a point: one of three phrases, scattered by an amount that differs from take to take. A
bend moves it away, a fifth of the bends in every other touch only; every other pair does nothing.
As in a sweep the distance to the nearest clean take is judged, and what lies beyond all but a
twentieth of the clean ones is touched again. The toys:

    still      every touch is independent of every other
    drifting   the whole toy moves by a random walk, and wavers over some ten touches
    moody      drifting, and about once in 150 touches it is another toy for ten of them

and the rules:

    placed     three touches in batches, at least ten touches apart, each between two clean presses;
               three more where one or two were heard; held against clean presses that lie between
               such as well; Benjamini and Hochberg over the pairs that were touched again
    left out   up to three touches at once, until it is heard again; held against clean takes left
               out in turn, with an exponential tail; the procedure over all pairs

Printed are the mean share of false ones among the finds, in how many sweeps it is above 10 %, and the
share of the bends found. What it doesn't know: several paths and keys, freezes, and a toy that a
pair has left changed.
"""

from __future__ import annotations

import argparse
import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from scipy.signal import lfilter

from rig.listen.judging.tail import Tail
from rig.listen.statistics import Staged, q_values, staged_p_value

DIMENSIONS, PHRASES, PHRASES_APART = 6, 3, 12.0
TAKES, CHECK_EVERY, APART = 16, 60, 10
CONFIRMS, SECOND, CALIBRATED, TRIES = 3, 3, 24, 3
ONE_IN = 20
SOMETIMES, SOMETIMES_SHARE = 0.2, 0.5
MOOD_RATE, MOOD_TOUCHES, MOOD = 1 / 150, 10, 8.0
WALK, WAVER, WAVER_TOUCHES = 0.03, 0.7, 10
AHEAD = 1_500
"""Takes that are made at once."""


class Toy:
    """Gives takes, one after the other; more are made ahead where they are used up."""

    def __init__(self, kind: str, rng: np.random.Generator):
        self.kind, self.rng = kind, rng
        self.phrases = rng.normal(0.0, PHRASES_APART, (PHRASES, DIMENSIONS))
        self.walked, self.wavered = np.zeros(DIMENSIONS), np.zeros(DIMENSIONS)
        self.at = 0
        self.plain, self.mood = np.empty((0, DIMENSIONS)), np.empty((0, DIMENSIONS))

    def press(self, moved: np.ndarray | float = 0.0) -> np.ndarray:
        """Give the next take."""
        if self.at == len(self.plain):
            self.make_ahead()
        take = self.plain[self.at] + self.mood[self.at] + moved
        self.at += 1
        return take

    def bring_back(self) -> None:
        """End what has come over it."""
        self.mood[self.at : self.at + MOOD_TOUCHES] = 0.0

    def make_ahead(self) -> None:
        rng, size = self.rng, (AHEAD, DIMENSIONS)
        scatter = rng.normal(size=size) * np.exp(rng.normal(0.0, 0.4, (AHEAD, 1)))
        self.plain = self.phrases[rng.integers(PHRASES, size=AHEAD)] + scatter
        self.mood = np.zeros(size)
        self.at = 0
        if self.kind == "still":
            return
        keeps = np.exp(-1 / WAVER_TOUCHES)
        steps = rng.normal(0.0, WAVER * np.sqrt(1 - keeps**2), size)
        waver, _ = lfilter([1.0], [1.0, -keeps], steps, axis=0, zi=keeps * self.wavered[None])
        walk = self.walked + np.cumsum(rng.normal(0.0, WALK, size), axis=0)
        self.wavered, self.walked = waver[-1], walk[-1]
        self.plain += waver + walk
        if self.kind == "moody":
            for start in np.flatnonzero(rng.random(AHEAD) < MOOD_RATE):
                self.mood[start : start + MOOD_TOUCHES] = rng.normal(0.0, MOOD, DIMENSIONS)


def nearest(points: np.ndarray, clean: np.ndarray) -> np.ndarray:
    """Give the distance of each point to the nearest clean take."""
    return np.sqrt(((points[:, None] - clean[None]) ** 2).sum(axis=2).min(axis=1))


class Clean:
    """The clean takes, and how far each is from the nearest other one."""

    def __init__(self, toy: Toy):
        self.takes = np.array([toy.press() for _ in range(TAKES)])
        apart = np.sqrt(((self.takes[:, None] - self.takes[None]) ** 2).sum(axis=2))
        np.fill_diagonal(apart, np.inf)
        self.apart = apart.min(axis=1)

    @property
    def bar(self) -> float:
        """What lies beyond all of these distances but a twentieth."""
        return float(np.sort(self.apart)[-(len(self.apart) // ONE_IN) - 1])

    @property
    def farthest(self) -> float:
        return float(self.apart.max())

    def distance(self, take: np.ndarray) -> float:
        return float(nearest(take[None], self.takes)[0])

    def is_odd(self, take: np.ndarray) -> bool:
        return self.distance(take) > self.bar

    def join(self, take: np.ndarray) -> None:
        to = np.sqrt(((self.takes - take) ** 2).sum(axis=1))
        self.takes = np.vstack([self.takes, take])
        self.apart = np.append(np.minimum(self.apart, to), to.min())


@dataclass
class Waiting:
    """A pair that goes to confirming."""

    pair: int
    last: int
    takes: list[np.ndarray] = field(default_factory=list)
    heard: list[bool] = field(default_factory=list)
    was_void: bool = False

    @property
    def is_done(self) -> bool:
        first = sum(self.heard[:CONFIRMS])
        wants_second = 0 < first < CONFIRMS
        return len(self.takes) >= CONFIRMS + SECOND * wants_second


def order_of(toy: Toy, pairs: int, bends: int) -> list[tuple[int, np.ndarray, float]]:
    """Give each pair in a random order: by how much it moves the take, and in which share of them."""
    rng = toy.rng
    moves = np.zeros((pairs, DIMENSIONS))
    size = 6.0 * np.exp(rng.normal(0.5, 0.5, (bends, 1)))
    direction = rng.normal(size=(bends, DIMENSIONS))
    moves[:bends] = size * direction / np.linalg.norm(direction, axis=1, keepdims=True)
    share = np.where(rng.random(pairs) < SOMETIMES, SOMETIMES_SHARE, 1.0)
    return [(i, moves[i], share[i]) for i in rng.permutation(pairs)]


def touch(toy: Toy, move: np.ndarray, share: float) -> np.ndarray:
    return toy.press(move if toy.rng.random() < share else 0.0)


def placed(toy: Toy, pairs: int, bends: int, level: float) -> set[int]:
    """Sweep by the rule that holds; gives the pairs found."""
    clean, known, waiting = Clean(toy), [], []
    does = {i: (move, share) for i, move, share in order_of(toy, pairs, bends)}
    made = 0

    def guard() -> bool:
        """Press until the toy is itself, at most so often; good presses join the clean takes."""
        nonlocal made
        for tries in range(12):
            take = toy.press()
            made += 1
            odd = clean.is_odd(take)
            if not odd:
                clean.join(take)
                return tries == 0
            if tries == 2:  # it is brought back
                toy.bring_back()
        return False

    def between(take: np.ndarray) -> bool:
        """Count what was made behind a good press; says if the next press is good too."""
        nonlocal made
        made += 1
        return guard()

    def calibrate() -> None:
        take = toy.press()
        if between(take):
            known.append(take)

    def batch() -> None:
        due = [one for one in waiting if not one.is_done and made - one.last >= APART]
        if not due:
            return
        guard()
        calibrate()
        for one in due:
            take = touch(toy, *does[one.pair])
            one.last = made
            if between(take) or one.was_void:
                one.takes.append(take)
                one.heard.append(clean.is_odd(take))
            else:
                one.was_void = True

    since = 0
    for pair, (move, share) in does.items():
        take = touch(toy, move, share)
        made, since = made + 1, since + 1
        if clean.is_odd(take):
            waiting.append(Waiting(pair, made))
        if since >= CHECK_EVERY:
            batch()
            since = 0
    while any(not one.is_done for one in waiting) or (waiting and len(known) < CALIBRATED):
        before = made
        batch()
        if made == before or len(known) < CALIBRATED:
            guard()
            calibrate()
    if not waiting:
        return set()
    scores = np.sort(nearest(np.array(known), clean.takes))
    beyond = len(known) // ONE_IN
    p_values = []
    for one in waiting:
        is_heard = nearest(np.array(one.takes), clean.takes) > scores[-beyond - 1]
        heard = int(is_heard[:CONFIRMS].sum()), int(is_heard[CONFIRMS:].sum())
        stages = CONFIRMS, len(one.takes) - CONFIRMS
        p_values.append(staged_p_value([Staged(len(known), beyond, stages, heard)]))
    q = q_values(np.array(p_values))
    return {one.pair for one, its_q in zip(waiting, q, strict=True) if its_q <= level}


def by_leaving_out(toy: Toy, pairs: int, bends: int, level: float) -> set[int]:
    """Sweep by the rule that it replaces; gives the pairs found."""
    clean = Clean(toy)
    confirming: dict[int, list[np.ndarray]] = {}
    for n, (pair, move, share) in enumerate(order_of(toy, pairs, bends), 1):
        if clean.distance(touch(toy, move, share)) > clean.farthest:
            for _ in range(TRIES):
                take = touch(toy, move, share)
                confirming.setdefault(pair, []).append(take)
                if clean.distance(take) > clean.farthest:
                    break
        if n % CHECK_EVERY == 0:
            take = toy.press()
            if clean.distance(take) <= clean.farthest:
                clean.join(take)
    tail = Tail(clean.apart)
    p_values = np.ones(pairs)
    for pair, takes in confirming.items():
        p = [tail.p_value(one) for one in nearest(np.array(takes), clean.takes)]
        heard = [i * (i + 1) * one for i, one in enumerate(p, 1) if one <= tail.least_rank_p]
        p_values[pair] = min([1.0, *heard])
    return set(np.flatnonzero(q_values(p_values) <= level))


RULES = {"placed": placed, "left out": by_leaving_out}


def play(rule: str, kind: str, seeds: range, sizes: tuple[int, int], level: float) -> np.ndarray:
    """Sweep once a seed; gives (false, found, right) of each."""
    rows = []
    for seed in seeds:
        found = RULES[rule](Toy(kind, np.random.default_rng(seed)), *sizes, level)
        right = sum(pair < sizes[1] for pair in found)
        rows.append((len(found) - right, len(found), right))
    return np.array(rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sweeps", type=int, default=10_000)
    parser.add_argument("--pairs", type=int, default=276)
    parser.add_argument("--bends", default="0,30")
    parser.add_argument("--toys", default="still,drifting,moody")
    parser.add_argument("--level", type=float, default=0.05)
    parser.add_argument("--jobs", type=int, default=2)
    given = parser.parse_args()
    part = max(1, given.sweeps // (8 * given.jobs))
    seeds = [range(at, min(at + part, given.sweeps)) for at in range(0, given.sweeps, part)]
    print(f"{given.sweeps} sweeps of {given.pairs} pairs, held at {given.level:g}\n"
          "toy        bends  rule       false of finds  above 10 %  bends found")
    with ProcessPoolExecutor(given.jobs) as pool:
        for kind in given.toys.split(","):
            for bends in map(int, given.bends.split(",")):
                for rule in RULES:
                    jobs = [pool.submit(play, rule, kind, some, (given.pairs, bends), given.level)
                            for some in seeds]
                    false, found, right = np.vstack([one.result() for one in jobs]).T
                    share = false / np.maximum(found, 1)
                    recall = f"{right.sum() / (bends * len(right)):11.3f}" if bends else 10 * " " + "-"
                    print(f"{kind:10} {bends:5}  {rule:10} {share.mean():14.4f}  "
                          f"{np.mean(share > 0.1):10.4f}  {recall}", flush=True)


if __name__ == "__main__":
    main()
