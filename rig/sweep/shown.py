"""What each pad has shown so far, pair by pair."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass
class Shown:
    """What the pairs of one pad have shown.

    Parameters
    ----------
    touches, hits, stops : int
        Pairs that were touched, that changed the sound and that stopped the toy.
    """

    touches: int = 0
    hits: int = 0
    stops: int = 0


class ShownPads(dict[str, Shown]):
    """Counts by pad. Each pair counts once, whatever the path."""

    def __init__(self) -> None:
        super().__init__()
        self._pairs: dict[tuple[str, ...], tuple[bool, bool]] = {}

    def take_in(self, pads: tuple[str, ...], hit: bool, stopped: bool) -> None:
        """Count what a touch of a pair has shown."""
        is_new = pads not in self._pairs
        was_hit, had_stopped = self._pairs.get(pads, (False, False))
        self._pairs[pads] = (was_hit or hit, had_stopped or stopped)
        for pad in pads:
            one = self.setdefault(pad, Shown())
            one.touches += is_new
            one.hits += hit and not was_hit
            one.stops += stopped and not had_stopped
