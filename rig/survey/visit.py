"""Measuring a toy's pads on a bench: with the supply off ohms between them, with it on their voltages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import combinations
from statistics import mean
from typing import Protocol

from rig.bench import Bench
from rig.bench.base import RAIL_DOWN_V
from rig.bench.measuring import Load, Measures
from rig.errors import BenchError
from rig.project import Project, touchable
from rig.project.electrical import limiting_ohm, rail_safe_ohm
from rig.survey.nets import between, spread, swings
from rig.survey.points import MINUS, PLUS, pulled_far, rail_pads
from rig.survey.readings import Beside, Fitted, PadReadings, Pulled, Readings

IDLE_TIMES, SOUNDING_TIMES = 3, 12
PADS_A_PRESS = 4
"""So many pads are read while one press sounds."""
FROM_PRESS_S = 0.3
"""Most toys have begun by then (common practice, no source); later ones are read at rest once more."""
QUIET_S = 0.2
RAIL_WAIT_S = 6.0
GENTLE_OHM = 200_000.0
"""The first pull goes over the highest value of the bank up to this: the bus itself loads with 3 Mohm."""
TURNS, TURN_TIMES, PRESSES_BESIDE = 4, 3, 2
RESTS_TIMES, RESTS_MA = 1.5, 3.0
"""A toy that draws more than so many times what it does at rest, and so much on top (what a converter
of 10 bits is sure of), sounds or is latched up."""
AT_REST_V = 0.15
READING_S = 0.06
"""What one reading takes with its closing and settling, on the controller."""

Tell = Callable[[str], object]


class MeasuringBench(Bench, Measures, Protocol):
    """A bench that can measure."""


@dataclass
class Visit:
    """One survey of a toy.

    Parameters
    ----------
    project : Project
    bench : MeasuringBench
        With the supply off; it is off again, with all pads open, once `read` is over.
    tell : callable
        Takes a line on what is done now.
    """

    project: Project
    bench: MeasuringBench
    tell: Tell = lambda text: None
    _pads: dict[str, PadReadings] = field(default_factory=dict)

    def read(self) -> Readings:
        """Read all there is to read.

        Raises
        ------
        BenchError, GuardTripped
            The toy is off then and everything open.
        """
        try:
            self.tell(f"supply off: {len(self.letters)} pads against each other")
            self._switch_off()
            bank = self._bank()
            ohm = self._ohms()
            self.tell("supply on: each pad at rest")
            self._switch_on()
            idle_ma, rail_v = self.bench.supply_ma(), self.bench.rail_v()
            for pad in self.letters:
                self._pads[pad] = PadReadings(idle_v=self.bench.pad_v(pad, times=IDLE_TIMES))
            self._sounding(rail_v)
            self._keys_down(rail_v)
            readings = Readings(
                at=datetime.now(UTC).isoformat(timespec="seconds"), rail_v=rail_v, idle_ma=idle_ma,
                bank=bank, ohm=ohm, pads=self._pads,
            )
            readings = readings.model_copy(update={"beside": self._beside(readings)})
            self.tell("each pad with a gentle pull to the rails")
            self._pull(rail_pads(readings, self.project), idle_ma, rail_v)
            return readings.model_copy(update={"pads": self._pads})
        finally:
            self.bench.supply(False)

    @property
    def letters(self) -> list[str]:
        """The pads that may be closed."""
        return [pad for pad, one in self.project.toy.pads.items() if not one.forbidden]

    def _switch_off(self) -> None:
        self.bench.supply(False)
        waited_s = 0.0
        while self.bench.rail_v() >= RAIL_DOWN_V:
            if waited_s >= RAIL_WAIT_S:
                raise BenchError(
                    f"the toy's rail is at {self.bench.rail_v():.2f} V though its supply is off: look "
                    "for what else feeds it, then start again"
                )
            self.bench.wait(0.1)
            waited_s += 0.1

    def _switch_on(self) -> None:
        toy = self.project.toy
        self.bench.supply(True)
        self.bench.wait(toy.boot_ms / 1000 + QUIET_S)
        for key in toy.on:
            self._press(key)
        if toy.on:
            self.bench.wait(toy.longest_phrase_s)

    def _press(self, key: str) -> None:
        self.bench.press_keys((key,))
        self.bench.wait(self.project.toy.keys[key].press_ms / 1000)
        self.bench.press_keys(())

    def _bank(self) -> list[Fitted]:
        values = dict.fromkeys(self.project.rig.series_ohm)
        reads = {ohm: self.bench.bank_ohm(ohm) for ohm in values}
        return [Fitted(fitted_ohm=ohm, reads_ohm=read) for ohm, read in reads.items()
                if read != float("inf")]  # fmt: skip

    def _ohms(self) -> dict[str, float]:
        found = {}
        for one, other in combinations(self.letters, 2):
            ohm = self.bench.ohm_between(one, other)
            if ohm != float("inf"):
                found[f"{one}-{other}"] = ohm
        return found

    def _sounding(self, rail_v: float) -> None:
        key = self.project.sweep_keys[0]
        self.tell(f"each pad while {key} sounds")
        letters = self.letters
        for first in range(0, len(letters), PADS_A_PRESS):
            self._press(key)
            self.bench.wait(FROM_PRESS_S)
            for pad in letters[first : first + PADS_A_PRESS]:
                volts = self.bench.pad_v(pad, times=SOUNDING_TIMES)
                self._note(pad, sounding_v=self._as_at_rest(volts, rail_v))
            self._until_quiet()

    def _keys_down(self, rail_v: float) -> None:
        for key in self.project.wired_keys:
            self.tell(f"each pad with key {key} down")
            self.bench.press_keys((key,))
            self.bench.wait(0.1)
            volts = {pad: self._as_at_rest(self.bench.pad_v(pad), rail_v)[0] for pad in self.letters}
            self.bench.press_keys(())
            for pad, one in volts.items():
                self._note(pad, keys_v={**self._pads[pad].keys_v, key: one})
            self._until_quiet()

    def _as_at_rest(self, volts: list[float], rail_v: float) -> list[float]:
        """Give a pad's voltages as they would be with the rail as it is at rest."""
        now_v = self.bench.rail_v()
        return [one * rail_v / now_v for one in volts] if now_v > rail_v / 2 else volts

    def _beside(self, readings: Readings) -> dict[str, Beside]:
        """Read what may be one net and moves in turn while the toy sounds: each pad, and both."""
        found = {}
        least_ohm = min(self.project.rig.tried_ohm)
        pairs = [pair.pads for pair in between(self.project, readings) if pair.is_net is not False
                 and any(swings(readings.pads[pad], readings.rail_v) for pad in pair.pads)]  # fmt: skip
        for one, other in pairs:
            if touchable(self.project, (one,), (other,), least_ohm) is not None:
                continue
            self.tell(f"{one} and {other} while it sounds")
            read: tuple[list[float], ...] = [], [], []
            for key in self._moving_keys(readings, one, other)[:PRESSES_BESIDE]:
                self.bench.press_keys((key,))
                self.bench.wait(FROM_PRESS_S)
                for _ in range(TURNS):
                    for volts, pad, load in ((read[0], one, None), (read[1], other, None),
                                             (read[2], one, Load(other, least_ohm))):  # fmt: skip
                        turn_v = self.bench.pad_v(pad, load, TURN_TIMES)
                        volts += self._as_at_rest(turn_v, readings.rail_v)
                self.bench.press_keys(())
                self._until_quiet()
            found[f"{one}-{other}"] = Beside(one_v=read[0], other_v=read[1], both_v=read[2])
        return found

    def _moving_keys(self, readings: Readings, one: str, other: str) -> list[str]:
        """Give the keys, first those that move two pads most."""
        def moved_v(key: str) -> float:
            pads = (readings.pads[one], readings.pads[other])
            return max(abs(pad.keys_v.get(key, 0.0) - mean(pad.idle_v)) for pad in pads)

        return sorted(self.project.wired_keys, key=moved_v, reverse=True)

    def _pull(self, rails: dict[str, str], idle_ma: float, rail_v: float) -> None:
        """Read each pad while either rail pulls at it: gently, and where that moves it little less so."""
        for pad in self.letters:
            self._calm(pad, idle_ma)
            idle_v = mean(self.bench.pad_v(pad, times=2))
            pulled: list[Pulled] = []
            for series_ohm in self._pulls(rails):
                if any(pulled_far(one, idle_v) for one in pulled):
                    break
                for rail in rails.values():
                    if self._may_pull(pad, rail, series_ohm):
                        load = Load(rail, series_ohm)
                        volts = mean(self._as_at_rest(self.bench.pad_v(pad, load, 2), rail_v))
                        pulled.append(Pulled(rail=rail, series_ohm=series_ohm, volts=volts))
            self._note(pad, pulled=pulled)

    def _calm(self, pad: str, idle_ma: float) -> None:
        """Let a toy that a pull has set off fall silent; one that stays changed has its supply cut."""
        if self._is_at_rest(pad, idle_ma):
            return
        self._until_quiet()
        if not self._is_at_rest(pad, idle_ma):
            self._switch_off()
            self._switch_on()

    def _is_at_rest(self, pad: str, idle_ma: float) -> bool:
        before = self._pads[pad].idle_v
        if self.bench.supply_ma() > RESTS_TIMES * idle_ma + RESTS_MA:
            return False
        apart_v = abs(mean(self.bench.pad_v(pad, times=2)) - mean(before))
        return apart_v <= spread(before) + AT_REST_V

    def _pulls(self, rails: dict[str, str]) -> list[float]:
        """Give the values to pull over: a high one, and the least that a rail may be joined over."""
        if not {PLUS, MINUS} & rails.keys():
            return []
        safe_ohm = rail_safe_ohm(self.project.toy)
        rig = self.project.rig
        safe = [ohm for ohm in rig.series_ohm if limiting_ohm(rig, ohm) >= safe_ohm]
        gentle = [ohm for ohm in safe if ohm <= GENTLE_OHM] or safe
        return [max(gentle), min(safe)] if safe and max(gentle) != min(safe) else safe[:1]

    def _may_pull(self, pad: str, rail: str, series_ohm: float) -> bool:
        return pad != rail and touchable(self.project, (pad,), (rail,), series_ohm) is None

    def _until_quiet(self) -> None:
        self.bench.wait(self.project.toy.longest_phrase_s + QUIET_S)

    def _note(self, pad: str, **readings: object) -> None:
        self._pads[pad] = self._pads[pad].model_copy(update=readings)


def seconds(project: Project) -> float:
    """Give about how long a survey takes, s."""
    pads = sum(not one.forbidden for one in project.toy.pads.values())
    quiet_s = project.toy.longest_phrase_s + QUIET_S
    presses = -(-pads // PADS_A_PRESS) + len(project.wired_keys)
    readings = pads * (pads - 1) / 2 + pads * (6 + len(project.wired_keys))
    return readings * READING_S + presses * (quiet_s + 2 * FROM_PRESS_S) + RAIL_WAIT_S / 2
