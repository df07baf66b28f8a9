"""What the controller keeps in its EEPROM: the limits it holds to without the host.

The host works out from toy.yaml and rig.yaml what should be there, and compares one
checksum; firmware/configuration.h lays out the same bytes.
"""

from __future__ import annotations

import binascii
import math
import struct
from dataclasses import dataclass
from typing import Any

from rig.bench.controller import Controller
from rig.errors import BenchError
from rig.project import Project
from rig.project.electrical import highest_v, limiting_ohm, rail_safe_ohm
from rig.project.low_pads import low_lead_ohm

LAYOUT = 3
LOW_SINCE = (0, 5)
"""Firmware that knows low pads, and has layout 3; before it there was 2."""
CLOSURES_MAX = 8
DEADMAN_MS = 3000
CLOSURE_MS = 10_000
HOLD_S = 60
BANK_CHANNELS = 8
BANK_STEP_OHM = 100

ROUNDED = 1.05
"""The controller counts with a bank of whole hundreds of ohms: what it may refuse lies that far
beyond the limit of rig.yaml, so that it refuses nothing that the host lets through."""


@dataclass(frozen=True)
class Configuration:
    """The controller's stored configuration.

    Parameters
    ----------
    pads : int
        Pad channels fitted, a multiple of 8, 8 to 64.
    closures : int
        Most pads closed at once, 1 to 8.
    forbidden, rails : frozenset of int
        Pad channels, from 1.
    rail_series : frozenset of int
        Series channels, from 1, that are safe between two rail pads.
    peak_ma, average_ma : int
        Limits of the toy's supply current, mA.
    inrush_ms, deadman_ms, closure_ms : int
        Blanking after switch-on, dead-man time and longest closure, ms.
    hold_s : int
        Longest closure of a hold channel, s.
    lead_ohm : int
        Resistor in each lead, 0 to 65,535 ohm.
    supply_mv, pad_ua : int
        The most that the toy's supply can be, mV, and that may flow through a pad, uA.
    bank_ohm : tuple of int
        Series bank, channel 1 first; counted in hundreds of ohms, rounded down.
    limiter : bool
        Whether the current limiter is fitted in series channel 1's place.
    low : frozenset of int
        Pad channels, from 1, that may meet over it.
    low_ms, low_lead_ohm : int
        Longest closure of two of them, 10 to 2000 ms; the least of their leads, 0 to 255 ohm.
    """

    pads: int
    closures: int = CLOSURES_MAX
    forbidden: frozenset[int] = frozenset()
    rails: frozenset[int] = frozenset()
    rail_series: frozenset[int] = frozenset()
    peak_ma: int = 300
    average_ma: int = 150
    inrush_ms: int = 100
    deadman_ms: int = DEADMAN_MS
    closure_ms: int = CLOSURE_MS
    hold_s: int = HOLD_S
    lead_ohm: int = 1500
    supply_mv: int = 4800
    pad_ua: int = 2000
    bank_ohm: tuple[int, ...] = ()
    limiter: bool = False
    low: frozenset[int] = frozenset()
    low_ms: int = 100
    low_lead_ohm: int = 32

    def packed(self, layout: int = LAYOUT) -> bytes:
        """Give the bytes as the controller keeps them (firmware/configuration.h, or before low pads)."""
        data = struct.pack(
            "<BBB8s8sB9H8H",
            layout, self.pads, self.closures, _bits(self.forbidden, 8), _bits(self.rails, 8),
            _bits(self.rail_series, 1)[0], self.deadman_ms, self.closure_ms, self.peak_ma,
            self.average_ma, self.inrush_ms, self.hold_s, self.lead_ohm, self.supply_mv, self.pad_ua,
            *(ohm // BANK_STEP_OHM for ohm in self.bank_ohm),
            *[0] * (BANK_CHANNELS - len(self.bank_ohm)),
        )
        if layout < LAYOUT:
            return data
        low = struct.pack("<HBB", self.low_ms, self.low_lead_ohm, self.limiter)
        return data + low + _bits(self.low, 8)

    def crc(self, layout: int = LAYOUT) -> int:
        """Give the checksum of the bytes: CRC-16, polynomial 0x1021, start 0xFFFF."""
        return binascii.crc_hqx(self.packed(layout), 0xFFFF)

    def commands(self, layout: int = LAYOUT) -> list[str]:
        """Give the messages that bring a controller from its defaults to this configuration."""
        low = [
            f"SYSTem:CONFigure:LOW:LIMiter {'ON' if self.limiter else 'OFF'}",
            f"SYSTem:CONFigure:LOW:PADS {_pad_list(self.low)}",
            f"SYSTem:CONFigure:LOW:TIME {self.low_ms}",
            f"SYSTem:CONFigure:LOW:LEADs {self.low_lead_ohm}",
        ]
        rail_series = ",".join(map(str, sorted(self.rail_series))) or "NONE"
        return [
            "SYSTem:CONFigure:DEFaults",
            f"SYSTem:CONFigure:PADS {self.pads}",
            f"SYSTem:CONFigure:CLOSures {self.closures}",
            f"SYSTem:CONFigure:FORBidden {_pad_list(self.forbidden)}",
            f"SYSTem:CONFigure:RAILs {_pad_list(self.rails)}",
            f"SYSTem:CONFigure:RSERies {rail_series}",
            f"SOURce:CURRent:PROTection:LEVel {self.peak_ma}",
            f"SOURce:CURRent:PROTection:AVERage {self.average_ma}",
            f"SOURce:CURRent:PROTection:DELay {self.inrush_ms}",
            f"SYSTem:DMAN {self.deadman_ms}",
            f"SYSTem:CLOSure:TIME {self.closure_ms}",
            f"SYSTem:HOLD:TIME {self.hold_s}",
            f"SYSTem:CONFigure:LEADs {self.lead_ohm}",
            f"SYSTem:CONFigure:SUPPly {self.supply_mv}",
            f"SYSTem:CONFigure:LIMit {self.pad_ua}",
            f"SYSTem:CONFigure:BANK {','.join(map(str, self.bank_ohm or (0,)))}",
            *(low if layout == LAYOUT else ()),
        ]


def layout_of(firmware: tuple[int, ...]) -> int:
    """Give the layout in which a controller's firmware keeps its configuration."""
    return LAYOUT if firmware >= LOW_SINCE else LAYOUT - 1


def wanted_configuration(project: Project) -> Configuration:
    """Give the configuration that a project's controller should hold.

    Parameters
    ----------
    project : Project
        The first pad of toy.yaml is channel 1, the first value of the bank series channel 1.
    """
    toy, rig = project.toy, project.rig
    assert rig.controller is not None  # a hardware bench is loaded with it
    numbered = list(enumerate(toy.pads.values(), 1))
    safe_ohm = rail_safe_ohm(toy)
    low: dict[str, Any] = {}
    if rig.limiter and rig.limiter.fitted:
        low = {"limiter": True, "low_ms": rig.limiter.longest_ms}
    if toy.low_pads:
        low["low"] = frozenset(n for n, pad in enumerate(toy.pads, 1) if pad in toy.low_pads)
        low["low_lead_ohm"] = int(low_lead_ohm(toy, rig))
    return Configuration(
        pads=rig.controller.pads,
        closures=2 if rig.switch == "multiplexer" else CLOSURES_MAX,
        forbidden=frozenset(n for n, pad in numbered if pad.forbidden),
        rails=frozenset(n for n, pad in numbered if pad.kind == "rail"),
        rail_series=frozenset(
            n
            for n, series_ohm in enumerate(rig.series_ohm, 1)
            if limiting_ohm(rig, series_ohm) >= safe_ohm
        ),
        peak_ma=rig.guard.peak_ma,
        average_ma=rig.guard.average_ma,
        inrush_ms=rig.guard.inrush_ms,
        lead_ohm=min(int(rig.lead_ohm), 65_535),
        supply_mv=math.ceil(highest_v(toy) * 1000),
        pad_ua=min(math.floor(rig.current_limit_ma * 1000 * ROUNDED), 10_000),
        bank_ohm=tuple(int(ohm) for ohm in rig.series_ohm),
        **low,
    )


def _bits(channels: frozenset[int], length: int) -> bytes:
    """Give channel n as bit n - 1, counted through bytes from their lowest bits."""
    return sum(1 << (n - 1) for n in channels).to_bytes(length, "little")


def _pad_list(pads: frozenset[int]) -> str:
    return f"(@{','.join(map(str, sorted(pads)))})" if pads else "NONE"


def bring_into_force(controller: Controller, wanted: Configuration, switch: str) -> bool:
    """Make sure that the controller holds this configuration; says whether it had to be stored.

    Parameters
    ----------
    controller : Controller
    wanted : Configuration
    switch : str
        The switch type of rig.yaml, which the firmware is built for: "reed", "crosspoint" or
        "multiplexer".

    Raises
    ------
    BenchError
        The firmware is for other switches or fewer pads, knows no low pads, or doesn't take the
        configuration.
    """
    driver, most_pads, *_ = controller.query("SYSTem:DRIVer?").split(",")
    if driver.lower() != switch:
        raise BenchError(
            f"controller on {controller.port} has firmware for {driver.lower()} switches, rig.yaml "
            f"says {switch}: set switch in rig.yaml, or load the firmware for {switch}"
        )
    if wanted.pads > int(most_pads):
        raise BenchError(
            f"controller on {controller.port} can drive {most_pads} pads, toy.yaml needs "
            f"{wanted.pads}: take pads out of toy.yaml"
        )
    if wanted.low and controller.firmware < LOW_SINCE:
        have, need = (".".join(map(str, one)) for one in (controller.firmware, LOW_SINCE))
        raise BenchError(
            f"controller on {controller.port} has firmware {have}, low pads need {need}: load the one "
            "in firmware/, or take low_pads out of toy.yaml"
        )
    if _holds(controller, wanted):
        return False
    for message in wanted.commands(layout_of(controller.firmware)):
        controller.command(message)
    controller.command("SYSTem:CONFigure:SAVE")
    if not _holds(controller, wanted):
        raise BenchError(
            f"controller on {controller.port} doesn't keep its configuration: load the firmware "
            "of this version; if it comes back, the chip's EEPROM is worn out"
        )
    return True


def _holds(controller: Controller, wanted: Configuration) -> bool:
    (crc,) = controller.numbers("SYSTem:CONFigure:CRC?", 1)
    (stored,) = controller.numbers("SYSTem:CONFigure:STORed?", 1)
    return bool(stored) and crc == wanted.crc(layout_of(controller.firmware))
