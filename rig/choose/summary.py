"""What a sweep came to, in sentences."""

from __future__ import annotations

from rig.choose.discovery import FALSE_DISCOVERY, doubtful, takes_needed
from rig.choose.rank import finds, pair_p_values
from rig.choose.tally import Tally, tally
from rig.events import Recovered
from rig.log import Record, SweepLog


def summary(log: SweepLog, false_discovery: float = FALSE_DISCOVERY) -> str:
    """Say what a sweep has come to so far, and in one more line what it can't tell."""
    records = log.records()
    back = {e.touch for e in log.events() if isinstance(e, Recovered) and e.touch is not None}
    told = tally(records, finds(records, false_discovery), back)
    unsure = unsure_words(records, told.bends + told.silences, false_discovery)
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
    if told.freezes:
        said += f" {told.recovered} of {told.freezes} freezes were recovered."
    return said


def unsure_words(records: list[Record], heard: int, false_discovery: float) -> str:
    """Say what the clean takes can't resolve; empty where every change that came back is sure."""
    p_values = pair_p_values(records)
    unsure = doubtful(p_values, false_discovery)
    if not unsure:
        return ""
    keys = {one.key for one in records if one.kind == "confirm"}
    takes = min(sum(r.kind == "baseline" and r.counts and r.key == k for r in records)
                for k in keys)
    needed = takes_needed(len(p_values), heard, false_discovery)
    more = (f"; with {len(p_values)} pairs take {needed} clean presses, not {takes} "
            "(sweep: baseline_takes in rig.yaml)") if needed > takes else ""  # fmt: skip
    return f"{len(unsure)} more came back, not surely enough to be told from chance{more}"
