"""Bends of keyboard and sampler follow from the circuit: each is worked out here by hand."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from rig.bench.simulated.board import load_board, make_board
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.parts import Board, Pad
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.toy import SimulatedToy, switch_on

LEAD_OHM = 1500.0


def with_pads(board: Board, *roles: str) -> Board:
    """Put the leads where the test wants them; a pad's letter is its role."""
    pads = tuple(Pad(role, "", board.roles[role]) for role in roles)
    habits = dataclasses.replace(
        board.habits, crash_ratio=9.0, dynamic=False, bounce_ms=0.0, hiss=0.0
    )
    return dataclasses.replace(board, pads=pads, habits=habits)


def ready(kind: str, seed: int, *roles: str) -> SimulatedToy:
    toy = SimulatedToy(with_pads(make_board(seed, 24, kind), *roles), 5)
    switch_on(toy)
    return toy


def link(one: str, two: str, path_ohm: float) -> Link:
    return Link((one,), (two,), LEAD_OHM, path_ohm - 2 * LEAD_OHM, 0.0)


def held(toy: SimulatedToy, key: str, seconds: float = 1.0) -> np.ndarray:
    toy.keys({key})
    sound = toy.run(round(seconds * RATE_HZ))
    toy.keys(set())
    return sound


def lowest_hz(sound: np.ndarray) -> float:
    """Give the period's frequency by the first high peak of the autocorrelation."""
    part = sound[RATE_HZ // 4 : RATE_HZ // 4 + 16384].astype(float)
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), 1 << 18)) ** 2
    alike = np.fft.irfft(spectrum)[: RATE_HZ // 60]
    alike /= alike[0]
    at = RATE_HZ // 2000 + int(np.argmax(alike[RATE_HZ // 2000 :] > 0.95 * alike[
        RATE_HZ // 2000 :].max()))
    while alike[at + 1] > alike[at]:
        at += 1
    a, b, c = alike[at - 1 : at + 2]
    return RATE_HZ / (at + (a - c) / (2 * (a - 2 * b + c)))


@pytest.mark.parametrize("path_ohm", [68e3, 150e3, 470e3])
@pytest.mark.parametrize("kind", ["keyboard", "sampler"])
def test_a_smaller_clock_resistor_raises_the_pitch_by_the_rc_formula(kind, path_ohm):
    # handbook: t = R C ln 2 between a third and two thirds of the supply, so f goes as 1/R
    toy = ready(kind, 2, "osc", "vcc")
    key = toy.board.keys[0]
    clock = toy.board.clock
    toy.connect([link("osc", "vcc", path_ohm)])
    expected = 1 + clock.r_ohm / path_ohm
    if kind == "keyboard":
        plain = ready(kind, 2, "osc", "vcc")
        ratio = lowest_hz(held(toy, key)) / lowest_hz(held(plain, key))
    else:
        toy.keys({key})
        ends = []
        for one in (ready(kind, 2, "osc", "vcc"), toy):
            sound = held(one, key, 1.5)
            ends.append(np.flatnonzero(np.abs(sound) > 1e-3)[-1])
        ratio = ends[0] / ends[1]
    # the chip empties the capacitor in a time of its own, and looks at its keys every 20 ms
    assert ratio == pytest.approx(expected, rel=0.04)


def test_the_keyboard_plays_the_notes_it_is_made_for():
    toy = ready("keyboard", 2, "osc", "vcc")
    inside = toy.board.inside
    tuned = toy.board.clock.nominal_hz() / 512e3
    for place in (0, 2, 4, 7):
        sound = held(toy.fork(), toy.board.keys[place])
        expected = inside.base_hz * 2 ** (inside.semitones[place] / 12) * tuned
        assert lowest_hz(sound) == pytest.approx(expected, rel=0.01)


def test_the_octave_strap_doubles_the_note():
    toy = ready("keyboard", 2, "oct", "gnd")
    key = toy.board.keys[0]
    low = lowest_hz(held(toy.fork(), key))
    toy.connect([link("oct", "gnd", 10e3)])
    assert lowest_hz(held(toy, key)) == pytest.approx(2 * low, rel=0.02)
    # 82 kohm to the rail against 330 kohm to ground stays high
    toy.connect([link("oct", "gnd", 330e3)])
    assert lowest_hz(held(toy, key)) == pytest.approx(low, rel=0.02)


def test_keys_without_diodes_ghost():
    """Two columns joined: a key of the one is a key of the other too."""
    toy = ready("keyboard", 2, "col0", "col2", "row0", "row1")
    keys = toy.board.keys
    chips = toy._chips
    toy.keys({keys[0]})
    toy.run(RATE_HZ // 10)
    assert chips._down == {0}
    toy.connect([link("col0", "col2", 3e3)])
    toy.run(RATE_HZ // 10)
    assert chips._down == {0, 2}
    toy.connect([link("row0", "row1", 3e3)])
    toy.run(RATE_HZ // 10)
    assert chips._down == {0, 5}, "and two rows"
    toy.connect([])
    # three keys at the corners of a rectangle make the fourth
    toy.keys({keys[0], keys[1], keys[5]})
    toy.run(RATE_HZ // 10)
    assert chips._down == {0, 1, 5, 6}


def test_the_envelope_leaks_with_its_time_constant_and_a_bridge_halves_it():
    levels = {}
    for path_ohm in (None, 1.0):
        toy = ready("keyboard", 2, "env", "gnd")
        env = toy.board.nets[toy.board.roles["env"]].drive
        if path_ohm is not None:
            path_ohm = env.pull[0]
            toy.connect([link("env", "gnd", path_ohm)])
        held(toy, toy.board.keys[0], 0.5)
        toy.run(RATE_HZ // 20)
        before = toy._chips._env_level
        toy.run(RATE_HZ // 5)
        tau_s = 0.2 / np.log(before / toy._chips._env_level)
        levels[path_ohm] = tau_s
        expected = env.pull[0] * toy.board.inside.env_farad / (1 if path_ohm is None else 2)
        assert tau_s == pytest.approx(expected, rel=0.01)


def test_an_envelope_held_up_sounds_until_it_is_let_go():
    toy = ready("keyboard", 2, "env", "vcc")
    held(toy, toy.board.keys[0], 0.3)
    toy.connect([link("env", "vcc", 47e3)])
    toy.run(10 * RATE_HZ)
    assert np.std(toy.run(RATE_HZ)) > 0.02
    toy.connect([])
    toy.run(5 * RATE_HZ)
    assert not np.any(toy.run(RATE_HZ))


def test_a_divider_pulled_over_its_threshold_stops_those_behind_it():
    toy = ready("keyboard", 2, "q0", "vcc")
    strong = dataclasses.replace(toy.board.nets[toy.board.roles["q0"]].drive, low_ohm=50e3)
    nets = list(toy.board.nets)
    nets[toy.board.roles["q0"]] = dataclasses.replace(
        nets[toy.board.roles["q0"]], drive=strong
    )
    circuit = toy.board.circuit
    board = dataclasses.replace(
        toy.board, nets=tuple(nets),
        circuit=type(circuit)([n.drive for n in nets], circuit.resistors, circuit.fixed),
    )  # fmt: skip
    toy = SimulatedToy(board, 5)
    switch_on(toy)
    toy.connect([link("q0", "vcc", 3e3)])
    toy.keys({board.keys[0]})
    seen = set()
    for _ in range(20):
        toy.run(RATE_HZ // 50)
        seen.add(toy._chips._state[0][1:3])
    # q0 never reads low, so q1 and q2 stand still
    assert len(seen) == 1


SAMPLER = Path(__file__).parents[2] / "configs" / "boards" / "sampler.yaml"


def sampler_levels(*links: Link, roles: tuple[str, ...]) -> np.ndarray:
    """Give what the ladder makes of every code, with these closures."""
    board = load_board(SAMPLER)
    toy = SimulatedToy(with_pads(board, *roles), 1)
    switch_on(toy)
    toy.connect(list(links))
    toy._chips.rewired()
    return toy._chips._table()


def test_the_ladder_gives_even_steps():
    levels = sampler_levels(roles=("b2", "gnd"))
    steps = np.diff(levels)
    # the outputs' 250 ohm beside 2R = 20 kohm leave the steps even within some per cent
    assert np.all(steps > 0)
    assert steps == pytest.approx(np.full(31, steps.mean()), rel=0.2)


def test_a_ladder_bit_joined_to_ground_loses_its_share_as_the_divider_says():
    plain = sampler_levels(roles=("b4", "gnd"))
    bridged = sampler_levels(link("b4", "gnd", 3e3), roles=("b4", "gnd"))
    codes = np.arange(32)
    high = codes >> 4 & 1
    # the output's 250 ohm against 3 kohm to ground: V 3000 / 3250 and 231 ohm behind it
    assert bridged[high == 0] == pytest.approx(plain[high == 0], rel=0.03, abs=0.01)
    share = (bridged[16] - bridged[0]) / (plain[16] - plain[0])
    assert share == pytest.approx(3000 / 3250, rel=0.005)


def test_two_ladder_nodes_joined_make_the_steps_that_the_solver_gives():
    """Against a nodal solution put together here, from the board file's own numbers."""
    bridged = sampler_levels(link("l1", "l4", 3e3), roles=("l1", "l4"))
    plain = sampler_levels(roles=("l1", "l4"))

    def solved(code: int, bridge_ohm: float | None) -> float:
        # nodes: l0..l4, filt, amp
        siemens, amps = np.zeros((7, 7)), np.zeros(7)

        def join(a: int, b: int | None, ohm: float, volts: float = 0.0) -> None:
            siemens[a, a] += 1 / ohm
            if b is None:
                amps[a] += volts / ohm
            else:
                siemens[b, b] += 1 / ohm
                siemens[a, b] -= 1 / ohm
                siemens[b, a] -= 1 / ohm

        join(0, None, 20e3)
        for i in range(5):
            join(i, None, 20e3 + 250, float(code >> i & 1))
            if i < 4:
                join(i, i + 1, 10e3)
        join(4, 5, 10e3)
        join(5, 6, 47e3)
        join(6, None, 150e3, 0.5)
        join(6, None, 10e6)
        if bridge_ohm is not None:
            join(1, 4, bridge_ohm)
        return float(np.linalg.solve(siemens, amps)[6])

    scale = (plain[31] - plain[0]) / (solved(31, None) - solved(0, None))
    for code in range(32):
        for levels, ohm in ((plain, None), (bridged, 3e3)):
            expected = (solved(code, ohm) - solved(0, ohm)) * scale
            assert levels[code] - levels[0] == pytest.approx(expected, abs=2e-4)


def test_an_address_line_held_low_repeats_its_stretch():
    """a9 low: samples 512 to 1023 of each 1024 are those of 0 to 511 again."""
    board = load_board(SAMPLER)
    toy = SimulatedToy(with_pads(board, "a9", "gnd"), 1)
    switch_on(toy)
    codes = board.inside.sounds.codes
    toy.connect([link("a9", "gnd", 3e3)])
    chips = toy._chips
    chips.rewired()
    seen = [chips._solved(a & chips._mask_a, 0, 0)[0] for a in (0, 512)]
    assert seen == [0, 0], "18 kohm high against 3 kohm to ground reads low"
    chips._state = 0, 0, 16, True, 0.0
    played = []
    for _ in range(8):
        levels, _ = chips._one_by_one(RATE_HZ / 50, (0, False, 1, 1))
        played += levels.tolist()
    played = np.array(played[:1024])
    assert np.array_equal(played[:512], played[512:])
    assert len(set(codes[:512])) > 3


def test_two_address_lines_joined_read_as_their_wired_levels():
    """Equal drivers at odds meet half-way, and the threshold decides for both."""
    board = with_pads(load_board(SAMPLER), "a9", "a10")
    toy = SimulatedToy(board, 1)
    switch_on(toy)
    toy.connect([link("a9", "a10", 3e3)])
    chips = toy._chips
    chips.rewired()
    # a9 has 18 kohm, a10 22 kohm: with a9 high and a10 low, a10 is at 22 / 43 = 0.51
    level = 22 / 43
    assert toy._wiring.level(board.roles["a10"]) == pytest.approx(0.0, abs=1e-6)
    read = chips._solved(1 << 9, 0, 0)[0]
    assert bool(read >> 10 & 1) == (level > 0.47)
    assert read >> 9 & 1 == 1
    read = chips._solved(1 << 10, 0, 0)[0]
    # with a10 high and a9 low, a9 is at 18 / 43 = 0.42 and a10 at 21 / 43 = 0.49
    assert bool(read >> 9 & 1) == (18 / 43 > 0.47)
    assert bool(read >> 10 & 1) == (21 / 43 > 0.47)


def test_backwards_half_speed_and_over_and_over():
    board = load_board(SAMPLER)
    toy = SimulatedToy(with_pads(board, "rev", "half", "loop", "gnd"), 1)
    switch_on(toy)
    key = board.keys[1]
    plain = toy.fork()
    length = np.flatnonzero(np.abs(held(plain, key, 3.0)) > 1e-3)[-1]
    slow = toy.fork()
    slow.connect([link("half", "gnd", 3e3)])
    assert np.flatnonzero(np.abs(held(slow, key, 3.0)) > 1e-3)[-1] == pytest.approx(
        2 * length, rel=0.03
    )
    over = toy.fork()
    over.connect([link("loop", "gnd", 3e3)])
    held(over, key, 3.0)
    assert np.std(over.run(RATE_HZ)) > 0.01
    over.connect([])
    over.run(2 * RATE_HZ)
    assert not np.any(over.run(RATE_HZ)), "it ends with its sound where it doesn't latch"
