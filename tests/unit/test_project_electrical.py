"""Paths, worst currents and which pads may be joined; and the set-up's facts and hash."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

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
from rig.project.electrical import current_ma, highest_v, least_lead_ohm

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
        (("C", "D"), ("G",), 0, None),
    ],
)
def test_which_pads_may_be_joined(pads_1, pads_2, series, words):
    reason = touchable(project(), pads_1, pads_2, series)
    assert (reason is None) if words is None else (words in reason)


def test_groups_are_judged_without_the_series_value():
    # 1.6 mA through the two leads alone is above a limit of 1 mA, 4.8 V / 5 kohm isn't.
    tight = project(current_limit_ma=1.0, series_ohm=[2000])
    assert touchable(tight, ("C",), ("D",), 2000) is None
    assert "limit is 1 mA" in touchable(tight, ("C", "G"), ("D",), 2000)


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
