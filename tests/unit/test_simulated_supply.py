"""The simulated toy's supply: what the rail does, what is drawn, and what that leads to."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest

from rig.bench.simulated.board import KINDS, Board, load_board, make_board
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.supply import BLEED_OHM, Guard, Power, Supply, make_power
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.project.models import Guard as Limits

SEED = 9


def board(volts: float = 4.5, **power) -> Board:
    """Give a talker with leads on the amplifier's input and on the clock."""
    made = make_board(SEED, 40)
    assert {"amp", "osc", "vcc", "gnd", "nc0"} <= {made.nets[p.net].role for p in made.pads}
    clock = dataclasses.replace(made.clock, lead_farad=0.0)
    return dataclasses.replace(made, volts=volts, power=Power(**power), clock=clock)


def ready(made: Board, guard: Guard | None = None) -> SimulatedToy:
    toy = SimulatedToy(made, 1, guard)
    switch_on(toy)
    return toy


def link(toy: SimulatedToy, one: str, two: str, series_ohm: float = 0.0) -> Link:
    pads = {toy.board.nets[pad.net].role: pad.letter for pad in toy.board.pads}
    return Link((pads[one],), (pads[two],), 1500.0, series_ohm, 0.0)


def rms(sound: np.ndarray) -> float:
    return float(np.sqrt(np.mean(sound.astype(float) ** 2)))


@pytest.mark.parametrize("rail_farad", [47e-6, 220e-6, 1000e-6])
def test_the_rail_falls_with_its_capacitor_and_the_bleed(rail_farad):
    toy = ready(board(rail_farad=rail_farad))
    from_v = toy.rail_v()
    toy.supply(False)
    toy.run(RATE_HZ // 10)
    # v = V e^(-t/RC)
    assert toy.rail_v() == pytest.approx(
        from_v * math.exp(-0.1 / (BLEED_OHM * rail_farad)), rel=1e-3
    )


def test_what_a_bridge_draws_is_in_the_supplys_current():
    toy = ready(board())
    toy.run(RATE_HZ)
    before_ma = toy.supply_ma()
    toy.connect([link(toy, "vcc", "gnd", 6e3)])
    toy.run(RATE_HZ)
    assert toy.supply_ma() - before_ma == pytest.approx(1000 * 4.5 / 9e3, rel=0.01)
    toy.connect([])
    toy.run(RATE_HZ)
    assert toy.supply_ma() == pytest.approx(before_ma)


def test_groups_on_a_bus_draw_what_their_circuit_says():
    toy = ready(board())
    toy.run(RATE_HZ)
    before_ma = toy.supply_ma()
    one = link(toy, "vcc", "gnd")
    inert = link(toy, "nc0", "gnd")
    toy.connect([dataclasses.replace(one, pads_1=one.pads_1 + inert.pads_1, series_ohm=3e3)])
    toy.run(RATE_HZ)
    # the inert net takes no current: rail, lead, series, lead, ground
    assert toy.supply_ma() - before_ma == pytest.approx(1000 * 4.5 / 6e3, rel=0.01)


def test_speech_draws_more_than_silence_and_less_than_a_direct_current():
    toy = ready(board(direct=True))
    toy.keys({toy.board.keys[0]})
    speaking = max(toy.supply_ma() for _ in range(10) if toy.run(4800) is not None)
    assert 5 < speaking < 100
    toy.keys(set())
    toy.run(3 * RATE_HZ)
    assert toy.supply_ma() < 3
    toy.connect([link(toy, "amp", "vcc")])
    toy.run(RATE_HZ // 5)
    # less than half the rail over the speaker: no more can be
    assert 150 < toy.supply_ma() < 1000 * 2.25 / 8


@pytest.mark.parametrize("kind", KINDS)
def test_a_toys_own_sound_never_trips_the_guard_nor_browns_it_out(kind):
    loudest = 0.0
    for seed in range(12):
        toy = ready(make_board(seed, 24, kind), Guard.of(Limits()))
        for key in toy.board.keys:
            toy.keys({key})
            for _ in range(5):
                toy.run(RATE_HZ // 10)
                loudest = max(loudest, toy.supply_ma())
            toy.keys(set())
            toy.run(RATE_HZ // 10)
        assert not toy.guard.tripped, seed
        assert toy.brown_outs == 0, seed
    assert 30 < loudest < 110


def test_a_direct_current_through_the_speaker_trips_the_guard_and_a_capacitor_stops_it():
    for direct in (True, False):
        toy = ready(board(direct=direct), Guard.of(Limits()))
        toy.connect([link(toy, "amp", "vcc")])
        toy.run(RATE_HZ // 2)
        assert toy.guard.tripped == direct
        if direct:
            assert 0 < toy.ran - toy.tripped_at < RATE_HZ // 2
            toy.run(RATE_HZ)
            assert toy.rail_v() < 0.2
            switch_on(toy)
            assert not toy.guard.tripped
            toy.keys({toy.board.keys[0]})
            assert rms(toy.run(RATE_HZ // 2)) > 0.02


def test_over_a_high_resistance_it_does_not_trip():
    toy = ready(board(direct=True), Guard.of(Limits()))
    toy.connect([link(toy, "amp", "vcc", 1e6)])
    toy.run(RATE_HZ)
    assert not toy.guard.tripped


def test_the_guard_waits_out_the_inrush_and_averages():
    guard = Guard(peak_ma=300, average_ma=150, inrush_ms=100)
    guard.switched_on()
    assert not guard.take(1000, 1000, 0.05)
    assert not guard.take(1000, 1000, 0.05)
    assert guard.take(10, 301, 0.005)
    guard.switched_on()
    guard.take(10, 20, 0.2)
    blows = [guard.take(200, 250, 0.02) for _ in range(20)]
    assert 3 < blows.index(True) < 12
    assert sum(blows) == 1, "it trips once and stays so"
    guard.switched_on()
    assert not any(guard.take(140, 250, 0.02) for _ in range(100))


@pytest.mark.parametrize("resets", [True, False])
def test_tired_cells_brown_out_and_the_toy_goes_on_or_starts_anew(resets):
    toy = ready(board(volts=3.0, direct=True, source_ohm=14.0, resets=resets))
    toy.keys({toy.board.keys[0]})
    toy.run(RATE_HZ // 5)
    toy.keys(set())
    assert toy.brown_outs == 0, "speech alone doesn't pull it down"
    toy.connect([link(toy, "amp", "vcc")])
    toy.run(RATE_HZ // 2)
    assert toy.brown_outs > 0
    toy.connect([])
    toy.run(RATE_HZ // 10)  # the rail comes back with a thump
    after = toy.run(RATE_HZ // 10)
    assert (rms(after) > 1e-3) != resets, "chips that start anew are quiet while they do"
    toy.run(3 * RATE_HZ)
    assert toy.rail_v() > 2.9
    for key in (*toy.board.on, toy.board.keys[0]):
        toy.keys({key})
        said = toy.run(RATE_HZ // 2)
        toy.keys(set())
    assert rms(said) > 0.02


def test_a_rail_below_the_chips_has_to_rise_a_little_more_before_they_run():
    supply = Supply(4.5, Power(runs_above=0.6), on=True, rail_v=0.62 * 4.5)
    assert supply.runs(already=True)
    assert not supply.runs(already=False)


@pytest.mark.parametrize("series_ohm", [0.0, 150e3])
def test_a_clock_that_feels_the_lead_runs_slower_whatever_hangs_on_the_other(series_ohm):
    made = board()
    touchy = dataclasses.replace(made.clock, lead_farad=0.1 * made.clock.c_farad)
    steps = []
    for clock in (made.clock, touchy):
        toy = ready(dataclasses.replace(made, clock=clock))
        toy.keys({toy.board.keys[0]})
        toy.run(RATE_HZ // 5)
        rest = toy._chips._step
        toy.connect([link(toy, "osc", "nc0", series_ohm)])
        steps.append(toy._chips._step / rest)
        toy.connect([])
        assert toy._chips._step == rest
    assert steps[0] == pytest.approx(1.0, abs=1e-5)
    # T = R C ln 2, and 40 ns to empty it
    assert steps[1] == pytest.approx(1 / 1.1, rel=0.01)


def test_boards_differ_in_their_supply_and_a_seed_keeps_its_own():
    made = [make_power(seed, 4.5) for seed in range(60)]
    assert made == [make_power(seed, 4.5) for seed in range(60)]
    assert len({power.rail_farad for power in made}) == 5
    assert 10 < sum(power.direct for power in made) < 45
    assert 5 < sum(power.source_ohm > 3 for power in made) < 40
    felt = [make_board(seed, 16).clock.lead_farad > 0 for seed in range(40)]
    assert 3 < sum(felt) < 20


def test_a_board_file_says_its_supply_and_what_a_lead_adds(tmp_path):
    text = (Path(__file__).parents[2] / "configs" / "boards" / "talker.yaml").read_text("utf-8")
    file = tmp_path / "board.yaml"
    file.write_text(f"{text}\nsupply: {{source_ohm: 9, direct: true}}\nlead_farad: 4e-12\n", "utf-8")
    made = load_board(file)
    assert made.power == Power(source_ohm=9.0, direct=True)
    assert made.clock.lead_farad == 4e-12
