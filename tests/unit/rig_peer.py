"""A controller with a toy behind its serial port, played by a script, and a hardware bench at it."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

from serial_peer import REPLY_S, Peer

from rig.bench import hardware
from rig.bench.configuration import wanted_configuration
from rig.bench.controller import Controller
from rig.project import Project, Rig, Toy

PADS = {
    "A": {"kind": "rail"}, "B": {"kind": "rail"}, "C": {}, "D": {}, "E": {"forbidden": True},
    "F": {"kind": "clock"}, "G": {}, "H": {},
}  # fmt: skip
FALL_S = 0.5
"""The rail of a toy that is let go is down after so long."""


def hardware_project(volts=4.5, source="cells", **rig):
    toy = Toy.model_validate(
        {"name": "t", "supply": {"volts": volts, "source": source}, "pads": PADS, "keys": {"red": {}}}
    )
    fields = {
        "bench": "hardware", "lead_ohm": 1500, "switch_ohm": 0.2, "series_ohm": [0, 6800, 150_000],
        "controller": {"port": "/dev/none", "pads": 8}, "sound": {"device": "none"},
    } | rig  # fmt: skip
    return Project(Path("x"), toy, Rig.model_validate(fields))


class Clock:
    """Time that passes only where it is waited for."""

    def __init__(self):
        self.s = 0.0

    def __call__(self):
        return self.s

    def sleep(self, seconds):
        self.s += seconds


class RigPeer(Peer):
    """The controller and its toy.

    `rail_v` gives what the rail is at; `refuses` are the errors with which it refuses to switch
    on, `latches` those with which its guard switches off again soon after.
    """

    def __init__(self, project: Project, clock: Clock):
        super().__init__()
        self.project, self.clock = project, clock
        self.is_on = False
        self.off_s = -1000.0
        self.rail_v = self.usual_rail_v
        self.refuses: list[str] = []
        self.latches: list[str] = []
        self.is_latched = False
        self.replies |= {
            "SYSTem:DRIVer?": "REED,64,8,1000,2000,12000",
            "SYSTem:CONFigure:CRC?": str(wanted_configuration(project).crc()),
            "SYSTem:CONFigure:STORed?": "1",
            "TOUCh:STATe?": "IDLE",
            "STATus:QUEStionable:CONDition?": "0",
        }

    def usual_rail_v(self):
        down = max(0.0, 1.0 - (self.clock() - self.off_s) / FALL_S)
        return self.project.toy.supply.volts * (1.0 if self.is_on else down)

    def _off(self):
        self.is_on, self.off_s = False, self.clock()

    def _handle(self, line):
        if line == "OUTPut ON":
            refuses = ['105,"Guard latched"'] if self.is_latched else self.refuses
            self.queue += refuses
            self.is_on = not refuses
        elif line == "OUTPut:PROTection:CLEar":
            self.is_latched = False
        elif line in ("OUTPut OFF", "*RST") and self.is_on:
            self._off()
        elif line == "SYSTem:DMAN?" and self.is_on and self.latches:
            self.queue += self.latches
            self.is_latched = True
            self._off()
        self.replies |= {
            "OUTPut?": str(int(self.is_on)), "MEASure:VOLTage?": f"{self.rail_v():.3f}"
        }
        super()._handle(line)


def bench_at(peer: RigPeer, monkeypatch) -> hardware.HardwareBench:
    """Open the hardware bench at a peer, with a sound input that gives nothing."""
    opened = Controller.open
    silent = SimpleNamespace(device="none", skip=lambda: None, close=lambda: None)
    with monkeypatch.context() as patch:
        patch.setattr(
            hardware.Controller, "open",
            lambda port, baud: opened(peer.port, restart_s=REPLY_S, reply_s=REPLY_S),
        )
        patch.setattr(hardware.Capture, "open", lambda *_: silent)
        return hardware.HardwareBench(peer.project, clock=peer.clock, sleep=peer.clock.sleep)
