"""Each kind of control, built and gone through: photocell, body contacts, rotary switch, patch bay, a crash;
and another microphone."""

import re
import shutil

import numpy as np
import pytest
from built_toys import Person, built, new_swept, planned

from rig.bench.simulated.built import Build, BuiltBench, wired
from rig.bench.simulated.folder import project_board
from rig.bench.simulated.room import Room
from rig.build.fitting import BODY_LEAST_OHM
from rig.build.patch_bay import bay_of
from rig.build.several import by_pair
from rig.build.sheet import proposals, see
from rig.choose import load_picks
from rig.project.models import Room as RoomOptions
from rig.verify import Verifying, cords, decide
from rig.verify.settings import SKIN_MOST_OHM

LAMP_OHM, COVERED_OHM = 1_000.0, 800_000.0
"""A photocell under a strong lamp, and covered: within what the sheet takes it to have."""
ELSEWHERE = 4
"""The seed of a room in which the toy has another timbre."""


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    return new_swept(tmp_path_factory.mktemp("kinds") / "toy")


@pytest.fixture
def folder(swept, tmp_path):
    return shutil.copytree(swept, tmp_path / "toy")


def kept(folder, picks):
    (folder / "picks.yaml").write_text(picks, "utf-8")
    return planned(folder)


def verdicts(planned, build, seed=5, room=None, **more):
    """Go through all controls of a build; gives the toy and what each came to."""
    project, log, made = planned
    with log:
        run = Verifying(project, BuiltBench(build, seed, Person(), room=room), log, made, wait_s=4.0, **more)
        toy = run.open_toy()
        told = {}
        for job in made if toy.is_itself else ():
            told[job.number] = decide(job, [run.try_out(job, lambda said: None)], made, run.misses(job))
    return toy, told


def with_ohm(build, number, **ohm):
    one = build.controls[number]
    return Build(build.board, {**build.controls, number: wired(one.pads, {**one.ohm, **ohm})})


# A photocell


PHOTOCELL = "- pair: F-G\n  at_ohm: 9800\n  control: photocell\n"


def test_a_photocell_plays_in_light_and_is_off_in_the_dark(folder):
    project, log, made = kept(folder, PHOTOCELL)
    assert [one.name for one in made[0].settings] == ["light", "dark"]
    fixed = made[0].settings[0].low_ohm
    right = with_ohm(built(project, made), 1, light=fixed + LAMP_OHM, dark=fixed + COVERED_OHM)
    _, told = verdicts((project, log, made), right)
    assert told[1].name == "right"


def test_a_photocell_that_light_doesnt_change_is_told(folder):
    project, log, made = kept(folder, PHOTOCELL)
    fixed = made[0].settings[0].low_ohm
    always = with_ohm(built(project, made), 1, light=fixed + LAMP_OHM, dark=fixed + LAMP_OHM)
    _, told = verdicts((project, log, made), always)
    assert told[1].name == "changed" and told[1].words.startswith("dark: ")
    project, log, made = kept(folder, PHOTOCELL)
    never = with_ohm(built(project, made), 1, light=fixed + COVERED_OHM, dark=fixed + COVERED_OHM)
    _, told = verdicts((project, log, made), never)
    assert told[1].name == "no change" and told[1].words.startswith("light: ")


# Body contacts


BODY = "- pair: C-E\n  at_ohm: 36000\n  control: body contacts\n"


@pytest.mark.parametrize("seed", [5, 6])
def test_body_contacts_are_right_by_coin_whatever_the_skin_is(folder, seed):
    project, log, made = kept(folder, BODY)
    joined, touched = made[0].settings
    assert (touched.low_ohm, touched.high_ohm) == (joined.ohm + BODY_LEAST_OHM, joined.ohm + SKIN_MOST_OHM)
    skin = with_ohm(built(project, made), 1, joined=joined.ohm, touched=(touched.low_ohm, touched.high_ohm))
    _, told = verdicts((project, log, made), skin, seed)
    assert told[1].name in ("right", "unsure")
    if told[1].name == "unsure":
        assert "nothing was heard by touch" in told[1].words and "damp the fingertips" in told[1].next_step


def test_body_contacts_that_are_open_are_told_by_the_coin(folder):
    project, log, made = kept(folder, BODY)
    _, told = verdicts((project, log, made), Build(project_board(project), {1: wired(made[0].pads, {})}))
    assert told[1].name == "no change" and told[1].words.startswith("joined: ")


# A rotary switch


ROTARY = "- pair: C-E\n  at_ohm: 36000\n- pair: C-E\n  at_ohm: 68000\n"


def test_a_rotary_switch_is_heard_at_each_position(folder):
    project, log, made = kept(folder, ROTARY)
    assert made[0].kind == "rotary switch" and [one.name for one in made[0].settings] == ["1", "2"]
    _, told = verdicts((project, log, made), built(project, made))
    assert told[1].name == "right"
    project, log, made = kept(folder, ROTARY)
    one_open = Build(project_board(project), {1: wired(made[0].pads, {"1": made[0].settings[0].ohm})})
    _, told = verdicts((project, log, made), one_open)
    assert told[1].name == "no change" and told[1].words.startswith("2: ")


# A patch bay


def test_each_cord_of_a_patch_bay_is_held_against_its_pick(swept):
    project, log, _ = planned(swept)
    picks = load_picks(swept)
    seen = see(project, picks, log.records())
    pairs = by_pair(picks, seen.evidence)
    bay = bay_of(project, pairs, proposals(project, picks, seen), seen.trials)
    made = cords(pairs, bay)
    assert [(one.number, one.kind) for one in made] == [(1, "patch bay"), (2, "patch bay"), (3, "patch bay")]
    right = built(project, made)
    _, told = verdicts((project, log, made), right)
    assert {one.name for one in told.values()} == {"right"}
    project, log, _ = planned(swept)
    swapped = {**right.controls, 2: wired(made[2].pads, right.controls[2].ohm),
               3: wired(made[1].pads, right.controls[3].ohm)}  # fmt: skip
    _, told = verdicts((project, log, made), Build(right.board, swapped))
    assert told[1].name == "right" and {told[2].name, told[3].name} == {"sounds like another"}


# A crash that was kept


@pytest.fixture(scope="module")
def crashing(tmp_path_factory):
    """Another toy, that stops over A-C and drones on (looked up beforehand)."""
    return new_swept(tmp_path_factory.mktemp("crash") / "toy", 622, "talker", {"A-C": 9800}, "BDEFG")


def test_a_kept_crash_is_right_where_the_toy_stops_and_sounds_on(crashing):
    project, log, made = planned(crashing)
    assert made[0].kind == "push-button" and "beside the reset button" in made[0].built
    _, told = verdicts((project, log, made), built(project, made))
    assert told[1].name == "right" and re.search(r"drones at \d+ Hz, and the toy stopped", told[1].words)


def test_a_kept_crash_that_doesnt_come_is_told(crashing):
    project, log, made = planned(crashing)
    _, told = verdicts((project, log, made), Build(project_board(project), {1: wired(made[0].pads, {})}))
    assert told[1].name == "no change"


# Another microphone


def room(seed=ELSEWHERE):
    return Room(RoomOptions(path="microphone"), 40.0, seed, np.random.default_rng(seed))


def test_another_microphone_is_told_apart_from_another_toy_only_where_it_is_said(swept):
    project, log, made = planned(swept)
    toy, told = verdicts((project, log, made), built(project, made), room=room())
    assert not toy.is_itself and toy.is_colour and not told
    toy, told = verdicts(planned(swept), built(project, made), room=room(), other_microphone=True)
    assert toy.is_itself
    assert {one.name for one in told.values()} == {"right"}


def test_by_another_microphone_faults_are_heard_too(swept):
    project, log, made = planned(swept)
    right = built(project, made)
    faulty = {**right.controls, 1: wired(made[0].pads, {}), 2: wired(made[2].pads, right.controls[2].ohm)}
    toy, told = verdicts((project, log, made), Build(right.board, faulty), room=room(), other_microphone=True)
    assert toy.is_itself
    assert told[1].name == "no change" and told[2].name not in ("right", "right or swapped")
