"""Which control is proposed, with which values, and why."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.build.controls import BODY_FLOOR_OHM, propose
from rig.build.series import E24, POTS_OHM, pot_for
from rig.build.shared import clusters, crowded, joints
from rig.build.trials import PadPair, Trial, amounts, stopped_ohm
from rig.choose.picks import Pick
from rig.listen.judgement import AFTERS, SOUNDS
from rig.words import ohms

PATHS = (3000.4, 9800.4, 36000.4, 153000.4)


def control(sound, after="answers", low=3000, high=36000, amount=None, unit=None, trials=()):
    pick = Pick("C-F", "", sound, after, amount, unit, low, high, 7)
    return propose(pick, trials, least_path_ohm=PATHS[0], most_path_ohm=PATHS[-1], volts=4.8)


def over_paths(sound, values, unit="cents", after="answers"):
    return [
        Trial(path, sound if value is not None else "none", after, value, unit)
        for path, value in zip(PATHS, values, strict=True)
    ]


@pytest.mark.parametrize(
    ("sound", "after", "kind", "word"),
    [
        ("loop", "answers", "toggle", "loop"),
        ("timbre", "runs on", "toggle", "by itself while held"),
        ("none", "runs on", "toggle", "by itself while held"),
        ("blip", "answers", "push-button", "ends by itself"),
        ("cut", "answers", "push-button", "gaps"),
        ("pitch", "freeze", "push-button", "reset"),
        ("loop", "freeze", "push-button", "reset"),
        ("none", "freeze", "push-button", "reset"),
        ("drone", "guarded", "leave out", "too much current"),
        (None, None, "push-button", "Nothing measured"),
    ],
)
def test_the_trades_rules(sound, after, kind, word):
    proposed = control(sound, after)
    assert proposed.kind == kind
    assert word in proposed.why


def test_what_moves_over_the_paths_gets_a_knob():
    trials = over_paths("pitch", [900, 700, 400, 200])
    knob = control("pitch", low=3000, high=153000, amount=700, unit="cents", trials=trials)
    assert knob.kind == "potentiometer"
    assert "moves step by step" in knob.why
    assert "pitch up a tone (200 cents) over 153 kΩ" in knob.why
    assert "pitch up a major sixth (900 cents) over 3 kΩ" in knob.why
    assert knob.pot_ohm == 200_000  # 153 kohm less the fixed 3 kohm, the next that shops have
    assert "logarithmic" in knob.part
    assert knob.fixed_ohm == 3000
    assert any("photocell" in hint for hint in knob.hints)
    assert any("tried no more than 153 kΩ" in hint for hint in knob.hints)


def test_what_comes_on_at_once_gets_a_toggle():
    trials = over_paths("pitch", [702, 700, 698, None])
    toggle = control("pitch", low=3000, high=36000, amount=700, unit="cents", trials=trials)
    assert toggle.kind == "toggle"
    assert "at once" in toggle.why


def test_what_goes_up_and_down_is_not_called_smooth():
    trials = over_paths("pitch", [700, 100, 650, 150])
    assert control("pitch", high=153000, unit="cents", trials=trials).kind == "toggle"


def test_a_wide_range_without_measured_amounts_gets_a_knob_that_says_so():
    knob = control("timbre", low=3000, high=36000)
    assert knob.kind == "potentiometer"
    assert "wasn't measured" in knob.why
    assert any("there the knob is an off" in hint for hint in knob.hints)


def test_a_narrow_range_gets_a_toggle():
    toggle = control("pitch", low=3000, high=9800, amount=-300, unit="cents")
    assert toggle.kind == "toggle"
    assert "held change" in toggle.why


def test_what_needs_more_than_50_kohm_gets_body_contacts():
    trials = over_paths("pitch", [None, None, None, 500])
    trials[2] = Trial(PATHS[2], "none", "freeze")
    domes = control("pitch", low=153000, high=153000, unit="cents", trials=trials)
    assert domes.kind == "body contacts"
    assert domes.fixed_ohm == 39_000  # the next above 36 kohm, at which it froze
    assert "Over 36 kΩ this pair stopped the toy" in domes.keep
    unknown = control("pitch", low=153000, high=153000, unit="cents")
    assert unknown.fixed_ohm == 160_000
    assert any("touch two bare wire ends first" in hint for hint in unknown.hints)


@pytest.mark.parametrize(
    ("trials", "words"),
    [
        ((), "the rig never tried less"),
        ([Trial(3000.4, "none", "freeze"), Trial(9800.4, "loop", "answers")], "stopped the toy"),
        ([Trial(3000.4, "none", "answers"), Trial(9800.4, "loop", "answers")], "wasn't found"),
    ],
)
def test_the_least_resistance_is_kept_and_said_why(trials, words):
    kept = control("loop", low=9800, high=9800, trials=trials)
    assert kept.fixed_ohm == 10_000
    assert kept.keep.startswith("Keep at least 9.8 kΩ in the path")
    assert words in kept.keep


@given(
    st.sampled_from([*SOUNDS, None]), st.sampled_from([*AFTERS, None]),
    st.floats(500, 2e6), st.floats(1, 100), st.sampled_from(["cents", "dB", "Hz", "s", None]),
    st.lists(st.builds(Trial, st.sampled_from(PATHS), st.sampled_from(SOUNDS),
                       st.sampled_from(AFTERS), st.floats(-1200, 1200)), max_size=8),
)  # fmt: skip
def test_every_pick_gets_a_control_that_keeps_the_least_resistance(
    sound, after, low, ratio, unit, trials
):
    proposed = control(sound, after, low, low * ratio, 5.0, unit, trials)
    assert proposed.why.endswith((".", "!"))
    figures = float(f"{proposed.fixed_ohm:.1e}".split("e")[0])
    assert figures in E24
    if proposed.kind != "body contacts":
        assert proposed.fixed_ohm >= low * 0.99
    else:
        assert 4.8 / (proposed.fixed_ohm + BODY_FLOOR_OHM) <= 0.0005
    assert (proposed.pot_ohm is not None) == (proposed.kind == "potentiometer")
    if proposed.pot_ohm:
        assert proposed.pot_ohm in POTS_OHM


@pytest.mark.parametrize(
    ("value", "text"),
    [(0, "0 Ω"), (470, "470 Ω"), (999.9, "1 kΩ"), (3000.4, "3 kΩ"), (36000.4, "36 kΩ"),
     (1.5e6, "1.5 MΩ"), (999_900, "1 MΩ")],
)  # fmt: skip
def test_resistances_as_people_write_them(value, text):
    assert ohms(value) == text


def test_a_potentiometer_reaches_what_is_asked_or_is_the_largest():
    assert pot_for(1) == 1000
    assert pot_for(51_000) == 50_000
    assert pot_for(60_000) == 100_000
    assert pot_for(1e9) == 2e6


def test_amounts_take_the_middle_of_each_path():
    trials = [Trial(10.0, "pitch", "answers", v, "cents") for v in (1, 100, 3)]
    trials += [Trial(5.0, "pitch", "answers", 7, "cents"), Trial(5.0, "loop", "answers", 1, "s")]
    assert amounts(trials, "pitch", "cents") == [(5.0, 7), (10.0, 3)]
    assert stopped_ohm(trials) is None
    assert stopped_ohm([Trial(5.0, "none", "freeze"), Trial(9.0, "none", "guarded")]) == 9.0


# -- pads shared by picks ---------------------------------------------------------------


def picks(*pairs):
    return [Pick(pair, "", "loop", "answers") for pair in pairs]


def test_two_picks_on_one_pad_join_two_other_pads():
    trials = {
        PadPair(("F", "H")): [Trial(3000.4, "none", "answers"), Trial(9800.4, "none", "answers")],
        PadPair(("F", "K")): [Trial(9800.4, "pitch", "freeze")],
        PadPair(("H", "K")): [Trial(36000.4, "pitch", "answers")],
    }
    found = joints(picks("C-F", "C-H", "K-C", "A-B"), [3000, 3300, 1000, 1000], trials)
    assert [(j.first, j.second, j.pad, j.joins) for j in found] == [
        (1, 2, "C", ("F", "H")), (1, 3, "C", ("F", "K")), (2, 3, "C", ("H", "K"))
    ]  # fmt: skip
    assert found[0].ohm == 6300
    assert found[0].tried == "no change, down to 3 kΩ"
    assert found[1].tried == "stopped the toy over 9.8 kΩ"
    assert found[2].tried == "pitch, down to 36 kΩ; never over so little"
    assert joints(picks("C-F", "C-H"), [1, 1], {})[0].tried == "never touched"
    assert joints(picks("C-F", "C-H"), [1, 1], None)[0].tried == "not known here"
    assert joints(picks("C-F", "A-H"), [1, 1], {}) == []


def test_crowded_pads_and_clusters():
    chosen = picks("C-F", "C-H", "C-K", "A-B", "H-AA")
    assert crowded(chosen) == {"C": [1, 2, 3]}
    assert clusters(chosen) == [([1, 2, 3, 5], ["C", "F", "H", "K", "AA"])]
    assert clusters(picks("A-B", "B-C")) == []


@given(st.lists(st.permutations("ABCDEFG").map(lambda p: f"{p[0]}-{p[1]}"), max_size=7))
def test_clusters_hold_each_pick_once_and_share_no_pad(pairs):
    groups = clusters(picks(*pairs))
    numbers = [n for group in groups for n in group[0]]
    assert len(numbers) == len(set(numbers))
    pads = [pad for group in groups for pad in group[1]]
    assert len(pads) == len(set(pads))
