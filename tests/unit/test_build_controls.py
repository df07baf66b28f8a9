"""Which control is proposed, with which values, and why."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from making_records import record

from rig.build.controls import propose
from rig.build.evidence import Evidence, Trial, amounts, evidence_for, stopped_ohm
from rig.build.fitting import BODY_FLOOR_OHM
from rig.build.series import E24, POTS_OHM, pot_for
from rig.build.shared import clusters, crowded, joints
from rig.choose.find import Find, Heard
from rig.choose.picks import CONTROLS, Pick
from rig.outcomes import AFTERS, SOUNDS
from rig.words import ohms

PATHS = (3000.4, 9800.4, 36000.4, 153000.4)


PICK = Pick("C-F")


def control(records, pick=PICK):
    (evidence,) = evidence_for([pick], records, 0.05)
    return propose(
        pick, evidence, least_path_ohm=PATHS[0], most_path_ohm=PATHS[-1], volts=4.8
    )


def heard(sound, after="answers", paths=PATHS[:3], amount=None, unit=None, first=1, times=2):
    """Touches of one pair in which the same was heard over each path, so many times."""
    told = {"sound": sound, "after": after, "amount": amount, "unit": unit}
    return [
        record(first + times * at + n, "CF", "confirm" if n else "sweep", path_ohm=path, **told)
        for at, path in enumerate(paths) for n in range(times)
    ]


def over_paths(sound, values, unit="cents", **more):
    """Touches in which an amount was heard over each path, or nothing where it is None."""
    return [
        one for at, (path, value) in enumerate(zip(PATHS, values, strict=True))
        for one in heard("none" if value is None else sound, paths=[path], amount=value,
                         unit=unit, first=1 + 2 * at, **more)
    ]


@pytest.mark.parametrize(
    ("sound", "after", "kind", "word"),
    [
        ("loop", "answers", "toggle", "loop"),
        ("timbre", "runs on", "toggle", "by itself while held"),
        ("none", "runs on", "toggle", "by itself while held"),
        ("blip", "answers", "push-button", "ends by itself"),
        ("cut", "answers", "push-button", "gaps"),
        ("pitch", "freeze", "leave out", "It stops the toy: over 36 kΩ"),
        ("loop", "freeze", "push-button", "until the reset button ends it"),
        ("drone", "freeze", "push-button", "until the reset button ends it"),
        ("none", "freeze", "leave out", "stops the toy"),
        ("drone", "guarded", "leave out", "too much current"),
        ("none", "answers", "leave out", "Touched over 3 kΩ to 36 kΩ, and no change"),
    ],
)
def test_the_trades_rules(sound, after, kind, word):
    proposed = control(heard(sound, after))
    assert proposed.kind == kind
    assert word in proposed.why
    assert (proposed.fixed_ohm is None) == (kind == "leave out")


CRASH = heard("drone", "freeze", paths=PATHS[1:2], amount=97.0, unit="Hz")
QUIET = heard("none", paths=PATHS[2:], first=21)


def test_a_crash_that_sounds_gets_a_button_with_the_reset_over_what_was_kept():
    button = control([*CRASH, *QUIET], replace(PICK, at_ohm=9800))
    assert (button.kind, button.stops, button.yours) == ("push-button", True, False)
    assert "drones at 97 Hz" in button.why and "together with the reset button" in button.why
    assert button.fixed_ohm == 11_000 and "less wasn't tried here" in button.keep  # 10 kohm less 5 % is less
    assert any("press the reset button" in hint for hint in button.hints)
    below = heard("loop", "freeze", paths=PATHS[:1], first=31)
    assert "it did the same" in control([*CRASH, *QUIET, *below], replace(PICK, at_ohm=9800)).keep
    silent = control([*CRASH, *QUIET, *heard("none", "freeze", paths=PATHS[:1], first=31)], replace(PICK, at_ohm=9800))
    assert silent.fixed_ohm == 10_000 and "something else" in silent.keep


@pytest.mark.parametrize("wish", [one for one in CONTROLS if one != "push-button"])
def test_nothing_that_stays_on_is_given_to_a_crash(wish):
    button = control([*CRASH, *QUIET], replace(PICK, at_ohm=9800, control=wish))
    assert (button.kind, button.stops) == ("push-button", True)
    assert "left on, it would leave the toy stuck" in button.why


def test_a_stop_in_silence_or_by_the_guard_or_heard_once_is_no_crash_to_be_played():
    for records in (
        heard("none", "freeze", paths=PATHS[1:2]), heard("pitch", "freeze", paths=PATHS[1:2]), CRASH[:1],
        [*CRASH, record(41, "CF", path_ohm=36_000.0, sound="none", after="guarded")],
    ):
        assert not control([*records, *QUIET], replace(PICK, at_ohm=9800)).stops


def test_a_crash_below_another_sound_of_its_pair_is_kept_by_its_resistance():
    other = heard("pitch", paths=PATHS[3:], amount=700.0, unit="cents", first=51)
    assert control([*CRASH, *other], replace(PICK, at_ohm=9800)).stops
    assert not control([*CRASH, *other], replace(PICK, at_ohm=153_000)).stops


def test_what_moves_over_the_paths_gets_a_knob():
    knob = control(over_paths("pitch", [900, 700, 400, 200]))
    assert knob.kind == "potentiometer"
    assert "moves step by step" in knob.why
    assert "pitch up a tone (200 cents) over 153 kΩ" in knob.why
    assert "pitch up a major sixth (900 cents) over 3 kΩ" in knob.why
    assert knob.pot_ohm == 100_000  # the largest that shops have below 153 kohm less 3.3 kohm
    assert "logarithmic" in knob.part
    assert knob.fixed_ohm == 3300
    assert any("photocell" in hint for hint in knob.hints)
    assert any("Turned fully up it is at 103 kΩ; it was heard up to 153 kΩ" in hint
               for hint in knob.hints)
    far = control(over_paths("pitch", [900, 700, 400, 200]), Pick("C-F", at_ohm=153_000, key="moo"))
    assert (far.fixed_ohm, far.pot_ohm, far.yours) == (3300, 200_000, False)
    assert any("tried no more than 153 kΩ" in hint for hint in far.hints)


def test_what_comes_on_at_once_gets_a_toggle():
    toggle = control(over_paths("pitch", [702, 700, 698, None]))
    assert toggle.kind == "toggle"
    assert "at once" in toggle.why


def test_what_differs_over_two_paths_is_not_called_the_same():
    toggle = control(over_paths("pitch", [None, 1373, 449, None]))
    assert toggle.kind == "toggle"
    assert "Over 9.8 kΩ it is pitch up 1373 cents, over 36 kΩ pitch up 449 cents" in toggle.why


def test_what_goes_up_and_down_is_not_called_smooth():
    assert control(over_paths("pitch", [700, 100, 650, 150])).kind == "toggle"


def test_a_wide_range_without_measured_amounts_gets_a_knob_that_says_so():
    knob = control(heard("timbre"))
    assert knob.kind == "potentiometer"
    assert "wasn't measured" in knob.why
    assert (knob.fixed_ohm, knob.pot_ohm) == (3300, 20_000)  # 3.3 to 23.3 kohm, of 3 to 36 kohm
    silent_above = [*heard("timbre"), *heard("none", paths=PATHS[3:], first=9)]
    knob = control(silent_above, Pick("C-F", at_ohm=36_000))
    assert (knob.fixed_ohm, knob.pot_ohm) == (3300, 50_000)
    assert any("Beyond about 36 kΩ this wasn't heard" in hint for hint in knob.hints)


def test_a_narrow_range_gets_a_toggle():
    toggle = control(heard("pitch", paths=PATHS[:2]))
    assert toggle.kind == "toggle"
    assert "held change" in toggle.why


def test_what_needs_more_than_50_kohm_gets_body_contacts():
    stops = record(9, "CF", path_ohm=PATHS[2], sound="none", after="freeze")
    both = [*heard("pitch", paths=[60_000.0]), *heard("pitch", paths=PATHS[3:], first=3), stops]
    domes = control(both, Pick("C-F", at_ohm=153_000, key="moo"))
    assert domes.kind == "body contacts"
    assert domes.fixed_ohm == 68_000  # 62 kohm less 5 % is below the 60 kohm of the lowest path
    assert "over 36 kΩ this pair stopped the toy" in domes.keep
    wished = control([*heard("pitch", paths=PATHS[3:]), stops], Pick("C-F", control="body contacts"))
    assert wished.fixed_ohm == 160_000  # less 5 % it's the 153 kohm of its path, to 1 %
    assert any("touch two bare wire ends behind the resistor first" in hint for hint in wished.hints)


def test_where_skin_would_come_on_top_of_what_was_kept_there_are_no_body_contacts():
    """Heard over the highest path alone: its resistor and a fingertip are more than was ever tried."""
    assert control(heard("pitch", paths=PATHS[3:])).kind == "toggle"


def test_where_skin_can_only_be_too_much_there_are_no_body_contacts():
    heard_low = [record(n, "CF", kind, path_ohm=51_000.0)
                 for n, kind in enumerate(("sweep", "confirm"), 1)]
    silent_above = record(3, "CF", path_ohm=PATHS[-1], sound="none")
    assert control([*heard_low, silent_above]).kind == "toggle"


@pytest.mark.parametrize(
    ("below", "fixed_ohm", "words"),
    [
        ([], 11_000, "Keep at least 9.8 kΩ in the path: less wasn't tried here"),
        (heard("none", "freeze", PATHS[:1], first=9), 11_000,
         "Keep at least 9.8 kΩ in the path: over 3 kΩ this pair stopped the toy"),
        # The toy lived over less, so the nearest value will do.
        (heard("none", paths=PATHS[:1], first=9), 10_000,
         "Keep about 9.8 kΩ in the path: over 3 kΩ this change wasn't found"),
    ],
)
def test_the_least_resistance_is_kept_and_said_why(below, fixed_ohm, words):
    kept = control([*heard("loop", paths=PATHS[1:2]), *below])
    assert kept.fixed_ohm == fixed_ohm
    assert kept.keep.startswith(words)
    assert "the rig never tried less" in control(heard("loop", paths=PATHS[:1])).keep


def test_heard_once_over_a_lower_path_does_not_lower_the_resistor():
    once = record(9, "CF", path_ohm=PATHS[0], sound="loop")
    assert control([*heard("loop", paths=PATHS[1:2]), once]).fixed_ohm == 10_000


def test_a_stop_with_another_key_is_a_stop():
    other = record(9, "CF", path_ohm=PATHS[2], sound="none", after="freeze", key="woof")
    proposed = control([*heard("loop", paths=PATHS[:2]), other], Pick("C-F", key="moo"))
    assert (proposed.kind, proposed.fixed_ohm) == ("leave out", None)


@pytest.mark.parametrize("wish", CONTROLS)
def test_a_control_that_is_wished_for_is_given_and_the_sweeps_own_is_told(wish):
    proposed = control(heard("loop", paths=PATHS[:1]), Pick("C-F", control=wish))
    assert proposed.kind == wish
    assert ("You wish for it. The sweep speaks for a toggle." in proposed.why) == (wish != "toggle")
    assert proposed.fixed_ohm * 0.95 >= 0.99 * PATHS[0]


@pytest.mark.parametrize(
    ("at_ohm", "says"),
    [
        (2000, "less than the rig ever tried"), (10_000, "so expect it to stop"),
        (20_000, "less than the 36 kΩ over which it was heard again"),
        (38_500, "more than the 36 kΩ"), (100_000, "more than the 36 kΩ"),
    ],
)
def test_the_persons_own_value_is_kept_and_answered(at_ohm, says):
    records = heard("loop", paths=PATHS[2:3])
    if "stop" in says:
        records += [record(9, "CF", path_ohm=PATHS[1], after="freeze")]
    mine = control(records, Pick("C-F", at_ohm=at_ohm))
    assert (mine.fixed_ohm, mine.yours) == (at_ohm, True)
    assert mine.keep.startswith("Your value")
    assert says in mine.keep


def several_sounds(first=1, key="moo"):
    """Another timbre over 36 kΩ, two octaves lower over 9.8, silent after a while over 3; "none" over
    the highest; no two alike."""
    told = [("timbre", 18.0, "dB"), ("pitch", -2400.0, "cents"), ("cut", 0.85, "s")]
    return [record(first + 6, "CF", path_ohm=PATHS[3], sound="none", key=key)] + [
        replace(one, number=first + 2 * at + n)
        for at, (path, (sound, amount, unit)) in enumerate(zip(PATHS[2::-1], told, strict=True))
        for n, one in enumerate(heard(sound, paths=[path], amount=amount, unit=unit))
    ]


@pytest.mark.parametrize(("at_ohm", "kind", "fixed_ohm", "keep"), [
    (36_000, "toggle", 39_000, "Keep about 36 kΩ in the path: over 3 kΩ this change wasn't found"),
    (9_800, "toggle", 10_000, "Keep about 9.8 kΩ in the path: over 3 kΩ this change wasn't found"),
    (3_000, "push-button", 3_300, "Keep at least 3 kΩ in the path: the rig never tried less."),
    (None, "toggle", 10_000, "Keep about 9.8 kΩ"),  # the best: of the words pitch is worth most
])  # fmt: skip
def test_what_was_kept_is_what_is_fitted_and_no_other_sound_of_the_pair(at_ohm, kind, fixed_ohm, keep):
    """A pair kept as silent after 0.85 s must not get the resistance of its other timbre."""
    made = control(several_sounds(), Pick("C-F", at_ohm=at_ohm, key="moo" if at_ohm else None))
    assert (made.kind, made.fixed_ohm, made.yours) == (kind, fixed_ohm, False)
    assert made.keep.startswith(keep)


def test_within_a_range_the_kept_path_is_fitted_and_not_the_lowest():
    """Kept over 10.4 kΩ, where it was 18 dB, it isn't built with 3.6 kΩ, where it was 9."""
    paths, amounts_db = (3_600.4, 10_400.4, 36_000.4), (9.0, 18.0, 21.0)
    records = [
        replace(one, number=2 * at + n)
        for at, (path, db) in enumerate(zip(paths, amounts_db, strict=True))
        for n, one in enumerate(heard("drone", paths=[path], amount=db, unit="dB"))
    ]
    wished = Pick("C-F", at_ohm=10_400, control="toggle")
    assert (control(records, wished).fixed_ohm, control(records, wished).yours) == (10_000, False)
    knob = control(records, replace(wished, control=None))
    assert (knob.kind, knob.fixed_ohm, knob.pot_ohm) == ("potentiometer", 3_900, 20_000)
    (evidence,) = evidence_for([wished], records, 0.05)
    assert (evidence.find.amount, evidence.kept_ohm(wished)) == (18.0, 10_400.4)
    lowest = control(records, replace(wished, at_ohm=3_600))
    assert lowest.fixed_ohm == 3_900  # 3.6 kohm less 5 % would be less than was ever tried
    between = control(records, replace(wished, at_ohm=6_000))
    assert (between.fixed_ohm, between.yours, between.keep) == (6_000, True, "Your value.")


def test_a_resistance_over_which_it_was_seen_once_is_the_persons_own():
    records = [*heard("loop", paths=PATHS[2:3]), record(9, "CF", path_ohm=PATHS[1], sound="loop")]
    mine = control(records, Pick("C-F", at_ohm=9_800))
    assert (mine.fixed_ohm, mine.yours) == (9_800, True)
    assert "not again often enough to count" in mine.keep


@given(st.lists(st.sampled_from(PATHS), min_size=1, max_size=4, unique=True), st.data())
def test_a_knob_goes_through_what_was_kept_and_begins_where_the_range_does(paths, data):
    records = heard("timbre", paths=sorted(paths))
    kept = data.draw(st.sampled_from(paths))
    knob = control(records, Pick("C-F", at_ohm=float(f"{kept:.3g}"), control="potentiometer"))
    low, high = min(paths), max(paths)
    assert knob.fixed_ohm * 0.95 >= 0.99 * low and knob.fixed_ohm <= low * 1.2
    travel = knob.fixed_ohm + knob.pot_ohm
    assert travel >= kept * 0.95
    # It leaves the range only where no smaller one that shops have would reach what was kept.
    smaller = [pot for pot in POTS_OHM if pot < knob.pot_ohm]
    assert travel <= high * 1.05 or not smaller or knob.fixed_ohm + smaller[-1] < kept


@given(
    st.lists(st.builds(
        lambda kind, path, sound, after, amount, unit, key: record(
            1, "CF", kind, path_ohm=path, sound=sound, after=after, amount=amount, unit=unit, key=key),
        st.sampled_from(["sweep", "confirm"]), st.sampled_from(PATHS), st.sampled_from([*SOUNDS]),
        st.sampled_from([*AFTERS]), st.floats(-1200, 1200), st.sampled_from(["cents", "dB", None]),
        st.sampled_from(["moo", "woof"]),
    ), max_size=14),
    st.sampled_from([None, *CONTROLS]), st.sampled_from([None, "moo", "woof"]),
)  # fmt: skip
def test_no_part_of_ours_reaches_below_what_was_heard_twice_or_to_a_stop(made, wish, key):
    records = [replace(one, number=n) for n, one in enumerate(made, 1)]
    proposed = control(records, Pick("C-F", key=key, control=wish))
    assert proposed.why.endswith(".")
    if proposed.fixed_ohm is None:
        assert proposed.kind == "leave out"
        return
    assert wish in (None, proposed.kind)
    lowest = proposed.fixed_ohm * 0.95
    # Counted here anew, from nothing but the touches.
    twice = [
        path for path in PATHS for k in ("moo", "woof") if sum(
            one.path_ohm == path and one.key == k and one.counts and not one.stops
            and (one.sound not in ("none", "lost") or one.after == "runs on") for one in records
        ) >= 2
    ]
    stops = [one.path_ohm for one in records if one.after in ("freeze", "guarded")]
    stop = max(stops, default=0.0)
    alive = [one.path_ohm for one in records if one.counts and one.path_ohm > stop]
    assert any(lowest >= 0.99 * (0.9 * path if min(alive) < path else path) for path in twice if path > stop)
    assert all(lowest > path for path in stops)
    assert float(f"{proposed.fixed_ohm:.1e}".split("e")[0]) in E24
    if proposed.kind == "body contacts":
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
    return [Pick(pair) for pair in pairs]


def test_two_picks_on_one_pad_join_two_other_pads():
    trials = {
        "F-H": [Trial(3000.4, "none", "answers"), Trial(9800.4, "none", "answers")],
        "F-K": [Trial(9800.4, "pitch", "freeze")],
        "H-K": [Trial(36000.4, "pitch", "answers")],
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


def test_more_than_two_pads_get_no_control_but_what_was_heard():
    along = tuple(Heard(path_ohm=ohm, sound="pitch", after="answers", amount=300.0, unit="cents",
                        score=2.0, touch=1, baseline_touch=None) for ohm in (9_800.0, 36_000.0))
    heard = [Trial(ohm, "pitch", "answers", 300.0, "cents", "moo") for ohm in (9_800.0, 36_000.0) * 2]
    find = Find(pads_1="A+B", pads_2="C", sound="pitch", after="answers", amount=300.0, unit="cents",
                path_min_ohm=9_800.0, path_max_ohm=36_000.0, score=2.0, touches=(1,), best_touch=1,
                baseline_touch=None, key="moo", along=along)  # fmt: skip
    told = propose(Pick("A+B-C", control="toggle"), Evidence(find, heard),
                   least_path_ohm=3_000.0, most_path_ohm=150_000.0, volts=4.8)
    assert told.kind == "leave out" and told.fixed_ohm is None
    assert "A+B-C closes 3 pads at once, heard again over 9.8 kΩ to 36 kΩ" in told.why
