"""What the presses of a finished control come to: each verdict, from made-up presses."""

from dataclasses import replace

import numpy as np
import pytest
from making_logs import BASELINE
from making_records import record

from rig.build.evidence import Evidence
from rig.build.fitting import Control, Position
from rig.build.several import Kept
from rig.choose import Pick
from rig.listen import Judgement
from rig.listen.judging.fingerprint import SIZE
from rig.log.between import ITSELF
from rig.log.records import CONTROL
from rig.verify import Press, Told, Tried, decide, expected_of, jobs, tell
from rig.verify.decide import LEAST_RIGHT, ONCE_OF, WORST, open_settings

KEPT_OHM = 12_000.0


def print_of(which, size_db=12.0):
    """A fingerprint that is like no other's."""
    rng = np.random.default_rng(which)
    return [float(one) for one in (size_db * rng.uniform(-1, 1, SIZE)).round()]


def touches(pads, which, first, path_ohm=KEPT_OHM, sound="timbre", amount=8.0, unit="dB", often=3, **more):
    """Touches of a pair over one path that all sound alike."""
    return [
        record(first + n, pads, kind="confirm" if n else "sweep", path_ohm=path_ohm, sound=sound,
               amount=amount, unit=unit, measures={"change_db": print_of(which)}, **more)
        for n in range(often)
    ]


def heard(which, sound="timbre", amount=8.0, unit="dB"):
    """A press with some fingerprint."""
    measures = {} if sound == "none" else {"change_db": print_of(which)}
    return Press(Judgement(sound, amount=None if sound == "none" else amount, unit=unit, score=2.0,
                           judge="test", measures=measures))  # fmt: skip


NOTHING = heard(0, "none")
TOGGLE = Control("toggle", "toggle switch, on-off", "", fixed_ohm=12_000.0)
KNOB = Control("potentiometer", "potentiometer 100 kΩ linear", "", fixed_ohm=12_000.0, pot_ohm=100_000.0)


def planned(*controls, pairs=("A-B", "C-D", "E-F")):
    kept = [Kept((Pick(pair, at_ohm=KEPT_OHM, key="moo"),), (Evidence(),))
            for pair, _ in zip(pairs, controls, strict=False)]
    return jobs(kept, controls)


RECORDS = [
    *touches("AB", 1, 1), *touches("CD", 2, 11), *touches("AE", 3, 21), *touches("EG", 4, 31),
    *touches("AB", 5, 41, path_ohm=120_000.0),
]


def told(press, records=RECORDS, made=None, number=0, setting=0):
    made = made or planned(TOGGLE, TOGGLE)
    job = made[number]
    return tell(press, expected_of(job, job.settings[setting], made, records))


def verdict(*presses, records=RECORDS, misses=None, opened=False):
    made = planned(TOGGLE, TOGGLE)
    tried = Tried({"on": [told(one, records, made) for one in presses]}, opened)
    return decide(made[0], [tried], made, misses)


# One press


def test_a_press_is_right_by_its_fingerprint():
    assert told(heard(1)).kind == "right"
    assert told(heard(1, amount=20.0)).kind == "right"  # a level in dB many sounds have
    assert told(heard(7)).kind == "changed"


def test_a_press_is_right_by_its_word_and_a_measured_amount():
    records = touches("AB", 1, 1, sound="pitch", amount=700.0, unit="cents")
    assert told(heard(7, "pitch", 760.0, "cents"), records).kind == "right"
    assert told(heard(7, "pitch", 1100.0, "cents"), records).kind == "changed"
    assert told(heard(7, "drone", 700.0, "Hz"), records).kind == "changed"


def test_between_two_paths_the_amount_may_lie_between_theirs():
    records = [*touches("AB", 1, 1, 10_000.0, "pitch", 900.0, "cents"),
               *touches("AB", 2, 11, 100_000.0, "pitch", 100.0, "cents")]  # fmt: skip
    made = planned(replace(TOGGLE, fixed_ohm=33_000.0))
    assert told(heard(7, "pitch", 500.0, "cents"), records, made).kind == "right"
    assert told(heard(7, "pitch", 1400.0, "cents"), records, made).kind == "changed"


def test_nothing_is_right_only_where_nothing_is_expected():
    assert told(NOTHING).kind == "none"
    assert told(NOTHING, touches("AB", 1, 1, sound="none", amount=None, unit=None)).kind == "right"
    assert told(NOTHING, []).kind == "none"


def test_a_stop_is_right_only_where_it_was_kept():
    assert told(Press(None, stopped=True)).kind == "stops"
    assert told(Press(None, stopped=True), touches("AB", 1, 1, after="freeze")).kind == "right"


def test_a_kept_sound_that_varies_has_its_own_limit():
    rng = np.random.default_rng(3)
    records = [
        replace(one, measures={"change_db": [db + float(rng.normal(0, 5)) for db in print_of(1)]})
        for one in touches("AB", 1, 1, often=6)
    ]
    press = heard(1)
    press.judgement.measures["change_db"] = [db + float(rng.normal(0, 5)) for db in print_of(1)]
    assert told(press).kind == "changed"
    assert told(press, records).kind == "right"


def test_a_louder_or_softer_tail_is_no_difference():
    press = heard(1)
    press.judgement.measures["change_db"][24:] = [30.0] * 8
    assert told(press).kind == "right"


# A control


def test_three_right_presses_are_right_and_two_are_not():
    assert verdict(*[heard(1)] * LEAST_RIGHT).name == "right"
    assert verdict(*[heard(1)] * (LEAST_RIGHT - 1)).name == "unsure"
    assert "3 of 3 presses" in verdict(*[heard(1)] * 3).words


def test_lost_presses_are_none():
    lost = Press(Judgement("lost", score=0.0, judge="test", measures={"why": "clipped"}))
    assert verdict(heard(1), heard(1), lost, lost).name == "unsure"
    assert verdict(lost, lost, lost).name == "not tried"
    assert verdict().name == "not tried"


def test_no_change_is_an_open_joint():
    said = verdict(*[NOTHING] * 5)
    assert said.name == "no change" and "open joint" in said.next_step
    # A toy says something of its own now and then, which is no sign of a control.
    assert verdict(*[NOTHING] * 4, heard(7)).name == "no change"


def test_what_comes_and_goes_is_a_cold_joint():
    said = verdict(*[heard(1)] * 4, NOTHING)
    assert said.name == "comes and goes" and "4 of 5" in said.words and "wiggle" in said.next_step
    # The kept sound itself was missing in a third of its touches.
    assert verdict(*[heard(1)] * 4, NOTHING, misses={"on": (3, 9)}).name == "right"
    assert verdict(heard(1), *[NOTHING] * 6, misses={"on": (1, 9)}).name == "comes and goes"


def test_the_sound_of_another_control_is_told_with_the_test_that_decides():
    said = verdict(*[heard(2)] * 5)
    assert said.name == "sounds like another" and "C-D, control 2" in said.words
    assert "try control 2" in said.next_step and "swapped" in said.next_step


def test_the_sound_of_a_pair_that_shares_a_pad_is_a_wire_on_the_wrong_pad():
    said = verdict(*[heard(3)] * 5)
    assert said.name == "sounds like another" and "A-E" in said.words and "isn't on A" in said.next_step
    assert verdict(*[heard(4)] * 5).name == "changed"  # E-G has none of its pads


def test_one_press_that_is_near_another_sound_is_none():
    assert verdict(heard(2), *[heard(1)] * 4).name == "right"


def test_its_own_sound_over_another_resistance_is_a_wrong_resistor():
    said = verdict(*[heard(5)] * 5)
    assert said.name == "changed" and "over 120k" in said.words and "bands" in said.next_step


def test_an_amount_that_is_off_is_told_with_what_was_kept():
    made = planned(TOGGLE)
    records = touches("AB", 1, 1, sound="pitch", amount=700.0, unit="cents")
    presses = [told(heard(7, "pitch", 200.0, "cents"), records, made)] * 5
    said = decide(made[0], [Tried({"on": presses})], made, kept="pitch up a fifth (700 cents)")
    assert said.name == "changed" and "200 cents" in said.words and "(700 cents) was kept" in said.words


def test_silence_that_wasnt_kept():
    said = verdict(*[heard(7, "cut", -40.0)] * 5)
    assert said.name == "silent"
    assert verdict(*[Press(None)] * 5).name == "silent"
    kept = touches("AB", 7, 1, sound="cut", amount=-40.0)
    assert verdict(*[heard(7, "cut", -40.0)] * 5, records=kept).name == "right"


def test_one_stop_is_enough():
    said = verdict(*[heard(1)] * 4, Press(None, stopped=True))
    assert said.name == "stops the toy" and "1 of 5" in said.words


# What sounds alike, what varies, what came once


TWINS = [*touches("AB", 1, 1), *touches("CD", 1, 11)]


def test_two_controls_that_sound_alike_are_right_or_swapped():
    said = verdict(*[heard(1)] * 5, records=TWINS)
    assert said.name == "right or swapped" and "control 2 (C-D) would sound the same" in said.words
    assert "meter" in said.next_step and "A and B" in said.next_step
    # Nearer to its own than to the other it is right.
    assert verdict(*[heard(1)] * 5).name == "right"
    # One pair that has no control is nobody's to be swapped with.
    assert verdict(*[heard(1)] * 5, records=[*touches("AB", 1, 1), *touches("AE", 1, 11)]).name == "right"


def test_a_measured_amount_tells_two_apart_whose_fingerprints_are_alike():
    def at(cents):
        return {"sound": "pitch", "amount": cents, "unit": "cents"}

    records = [*touches("AB", 1, 1, **at(700.0)), *touches("CD", 1, 11, **at(300.0))]
    assert verdict(*[heard(1, **at(700.0))] * 5, records=records).name == "right"
    records = [*touches("AB", 1, 1, **at(700.0)), *touches("CD", 1, 11, **at(650.0))]
    assert verdict(*[heard(1, **at(700.0))] * 5, records=records).name == "right or swapped"


def test_a_sound_that_was_heard_seldom_may_have_others_and_one_that_was_heard_often_may_not():
    presses = [*[heard(1)] * 4, *[heard(7)] * 6]
    assert verdict(*presses, misses={"on": (0, 2)}).name == "right"
    often = verdict(*presses, misses={"on": (0, 12)})
    assert often.name == "changed"
    few = verdict(*[heard(1)] * 2, *[heard(7)] * 8, misses={"on": (0, 2)})
    assert few.name == "unsure" and "heard in 2 touches only" in few.words and "--measure" in few.next_step


def test_measured_touches_count_with_those_of_the_sweep():
    made = planned(TOGGLE)
    measured = [
        *touches("AB", 1, 1, often=2),
        *(replace(one, kind=CONTROL, facts={}) for one in touches("AB", 7, 11, often=1)),
    ]
    unmeasured = expected_of(made[0], made[0].settings[0], made, measured)
    assert unmeasured.misses == (0, 2)  # not between two good presses: the toy may not have been itself
    between = [
        record(10, kind=CONTROL, sound="none", touch=BASELINE, pads_1="", pads_2="", path_ohm=None, facts={ITSELF: True}),
        measured[2],
        record(12, kind=CONTROL, sound="none", touch=BASELINE, pads_1="", pads_2="", path_ohm=None, facts={ITSELF: True}),
    ]
    known = expected_of(made[0], made[0].settings[0], made, [*measured[:2], *between])
    assert known.misses == (0, 3) and tell(heard(7), known).kind == "right"


@pytest.mark.parametrize("odd", [NOTHING, Press(None, stopped=True)])
def test_once_in_many_presses_is_no_fault_and_twice_is(odd):
    named = "comes and goes" if odd is NOTHING else "stops the toy"
    many = [heard(1)] * (ONCE_OF - 1)
    assert verdict(*many, odd).name == "right"
    assert verdict(*many[1:], odd).name == named
    assert verdict(*many, odd, odd).name == named


def test_only_what_is_left_open_is_pressed_on():
    made = planned(TOGGLE, TOGGLE)

    def asks(*presses):
        tried = Tried({"on": [told(one, made=made) for one in presses]})
        return bool(open_settings(made[0], [tried], made, {"on": (0, 12)}))

    assert not asks(*[heard(1)] * 5) and not asks(*[NOTHING] * 5) and not asks(*[heard(7)] * 5)
    assert asks(*[heard(1)] * 3, heard(7), heard(7))
    assert asks(*[heard(1)] * 4, NOTHING) and asks(*[heard(1)] * 4, Press(None, stopped=True))
    assert not asks(*[heard(1)] * 3, NOTHING, NOTHING)


def test_a_crash_that_was_kept_must_sound_on():
    records = touches("AB", 1, 1, sound="drone", amount=97.0, unit="Hz", after="freeze")
    crash = heard(1, "drone", 97.0, "Hz")
    assert told(replace(crash, stopped=True), records).kind == "right"
    assert told(Press(None, stopped=True), records).kind == "changed"
    assert told(NOTHING, records).kind == "none"


def test_by_touch_any_change_will_do():
    domes = Control("body contacts", "two brass domes", "", fixed_ohm=12_000.0)
    made = planned(domes)
    assert [one.name for one in made[0].settings] == ["joined", "touched"]
    coin = [told(heard(1), made=made)] * 3
    for touch, name in ((heard(7), "right"), (NOTHING, "unsure"), (Press(None, stopped=True), "stops the toy")):
        fingers = [told(touch, made=made, setting=1)] * 3
        assert decide(made[0], [Tried({"joined": coin, "touched": fingers})], made).name == name


def test_a_toy_that_isnt_itself_with_the_control_open_again():
    assert verdict(*[heard(1)] * 5, opened=True).name == "changes the toy while open"


def test_both_rounds_count():
    made = planned(TOGGLE, TOGGLE)
    good, bad = ([told(one, made=made)] * 5 for one in (heard(1), NOTHING))
    assert decide(made[0], [Tried({"on": good}), Tried({"on": good})], made).name == "right"
    said = decide(made[0], [Tried({"on": good}), Tried({"on": bad})], made)
    assert said.name == "comes and goes" and "5 of 10" in said.words


# Knobs and rotary switches

ALONG = [*touches("AB", 1, 1, 12_000.0, "pitch", 900.0, "cents"),
         *touches("AB", 2, 11, 40_000.0, "pitch", 500.0, "cents"),
         *touches("AB", 3, 21, 112_000.0, "pitch", 100.0, "cents")]  # fmt: skip


def turned(right, middle, left):
    made = planned(KNOB)
    known = {one.name: expected_of(made[0], one, made, ALONG) for one in made[0].settings}
    ends = {"right": known["left"], "left": known["right"], "middle": None}
    given = {"right": right, "middle": middle, "left": left}
    tried = Tried({name: [tell(given[name], known[name], ends[name])] * 3 for name in known})
    return decide(made[0], [tried], made)


def pitch(cents, which=9):
    return heard(which, "pitch", cents, "cents")


def test_a_knob_is_right_at_both_ends_and_in_the_middle():
    assert turned(pitch(900.0, 1), pitch(400.0), pitch(100.0, 3)).name == "right"
    assert turned(pitch(900.0, 1), pitch(400.0), NOTHING).name == "no change"


def test_a_knob_whose_ends_are_swapped():
    said = turned(pitch(100.0, 3), pitch(400.0), pitch(900.0, 1))
    assert said.name == "reversed" and "outer lugs" in said.next_step


def test_a_knob_that_gives_the_same_everywhere_isnt_reversed():
    assert turned(pitch(900.0, 1), pitch(900.0, 1), pitch(900.0, 1)).name == "changed"


def test_each_position_of_a_rotary_switch_is_held_against_its_own_sound():
    positions = (Position(12_000.0, "low"), Position(120_000.0, "high"))
    control = Control("rotary switch", "rotary switch", "", fixed_ohm=12_000.0, positions=positions)
    picks = Pick("A-B", at_ohm=12_000.0, key="moo"), Pick("A-B", at_ohm=120_000.0, key="moo")
    made = jobs([Kept(picks, (Evidence(), Evidence()))], [control])
    assert [one.name for one in made[0].settings] == ["1", "2"]
    assert [one.pick.at_ohm for one in made[0].settings] == [12_000.0, 120_000.0]
    right = [told(heard(which), made=made, setting=n) for n, which in enumerate((1, 5))]
    swapped = [told(heard(which), made=made, setting=n) for n, which in enumerate((5, 1))]
    for given, name in ((right, "right"), (swapped, "changed")):
        tried = Tried({"1": [given[0]] * 3, "2": [given[1]] * 3})
        assert decide(made[0], [tried], made).name == name


def test_a_setting_that_wasnt_tried_keeps_a_control_from_being_right():
    made = planned(KNOB)
    assert decide(made[0], [Tried({"right": [Told("right", "as kept")] * 3})], made).name == "not tried"


def test_what_gets_no_control_isnt_tried():
    assert planned(Control("leave out", "nothing found", ""), TOGGLE)[0].number == 2


@pytest.mark.parametrize("name", WORST)
def test_every_verdict_has_one_place(name):
    assert WORST.count(name) == 1
