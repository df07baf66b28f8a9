"""Which value is taken: what the person has, else E12, else E24; potentiometers that shops have."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import log

from rig.build.series import E12, POTS_OHM, TOLERANCE, at_least, nearest_above
from rig.project.models import Parts
from rig.words import ohms

POT_TOLERANCE = 0.2
"""Of a potentiometer's whole resistance (common practice, no source)."""
EXACT = 0.99
"""A floor counts to 1 %: no rig knows its own path better (`rig.project.side_by_side.ALIKE`)."""
E12_STEP = 1.1
"""Half a step of E12, as a ratio: a value that lies farther from what is wanted isn't near it."""


@dataclass(frozen=True)
class Drawer:
    """What there is to build with.

    Parameters
    ----------
    resistors_ohm, pots_ohm : tuple of float or None
        Values that the person has, ohms; None: any that shops have.
    kinds : tuple of str or None
        Controls that may be proposed; None: any.
    """

    resistors_ohm: tuple[float, ...] | None = None
    pots_ohm: tuple[float, ...] | None = None
    kinds: tuple[str, ...] | None = None

    @classmethod
    def of(cls, parts: Parts) -> Drawer:
        """Give what rig.yaml says of it."""
        return cls(
            None if parts.resistors_ohm is None else tuple(parts.resistors_ohm),
            None if parts.pots_ohm is None else tuple(parts.pots_ohm),
            None if parts.kinds is None else tuple(parts.kinds),
        )

    def near(self, ohm: float, floor_ohm: float, most_ohm: float | None = None) -> float:
        """Give the resistor nearest to a value, of which no part is below the floor, to 1 %.

        One of the person's where one lies up to `most_ohm`; else of E12 where one is near, else of
        E24.

        Parameters
        ----------
        ohm : float
            What is wanted, ohms.
        floor_ohm : float
            No more than `ohm`.
        most_ohm : float or None
            Up to here the person's own values will do; None: up to half a step of E12 above.
        """
        floor_ohm *= EXACT
        most_ohm = ohm * E12_STEP if most_ohm is None else most_ohm
        mine = [one for one in self.resistors_ohm or ()
                if one * (1 - TOLERANCE) >= floor_ohm and one <= most_ohm]  # fmt: skip
        if mine:
            return min(mine, key=lambda one: abs(log(one / ohm)))
        common = nearest_above(ohm, floor_ohm, E12)
        return common if abs(log(common / ohm)) <= log(E12_STEP) else nearest_above(ohm, floor_ohm)

    def least(self, floor_ohm: float, most_ohm: float | None = None) -> float:
        """Give the smallest resistor of which no part is below the floor, to 1 %, as `near` chooses."""
        most_ohm = floor_ohm * E12_STEP if most_ohm is None else most_ohm
        common = at_least(floor_ohm * EXACT, E12)
        is_near = common <= floor_ohm * E12_STEP
        floor_ohm *= EXACT
        mine = [one for one in self.resistors_ohm or ()
                if one * (1 - TOLERANCE) >= floor_ohm and one <= most_ohm]  # fmt: skip
        if mine:
            return min(mine)
        return common if is_near else at_least(floor_ohm)

    def pots(self) -> Sequence[float]:
        """Give the potentiometers to choose from, ascending, ohms."""
        return sorted(self.pots_ohm) if self.pots_ohm else POTS_OHM

    def lacks(self, resistors_ohm: Iterable[float], pot_ohm: float | None = None) -> str:
        """Say what of a control has to be bought, where the person said what they have; "" if nothing."""
        buy = [one for one in dict.fromkeys(resistors_ohm)
               if self.resistors_ohm and one not in self.resistors_ohm]  # fmt: skip
        told = [f"a resistor of {ohms(one)}" for one in buy]
        if pot_ohm is not None and self.pots_ohm and pot_ohm not in self.pots_ohm:
            told.append(f"a potentiometer of {ohms(pot_ohm)}")
        return f"Not in your drawer: {', '.join(told)}." if told else ""

    def allows(self, kind: str) -> bool:
        """Say whether a kind of control may be proposed."""
        return self.kinds is None or kind in self.kinds


ANY = Drawer()
"""Whatever shops have."""
