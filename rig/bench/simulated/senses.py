"""What a rig's senses read of a simulated board: leads, bank, sources and converter as parts are.

Each rig's parts are drawn once, within their tolerances and never beyond: uniform, which has more in
the corners than a factory's. The toy's own voltages are its circuit's at every moment, by its chips
running; with its supply off no chip conducts (below 0.2 V no junction does), so that only resistors,
pulls, the bleed and a speaker without a capacitor are there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property

import numpy as np

from rig.bench.measuring import SENSE_OHM
from rig.bench.simulated.circuit import OPEN, Circuit, Drive
from rig.bench.simulated.parts import Board
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.supply import BLEED_OHM, speaker_ohm
from rig.bench.simulated.toy import SimulatedToy

PART_TOLERANCE = 0.01
"""Of leads, bank and the senses' own resistors (firmware/README.md, Parts)."""
OFFSET_V = 0.5e-3
"""Of the continuity amplifier, at its input, either way (firmware/README.md, Parts)."""
CONVERTER_STEPS = 1.0
"""Offset, and gain at full scale, of the converter, either way: 2 steps together (ATmega328P data
sheet, memory: 2 LSB absolute accuracy)."""
NOISE_STEPS = 0.3
"""Root mean square of one conversion (our choice, no source)."""
SENSE_FILTER_S = 67e-6
"""100 pF behind 2 and 1 Mohm side by side (firmware/README.md, sheet `measuring`)."""

SAMPLES = 8
"""Conversions of one reading, as the firmware sums them (firmware/adc.h)."""
FULL = 1024 * SAMPLES
SOURCE_SUM = 180 * 20 * FULL // 5000
"""The sum that the firmware expects of an open circuit, and from which share it says so
(firmware/commands_toy.c)."""
OPEN_SUM = SOURCE_SUM * 98 // 100
_PIECE = 3
_CONVERSION_PIECES = 4
"""A conversion of the sense line comes each 0.22 ms: four pieces of three samples."""
_SETTLE_PIECES = 20

Resistor = tuple[int, int, float]


class Senses:
    """The leads, the bank and the senses of one rig on one board.

    Parameters
    ----------
    board : Board
    lead_ohm, switch_ohm : float
        As rig.yaml says.
    chance : numpy.random.Generator or None
        Draws the parts, and the converter's noise; None: every part is exact and nothing is noisy.

    Attributes
    ----------
    leads_ohm : dict of str to float
        Each pad's lead with its switch.
    off : set of str
        Pads whose lead has come off.
    """

    def __init__(
        self, board: Board, lead_ohm: float, switch_ohm: float,
        chance: np.random.Generator | None = None,
    ) -> None:
        self._board = board
        self._chance = chance
        self.leads_ohm = {pad: lead_ohm * self._near_one() + switch_ohm for pad in board.letters}
        self.off: set[str] = set()
        self._bank: dict[float, float] = {}
        top, bottom = 280e3 * self._near_one(), 10.5e3 * self._near_one()
        self._source_v = 5.0 * bottom / (top + bottom)
        self._source_ohm = top * bottom / (top + bottom)
        self._gain = 1 + 20e3 * self._near_one() / (1.05e3 * self._near_one())
        self._divides = 1 + 2e6 * self._near_one() / (1e6 * self._near_one())
        self._offset_v = OFFSET_V * self._either_way()
        self._off_steps = CONVERTER_STEPS * self._either_way()
        self._off_share = CONVERTER_STEPS / 1024 * self._either_way()

    def _either_way(self) -> float:
        return 0.0 if self._chance is None else float(self._chance.uniform(-1, 1))

    def _near_one(self) -> float:
        return 1 + PART_TOLERANCE * self._either_way()

    def series_ohm(self, fitted_ohm: float) -> float:
        """Give what a value of the bank really is, ohms."""
        if fitted_ohm not in self._bank:
            self._bank[fitted_ohm] = fitted_ohm * self._near_one()
        return self._bank[fitted_ohm]

    # With the supply off

    @cached_property
    def _unsupplied(self) -> tuple[dict[int, int], np.ndarray]:
        """Give places and impedances of the nets against ground while no chip has a supply."""
        board, roles = self._board, self._board.roles
        plus, minus = roles["vcc"], roles["gnd"]
        resistors: list[Resistor] = [*board.circuit.resistors, *board.fitted, *board.always]
        resistors.append((plus, minus, BLEED_OHM))
        if board.power.direct:
            resistors.append((roles["spk"], minus, speaker_ohm(board.volts)))
        for net, drive in enumerate(board.circuit.drives):
            if drive.pull is not None:
                ohm, fraction = drive.pull
                resistors += [(net, rail, ohm / share) for rail, share in
                              ((plus, fraction), (minus, 1 - fraction)) if share]  # fmt: skip
        circuit = Circuit([Drive()] * len(board.nets), resistors, {minus: 0.0})
        whole = circuit.bridged([], whole=True)
        _, impedance = whole.solved([OPEN] * len(board.nets))
        return dict(whole.place), impedance

    def net_ohm(self, one: int, other: int) -> float:
        """Give what is truly between two nets with the supply off, ohms."""
        if one == other:
            return 0.0
        place, ohm = self._unsupplied

        def between(a: int, b: int) -> float:
            return float(ohm[place[a], place[b]]) if a in place and b in place else 0.0

        return between(one, one) + between(other, other) - 2 * between(one, other)

    def lead_to_lead_ohm(self, one: str, other: str) -> float:
        """Give what is truly between the buses with two pads on them, ohms."""
        if one in self.off or other in self.off:
            return math.inf
        net_of = self._board.net_of
        return self.leads_ohm[one] + self.leads_ohm[other] + self.net_ohm(net_of[one], net_of[other])

    def continuity_v(self, ohm: float) -> float:
        """Give the voltage at the converter's pin while so much is between the buses, volts."""
        node_v = self._source_v if math.isinf(ohm) else (
            self._source_v * ohm / (ohm + self._source_ohm))  # fmt: skip
        return max(0.0, (node_v + self._offset_v) * self._gain)

    def read_ohm(self, ohm: float) -> float:
        """Give what the controller reads of a resistance between the buses, ohms."""
        total = self._converted([self.continuity_v(ohm)] * SAMPLES)
        if total >= OPEN_SUM:
            return math.inf
        return float((10_000 * total + (SOURCE_SUM - total) // 2) // (SOURCE_SUM - total))

    # With the toy as it is

    def resistors(self, pad: str, load: tuple[str, float] | None) -> tuple[list[Resistor], int]:
        """Give what is closed for a reading, as resistors, and the number of bus 1's node."""
        net_of, bus = self._board.net_of, len(self._board.nets)
        found = [(bus, self._board.roles["gnd"], SENSE_OHM)]
        if pad not in self.off:
            found.append((net_of[pad], bus, self.leads_ohm[pad]))
        if load is not None and load[0] not in self.off:
            path_ohm = self.series_ohm(load[1]) + self.leads_ohm[load[0]]
            found.append((net_of[load[0]], bus, path_ohm))
        return found, bus

    def read_v(self, toy: SimulatedToy, pad: str, load: tuple[str, float] | None) -> float:
        """Let the toy run for one reading, some 3 ms, and give what the controller reads, volts."""
        resistors, bus = self.resistors(pad, load)
        keep = math.exp(-_PIECE / RATE_HZ / SENSE_FILTER_S)
        seen_v, pins_v = toy.node_v(resistors, bus), []
        for piece in range(_SETTLE_PIECES + SAMPLES * _CONVERSION_PIECES):
            toy.run(_PIECE)
            seen_v += (1 - keep) * (toy.node_v(resistors, bus) - seen_v)
            if piece >= _SETTLE_PIECES and piece % _CONVERSION_PIECES == 0:
                pins_v.append(max(0.0, seen_v) / self._divides)
        return self._converted(pins_v) * 3 * 5.0 / FULL

    def _converted(self, pins_v: Sequence[float]) -> int:
        """Give the sum of conversions, steps."""
        total = 0
        for volts in pins_v:
            noise = 0.0 if self._chance is None else NOISE_STEPS * self._chance.standard_normal()
            steps = volts / 5.0 * 1024 * (1 + self._off_share) + self._off_steps + noise
            total += min(1023, max(0, math.floor(steps)))
        return total

