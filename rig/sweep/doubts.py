"""Whether the toy is itself, as its clean presses have it, and what is to be done where it isn't."""

from __future__ import annotations

from dataclasses import dataclass

from rig.sweep.limits import LIMITS

WANTED_AFTER_ODD = 2
"""Good clean presses in a row that are wanted behind an odd one."""
PROOF = 3
"""And once the toy was brought back."""


@dataclass
class Doubts:
    """Odd clean presses, and what they ask for.

    Attributes
    ----------
    odd : int
        In a row.
    spell, fruitless : int
        Since all was well, and since a touch counted or pads were touched.
    wanted : int
        Good presses in a row that must come before anything is bridged.
    wants_restoring : bool
        The toy isn't what it was: it is to be brought back.
    is_restored : bool
        It was, and is yet to prove it.
    is_lost : bool
        That didn't help: it no longer sounds like its baseline.
    """

    odd: int = 0
    spell: int = 0
    fruitless: int = 0
    wanted: int = 0
    wants_restoring: bool = False
    is_restored: bool = False
    is_lost: bool = False

    def take(self, itself: bool) -> None:
        """Take in a clean press; one that follows where the toy was to be brought back says it was."""
        if self.wants_restoring:
            self.restored()
        if itself:
            self.odd, self.wanted = 0, max(0, self.wanted - 1)
            if not self.wanted:
                self.spell, self.is_restored = 0, False
            return
        self.odd += 1
        self.spell += 1
        self.fruitless += 1
        self.wanted = PROOF if self.is_restored else WANTED_AFTER_ODD
        if self.odd >= LIMITS["doubt"].in_a_row or self.spell >= LIMITS["spell"].in_a_row:
            self.is_lost, self.wants_restoring = self.is_restored, not self.is_restored
        self.is_lost = self.is_lost or self.fruitless >= LIMITS["fruitless"].in_a_row

    def restored(self) -> None:
        """Take in that the toy was brought back."""
        self.odd = self.spell = 0
        self.wanted, self.is_restored, self.wants_restoring = PROOF, True, False
