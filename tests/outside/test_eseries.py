"""Resistor values, colours and body resistance against the standards' tables.

No copy of the standards was at hand: all tables here are from memory, as said beside each.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.build.fitting import BODY_FLOOR_OHM, BODY_LIMIT_MA, body_fixed_ohm
from rig.build.series import E12, E24, at_least, bands, nearest
from rig.project.electrical import MAX_SUPPLY_V

# IEC 60063, table of the E series (from memory), times ten.
IEC_60063_E12 = "10 12 15 18 22 27 33 39 47 56 68 82"
IEC_60063_E24 = "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91"

# IEC 60062, colour code of resistors with four bands (from memory): value -> first three bands.
IEC_60062 = {
    10: "brown black black",
    47: "yellow violet black",
    100: "brown black brown",
    330: "orange orange brown",
    1_000: "brown black red",
    2_200: "red red red",
    3_000: "orange black red",
    5_600: "green blue red",
    10_000: "brown black orange",
    39_000: "orange white orange",
    68_000: "blue grey orange",
    160_000: "brown blue yellow",
    1_000_000: "brown black green",
    8_200_000: "grey red green",
    4.7: "yellow violet gold",
}


@pytest.mark.parametrize(("series", "table"), [(E12, IEC_60063_E12), (E24, IEC_60063_E24)])
def test_the_series_are_those_of_the_standard(series, table):
    assert [round(number * 10) for number in series] == [int(word) for word in table.split()]
    assert all(math.isclose(number * 10, round(number * 10)) for number in series)


def test_e12_is_every_second_value_of_e24():
    assert E24[::2] == E12


def test_the_series_follow_the_powers_that_define_them():
    # IEC 60063 (from memory): the values of a decade are 10^(n/24) in two digits; eight of them
    # are older than that and stand a tenth beside it.
    rounded = [round(10 ** (n / 24), 1) for n in range(24)]
    assert {value: number for value, number in zip(rounded, E24, strict=True) if value != number} == {
        2.6: 2.7, 2.9: 3.0, 3.2: 3.3, 3.5: 3.6, 3.8: 3.9, 4.2: 4.3, 4.6: 4.7, 8.3: 8.2}


@pytest.mark.parametrize(("ohm", "expected"), IEC_60062.items())
def test_colours_are_those_of_the_standard(ohm, expected):
    assert " ".join(bands(ohm)) == expected


@given(st.floats(1, 9e6), st.sampled_from([E12, E24]))
def test_nearest_is_nearer_than_every_other_value(ohm, series):
    found = nearest(ohm, series)
    for decade in range(-1, 8):
        for number in series:
            other = number * 10.0**decade
            assert abs(math.log(found / ohm)) <= abs(math.log(other / ohm)) + 1e-9


@given(st.floats(1, 9e6), st.sampled_from([E12, E24]))
def test_at_least_is_the_smallest_value_that_is_not_below(ohm, series):
    found = at_least(ohm, series, tolerance=0.0)
    assert found >= ohm
    every = [n * 10.0**d for d in range(-1, 8) for n in series]
    assert not [v for v in every if ohm <= v < found * (1 - 1e-9)]


@given(st.floats(1, 9e6))
def test_no_part_of_the_value_that_is_fitted_is_below(ohm):
    # a gold band is 5 % either way: IEC 60062 (memory)
    found = at_least(ohm)
    assert found * 0.95 >= ohm * (1 - 1e-9)
    lower = [v for v in (number * 10.0**d for number in E24 for d in range(8)) if v < found * 0.999]
    assert all(value * 0.95 < ohm for value in lower)


@given(st.sampled_from(E24), st.integers(0, 5))
def test_bands_read_back_to_the_value(number, decade):
    colours = [
        "black",
        "brown",
        "red",
        "orange",
        "yellow",
        "green",
        "blue",
        "violet",
        "grey",
        "white",
    ]
    first, second, power = bands(float(f"{number}e{decade}")) if decade else bands(number)
    exponent = -1 if power == "gold" else colours.index(power)
    value = (10 * colours.index(first) + colours.index(second)) * 10.0**exponent
    assert value == pytest.approx(number * 10.0**decade)


def test_what_has_no_bands_is_refused():
    for ohm in (123.0, 0.12, 1.234e6):
        with pytest.raises(ValueError, match="no bands"):
            bands(ohm)


def test_body_contacts_stay_below_the_thresholds_of_iec_60479():
    # IEC 60479-1 (from memory): hand to hand, d.c., 25 V, large dry contact, 5th percentile
    # 2,100 ohm; threshold of perception 2 mA d.c., startle reaction 0.5 mA a.c.
    assert BODY_FLOOR_OHM == 2_100
    assert BODY_LIMIT_MA == 0.5
    for volts in (1.6, 3.2, 4.8, 6.4, 9.6, MAX_SUPPLY_V * 1.6 / 1.5):
        least_ohm = 0.95 * body_fixed_ohm(volts)  # a gold band is 5 % either way
        assert volts / (least_ohm + 2_100) * 1000 <= 0.5


def test_the_supply_limit_is_far_below_the_safe_touch_voltage():
    # IEC 62368-1 (from memory): up to 60 V d.c. is the least hazardous class.
    assert MAX_SUPPLY_V * 1.6 / 1.5 < 60 / 4
