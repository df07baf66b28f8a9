"""Trips of the guard: a touch in which the toy drew too much current, and how many in a row."""

from __future__ import annotations

from rig.errors import GuardTripped
from rig.events import GuardCut
from rig.sweep.book import Book
from rig.sweep.limits import LIMITS
from rig.sweep.pending import Pending, TouchBefore


class Trips:
    """The trips in a row.

    Parameters
    ----------
    book : Book
    before : TouchBefore
        Settles a touch of a pair in which it tripped.
    """

    def __init__(self, book: Book, before: TouchBefore):
        self._book = book
        self._before = before
        self._row: list[frozenset[str]] = []

    def end_row(self) -> None:
        """Begin the row anew: a touch went by without one."""
        self._row.clear()

    def take_in(self, one: Pending) -> None:
        """Keep a touch in which the guard tripped; the toy is off then.

        Raises
        ------
        GuardTripped
            It trips with nothing bridged, or again and again.
        """
        self._book.log.tell(GuardCut(touch=one.number))
        bridged = not one.step.is_clean and one.heard.timeline.close_us is not None
        if bridged:
            one.judgement = self._book.judge(one.number, one.step, one.heard)
            self._before.close(one, "guarded", {})
            self._row.append(frozenset(one.step.pads))
            # A pad that pulls hard trips with many others; a short or a warm part with any.
            if len(self._row) < LIMITS["trip"].in_a_row or frozenset.intersection(*self._row):
                return
        else:
            self._book.log.completed(one.number, "guarded", {})
        raise GuardTripped(
            "the toy drew more supply current than guard in rig.yaml allows, "
            + (f"{len(self._row)} times running" if bridged else "with nothing bridged")
            + ": it is off; look for a short or warm parts, then run `padsweep sweep` to continue"
        )
