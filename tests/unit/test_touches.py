"""What a touch is called, and whether it is of a single pair; names are read back as they are written."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.bench import Connection, Touch
from rig.pads import in_order, is_lone, joints_of, lines_of, name_of, name_of_sides, side_text
from rig.project.models import letters
from rig.touches import Target

PADS = letters(40)


@st.composite
def joints(draw):
    """Some connections, of pads of their own."""
    left = draw(st.permutations(PADS))
    made = []
    for _ in range(draw(st.integers(1, 3))):
        one, other = draw(st.integers(1, 3)), draw(st.integers(1, 3))
        made.append((tuple(left[:one]), tuple(left[one : one + other])))
        left = left[one + other :]
    return tuple(made)


@given(joints())
def test_a_name_is_read_back(made):
    name = name_of(made)
    assert joints_of(name) == joints_of(name.lower().replace(" / ", "/")) == made
    assert name_of_sides(side_text(made, 0), side_text(made, 1)) == name
    assert lines_of(name) == [(a, b) for one, other in made for a in one for b in other]


@given(joints(), st.randoms())
def test_swapped_leads_are_the_same(made, chance):
    swapped = []
    for joint in made:
        sides = [tuple(chance.sample(side, len(side))) for side in joint]
        chance.shuffle(sides)
        swapped.append(tuple(sides))
    chance.shuffle(swapped)
    assert in_order(swapped) == in_order(made) == in_order(in_order(made))
    over = {frozenset(one + other): 1000.0 * n for n, (one, other) in enumerate(made)}
    first, second = (
        Target(tuple(Connection(*joint, over[frozenset(joint[0] + joint[1])]) for joint in way))
        for way in (made, swapped)
    )
    assert first.in_order() == second.in_order()


@pytest.mark.parametrize("wrong", ["", "A", "A-", "A-B-C", "A+B", "A-A", "A-B / A-C", "A+A-B", "1-2",
                                   "A-B /", "A B"])  # fmt: skip
def test_what_names_no_connections_is_refused(wrong):
    with pytest.raises(ValueError, match="names"):
        joints_of(wrong)


def test_what_a_single_pair_is():
    pair = Target.pair("C", "F", 10e3, "moo")
    assert pair.is_single_pair and Target.pair("C", "F", 10e3).is_single_pair
    assert (pair.name, pair.key, pair.pads) == ("C-F", "moo", ("C", "F"))
    group = Target((Connection(("A", "B"), ("C",), 10e3),), ("moo",))
    held = Target((*pair.connections, Connection(("A",), ("B",), 1e3)), ("moo",))
    chord = Target(pair.connections, ("moo", "baa"))
    assert not any(one.is_single_pair for one in (group, held, chord, Target.clean("moo")))
    assert [one.name for one in (group, held, Target.clean("moo"))] == ["A+B-C", "C-F / A-B", ""]
    assert held.in_order().name == "A-B / C-F" and held.series_ohm == 1e3
    assert chord.key == "moo+baa" and Target.of(Touch(chord.connections)).key == ""


def test_a_lead_alone_goes_by_its_pad():
    lone = Target.lone("C", 10e3, "moo")
    assert (lone.name, lone.pads, lone.side(1), lone.side(2)) == ("C", ("C",), "C", "")
    assert lone.is_lone and not lone.is_single_pair and not lone.is_clean
    assert lone.in_order() == lone == Target.of(Touch(lone.connections, lone.stimulus(80)))
    assert name_of_sides("C", "") == "C" and is_lone("C")
    assert not is_lone("C-D") and not is_lone("") and not Target.clean("moo").is_lone
    assert lone.leads == () and Target.pair("C", "F", 10e3).leads == ("C", "F")
    swapped = Target((Connection((), ("C",), 10e3),), ("moo",))
    assert swapped.in_order() == lone


def test_a_place_is_the_same_over_every_value():
    low, high = (Target.pair("C", "F", ohm, "moo") for ohm in (1e3, 10e3))
    assert low != high and low.place == high.place and hash(low.place) == hash(high.place)
    assert low.over(10e3) == high
