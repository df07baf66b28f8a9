"""The end of a sweep: what counts is judged once more, and what was left out is told."""

from __future__ import annotations

from collections.abc import Sequence

from rig.events import Noticed, SweepDone
from rig.log import SweepLog
from rig.outcomes import is_change
from rig.sweep import sounding
from rig.sweep.book import Book
from rig.sweep.confirming import RIG
from rig.touches import Target


def finish(book: Book, recoveries: int) -> SweepDone:
    """Close a sweep of which everything is done; tells what was too loud to be judged.

    Parameters
    ----------
    book : Book
    recoveries : int
        How often the toy was brought back in this run.
    """
    known, log = book.known, book.log
    judge_again(book)
    loud_db = _too_loud_db(log)
    if loud_db:
        log.tell(Noticed(text=_left_out(loud_db)))
    aside = sum(step.target not in loud_db for step in known.set_aside_for_faults())
    if aside:
        what, them = ("touch is", "it") if aside == 1 else ("touches are", "them")
        log.tell(Noticed(
            text=f"{aside} {what} set aside: `padsweep sweep --retry` makes {them} after all"
        ))
    if waiting := known.waiting():
        pads = [pad for pad in book.project.toy.pads if pad in known.contact.doubtful]
        log.tell(Noticed(text=_waits(pads, len(waiting))))
    if known.confirms.demand is RIG and (vanished := known.confirms.vanished()):
        log.tell(Noticed(text=_vanished(vanished)))
    done = log.tell(SweepDone(
        touches=known.touches, freezes=known.freezes, recoveries=recoveries
    ))
    log.flush()
    return done


def judge_again(book: Book) -> None:
    """Hold hits and confirming touches against all the clean takes that there are by now."""
    book.log.flush()
    book.ear.score_anew()
    for record in book.log.records():
        asked = record.kind == "confirm" or (record.kind == "sweep" and is_change(record.sound))
        if asked and record.take and record.complete and record.sound != "lost":
            samples, _ = book.log.read_take(record.number)
            span = book.span(record.offsets, len(samples))
            book.log.judged(
                record.number, book.ear.judge(record.key, samples, span, record.target.leads)
            )


def _too_loud_db(log: SweepLog) -> dict[Target, float]:
    """Give what was never heard since it is clipped, and how far that goes beyond full scale."""
    loud_db: dict[Target, float] = {}
    for record in log.records():
        spot = record.target
        if not spot.is_clean and "over_db" in record.measures:
            loud_db.setdefault(spot, record.measures["over_db"])
        elif record.counts:
            loud_db[spot] = -1.0  # it was heard all the same
    return {spot: db for spot, db in loud_db.items() if db >= 0}


def _waits(pads: Sequence[str], touches: int) -> str:
    listed = " and ".join(filter(None, [", ".join(pads[:-1]), pads[-1]]))
    leads, their = ("lead", "its") if len(pads) == 1 else ("leads", "their")
    return (
        f"no bend of {listed} that is known is heard any more: look at {their} {leads} and joints; "
        f"`padsweep sweep` goes on with the {touches} touches that wait for that"
    )


def _vanished(pairs: Sequence[str]) -> str:
    return (
        f"heard over several paths, and then in no confirming touch: {', '.join(pairs)}; that's "
        "chance, a phrase that comes seldom, or one of these leads has come off: look at them"
    )


def _left_out(loud_db: dict[Target, float]) -> str:
    pairs = {spot.name for spot in loud_db if not spot.is_lone}
    one, many = ("pair", "pairs") if pairs else ("lead alone", "leads alone")
    count = len(pairs) or len(loud_db)
    down_db = sounding.down_db(max(loud_db.values()))
    what = f"one {one} is" if count == 1 else f"{count} {many} are"
    return (
        f"{what} too loud for the sound input over some path, which is left out: to hear it, "
        f"turn the input down by {down_db} dB and sweep again with another --name"
    )
