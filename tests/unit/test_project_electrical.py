"""Paths, worst currents and which pads may be joined; and the set-up's facts and hash."""

import json
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.bench.simulated.circuit import Circuit, Drive, Link
from rig.project import (
    Project,
    Rig,
    Toy,
    path_ohm,
    setup_difference,
    setup_facts,
    setup_hash,
    touchable,
    worst_current_ma,
)
from rig.project.electrical import (
    CLOCK_LEAST_OHM,
    current_ma,
    highest_v,
    least_lead_ohm,
    pad_path_ohm,
    rail_path_ohm,
    rail_safe_ohm,
)

PADS = {
    "A": {"kind": "rail", "note": "plus"}, "B": {"kind": "rail"}, "C": {}, "D": {},
    "E": {"forbidden": True}, "F": {"kind": "clock"}, "G": {},
}  # fmt: skip


def project(volts=4.5, source="cells", pads=PADS, **rig):
    toy = Toy.model_validate(
        {"name": "t", "supply": {"volts": volts, "source": source}, "pads": pads,
         "keys": {"red": {}, "blue": {}}}
    )  # fmt: skip
    fields = {"bench": "simulated", "lead_ohm": 1500, "switch_ohm": 0.2,
              "series_ohm": [0, 6800, 150000], "simulated": {"seed": 1, "pads": 8}} | rig  # fmt: skip
    return Project(Path("x"), toy, Rig.model_validate(fields))


def test_a_path_is_both_leads_both_switches_and_the_series_value():
    assert path_ohm(project().rig, 6800) == pytest.approx(2 * 1500 + 2 * 0.2 + 6800)


def test_worst_current_of_a_pair_by_hand():
    # Three fresh cells of 1.6 V through two leads of 1,500 ohm: 4.8 V / 3,000 ohm = 1.6 mA.
    assert worst_current_ma(project()) == pytest.approx(1.6)
    # 4.5 V of a bench supply: 1.5 mA. With 1,500 ohm as the least series value: 1.0 mA.
    assert worst_current_ma(project(source="bench")) == pytest.approx(1.5)
    assert worst_current_ma(project(source="bench", series_ohm=[1500])) == pytest.approx(1.0)


def test_the_switch_is_not_counted_on():
    assert worst_current_ma(project(switch_ohm=500)) == worst_current_ma(project(switch_ohm=0))


@pytest.mark.parametrize(
    ("pads_1", "pads_2", "series", "words"),
    [
        (("C",), ("D",), 0, None),
        (("D",), ("C",), 0, None),
        (("A",), ("C",), 0, None),
        (("A",), ("B",), 0, "are rails: at least 9.6 kΩ"),
        (("A",), ("B",), 6800, None),
        (("A", "B"), ("C",), 150000, "would share bus 1"),
        (("C",), ("A", "B"), 150000, "would share bus 2"),
        (("E",), ("C",), 0, "pad E is forbidden"),
        (("C",), ("F",), 6800, "pad F is a clock"),
        (("F",), ("C",), 150000, None),
        (("C",), ("Z",), 0, "no pad Z"),
        (("C",), ("C",), 0, "closed twice"),
        (("C", "D"), ("D",), 0, "closed twice"),
        ((), ("C",), 0, "a pad on each bus"),
        (("C",), (), 0, None),
        (("B",), (), 0, None),
        (("F",), (), 0, None),
        (("E",), (), 0, "pad E is forbidden"),
        (("Z",), (), 0, "no pad Z"),
        (("C", "D"), (), 0, "a pad on each bus"),
        (("C", "D"), ("G",), 150000, None),
        (("C", "D"), ("G",), 0, "2.13 mA could flow"),  # 4.8 V / (1500 + 1500 / 2) ohm
    ],
)
def test_which_pads_may_be_joined(pads_1, pads_2, series, words):
    reason = touchable(project(), pads_1, pads_2, series)
    assert (reason is None) if words is None else (words in reason)


def test_by_hand_there_are_no_leads():
    made = project()
    by_hand = replace(made, rig=made.rig.model_copy(update={"bench": "by-hand"}))
    assert "a pad on each bus" in touchable(by_hand, ("C",), (), 0)


def test_a_group_carries_more_than_a_pair():
    # 4.8 V, one pad against seven through leads of 1.2 kohm: 4.8 V / (1200 + 1200 / 7) ohm.
    wide = project(pads={letter: {} for letter in "ABCDEFGH"}, lead_ohm=1200)
    assert "3.50 mA could flow" in touchable(wide, ("A",), tuple("BCDEFGH"), 0)
    assert "3.50 mA could flow" in touchable(wide, tuple("BCDEFGH"), ("A",), 0)
    assert touchable(wide, ("A",), ("B",), 0) is None
    # A pad beside it is past the series value: 4.8 V / (1200 + 1200 beside 151,200) ohm.
    assert "2.01 mA could flow" in touchable(wide, ("A", "B"), ("C",), 150_000)
    assert "2.01 mA could flow" in touchable(wide, ("C",), ("A", "B"), 150_000)


GROUPS = st.tuples(st.integers(1, 4), st.integers(1, 4))
LEAD, SERIES = st.floats(1, 50_000), st.one_of(st.just(0.0), st.floats(0.1, 1e6))


def pads_of(counts, volts=3.0, **rig):
    """Give a project with a pad for each place, and the letters on either bus."""
    ones = tuple("ABCDEFGH")[: counts[0]]
    others = tuple("IJKLMNOP")[: counts[1]]
    return project(volts, pads={p: {} for p in ones + others}, **rig), ones, others


@given(GROUPS, LEAD, SERIES)
def test_no_corner_puts_more_through_a_pad_than_is_counted_on(counts, lead_ohm, series_ohm):
    """All pads at one rail or the other, in every way, by Kirchhoff's current law at the buses."""
    m, n = counts
    over = 1 / series_ohm if series_ohm else 1e9 / lead_ohm
    buses = np.array([[m / lead_ohm + over, -over], [-over, n / lead_ohm + over]])
    most = [0.0, 0.0]
    for volts in product((0.0, 1.0), repeat=m + n):
        fed = [sum(volts[:m]) / lead_ohm, sum(volts[m:]) / lead_ohm]
        bus_v = np.linalg.solve(buses, fed)
        for place, pad_v in enumerate(volts):
            bus = int(place >= m)
            most[bus] = max(most[bus], abs(pad_v - bus_v[bus]) / lead_ohm)
    rig = project(lead_ohm=lead_ohm).rig
    assert most[0] == pytest.approx(1 / pad_path_ohm(rig, m - 1, n, series_ohm), rel=1e-5)
    assert most[1] == pytest.approx(1 / pad_path_ohm(rig, n - 1, m, series_ohm), rel=1e-5)


@given(GROUPS, LEAD, SERIES, st.floats(0.8, 12), st.floats(0.5, 1.5))
def test_groups_are_refused_where_the_solved_circuit_is_over_the_limit(
    counts, lead_ohm, series_ohm, volts, share
):
    limit_ma = share * volts / lead_ohm * 1000
    made, ones, others = pads_of(
        counts, volts, source="bench", lead_ohm=lead_ohm, current_limit_ma=limit_ma
    )
    pads = ones + others
    net_of = {pad: net for net, pad in enumerate(pads)}
    link = Link(ones, others, lead_ohm, series_ohm, 0.0)
    worst_ma = 0.0
    for lone in pads:
        fixed = {net: float(pad == lone) for pad, net in net_of.items()}
        circuit = Circuit([Drive()] * len(pads), [], fixed)
        resistors = circuit.link_resistors([link], net_of)
        bridged = circuit.bridged(resistors)
        levels, _ = bridged.solved([0] * len(pads))
        level = {**fixed, **{node: levels[place] for node, place in bridged.place.items()}}
        through = sum((level[a] - level[b]) * (1 if a == net_of[lone] else -1) / ohm
                      for a, b, ohm in resistors if net_of[lone] in (a, b))  # fmt: skip
        worst_ma = max(worst_ma, through * volts * 1000)
    if abs(worst_ma / limit_ma - 1) > 1e-5:
        assert (touchable(made, ones, others, series_ohm) is None) == (worst_ma < limit_ma)


@given(GROUPS, LEAD, SERIES, st.booleans())
def test_two_rails_stay_apart_with_the_others_joined_in_the_toy(counts, lead_ohm, series_ohm, joined):
    """Solved with all other pads one net of the toy, or with none joined to another."""
    m, n = counts
    rest = m + n - 2
    # nets: the two rails, the two buses, then the other pads
    over_ohm = series_ohm or lead_ohm * 1e-9
    nets = [4 if joined else 4 + place for place in range(rest)]
    parts = [(0, 2, lead_ohm), (1, 3, lead_ohm), (2, 3, over_ohm)]
    parts += [(2 if place < m - 1 else 3, net, lead_ohm) for place, net in enumerate(nets)]
    drives = [Drive()] * (4 + max(rest, 1))
    bridged = Circuit(drives, parts, {0: 1.0, 1: 0.0}).bridged([], whole=True)
    levels, _ = bridged.solved([0] * len(drives))
    through = (1.0 - levels[bridged.place[2]]) / lead_ohm
    least = 1 / rail_path_ohm(project(lead_ohm=lead_ohm).rig, m - 1, n - 1, series_ohm)
    if joined:
        assert through == pytest.approx(least, rel=1e-4)
    assert through <= least * (1 + 1e-4)


def test_other_pads_bring_two_rails_nearer():
    # 2 x 1.5 kohm and 6.8 kohm beside 2 x 1.5 kohm: 5.08 kohm, of 9.6 that are asked for
    assert touchable(project(), ("A",), ("B",), 6800) is None
    assert touchable(project(), ("A", "C"), ("B",), 6800) is None
    assert "A and B are rails" in touchable(project(), ("A", "C"), ("B", "D"), 6800)
    assert rail_path_ohm(project().rig, 1, 1, 6800) == pytest.approx(3000 + 6800 * 3000 / 9800)
    assert rail_safe_ohm(project().toy) == pytest.approx(9600)


def test_a_pad_beside_a_clock_reaches_it_past_the_series_value():
    assert touchable(project(), ("F",), ("C",), 150_000) is None
    assert "F is a clock" in touchable(project(), ("F", "C"), ("D",), 150_000)
    assert "F is a clock" in touchable(project(), ("D",), ("C", "F"), 150_000)
    # Two pads across are nearer than one: 1.5 + 27 + 0.75 kohm in place of 1.5 + 27 + 1.5.
    assert CLOCK_LEAST_OHM == 30_000
    assert touchable(project(), ("F",), ("C",), 27_000) is None
    assert "F is a clock" in touchable(project(), ("F",), ("C", "D"), 27_000)


def test_a_multiplexer_closes_no_groups():
    mux = project(switch="multiplexer")
    assert touchable(mux, ("C",), ("D",), 0) is None
    assert "multiplexer" in touchable(mux, ("C", "G"), ("D",), 0)


@given(st.permutations(list(PADS)), st.sampled_from([0, 6800, 150000]), st.integers(1, 3))
def test_pads_may_be_swapped_between_the_buses(order, series, split):
    pads_1, pads_2 = tuple(order[:split]), tuple(order[split : split + 2])
    there, back = (
        touchable(project(), *pair, series) for pair in ((pads_1, pads_2), (pads_2, pads_1))
    )
    assert (there is None) == (back is None)


@given(
    st.floats(0.8, 12), st.sampled_from(["cells", "bench"]), st.floats(0.1, 10),
    st.floats(0, 20_000),
)  # fmt: skip
def test_the_least_lead_keeps_the_limit_and_is_not_wasteful(volts, source, limit, series):
    p = project(volts, source, current_limit_ma=limit, series_ohm=[series])
    least = least_lead_ohm(p.toy, p.rig)
    assert current_ma(p.toy, 2 * least + series) <= limit * (1 + 1e-6) or least == 0
    if least > 0:
        exact = (highest_v(p.toy) / limit * 1000 - series) / 2
        assert exact * (1 - 1e-6) <= least <= exact * 1.1 + 1e-9


def test_facts_hold_no_notes_names_or_ports():
    text = json.dumps(setup_facts(project()))
    assert "plus" not in text
    a = project()
    renamed = Project(Path("y"), a.toy.model_copy(update={"name": "other"}), a.rig)
    assert setup_facts(renamed) == setup_facts(a)
    assert setup_hash(renamed) == setup_hash(a)
    assert len(setup_hash(a)) == 64


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"lead_ohm": 1800}, "lead_ohm was 1500.0, is 1800.0"),
        ({"series_ohm": [0, 6800]}, "series_ohm"),
        ({"volts": 6.0}, "supply"),
        ({"simulated": {"seed": 2, "pads": 8}}, "simulated"),
        ({"timings": {"dwell_ms": 900}}, "timings"),
    ],
)
def test_another_set_up_is_told_apart(changed, words):
    before, now = project(), project(**changed)
    assert setup_hash(before) != setup_hash(now)
    assert words in setup_difference(setup_facts(before), setup_facts(now))


def test_pads_and_keys_may_be_added_but_not_changed():
    old = project(pads={"A": {}, "B": {}})
    more = project(pads={"A": {}, "B": {}, "C": {"kind": "rail"}})
    other = project(pads={"A": {}, "B": {"kind": "clock"}, "C": {}})
    assert setup_hash(old) == setup_hash(more)
    logged = json.loads(json.dumps(setup_facts(old)))
    assert setup_difference(logged, setup_facts(old)) is None
    assert setup_difference(logged, setup_facts(more)) is None
    assert setup_difference(logged, setup_facts(other)) == "pads: B was changed or taken away"
    assert setup_difference(setup_facts(more), logged) == "pads: C was changed or taken away"
