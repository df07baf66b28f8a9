"""The toy's supply: cells behind a switch, a capacitor and a bleed; the rig's current guard."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from rig.project.models import Guard as Limits

BLEED_OHM = 330.0

FORGETS_BELOW_V = 0.5
"""Rail voltage below which chips lose their state."""

IDLE_MA = 1.8

SAGS_BY = 0.2
"""Share of their voltage that cells lose at most, so that the toy still runs."""

PITCH_SHARE = 0.3
"""How much of a share of the voltage lost the RC clock loses (our choice, no source)."""

_HYSTERESIS = 0.05
_NEAR = 0.1
_AVERAGE_S = 0.1


@dataclass(frozen=True)
class Power:
    """How a board is fed, and what it does when too much is drawn.

    Parameters
    ----------
    rail_farad : float
        Decoupling: with the bleed it sets how long the rail takes to fall.
    source_ohm : float
        Of cells, leads and switch; tired cells have several ohms.
    runs_above : float
        Fraction of the nominal voltage below which the chips stand still.
    resets : bool
        Whether they start anew after that, or go on where they stood.
    direct : bool
        Whether the speaker hangs on the amplifier without a capacitor, so that a direct
        voltage at its input drives a direct current through it.
    """

    rail_farad: float = 220e-6
    source_ohm: float = 2.0
    runs_above: float = 0.6
    resets: bool = False
    direct: bool = False


def speaker_ohm(volts: float) -> float:
    """Give the coil that is fitted for a supply: small speakers are made with 8 or 16 ohms."""
    return 8.0 if volts < 7.0 else 16.0


def make_power(seed: int, volts: float) -> Power:
    """Make a board's supply at random; it has a chance of its own, apart from the board's.

    Tired cells still carry the toy's own sound, but not a direct current through its speaker.
    """
    rng = np.random.Generator(np.random.PCG64([seed, 0x90E4]))
    tired = bool(rng.random() < 0.3)
    rail_farad = float(rng.choice((47e-6, 100e-6, 220e-6, 470e-6, 1000e-6)))
    drawn = float(rng.random())
    runs_above = float(rng.uniform(0.5, 0.72))
    tired_ohm = (2.8 + 1.4 * drawn) * (1 - runs_above) * speaker_ohm(volts)
    return Power(
        rail_farad=rail_farad,
        source_ohm=tired_ohm if tired else 0.5 + 2.5 * drawn,
        runs_above=runs_above,
        resets=bool(rng.random() < 0.5),
        direct=bool(rng.random() < 0.45),
    )


@dataclass
class Supply:
    """The rail's voltage over time.

    Parameters
    ----------
    volts : float
        Of the cells.
    power : Power
    load_ma : float
        What is drawn now.
    sags_a_s : float
        Share of their voltage that the cells lose in a second while they are on.
    spent : float
        What they have lost of it.
    """

    volts: float
    power: Power = field(default_factory=Power)
    on: bool = False
    rail_v: float = 0.0
    load_ma: float = 0.0
    sags_a_s: float = 0.0
    spent: float = 0.0

    @property
    def aim_v(self) -> float:
        """Where the rail is going to."""
        if not self.on:
            return 0.0
        return max(0.0, self.volts * (1 - self.spent) - self.load_ma / 1000 * self.power.source_ohm)

    def advance(self, seconds: float) -> None:
        """Let the rail charge or bleed: v = aim + (v0 - aim) e^(-t/RC)."""
        ohm = self.power.source_ohm if self.on else BLEED_OHM
        if self.on and self.sags_a_s:
            self.spent = min(SAGS_BY, self.spent + self.sags_a_s * seconds)
        aim_v = self.aim_v
        self.rail_v = aim_v + (self.rail_v - aim_v) * math.exp(
            -seconds / (ohm * self.power.rail_farad)
        )
        if abs(self.rail_v - aim_v) < 1e-4:
            self.rail_v = aim_v

    @property
    def steady(self) -> bool:
        """Whether nothing changes any more that matters."""
        near_v = _NEAR * self.volts if self.on else 0.0
        return abs(self.rail_v - self.aim_v) <= near_v

    def runs(self, already: bool) -> bool:
        """Whether the chips run; from a standstill they need a little more to begin."""
        above = self.power.runs_above + (0.0 if already else _HYSTERESIS)
        return self.rail_v > above * self.volts

    @property
    def forgets(self) -> bool:
        """Whether the chips have lost their state."""
        return self.rail_v < FORGETS_BELOW_V


@dataclass
class Guard:
    """The rig's guard of the toy's supply current, which cuts everything and latches.

    Parameters
    ----------
    peak_ma, average_ma : float
        Limits of the current, the second of its mean over some 0.1 s.
    inrush_ms : float
        For so long after switching on nothing counts.
    """

    peak_ma: float
    average_ma: float
    inrush_ms: float
    tripped: bool = False
    _mean_ma: float = 0.0
    _on_s: float = 0.0

    @classmethod
    def of(cls, limits: Limits) -> Guard:
        """Give a guard with the limits of rig.yaml."""
        return cls(limits.peak_ma, limits.average_ma, limits.inrush_ms)

    def switched_on(self) -> None:
        """Let go of the latch, and wait out the inrush."""
        self.tripped = False
        self._mean_ma = self._on_s = 0.0

    def take(self, mean_ma: float, peak_ma: float, seconds: float) -> bool:
        """Take what was drawn for a while; True at the moment it trips."""
        self._on_s += seconds
        if self.tripped or self._on_s * 1000 <= self.inrush_ms:
            return False
        self._mean_ma += (mean_ma - self._mean_ma) * (1 - math.exp(-seconds / _AVERAGE_S))
        self.tripped = peak_ma > self.peak_ma or self._mean_ma > self.average_ma
        return self.tripped
