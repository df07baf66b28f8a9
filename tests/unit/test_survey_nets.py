"""Which pads are one net by ohms and volts, where it hurts: 100 ohm with short leads, a loudspeaker."""

from dataclasses import replace
from itertools import combinations
from math import isinf
from pathlib import Path

import numpy as np
import pytest

from firmware.generate.measures import resistance_reading_ohm
from firmware.generate.netlist import build
from rig.bench.simulated.board import make_board
from rig.bench.simulated.folder import simulated_setup
from rig.bench.simulated.senses import PART_TOLERANCE, Senses
from rig.project import Project
from rig.survey.nets import (
    ONE_NET_OHM,
    Beside,
    Between,
    agreed,
    between,
    joined,
    nets,
    uncertainty_ohm,
)
from rig.survey.readings import Fitted, PadReadings, Readings

SEEDS = range(40)
KINDS = ("talker", "keyboard", "sampler")


def project_of(seed: int, kind: str) -> Project:
    return Project(Path("x"), *simulated_setup(seed, 24, kind))


def with_resistor(board, ohm: float):
    """Fit a resistor between two nets with leads that nothing else tells apart."""
    bare = [n for n, net in enumerate(board.nets) if net.role.startswith("nc")]
    one, other = bare[:2]
    power = replace(board.power, direct=False)  # here no voltage parts the loudspeaker's wires
    return replace(board, power=power, fitted=(*board.fitted, (one, other, ohm))), one, other


def read(project: Project, senses: Senses, letters) -> Readings:
    """Read ohms alone: all voltages are the same, so nothing else can part any two."""
    ohm = {f"{a}-{b}": senses.read_ohm(senses.lead_to_lead_ohm(a, b)) for a, b in combinations(letters, 2)}
    bank = [Fitted(fitted_ohm=one, reads_ohm=senses.read_ohm(senses.series_ohm(one)))
            for one in project.rig.series_ohm]  # fmt: skip
    return Readings(
        at="2026-11-28", rail_v=4.5, idle_ma=2.0, bank=bank,
        ohm={pair: value for pair, value in ohm.items() if not isinf(value)},
        pads={pad: PadReadings(idle_v=[0.0]) for pad in letters},
    )


@pytest.mark.parametrize("kind", KINDS)
def test_100_ohm_is_never_one_net_though_the_leads_are_as_short_as_can_be(kind):
    merged = same = 0
    for seed in SEEDS:
        project = project_of(seed, kind)
        board, one, other = with_resistor(make_board(seed, 24, kind), 100.0)
        rig = project.rig
        senses = Senses(board, rig.lead_ohm, rig.switch_ohm, np.random.default_rng(seed))
        net_of = board.net_of
        for pad in board.letters:
            if net_of[pad] in (one, other):
                senses.leads_ohm[pad] = rig.lead_ohm * (1 - PART_TOLERANCE) + rig.switch_ohm
        pairs = between(project, read(project, senses, board.letters))
        sure, _ = nets(board.letters, pairs)
        for net in sure:
            assert len({net_of[pad] for pad in net}) == 1, (kind, seed, net)
        found = {pair for net in sure for pair in combinations(net, 2)}
        wanted = {pair for pair in combinations(board.letters, 2)
                  if net_of[pair[0]] == net_of[pair[1]]}  # fmt: skip
        merged, same = merged + len(found & wanted), same + len(wanted)
    assert merged / same > 0.9  # not by merging nothing


def test_what_hides_100_ohm_is_told_as_such():
    project = project_of(1, "sampler")
    assert project.rig.lead_ohm == 2700
    senses = Senses(make_board(1, 24, "sampler"), 2700, 0.2)
    readings = read(project, senses, make_board(1, 24, "sampler").letters)
    assert 2 * 27 < uncertainty_ohm(project, readings) < ONE_NET_OHM
    for pair in between(project, readings):
        assert 0 <= pair.low_ohm <= pair.high_ohm


def test_the_sense_circuit_reads_within_the_corners_that_its_netlist_gives():
    # firmware/generate/measures.py works the corners out from the drawn netlist, not from this model.
    netlist = build("reed", 24)
    board = make_board(1, 24)
    for ohm in (0.0, 500.0, 3_000.0, 5_400.0, 20_000.0):
        low, high = resistance_reading_ohm(netlist, ohm)
        for seed in range(60):
            senses = Senses(board, 1500, 0.2, np.random.default_rng(seed))
            assert low - 1 <= senses.read_ohm(ohm) <= high + 1, (ohm, seed)


def two(idle=(0.0, 0.0), sounding=((), ()), pulled=((), ()), beside=None, ohm=3000.0) -> Between:
    """Give what is said of two pads over leads of 1.5 kohm."""
    project = project_of(100, "talker")
    pads = {
        pad: PadReadings(idle_v=[idle[i]], sounding_v=list(sounding[i]), pulled=list(pulled[i]))
        for i, pad in enumerate("AB")
    }
    bank = [Fitted(fitted_ohm=one, reads_ohm=one) for one in (0, 6800)]
    readings = Readings(
        at="x", rail_v=4.5, idle_ma=2, bank=bank, ohm={"A-B": ohm}, pads=pads,
        beside={} if beside is None else {"A-B": Beside(one_v=beside[0], other_v=beside[1],
                                                        both_v=beside[2])},
    )  # fmt: skip
    (found,) = between(project, readings)
    return found


WAVE = [2.25 + 0.8 * s for s in np.sin(np.arange(24) * 1.7)]
AGAINST = [4.5 - v for v in WAVE]
STILL = [2.25] * 24
MOVES = (WAVE[:12], WAVE[12:])


def test_two_leads_and_nothing_else_are_one_net():
    assert two().is_net is True


def test_a_bridged_loudspeaker_s_two_wires_cancel_on_one_bus():
    found = two((2.25, 2.25), MOVES, beside=(WAVE, AGAINST, STILL), ohm=3008)
    assert found.is_net is False
    assert "against" in found.why


def test_one_net_that_moves_moves_as_much_with_both_on_the_bus():
    assert two((2.25, 2.25), MOVES, beside=(WAVE, WAVE[::-1], WAVE)).is_net is True


def test_what_moves_and_was_not_read_on_one_bus_is_only_maybe_one_net():
    assert two((2.25, 2.25), MOVES).is_net is None


def test_a_loudspeaker_behind_a_capacitor_has_one_end_that_stands_still():
    found = two((0.0, 0.0), (WAVE, [0.0] * 12), beside=(WAVE, [0.0] * 24, STILL), ohm=3008)
    assert found.is_net is False


def test_two_voltages_are_two_nets_however_small_the_resistance():
    assert two((2.25, 0.0), ohm=3000).is_net is False
    assert two((2.25, 2.22), ohm=3000).is_net is True


def test_a_chain_of_sure_pairs_that_a_voltage_breaks_is_not_sure():
    def pair(a, b, is_net):
        return Between((a, b), 0, 50, is_net, "" if is_net else "0.5 V between them")

    sure, maybe = nets("ABCDE", [pair("A", "B", True), pair("B", "C", True), pair("A", "C", False),
                                 pair("D", "E", True)])  # fmt: skip
    assert sure == [("D", "E")]
    assert maybe == [("A", "B", "C")]


def test_groups_that_share_a_pad_are_one_in_the_pads_order():
    assert joined("ABCDEF", [("F", "C"), ("A", "C"), ("B", "E")]) == [("A", "C", "F"), ("B", "E")]


def test_nets_of_which_the_person_has_spoken_are_not_asked_again():
    assert agreed([("A", "C"), ("B", "E")], {"C+F": "apart"}) == [("B", "E")]
