"""The toy beside the emulated controller: a process of its own, so it outlives a killed host.

It listens to the emulator's pins, and at the very cycle at which a relay, a key or the
supply changes it changes the same at a `SimulatedToy`, renders its sound and the marker
in step with the emulator's clock, and plays both into the null sink. Everything that the
pins did is written to a file, as a witness that the host can't touch.

    python toy_process.py --socket PATH --seed N --pads P --series 0,6800 --lead 2200
        --switch 0.2 --record FILE [--cut C,F] [--room-db 40]
"""

from __future__ import annotations

import argparse
import array
import fcntl
import json
import os
import signal
import socket
import sys
import termios
from pathlib import Path

import numpy as np
from emulator import Decoder, State, Tick
from sound_server import Player

from rig.bench.simulated.board import make_board
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.habit_sets import with_habits
from rig.bench.simulated.senses import Senses
from rig.bench.simulated.toy import SimulatedToy

RATE_HZ = 48_000
CYCLES_HZ = 16_000_000
MARKER_LEVEL = 0.5
BUS_CHANNEL, CONTINUITY_CHANNEL = 3, 4
"""Of the converter: firmware/board.h."""
BACKLOG_BYTES = RATE_HZ * 8 // 20
"""More than 50 ms waiting to be played: the player fell behind and is let catch up."""

FREE_AFTER_CYCLES = CYCLES_HZ // 20
"""So long after a touch's end marker nobody listens any more."""


class Room:
    """The toy in its room: everything between the controller's pins and the sound lead.

    Parameters
    ----------
    seed, pads : int
        Of the simulated board.
    series_ohm : list of float
        What is fitted in the series bank, channel 1 first.
    lead_ohm, switch_ohm : float
        Of each lead and each relay contact.
    cut : set of str
        Pads whose lead is cut: their relays work, but reach nothing.
    habits : str
        Their name, see `habit_sets`; empty for a toy without.
    room_db : float
        Room noise below the toy's usual level, dB.

    Attributes
    ----------
    volts : float
        The toy's supply.
    """

    def __init__(
        self,
        seed: int,
        pads: int,
        *,
        series_ohm: list[float],
        lead_ohm: float,
        switch_ohm: float,
        cut: set[str],
        room_db: float,
        habits: str = "",
    ) -> None:
        board = make_board(seed, pads)
        if habits:
            board = with_habits(board, habits)
        self.toy = SimulatedToy(board, seed)
        self.volts = board.volts
        self.senses = Senses(board, lead_ohm, switch_ohm, np.random.default_rng([seed, 0x5E45]))
        self.senses.off |= cut
        self._letters = board.letters
        self._keys = board.keys
        self._series_ohm = series_ohm
        self._lead_ohm = lead_ohm
        self._switch_ohm = switch_ohm
        self._cut = cut
        self._noise = 0.1 * 10 ** (-room_db / 20)
        self._rng = np.random.default_rng([seed, 0x4E01])
        self._marker = False
        self._at: int | None = None
        self._pieces: list[np.ndarray] = []

    def run_to(self, cycle: int) -> None:
        """Let the toy go on, as it stands, to a cycle of the controller."""
        now = cycle * RATE_HZ // CYCLES_HZ
        if self._at is None:
            self._at = now  # what the emulator did before this process listened isn't played
        samples = now - self._at
        if samples <= 0:
            return
        self._at += samples
        both = np.empty((samples, 2), dtype="<f4")
        noise = self._rng.standard_normal(samples, dtype=np.float32) * self._noise
        both[:, 0] = self.toy.run(samples) + noise
        both[:, 1] = MARKER_LEVEL if self._marker else 0.0
        self._pieces.append(both)

    def take_sound(self) -> bytes:
        """Give what was rendered since the last call."""
        pieces, self._pieces = self._pieces, []
        return np.concatenate(pieces).tobytes() if pieces else b""

    def continuity_mv(self, state: State) -> int:
        """Give what is on the pin of the continuity source's amplifier, mV."""
        buses = self._on_buses(state)
        ohm = float("inf")
        if state.series:
            ohm = sum(self.senses.series_ohm(self._series_ohm[n - 1]) for n in state.series)
        elif len(buses[1]) == len(buses[2]) == 1:
            ohm = self.senses.lead_to_lead_ohm(buses[1][0], buses[2][0])
        return round(1000 * self.senses.continuity_v(ohm))

    def bus_mv(self, state: State) -> int | None:
        """Give what is on the pin of the sense line with bus 1 on it, mV; None without a pad."""
        buses = self._on_buses(state)
        if len(buses[1]) != 1 or len(buses[2]) > 1:
            return None
        load = None
        if buses[2] and len(state.series) == 1:
            load = (buses[2][0], self._series_ohm[next(iter(state.series)) - 1])
        volts = self.toy.node_v(*self.senses.resistors(buses[1][0], load))
        return round(1000 * max(0.0, volts) / 3)

    def _on_buses(self, state: State) -> dict[int, list[str]]:
        """Give the pads that are closed onto each bus, whether their leads reach them or not."""
        found: dict[int, list[str]] = {1: [], 2: []}
        for bus, channel in sorted(state.closures):
            if channel <= len(self._letters):
                found[bus].append(self._letters[channel - 1])
        return found

    def apply(self, state: State) -> None:
        """Put the toy under what the controller's outputs do now."""
        self.toy.supply(state.supply)
        self.toy.keys({self._keys[key - 1] for key in state.keys if key <= len(self._keys)})
        self._marker = state.marker
        buses = {1: [], 2: []}
        for bus, channel in sorted(state.closures):
            if channel <= len(self._letters) and self._letters[channel - 1] not in self._cut:
                buses[bus].append(self._letters[channel - 1])
        links = []
        if state.series and buses[1] and buses[2]:
            # Several relays of the bank closed at once would be in parallel.
            siemens = sum(1 / max(self._series_ohm[n - 1], 1e-3) for n in state.series)
            links.append(
                Link(
                    tuple(buses[1]), tuple(buses[2]), self._lead_ohm, 1 / siemens, self._switch_ohm
                )
            )
        self.toy.connect(links)


class ToyPlayer(Player):
    """Plays the toy, and knows how much of it still waits."""

    def __init__(self) -> None:
        super().__init__()
        self._pipe = self._process.stdin.fileno()
        fcntl.fcntl(self._pipe, fcntl.F_SETPIPE_SZ, 1 << 20)

    def backlog(self) -> int:
        """Give the bytes that wait to be played."""
        count = array.array("i", [0])
        fcntl.ioctl(self._pipe, termios.FIONREAD, count)
        return count[0]


def run(link: socket.socket, room: Room, player: ToyPlayer, record: Path) -> None:
    """Follow the emulator until it ends."""
    decoder = Decoder()
    sensed: dict[int, int | None] = {}

    def sense(channel: int, mv: int | None) -> None:
        if mv is not None and sensed.get(channel) != mv:
            sensed[channel] = mv
            link.sendall(f"adc {channel} {mv}\n".encode())

    marker = False
    free_at = 0  # cycle from which sound may be dropped; None while a touch runs
    # The emulator has the rail follow the switch by itself: told from here it would come late
    # where this process lags, and the controller would miss it.
    link.sendall(f"cells {round(room.volts * 1000)}\n".encode())
    with record.open("a", buffering=1) as witness:
        for line in link.makefile("r"):
            event = decoder.feed(line)
            if event is None:
                continue
            room.run_to(event.cycle)
            if isinstance(event, State):
                room.apply(event)
                if free_at is not None:
                    sense(BUS_CHANNEL, room.bus_mv(event))
                    sense(CONTINUITY_CHANNEL, room.continuity_mv(event))
                if event.marker and not marker:
                    free_at = event.cycle + FREE_AFTER_CYCLES if free_at is None else None
                marker = event.marker
                witness.write(json.dumps(as_record(event)) + "\n")
                continue
            assert isinstance(event, Tick)
            if free_at is not None and decoder.state.supply:
                sense(BUS_CHANNEL, room.bus_mv(decoder.state))
            sound = room.take_sound()
            free = free_at is not None and event.cycle > free_at
            if not (free and player.backlog() > BACKLOG_BYTES):
                player.play(sound)


def as_record(state: State) -> dict:
    """Give a line of the witness' file: what the outputs do from a cycle on."""
    return {
        "cycle": state.cycle,
        "closures": sorted(state.closures),
        "series": sorted(state.series),
        "keys": sorted(state.keys),
        "supply": state.supply,
        "marker": state.marker,
    }


def main() -> None:
    """Read the options and follow the emulator."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--socket", required=True)
    parser.add_argument("--habits", default="")
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--pads", type=int, required=True)
    parser.add_argument("--series", required=True)
    parser.add_argument("--lead", type=float, required=True)
    parser.add_argument("--switch", type=float, required=True)
    parser.add_argument("--record", type=Path, required=True)
    parser.add_argument("--cut", default="")
    parser.add_argument("--room-db", type=float, default=40.0)
    options = parser.parse_args()
    room = Room(
        options.seed,
        options.pads,
        series_ohm=[float(value) for value in options.series.split(",")],
        lead_ohm=options.lead,
        switch_ohm=options.switch,
        cut=set(filter(None, options.cut.split(","))),
        room_db=options.room_db,
        habits=options.habits,
    )
    link = socket.socket(socket.AF_UNIX)
    link.connect(options.socket)
    player = ToyPlayer()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    print("ready", os.getpid(), flush=True)
    try:
        run(link, room, player, options.record)
    finally:
        player.close()


if __name__ == "__main__":
    main()
