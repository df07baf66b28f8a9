"""How a sound goes along the resistance, and which control follows from it."""

from dataclasses import replace

import numpy as np
import pytest
from measured_records import PATHS, measured

from rig.build.controls import propose
from rig.build.course import course
from rig.build.evidence import evidence_for, trials_by_pair
from rig.build.knob import TURNS, Knob, choose, moving_share
from rig.build.positions import heard_at, paths_of
from rig.build.series import TOLERANCE
from rig.choose.picks import Pick

KEPT = Pick("C-F", at_ohm=10_400, key="moo")


def pitches(*cents):
    return {path: ("none",) if one is None else ("pitch", float(one), "cents")
            for path, one in zip(PATHS, cents, strict=True)}  # fmt: skip


def seen(records, kept=10_400.4):
    return course(trials_by_pair(records)["C-F"], "moo", kept, ())


def control(records, pick=KEPT):
    (evidence,) = evidence_for([pick], records, 0.05)
    return propose(pick, evidence, least_path_ohm=PATHS[0], most_path_ohm=PATHS[-1], volts=4.8)


def test_what_moves_one_way_is_smooth_and_gets_a_knob():
    records = measured(pitches(900, 800, 700, 600, 450, 300, None))
    along = seen(records)
    assert [one.path_ohm for one in along.run] == list(PATHS[:6])
    assert (along.is_measured, along.is_smooth, along.jump_ohm, along.remembers_ohm) == (True, True, None, ())
    assert along.told == ("Measured: heard from 36.6 kΩ down to 3.6 kΩ, from pitch up a minor third (300 "
                          "cents) to pitch up a major sixth (900 cents), smoothly.")
    made = control(records)
    assert made.kind == "potentiometer"
    assert made.knob.path_ohm(0.0) >= 10_400 >= made.knob.path_ohm(1.0)  # it goes through what was kept
    assert made.fixed_ohm * (1 - TOLERANCE) >= PATHS[0]


def test_what_comes_on_at_once_gets_a_switch_and_a_wish_for_a_knob_a_warning():
    records = measured(pitches(702, 700, 701, 698, None, None, None))
    assert control(records).kind == "toggle"
    assert "all alike" in control(records).why
    knob = control(records, replace(KEPT, control="potentiometer"))
    assert knob.kind == "potentiometer"
    assert knob.warning == "A knob would do little: it was about the same wherever it was heard."
    assert knob.reason.endswith(knob.warning)


def test_what_jumps_between_neighbours_is_not_smooth():
    records = measured(pitches(900, 890, 880, 320, 310, 300, None))
    along = seen(records)
    assert (along.is_smooth, along.jump_ohm) == (False, (PATHS[2], PATHS[3]))
    knob = control(records, replace(KEPT, control="potentiometer"))
    assert "would only switch it, somewhere between 10.4 kΩ and 7.4 kΩ" in knob.warning


def test_sounds_over_a_few_resistances_get_a_switch_with_steps():
    words = [("loop", 0.2, "s"), ("loop", 0.2, "s"), ("drone", 440.0, "Hz"), ("timbre", 9.0, "dB"),
             ("timbre", 9.0, "dB"), ("pitch", -700.0, "cents"), ("none",)]  # fmt: skip
    made = control(measured(dict(zip(PATHS, words, strict=True))))
    assert (made.kind, made.part) == ("stepped switch", "rotary switch, 1 pole, 5 positions")
    assert [one.what for one in made.positions] == [
        "loops every 0.20 s over 3.6 kΩ", "drones at 440 Hz over 7.4 kΩ",
        "other timbre, by 9 dB over 10.4 kΩ", "pitch down a fifth (700 cents) over 36.6 kΩ",
    ]  # fmt: skip
    assert [one.fixed_ohm for one in made.positions] == [3_900, 7_500, 10_000, 39_000]
    assert paths_of(made) == [3_900, 7_500, 10_000, 39_000]


def test_a_stop_ends_the_course_and_no_part_of_a_knob_reaches_it():
    told = pitches(900, 800, 700, 600, 450, 300, None) | {PATHS[0]: ("freeze",), PATHS[1]: ("freeze",)}
    along = seen(measured(told))
    assert (along.stopped_ohm, along.run[0].path_ohm) == (PATHS[1], PATHS[2])
    made = control(measured(told))
    assert made.knob.fixed_ohm * (1 - TOLERANCE) >= PATHS[2]
    assert "stops the toy at 5.2 kΩ" in made.why


def test_what_is_another_from_above_than_from_below_remembers():
    told = pitches(900, 800, 700, 600, 450, 300, None)
    told[PATHS[4]] = {"down": ("none",), "up": ("pitch", 450.0, "cents")}
    along = seen(measured(told))
    assert along.remembers_ohm == (PATHS[4],)
    assert "It remembers: over 20 kΩ it is another from above than from below." in along.told


def test_touches_that_lie_not_between_good_presses_dont_measure():
    records = measured(pitches(900, 800, 700, 600, 450, 300, None))
    odd = [replace(one, facts={"itself": False}, sound="timbre")
           if one.kind == "control" and one.path_ohm is None else one for one in records]  # fmt: skip
    touches = [one for one in trials_by_pair(odd)["C-F"] if one.way]
    assert len(touches) < len([one for one in trials_by_pair(records)["C-F"] if one.way])


def test_without_measuring_it_says_so():
    records = [one for one in measured(pitches(900, 800, 700, 600, 450, 300, None)) if one.kind != "control"]
    along = seen(records)
    assert not along.is_measured
    assert along.told == "Whether it moves smoothly, repeats and remembers wasn't measured."


@pytest.mark.parametrize(("values", "taper", "lowers"), [
    ([900, 700, 500, 300], "reverse logarithmic", True),  # straight over log R, more to the low end
    ([300, 500, 700, 900], "logarithmic", False),
    ([900.0, 847.0, 640.0, -400.0], "linear", False),  # straight over R itself, most where it is high
])  # fmt: skip
def test_the_taper_spreads_the_sound_over_the_turn(values, taper, lowers):
    paths = (3_600.0, 11_000.0, 33_600.0, 103_600.0)
    if taper == "linear":
        values = [100 + path / 100 for path in paths]
    track = list(zip(paths, values, strict=True))
    knob = choose(low=3_600, high=103_600, kept=11_000, track=track)
    assert (knob.taper, knob.lowers) == (taper, lowers)
    assert moving_share(knob, track) > 0.6
    other = replace(knob, taper="linear" if taper != "linear" else "logarithmic")
    assert moving_share(knob, track) > moving_share(other, track)


def test_a_knob_turned_right_does_more_and_goes_through_its_whole_resistance():
    knob = Knob(4_700, 100_000, "reverse logarithmic", lowers=True)
    paths = knob.path_ohm(TURNS)
    assert (paths[0], paths[-1]) == (104_700, 4_700)
    assert np.all(np.diff(paths) < 0)
    assert knob.path_ohm(0.5) == pytest.approx(14_700)  # a tenth at half the turn
    assert knob.path_ohm(0.0, pot_ohm=80_000) == 84_700


def test_each_position_of_a_knob_has_the_take_nearest_to_it():
    records = measured(pitches(900, 800, 700, 600, 450, 300, None))
    made = control(records)
    there = heard_at(made, "C-F", "moo", records)
    assert [one.number for one in there] == [1, 2, 3, 4, 5]
    assert there[-1].record.path_ohm == PATHS[0]
    for one in there:
        best = min(PATHS, key=lambda path, at=one: abs(np.log(path / at.path_ohm)))
        assert one.record.path_ohm == best
    assert heard_at(made, "C-F", "woof", records) == []
