"""All that is proposed for a project's picks: a control each, what two do at once, a patch bay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rig.build.controls import course_of
from rig.build.course import Course
from rig.build.evidence import Evidence
from rig.build.fitting import Control
from rig.build.patch_bay import PatchBay, bay_of
from rig.build.pieces import fitted
from rig.build.several import Kept, by_pair
from rig.build.sheet import proposals, see
from rig.build.together import Combination, combine
from rig.choose.find import Find
from rig.choose.picks import Pick
from rig.log import Record
from rig.pads import joints_of, side_text
from rig.project import Project

CONTROL_COLUMNS = ("pads_1", "pads_2", "key", "at_ohm", "control", "fixed_ohm", "pot_ohm", "reason")
"""What of a proposal is given to other programs, one row per pick."""


@dataclass(frozen=True)
class Proposed:
    """What is proposed for one pick.

    Parameters
    ----------
    number : int
        Of its control, from 1: picks of one pair have one control.
    pick : Pick
    evidence : Evidence
    control : Control
    course : Course or None
    """

    number: int
    pick: Pick
    evidence: Evidence
    control: Control
    course: Course | None

    @property
    def at_ohm(self) -> float | None:
        """Give the path that was kept, or the person's own, ohms."""
        return self.evidence.kept_ohm(self.pick) or self.pick.at_ohm

    @property
    def key(self) -> str | None:
        """Give the key whose sound counts; None where nothing is known of it."""
        return self.evidence.find.key if self.evidence.find is not None else self.pick.key

    @property
    def fixed_ohm(self) -> float | None:
        """Give this pick's resistor: of a switch with several the one of its position, ohms."""
        kept = self.at_ohm
        if not self.control.positions or kept is None:
            return self.control.fixed_ohm
        return min((one.fixed_ohm for one in self.control.positions), key=lambda ohm: abs(ohm / kept - 1))

    @property
    def row(self) -> dict:
        """Give it as a row of `CONTROL_COLUMNS`."""
        joints = joints_of(self.pick.pair)
        return {
            "pads_1": side_text(joints, 0), "pads_2": side_text(joints, 1), "key": self.key,
            "at_ohm": self.at_ohm, "control": self.control.kind, "fixed_ohm": self.fixed_ohm,
            "pot_ohm": self.control.pot_ohm, "reason": self.control.reason,
        }


@dataclass(frozen=True)
class Board:
    """All that is proposed for a board.

    Parameters
    ----------
    picks : sequence of Proposed
        In the person's order.
    together : sequence of Combination
    patch_bay : PatchBay or None
    """

    picks: Sequence[Proposed]
    together: Sequence[Combination]
    patch_bay: PatchBay | None


def propose_all(
    project: Project, picks: Sequence[Pick], records: Sequence[Record] | None,
    found: Sequence[Find] | None = None,
) -> Board:
    """Propose for all picks of a project.

    Parameters
    ----------
    project : Project
    picks : sequence of Pick
        At least one.
    records : sequence of Record or None
        Of the whole sweep; None: there was none.
    found : sequence of Find, optional
        The finds of these records, where they are known already.

    Raises
    ------
    ConfigError, SafetyRefusal
        As for `rig.build.sheet.proposals`.
    """
    seen = see(project, picks, records, found=found)
    controls = proposals(project, picks, seen)
    kept = by_pair(picks, seen.evidence)
    told = [
        Proposed(number, pick, evidence, control, course_of(pick, evidence))
        for number, (one, control) in enumerate(zip(kept, controls, strict=True), 1)
        for pick, evidence in zip(one.picks, one.evidence, strict=True)
    ]
    told.sort(key=lambda one: picks.index(one.pick))
    built = [one for one in fitted([one.pick for one in kept], controls) if one.pick.is_single_pair]
    lives = [one for one in built if not one.control.stops]  # the toy stops with the others, whatever is on
    keys = [_keys(kept[one.number - 1]) for one in lives]
    trials = seen.trials or {}
    bay = bay_of(project, kept, controls, trials)
    return Board(told, combine(project, lives, keys, trials, records or ()), bay)


def _keys(kept: Kept) -> list[str]:
    found = [one.find.key for one in kept.evidence if one.find is not None]
    return list(dict.fromkeys(found)) or [""]
