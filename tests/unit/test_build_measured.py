"""Reset and power, line out, meter, lugs, panel, leads that stay: what the sheet says of them."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from making_records import seen_twice

from firmware.generate.netlist import build
from rig.bench.simulated.folder import new_simulated_project
from rig.build import line_out
from rig.build.evidence import Evidence
from rig.build.fitting import Control, Position
from rig.build.knob import Knob
from rig.build.lugs import ends, lugs, panel
from rig.build.meter import OPEN, limits, meter, states
from rig.build.parts import next_above, parts, rating
from rig.build.pieces import Fitted, fitted
from rig.build.power import (
    CONTACTS_MA,
    MARGIN,
    Power,
    contacts_ma,
    current_words,
    hold_s,
    hold_words,
    measured,
)
from rig.build.series import E24
from rig.build.several import by_pair
from rig.build.sheet import make_sheet, see
from rig.build.work import kept_leads, rest_ohm, work
from rig.choose.picks import Pick
from rig.events import HabitsLearnt, RungTried
from rig.project import Project
from rig.project.electrical import MAX_SUPPLY_V
from rig.verify.settings import jobs


def habits(key="moo", idle_ma=2.0, sounding_ma=45.0):
    return HabitsLearnt(
        key=key, presses=16, unnoticed=0, soonest_s=0.1, latest_s=0.1, steady=True, phrases=1, heard_once=0,
        order="", while_sounding="anew", shortest_s=1.0, longest_s=1.0, idle_ma=idle_ma, sounding_ma=sounding_ma,
    )  # fmt: skip


def rung(fell_s, rung="supply", tries=1):
    return RungTried(rung=rung, tries=tries, rail_fell_s=fell_s)


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    return new_simulated_project(tmp_path_factory.mktemp("toys") / "toy", 7, 24)


def test_the_reset_is_rated_by_what_the_toy_drew_with_any_key():
    power = measured([habits("moo", 2.0, 45.0), habits("woof", 3.0, 20.0), rung(None, "wait")])
    assert power == Power(idle_ma=3.0, sounding_ma=45.0, fell_s=None)
    assert contacts_ma(power) == 200  # 4 times 45 mA, and what contacts are made for above that
    said = current_words(power)
    assert "3 mA at rest and 45 mA sounding" in said
    assert "not measured" in hold_words(power)


def test_the_button_is_held_for_twice_the_longest_fall():
    power = measured([rung(0.2), rung(1.3, tries=2), rung(None, "press"), rung(0.6)])
    assert power == Power(None, None, 1.3)
    assert hold_s(power) == 3
    said = hold_words(power)
    assert "within 1.3 s" in said and "hold the changeover button for 3 s" in said
    assert "Without a bleed nothing was measured" in said
    assert hold_s(Power(fell_s=0.01)) == 1


def test_what_was_not_measured_is_asked_for():
    power = measured([habits(idle_ma=None, sounding_ma=None)])
    assert (contacts_ma(power), hold_s(power)) == (None, None)
    assert "wasn't measured" in current_words(power) and "______\u00a0mA" in current_words(power)
    assert "______\u00a0s" in hold_words(power)


@given(st.floats(0.1, 2000))
def test_contacts_stand_the_margin(most_ma):
    found = contacts_ma(Power(sounding_ma=most_ma))
    assert found >= MARGIN * most_ma
    assert not [one for one in CONTACTS_MA if MARGIN * most_ma <= one < found]


def test_the_line_out_is_that_of_the_controllers_board():
    board = build("reed")
    assert (board["C61"].value, board["C61"].rating["volt"]) == (line_out.SERIES_F, line_out.SERIES_V) == (1e-6, 63)
    assert (board["R62"].value, board["R63"].value) == (line_out.UPPER_OHM, line_out.LOWER_OHM) == (5600, 620)
    assert board["C62"].value == line_out.LOW_PASS_F == 10e-9
    assert board["T1"].text == line_out.TRANSFORMER
    assert "600 Ω : 600 Ω, 1:1" in line_out.TRANSFORMER
    assert line_out.divider() == pytest.approx(10, rel=0.05)
    assert [line_out.farads(one) for one in (1e-6, 10e-9, 47e-12, 2.2e-6)] == ["1 µF", "10 nF", "47 pF", "2.2 µF"]


def test_the_line_out_stands_in_every_part_that_it_touches(project):
    picks = [Pick("A-C", at_ohm=4700)]
    plain, more = (make_sheet(project, picks, None, see(project, picks, None), with_line_out=one)
                   for one in (False, True))  # fmt: skip
    assert plain.line_out is None and more.line_out is not None
    assert [row.part for row in more.parts if row not in plain.parts and "wires" not in row.part] == [
        "capacitor 1 µF, line out", "resistor 5.6 kΩ, line out", "resistor 620 Ω, line out",
        "capacitor 10 nF, line out", line_out.TRANSFORMER, "jack, mono, with a switch of its own"]
    assert {row.lug for row in more.lugs if row.part == "line out"} == {"tip", "sleeve", "switch"}
    assert more.panel[-1].name == "Line out" and plain.panel[-1].name == "Reset"
    assert len(more.work) == len(plain.work) + 1
    text = " ".join((*more.line_out.lines, *more.line_out.notes))
    for word in ("neither loudspeaker wire is ground", "Never straight to a mixer", "no connection"):
        assert word in text


def test_body_contacts_and_a_line_out_are_never_touched_together(project):
    picks = [Pick("A-C", at_ohm=180_000, control="body contacts")]
    records = seen_twice("AC", path_ohm=153_000.4)
    made = make_sheet(project, picks, None, see(project, picks, records), with_line_out=True)
    assert "never while anything that plugs into the mains" in made.cautions[-1]
    assert made.cautions[-1].endswith("So never touch them with a plug in the line out.")


KINDS = {
    "toggle": Control("toggle", "t", "", 3300.0),
    "push-button": Control("push-button", "p", "", 3300.0),
    "potentiometer": Control("potentiometer", "k", "", 3300.0, pot_ohm=100_000.0),
    "photocell": Control("photocell", "c", "", 3300.0),
    "body contacts": Control("body contacts", "b", "", 180_000.0),
    "rotary switch": Control("rotary switch", "r", "", 3300.0,
                             positions=(Position(3300.0, "one"), Position(39_000.0, "two"))),
    "stepped switch": Control("stepped switch", "s", "", 3300.0,
                              positions=(Position(3300.0, "one"), Position(39_000.0, "two"))),
    "something new": Control("something new", "n", "", 3300.0),
}  # fmt: skip


@pytest.mark.parametrize(("kind", "expected"), [
    ("toggle", [("off", OPEN), ("on", "3.13 kΩ to 3.47 kΩ")]),
    ("push-button", [("off", OPEN), ("on", "3.13 kΩ to 3.47 kΩ")]),
    ("potentiometer", [("fully left", "83.1 kΩ to 124 kΩ"), ("fully right", "3.13 kΩ to 5.87 kΩ")]),
    ("photocell", [("covered", "more than 203 kΩ"), ("in light", "3.13 kΩ to 13.5 kΩ")]),
    ("body contacts", [("off", OPEN), ("domes joined by a wire", "171 kΩ to 189 kΩ")]),
    ("rotary switch", [("off", OPEN), ("position 2", "3.13 kΩ to 3.47 kΩ"), ("position 3", "37 kΩ to 41 kΩ")]),
    ("something new", [("off", OPEN), ("on", "3.13 kΩ to 3.47 kΩ")]),
])  # fmt: skip
def test_what_a_meter_is_to_show(kind, expected):
    assert states(KINDS[kind]) == expected


def test_what_is_left_out_is_not_measured():
    assert states(Control("leave out", "none", "")) == []
    rows = meter([Pick("A-C")], [Control("leave out", "none", "")])
    assert [row.what for row in rows] == ["battery plus to minus"] * 2 + ["battery plus to board plus"] * 2
    assert (rows[0].expected, rows[1].expected) == ("", "unchanged")


@given(st.floats(1, 1e7), st.floats(1, 2))
def test_limits_are_rounded_outwards(low, times):
    said = limits(low, low * times)
    size = {"Ω": 1, "kΩ": 1e3, "MΩ": 1e6}
    low_said, high_said = (float(one.split()[0]) * size[one.split()[1]] for one in said.split(" to "))
    assert low * 0.99 <= low_said <= low * (1 + 1e-6)
    assert low * times * (1 - 1e-6) <= high_said <= low * times * 1.011


@pytest.mark.parametrize("kind", KINDS)
def test_every_lug_is_named_and_both_pads_are_among_them(kind):
    one = Fitted(1, Pick("C-AA"), KINDS[kind], KINDS[kind].fixed_ohm)
    goes = [where for _, where in ends(one)]
    assert any(where.endswith("pad C") for where in goes) and any(where.endswith("pad AA") for where in goes)
    assert len({lug for lug, _ in ends(one)}) == len(goes)
    rows = lugs([one.pick], [one.control], with_line_out=False)
    assert [row.lug for row in rows[-3:]] == ["common", "closed at rest", "closed while pressed"]
    assert [row.goes for row in rows[-3:]] == ["board plus", "battery plus", "100 Ω, on to battery minus"]


def test_a_knob_turned_right_has_less_resistance():
    # seen from its shaft, lugs down: turned right the wiper goes to the right lug (common practice, no source)
    told = dict(ends(Fitted(1, Pick("C-F"), KINDS["potentiometer"], 3300.0)))
    assert told == {"right": "3.3 kΩ at pad C", "middle and left, joined": "pad F"}


def test_the_panel_names_what_the_person_named_and_leaves_blanks(project):
    picks = [Pick("A-C", at_ohm=4700, name="Growl"), Pick("C-D", at_ohm=4700)]
    kept = by_pair(picks, see(project, picks, None).evidence)
    rows = panel(kept, [KINDS["toggle"], KINDS["body contacts"]], False)
    assert [(row.name, row.part) for row in rows] == [
        ("Growl", "toggle"), ("", "body contacts"), ("Reset", "push-button")]
    assert rows[0].hole == "6\u00a0mm" and rows[1].hole.startswith("2\u00a0×")
    made = make_sheet(project, picks, None, see(project, picks, None))
    assert "common practice, no source" in made.panel_note


def rig_with(project, **values):
    return Project(project.folder, project.toy, project.rig.model_copy(update=values))


def test_the_rigs_leads_stay_where_one_control_uses_the_pad_and_count(project):
    rig = rig_with(project, lead_ohm=1500.0)
    toggle = KINDS["toggle"]
    built = fitted([Pick("C-D"), Pick("E-F"), Pick("E-G"), Pick("H-I")],
                   [toggle, toggle, toggle, KINDS["rotary switch"]])  # fmt: skip
    stay = kept_leads(rig, built)
    assert stay == {1: ("C", "D"), 2: ("F",), 3: ("G",)}  # E is shared; positions have resistors of their own
    assert rest_ohm(rig, built[0], 2) == 300
    assert rest_ohm(rig, built[1], 1) == 1800
    small = Fitted(1, Pick("C-D"), Control("toggle", "t", "", 1600.0), 1600.0)
    assert kept_leads(rig, [small]) == {1: ("C",)}
    assert kept_leads(rig, [Fitted(1, Pick("C-D"), Control("toggle", "t", "", 470.0), 470.0)]) == {}
    assert kept_leads(rig_with(project, lead_ohm=0.0), built) == {}


@given(st.sampled_from(E24), st.integers(2, 5), st.sampled_from([470.0, 1000.0, 1500.0, 3300.0]), st.integers(1, 2))
def test_with_leads_kept_it_is_never_less_than_without(project, number, decade, lead_ohm, leads):
    ohm = float(f"{number}e{decade}")
    if ohm - leads * lead_ohm < 1:
        return
    one = Fitted(1, Pick("C-D"), Control("toggle", "t", "", ohm), ohm)
    total = rest_ohm(rig_with(project, lead_ohm=lead_ohm), one, leads) + leads * lead_ohm
    assert ohm * (1 - 1e-9) <= total <= ohm * 1.16


def test_each_wire_has_its_checks_and_the_second_says_what_to_hear(project):
    steps = work(project, [Pick("C-D")], [KINDS["toggle"]], ["loops every 0.22 s"], False)
    own = [step for step in steps if step.tag]
    assert [step.checks for step in own] == [("tug", "wiggle", "clean press")] * 2
    assert [step.hear for step in own] == ["", "loops every 0.22 s"]
    said = ["".join(words for words, _ in step.words) for step in steps]
    assert any("Its leads on C, D may stay" in one for one in said)
    assert "unchanged" in said[-1] and "battery plus to minus" in said[0]
    by_hand = rig_with(project, bench="by-hand", lead_ohm=0.0)
    steps = work(by_hand, [Pick("C-D")], [KINDS["toggle"]], [""], False)
    assert not any("rig" in words for step in steps for words, _ in step.words)


@pytest.mark.parametrize(("ohm", "volts", "says"), [
    (3300, 4.8, "1/4 W"), (470, 12.8, "1 W"), (47, 4.8, "1 W"), (1, 4.8, "46.1 W at worst: take a larger value"),
    (1000, 12.8, "1/2 W"),
])  # fmt: skip
def test_a_resistor_stands_all_of_the_supply_at_half_its_rating(ohm, volts, says):
    assert rating(ohm, volts) == says


def test_what_is_planned_of_ours_never_needs_more_than_half_a_watt():
    assert rating(1000, MAX_SUPPLY_V * 1.6 / 1.5) in ("1/4 W", "1/2 W")


def test_a_substitute_is_never_less(project):
    for number in E24:
        for decade in range(6):
            ohm = float(f"{number}e{decade}")
            assert ohm < next_above(ohm) <= ohm * 1.16
    rows = parts(project, [Pick("C-D")], [KINDS["toggle"]], Power(sounding_ma=45.0), False)
    by_name = {row.part: row for row in rows}
    resistor = by_name["resistor 3.3 kΩ"]
    assert (resistor.count, resistor.rating, resistor.substitute) == (1, "1/4 W, 5 %", "3.6 kΩ; never less")
    assert [band.name for band in resistor.bands] == ["orange", "orange", "red", "gold"]
    assert "200 mA or more at 4.8 V d.c." in by_name["push-button for the reset, changeover"].rating


def test_a_knob_that_raises_its_resistance_is_wired_and_measured_so(project):
    pick = Pick("A-B")
    falls = Control("potentiometer", "potentiometer 100 kΩ linear", "", 10_000.0, pot_ohm=100_000.0,
                    knob=Knob(10_000.0, 100_000.0, "linear"))  # fmt: skip
    rises = replace(falls, knob=replace(falls.knob, lowers=False))
    left, right = states(falls)
    assert states(rises) == [(left[0], right[1]), (right[0], left[1])]
    lugs_of = [[lug for lug, _ in ends(Fitted(1, pick, one, 10_000.0))] for one in (falls, rises)]
    assert lugs_of == [["right", "middle and left, joined"], ["left", "middle and right, joined"]]
    kept = by_pair([pick], [Evidence()])
    settings = [{one.name: one.ohm for one in jobs(kept, [control])[0].settings} for control in (falls, rises)]
    assert settings[0]["right"] == settings[1]["left"] == 10_000.0
    assert settings[0]["left"] == settings[1]["right"] == 110_000.0
