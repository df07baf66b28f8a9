"""How long the supply switch holds without a beat, in ngspice at the corners of all tolerances.

    python -m firmware.generate.heartbeat     prints the shortest and the longest
"""

from __future__ import annotations

from dataclasses import dataclass

from firmware.generate import limits, spice
from firmware.generate.netlist import Netlist, build

RELAY_OFF_MS = 1.0
"""Of the photo-relay, from its lamp's end (data sheet, memory)."""

PIN_OHM = 25.0
"""Of the controller's pin (data sheet, memory)."""


@dataclass(frozen=True)
class Corner:
    """One end of what can be.

    Parameters
    ----------
    sign : int
        -1 where all parts and the amplifier's offset shorten the hold, +1 where they lengthen it.
    air_c : float
    leak_a : float
        Of diode and board out of HOLD.
    """

    sign: int
    air_c: float
    leak_a: float

    @property
    def supply_v(self) -> float:
        return limits.LOGIC_LEAST_V if self.sign < 0 else limits.LOGIC_MOST_V

    @property
    def threshold_v(self) -> float:
        """Of the transistors: 0.75 to 1.5 V at 25 °C, 4 mV less for each degree (memory)."""
        return (1.5 if self.sign < 0 else 0.75) - 0.004 * (self.air_c - 25)


SHORTEST = (Corner(-1, 0, 0.3e-6), Corner(-1, 25, 1e-6), Corner(-1, 50, 5e-6))
"""The diode leaks at most 0.6 uA at 4 V and 25 °C, seven times that at 50 °C (BAT85, memory)."""

LONGEST = (Corner(1, 0, 0.0), Corner(1, 25, 0.0), Corner(1, 50, 0.0))


def deck(board: Netlist, corner: Corner, edges_ms: list[float]) -> list[str]:
    """Write the pump, its comparator and the lamp; the pin toggles at each of the edges."""
    level, points = 0.0, ["0 0"]
    for at in edges_ms:
        points += [f"{at}m {level}", f"{at + 1e-4}m {corner.supply_v - level}"]
        level = corner.supply_v - level
    rating, sign = board["U2"].rating, corner.sign
    lamp_v = rating["led_v_most" if sign < 0 else "led_v_least"]
    offset_v = -sign * board["U3"].rating["offset_mv"] / 1000
    lines = [
        "heartbeat", spice.MODELS, f".temp {corner.air_c}", f"VCC p5v 0 {corner.supply_v}",
        f"VPIN pin 0 PWL({' '.join(points)})", f"RPIN pin heartbeat {PIN_OHM}",
        f"VS supply 0 {corner.supply_v}", f"ILEAK hold 0 {corner.leak_a}",
        (f"BCOMPARE compared 0 V={corner.supply_v / 2}"
         f"*(1+tanh(2e3*(v(hold)-v(hold_least)-({offset_v}))))"),
        "ROUT compared beats 100",
        # the lamp: a drop and a source of 0 V that counts its current
        f"VLED ledp lit {lamp_v}\nVCOUNT lit ledm 0",
    ]  # fmt: skip
    off = {"C8": sign, "R14": sign, "C7": sign, "R11": sign, "R13": -sign, "R12": -sign,
           "R66": sign, "R67": -sign, "R60": 0, "D1": 0, "D3": 0}  # fmt: skip
    lines += [spice.line(board[ref], where) for ref, where in off.items()]
    return lines + [spice.line(board[ref], threshold_v=corner.threshold_v) for ref in ("Q1", "Q2")]


def least_lamp_ma(board: Netlist, corner: Corner, gap_ms: float) -> float:
    """Give the least current of the lamp while rising edges come at a distance, mA."""
    edges = [gap_ms / 2 * n for n in range(1, int(100 / gap_ms))]
    lines = deck(board, corner, edges)
    lines += [f".tran 20u {edges[-1]}m", f".meas tran least MIN i(VCOUNT) from=25m to={edges[-2]}m",
              ".end"]  # fmt: skip
    return spice.run(lines)["least"] * 1000


def silence_ms(board: Netlist, corner: Corner, lamp_ma: float, toggle_ms: float = 1.0,
               ends_high: bool = True) -> float:  # fmt: skip
    """Give the time from regular beats' last rising edge until the lamp is below a current."""
    edges = [toggle_ms * n for n in range(1, int(40 / toggle_ms / 2) * 2 + 1 + ends_high)]
    rise = edges[-1] if ends_high else edges[-2]
    lines = deck(board, corner, edges)
    lines += [f".tran 20u 240m {rise}m",
              f".meas tran off WHEN i(VCOUNT)={lamp_ma / 1000} FALL=LAST", ".end"]  # fmt: skip
    return spice.run(lines)["off"] * 1000 - rise


def longest_gap_ms(board: Netlist) -> float:
    """Give the longest distance of rising edges over which the switch holds in every corner, ms.

    The shorter of two cases: edges that come so all the time, and one gap after regular
    beats; to 0.1 ms, downwards.
    """
    needed_ma = board["U2"].rating["led_least_ma"]
    once = min(silence_ms(board, corner, needed_ma) for corner in SHORTEST)
    held = int(once * 10) / 10
    while any(least_lamp_ma(board, corner, held) < needed_ma for corner in SHORTEST):
        held = round(held - 0.1, 1)
    return held


def off_ms(board: Netlist) -> float:
    """Give the longest time from the last beat until the switch is open, ms."""
    gone_ma = board["U2"].rating["led_off_ma"]
    return RELAY_OFF_MS + max(
        silence_ms(board, corner, gone_ma, toggle_ms, ends_high)
        for corner in LONGEST for toggle_ms in (0.5, 1.0, 2.0) for ends_high in (False, True)
    )  # fmt: skip


def main() -> None:
    board = build("reed")
    print(f"holds over gaps of {longest_gap_ms(board):.1f} ms between rising edges")
    print(f"is open {off_ms(board):.1f} ms after the last rising edge")


if __name__ == "__main__":
    main()
