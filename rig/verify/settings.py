"""What is to be tried: each control of the sheet, and all that it can be set to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from rig.build.fitting import Control
from rig.build.pieces import built_words
from rig.build.several import Kept
from rig.choose.matching import is_same
from rig.choose.picks import Pick

PHOTOCELL_LIGHT_OHM = 5_000.0
"""A photocell has no more than this under a lamp (common practice, no source)."""


@dataclass(frozen=True)
class Setting:
    """One thing that a control can be set to.

    Parameters
    ----------
    name : str
        "on"; of a knob "right", "middle", "left"; of a rotary switch its position, "1" and up; of a
        photocell "light"; of body contacts "joined".
    ohm : float
        What it then has between its pads, ohms, about.
    low_ohm, high_ohm : float
        In this range, ohms; parts may be 5 % off beside that.
    pick : Pick
        The kept sound that it is held against.
    """

    name: str
    ohm: float
    low_ohm: float
    high_ohm: float
    pick: Pick


@dataclass(frozen=True)
class Job:
    """One control of the sheet.

    Parameters
    ----------
    number : int
        On the sheet, from 1.
    kind : str
        Of the control.
    built : str
        What the sheet says is fitted: when it says otherwise, what was heard counts no more.
    settings : tuple of Setting
        From the least resistance up, at least one.
    """

    number: int
    pair: str
    pads: tuple[str, ...]
    kind: str
    built: str
    settings: tuple[Setting, ...]

    @property
    def is_knob(self) -> bool:
        """Say whether it has two ends that may be swapped."""
        return self.kind == "potentiometer"

    def setting(self, name: str) -> Setting:
        """Give the setting of this name."""
        return next(one for one in self.settings if one.name == name)


def jobs(kept: Sequence[Kept], controls: Sequence[Control]) -> list[Job]:
    """Give the controls that are fitted, in the sheet's order.

    Parameters
    ----------
    kept, controls : sequences of Kept and Control
        As the sheet has them, see `rig.build.sheet.proposals`; of one length.
    """
    return [
        Job(number, one.pick.pair, one.pick.pads, control.kind, built_words(control),
            tuple(_settings(one, control)))
        for number, (one, control) in enumerate(zip(kept, controls, strict=True), 1)
        if control.fixed_ohm is not None
    ]  # fmt: skip


def _settings(kept: Kept, control: Control) -> list[Setting]:
    fixed = control.fixed_ohm
    assert fixed is not None  # the others aren't fitted
    if control.positions:
        return [
            Setting(str(number), one.fixed_ohm, one.fixed_ohm, one.fixed_ohm,
                    _nearest(kept, one.fixed_ohm))
            for number, one in enumerate(control.positions, 1)
        ]  # fmt: skip
    pick = kept.pick
    if control.pot_ohm:
        top = fixed + control.pot_ohm
        # Where the middle of a track lies hangs on its taper, and on which lug is joined.
        tapered = "logarithmic" in control.part
        middle = sqrt(fixed * top) if tapered else (fixed + top) / 2
        between = (fixed, top) if tapered else (0.8 * middle, 1.2 * middle)
        right, left = (fixed, top) if control.lowers else (top, fixed)
        return [
            Setting("right", right, right, right, _nearest(kept, right)),
            Setting("middle", middle, *between, _nearest(kept, middle)),
            Setting("left", left, left, left, _nearest(kept, left)),
        ]
    if control.kind == "photocell":
        lit = fixed + PHOTOCELL_LIGHT_OHM
        return [Setting("light", (fixed + lit) / 2, fixed, lit, pick)]
    # Skin differs from day to day; what the resistor lets through doesn't.
    name = "joined" if control.kind == "body contacts" else "on"
    return [Setting(name, fixed, fixed, fixed, pick)]


def _nearest(kept: Kept, ohm: float) -> Pick:
    """Give the pick of a pair that a resistance stands for."""

    def beside(pick: Pick) -> float:
        if pick.at_ohm is None or is_same(pick.at_ohm, ohm):
            return 1.0
        return max(pick.at_ohm / ohm, ohm / pick.at_ohm)

    return min(kept.picks, key=beside)
