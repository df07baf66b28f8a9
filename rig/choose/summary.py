"""What a sweep came to, in sentences."""

from __future__ import annotations

from collections.abc import Mapping

from rig.choose.discovery import FALSE_DISCOVERY, doubtful
from rig.choose.rank import finds, pair_p_values
from rig.choose.tally import Tally, tally
from rig.events import Recovered
from rig.log import Record, SweepLog


def summary(log: SweepLog, false_discovery: float = FALSE_DISCOVERY) -> str:
    """Say what a sweep has come to so far, and in one more line what it can't tell."""
    records = log.records()
    back = {e.touch for e in log.events() if isinstance(e, Recovered) and e.touch is not None}
    told = tally(records, finds(records, false_discovery), back)
    unsure = unsure_words(records, false_discovery)
    return tally_words(told, false_discovery) + (f"\n{unsure}" if unsure else "")


def tally_words(told: Tally, false_discovery: float) -> str:
    """Say in a few sentences what a sweep came to: each pair is counted once."""
    heard = told.bends + told.silences
    groups = f" and {told.groups} group{'s' * (told.groups > 1)}" if told.groups else ""
    said = f"{told.touches:,} touches of {told.pairs:,} pairs{groups}: {told.bends} change the sound"
    said += f", {told.silences} only silence it"
    if told.stop_below:
        said += f" ({told.stop_below} of these {heard} stop the toy over a lower resistance)"
    said += f", {told.stops} only stop it."
    if heard:
        said += f" At most {100 * false_discovery:.3g} in 100 of these {heard} are chance."
    if told.lone:
        said += f" {told.lone} more: the lead of one pad alone."
    if told.freezes:
        said += f" {told.recovered} of {told.freezes} freezes were recovered."
    return said


def unsure_words(records: list[Record], false_discovery: float) -> str:
    """Say of how many changes nothing can be said; empty where every one that came back is sure."""
    return unsure_of(pair_p_values(records), false_discovery)


def unsure_of(p_values: Mapping[str, float], false_discovery: float) -> str:
    """Say the same where the pairs' p values are known."""
    unsure = doubtful(p_values, false_discovery)
    if not unsure:
        return ""
    return f"{len(unsure)} more came back, not surely enough to be told from chance"
