"""Choosing: from the touches of a log to ranked finds, heard, kept or set aside as picks."""

from rig.choose.find import FIND_COLUMNS, Find, find_rows
from rig.choose.keeping import keep, note, remove, set_aside
from rig.choose.picks import Pick, load_picks
from rig.choose.rank import finds
from rig.choose.replay import Session
from rig.choose.tally import Tally, tally
from rig.choose.taste import by_taste

__all__ = [
    "FIND_COLUMNS",
    "Find",
    "Pick",
    "Session",
    "Tally",
    "by_taste",
    "find_rows",
    "finds",
    "keep",
    "load_picks",
    "note",
    "remove",
    "set_aside",
    "tally",
]
