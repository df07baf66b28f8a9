"""A survey through the real firmware: nets and voltages, a lead that came off, a killed host."""

from __future__ import annotations

import shutil
import subprocess
import time
from itertools import combinations

import pytest
from emulated_rig import PADSWEEP, Board, EmulatedRig, padsweep
from emulator import CYCLES_PER_MS

from rig.bench.simulated.board import make_board
from rig.project import load_project
from rig.project.models import letters
from rig.survey.nets import between, nets
from rig.survey.points import FLOATS, MINUS, PLUS, points
from rig.survey.readings import SURVEY, load_readings

PADS = 12
BOARD = Board(seed=3, pads=PADS, leads=tuple(letters(PADS)), series_ohm=(0, 6800, 33000, 150000))
DEADMAN_MS = 3000


@pytest.fixture(scope="module")
def surveyed(sound_server, tmp_path_factory):
    with EmulatedRig(tmp_path_factory.mktemp("survey"), sound_server, BOARD) as rig:
        done = padsweep("survey", "--project", str(rig.folder), env=sound_server.env)
        assert done.returncode == 0, done.stderr
        rig.emulator.wait_for(lambda state: state.is_open_and_off, 2)
        yield rig, done.stdout


@pytest.fixture(scope="module")
def board():
    return make_board(BOARD.seed, BOARD.pads)


def test_nets_through_the_firmware_are_the_board_s_own(surveyed, board):
    rig, _ = surveyed
    project, readings = load_project(rig.folder), load_readings(rig.folder)
    sure, maybe = nets(readings.pads, between(project, readings))
    net_of = board.net_of
    same = {pair for pair in combinations(readings.pads, 2) if net_of[pair[0]] == net_of[pair[1]]}
    found = {pair for net in sure for pair in combinations(net, 2)}
    assert same
    assert found <= same
    loose = {pair for net in maybe for pair in combinations(net, 2)}
    assert same <= found | loose, (readings.ohm, {p: readings.pads[p] for q in same - found - loose for p in q})


def test_voltages_at_rest_are_the_circuit_s(surveyed, board):
    rig, told = surveyed
    project, readings = load_project(rig.folder), load_readings(rig.folder)
    seen = points(project, readings)
    for pad, point in seen.items():
        role = board.nets[board.net_of[pad]].role
        if pad in board.rails:
            assert point.kind == (PLUS if role == "vcc" else MINUS), pad
        elif role.startswith("nc"):
            assert point.kind == FLOATS, pad
        elif role == "osc":
            assert point.idle_v == pytest.approx(readings.rail_v / 2, abs=0.05 * readings.rail_v)
    assert all(len(line) <= 80 for line in told.splitlines() if not line.startswith("to touch"))


def test_resistances_are_read_with_the_supply_off_and_volts_by_a_sense_relay_alone(surveyed):
    rig, _ = surveyed
    states = rig.emulator.events()
    ohms = [state for state in states if state.continuity]
    assert len(ohms) >= PADS * (PADS - 1) / 2
    assert not any(state.supply or state.gate for state in ohms)
    assert all(len(state.closures) <= 2 for state in states)
    rails = {list(BOARD.leads).index(pad) + 1 for pad in make_board(BOARD.seed, BOARD.pads).rails}
    for state in states:
        joined = {pad for _, pad in state.closures} & rails
        if state.supply and state.series and len(joined) == 2:
            assert state.series <= {3, 4}, "two rails over less than 0.5 mA allows"


def test_a_lead_that_came_off_is_told(surveyed, sound_server, tmp_path_factory, board):
    rig, _ = surveyed
    plus = next(pad for pad in board.rails if board.nets[board.net_of[pad]].role == "vcc")
    with EmulatedRig(tmp_path_factory.mktemp("off"), sound_server, BOARD, cut=(plus,)) as other:
        shutil.copy(rig.folder / SURVEY, other.folder / SURVEY)
        done = padsweep("survey", "--project", str(other.folder), env=sound_server.env)
        assert done.returncode == 0, done.stderr
    assert f"changed  {plus} is open against" in done.stdout
    assert f"changed  {plus} reads nothing" in done.stdout
    assert "no pad that is marked `kind: rail` stands at plus" in done.stdout


@pytest.mark.parametrize("supplied", [False, True])
def test_killed_in_the_middle_the_toy_is_off_and_all_is_open(surveyed, supplied):
    rig, _ = surveyed
    words = [*PADSWEEP, "survey", "--project", str(rig.folder)]
    with subprocess.Popen(words, env=rig.server.env, stdout=subprocess.DEVNULL) as host:
        try:
            rig.emulator.wait_for(
                lambda state: bool(state.closures) and state.supply is supplied, 240
            )
            time.sleep(0.2)
            assert host.poll() is None
        finally:
            host.kill()
    cycle = rig.emulator.cycle
    safe = rig.emulator.wait_for(lambda state: state.is_open_and_off, DEADMAN_MS / 1000 + 3)
    assert safe.cycle - cycle <= (DEADMAN_MS + 20) * CYCLES_PER_MS
    rig.emulator.wait_cycles(500 * CYCLES_PER_MS)
    assert rig.emulator.state.is_open_and_off
