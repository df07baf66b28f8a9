"""What is to be tried: each control of the sheet, and all that it can be set to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from rig.build.fitting import BODY_LEAST_OHM, PHOTOCELL_DARK_OHM, Control
from rig.build.meter import DARK_OHM
from rig.build.patch_bay import PatchBay
from rig.build.pieces import built_words
from rig.build.several import Kept
from rig.choose.matching import is_same
from rig.choose.picks import Pick
from rig.words import ohms

PHOTOCELL_LIGHT_OHM = 5_000.0
"""A photocell has no more than this under a lamp (common practice, no source)."""
SKIN_MOST_OHM = 2e6
"""Two dry fingertips on domes (common practice, no source); the least is `BODY_LEAST_OHM`."""
TOUCHED = "touched"


@dataclass(frozen=True)
class Setting:
    """One thing that a control can be set to.

    Parameters
    ----------
    name : str
        "on"; of a knob "right", "middle", "left"; of a rotary switch its position, "1" and up; of a
        photocell "light" and "dark"; of body contacts "joined" by a coin and "touched" by fingers; of a
        cord between two sockets "cord".
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


def cords(kept: Sequence[Kept], bay: PatchBay) -> list[Job]:
    """Give the cords of a patch bay that play what is kept, each with the number of its control.

    Parameters
    ----------
    kept : sequence of Kept
        As for `jobs`.
    bay : PatchBay
    """
    built = ", ".join(f"{pad} {ohms(ohm)}" for pad, ohm in bay.sockets)
    found = []
    for one in bay.plays:
        mine = kept[one.number - 1]
        setting = Setting("cord", one.ohm, one.ohm, one.ohm, _nearest(mine, one.ohm))
        found.append(Job(one.number, one.pair, mine.pick.pads, "patch bay", f"patch bay: {built}", (setting,)))
    return found


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
        light = Setting("light", (fixed + lit) / 2, fixed, lit, pick)
        dark_ohm = fixed + PHOTOCELL_DARK_OHM
        is_off = _is_off(kept, fixed + DARK_OHM)
        return [light, Setting("dark", dark_ohm, fixed + DARK_OHM, dark_ohm, pick)] if is_off else [light]
    if control.kind == "body contacts":
        # Skin differs from day to day; what the resistor lets through doesn't.
        least, most = fixed + BODY_LEAST_OHM, fixed + SKIN_MOST_OHM
        return [Setting("joined", fixed, fixed, fixed, pick), Setting(TOUCHED, sqrt(least * most), least, most, pick)]
    return [Setting("on", fixed, fixed, fixed, pick)]


def _is_off(kept: Kept, dark_ohm: float) -> bool:
    """Say whether so much resistance is known to do nothing: over the highest path nothing was heard."""
    trials = kept.evidence[0].trials
    top = max((one.path_ohm for one in trials), default=0.0)
    return bool(trials) and top <= dark_ohm and not any(
        one.heard or one.stopped for one in trials if is_same(one.path_ohm, top)
    )


def _nearest(kept: Kept, ohm: float) -> Pick:
    """Give the pick of a pair that a resistance stands for."""

    def beside(pick: Pick) -> float:
        if pick.at_ohm is None or is_same(pick.at_ohm, ohm):
            return 1.0
        return max(pick.at_ohm / ohm, ohm / pick.at_ohm)

    return min(kept.picks, key=beside)
