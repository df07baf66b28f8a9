"""The toy's key contacts, between the fingers (or relays) on them and the chips that read them."""

from __future__ import annotations

import copy
from collections.abc import Collection

import numpy as np

from rig.bench.simulated.parts import Board
from rig.bench.simulated.sound import RATE_HZ

_PER_MS = RATE_HZ / 1000


class Contacts:
    """Presses as they reach the chips: bouncing, late, and some of them not at all.

    Parameters
    ----------
    board : Board
    seed : int
        Of the contacts' own chance.

    Attributes
    ----------
    reached : frozenset of str
        Keys that are down for the chips.
    """

    def __init__(self, board: Board, seed: int):
        habits = self._habits = board.habits
        self._bounce_chance = seed & 0xFFFFFFFF
        # neighbouring seeds, and other kinds of one seed, miss other presses
        rng = np.random.Generator(np.random.PCG64([seed, 0xF1A6, *board.kind.encode()]))
        self._chance = int(rng.integers(1 << 32))
        self._misses = habits.misses
        self._fingers: frozenset[str] = frozenset()
        self._missed: frozenset[str] = frozenset()
        self._late: tuple[tuple[int, frozenset[str]], ...] = ()
        self._late_by = 0
        self._bounces: tuple[tuple[int, frozenset[str]], ...] = ()
        self.reached: frozenset[str] = frozenset()

    def fork(self) -> Contacts:
        """Copy them with all their state."""
        return copy.copy(self)

    def notice_all(self) -> None:
        """Miss no press from now on."""
        self._misses = 0.0

    def press(self, keys: Collection[str], now: int) -> None:
        """Replace the set of keys that fingers hold down.

        Parameters
        ----------
        now : int
            The toy's sample.
        """
        down = frozenset(keys)
        fresh = down - self._fingers
        self._fingers = down
        if self._misses:
            self._missed &= down
            if fresh and self._drawn() < self._misses:
                self._missed |= fresh
        least_ms, most_ms = self._habits.answer_ms
        if not most_ms:
            self._reach(down - self._missed, now)
            return
        if fresh:
            share = self._drawn() if most_ms > least_ms else 0.0
            self._late_by = round((least_ms + share * (most_ms - least_ms)) * _PER_MS)
        # one that is drawn sooner doesn't overtake
        at = max(now + max(1, self._late_by), self._late[-1][0] if self._late else 0)
        self._late = (*self._late, (at, down - self._missed))

    def _drawn(self) -> float:
        self._chance = self._chance * 1664525 + 1013904223 & 0xFFFFFFFF
        return (self._chance >> 8) / (1 << 24)

    def _reach(self, after: frozenset[str], now: int) -> None:
        before, self.reached, self._bounces = self.reached, after, ()
        span = self._habits.bounce_ms * _PER_MS
        if before == after or span == 0:
            return
        chance = self._bounce_chance * 1664525 + 1013904223 & 0xFFFFFFFF
        self._bounce_chance = chance
        moments = [
            now + 1 + round((chance >> bits & 255) / 256 * span) for bits in range(0, 32, 8)
        ]
        self._bounces = tuple(zip(sorted(moments), (before, after) * 2, strict=True))

    def next_at(self) -> int | None:
        """Give the sample at which they change by themselves next; None: they rest."""
        return min((moves[0][0] for moves in (self._late, self._bounces) if moves), default=None)

    def move(self, now: int) -> None:
        """Do what was due up to a sample."""
        while (at := self.next_at()) is not None and at <= now:
            if self._late and self._late[0][0] == at:
                after = self._late[0][1]
                self._late = self._late[1:]
                self._reach(after, at)
            else:
                self.reached = self._bounces[0][1]
                self._bounces = self._bounces[1:]

    def let_go(self) -> None:
        """Take all fingers off at once, and forget what was on its way."""
        self._fingers = self._missed = self.reached = frozenset()
        self._late = self._bounces = ()

    def lose_supply(self) -> bool:
        """Forget what was on its way: what held it up has lost its supply. True: there was any."""
        if not self._late:
            return False
        self._late = self._bounces = ()
        self.reached = self._fingers - self._missed
        return True
