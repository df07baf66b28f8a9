"""Waiting between two touches for as long as the sweep is asked to pause."""

from __future__ import annotations

from collections.abc import Callable

from rig.events import SweepGoesOn, SweepWaits
from rig.log import SweepLog
from rig.log.pausing import Wish, let_go_on, pause_wished
from rig.sweep.hand import Hand


def wait_paused(
    hand: Hand, log: SweepLog, wish: Wish, clock: Callable[[], float], *,
    is_old: bool = False, alarm: str | None = None,
) -> None:
    """Wait until the wish is gone, or the person at hand says that the pause is over.

    All that is known is on the disk meanwhile, so that the run may be ended as at any other time.

    Parameters
    ----------
    hand : Hand
        It has left the toy off.
    log : SweepLog
    wish : Wish
    clock : callable
        Gives the time of now, s.
    is_old : bool
        See `SweepWaits`.
    alarm : str or None
        What `Hand.leave` gave.

    Raises
    ------
    Leave
        The person leaves.
    """
    log.tell(SweepWaits(asked=wish.asked, asked_at=wish.at, is_old=is_old, alarm=alarm or ""))
    log.flush()
    begun_s = clock()
    while pause_wished(log.folder):
        if hand.pass_pause():
            let_go_on(log.folder)
    log.tell(SweepGoesOn(waited_s=round(clock() - begun_s, 1)))
