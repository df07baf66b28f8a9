"""Keys with which nothing is touched: each is heard once, and pairs that do the same are told so."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from listening import told_during
from making_records import seen_twice
from scripted_hand import ScriptedHand
from small_sweeps import TAKES, few_leads, new_log

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.choose import finds
from rig.cli.tables import what
from rig.events import Noticed, SweepDone
from rig.listen import LIKE_KEY, Ear, Span
from rig.log import SweepLog
from rig.sweep import Sweep
from rig.sweep.rejudge import in_processes, rejudge
from rig.sweep.run import Run

RATE_HZ = 48_000
BOARDS = Path(__file__).parents[2] / "configs" / "boards"
PRESSES = {
    "sampler": ({"N": "row0", "L": "col1", "G": "col2"}, {"L-N": "bell", "G-N": "fish"}, "C-J"),
    "keyboard": ({"N": "row0"}, {"B-N": "re"}, "A-E"),
}
"""By kind: pads that are put on other nodes of its board in `configs/boards`, what bridging then
presses (the board file's `keys:` say so), and a pair that does nothing."""


def board_project(folder, kind, edits):
    """A project of one of the boards in `configs/boards`, with some of its text edited."""
    text = (BOARDS / f"{kind}.yaml").read_text()
    for old, new in edits.items():
        text, times = re.subn(old, new, text)
        assert times == 1, old
    (folder / "board.yaml").write_text(text)
    return new_simulated_project(folder / "toy", board=folder / "board.yaml")


@pytest.fixture(scope="module", params=PRESSES)
def swept(request, tmp_path_factory):
    """A sweep of the pads with which keys can be pressed."""
    nodes, pressing, plain = PRESSES[request.param]
    folder = tmp_path_factory.mktemp(request.param)
    made = board_project(folder, request.param, {f"{pad}: {{node: [^,]*": f"{pad}: {{node: {node}"
                                                 for pad, node in nodes.items()})
    wanted = {pad for pair in [*pressing, plain] for pad in pair.split("-")}
    pads = {n: p.model_copy(update={"forbidden": n not in wanted}) for n, p in made.toy.pads.items()}
    sweep = made.rig.sweep.model_copy(update={"baseline_takes": TAKES})
    rig = made.rig.model_copy(update={"sweep": sweep, "series_ohm": [6_800.0, 33_000.0]})
    project = replace(made, toy=made.toy.model_copy(update={"pads": pads}), rig=rig)
    log = new_log(project)
    told = told_during(log, Sweep(project, SimulatedBench(project), log).run)
    log.close()
    with SweepLog.open(log.folder, read_only=True) as log:
        yield project, log, told, pressing


def test_each_other_key_is_heard_once_and_last(swept):
    project, log, _, _ = swept
    records = log.records()
    others = [key for key in project.toy.keys
              if key not in project.sweep_keys and key not in project.toy.on]
    assert len(others) >= 3
    assert [one.key for one in records[-len(others):]] == others
    assert {one.key for one in records[:-len(others)]} == set(project.sweep_keys)


def test_pairs_that_press_another_key_say_so_and_come_last(swept):
    _, log, _, pressing = swept
    found = finds(log.records())
    assert {one.pair: one.like_key for one in found if one.pair in pressing} == pressing
    for one in found:
        # whatever says so joins the lines of that key, be it through another pad
        assert one.like_key is None or one.like_key in pressing.values()
    like = [one.like_key is not None for one in found]
    assert like == sorted(like)
    assert what(found[-1]) == f"like pressing {found[-1].like_key}"


def test_judging_the_takes_again_tells_the_same(swept):
    _, log, _, pressing = swept
    hits = {one.number: one.measures.get(LIKE_KEY) for one in log.records()
            if one.kind == "confirm" and one.target.name in pressing}
    again = {one.record.number: one.judgement.measures.get(LIKE_KEY)
             for one in rejudge(log, in_processes(1)) if one.record.number in hits}
    assert again == hits
    assert set(hits.values()) >= set(pressing.values())


def test_nothing_is_noticed_of_keys_that_leave_the_toy_as_it_is(swept):
    _, _, told, _ = swept
    assert not [one for one in told if isinstance(one, Noticed) and "from key" in one.text]


def test_a_key_that_changes_the_toy_is_told_of_and_the_toy_brought_back(tmp_path):
    # the last that plays: tune
    toy = board_project(tmp_path, "keyboard", {"habits: {": "habits: {cycles: volume, "})
    pads = {n: p.model_copy(update={"forbidden": n not in "CJP"}) for n, p in toy.toy.pads.items()}
    sweep = toy.rig.sweep.model_copy(update={"baseline_takes": TAKES})
    rig = toy.rig.model_copy(update={"sweep": sweep, "series_ohm": [33_000.0]})
    project = replace(toy, toy=toy.toy.model_copy(update={"pads": pads}), rig=rig)
    with new_log(project) as log:
        told = told_during(log, Sweep(project, SimulatedBench(project), log).run)
        records = log.records()
    noticed = [one.text for one in told if isinstance(one, Noticed) and "from key" in one.text]
    assert len(noticed) == 1
    assert "'tune'" in noticed[0]
    assert isinstance(told[-1], SweepDone)
    # It plays nothing itself, which is no fault of the toy.
    assert [one.facts.get("lead_in") for one in records if one.key == "tune"] == ["none"]


def scripted(project, script, is_person=False):
    hand = ScriptedHand(script, is_person)
    hand.project = project
    return hand


@pytest.mark.parametrize("end", ["ok", "silent", "lost", "odd"])
def test_whatever_another_key_brings_forth_the_sweep_ends_as_it_should(tmp_path, end):
    project = few_leads(tmp_path / "toy")
    others = [key for key in project.toy.keys
              if key not in project.sweep_keys and key not in project.toy.on]

    def script(step):
        return end if step.key in others else "ok"

    with new_log(project) as log:
        done = Run(project, scripted(project, script), log).run()
        records = log.records()
    assert isinstance(done, SweepDone)
    pressed = [key for key in others for _ in range(2 if end == "lost" else 1)]
    assert [one.key for one in records[-len(pressed):]] == pressed
    assert finds(records) == []


def test_another_key_whose_take_was_lost_once_is_heard_after_all(tmp_path):
    project = few_leads(tmp_path / "toy")
    other = next(key for key in project.toy.keys
                 if key not in project.sweep_keys and key not in project.toy.on)
    ends = {other: ["ok", "lost"]}

    def script(step):
        return ends[step.key].pop() if step.key == other else "ok"

    with new_log(project) as log:
        assert isinstance(Run(project, scripted(project, script), log).run(), SweepDone)
        assert [one.sound for one in log.records() if one.key == other] == ["lost", "none"]


def test_a_person_is_not_asked_for_other_keys(tmp_path):
    project = few_leads(tmp_path / "toy")
    project = replace(project, rig=project.rig.model_copy(update={"bench": "by-hand"}))
    with new_log(project) as log:
        Run(project, scripted(project, lambda step: "ok", is_person=True), log).run()
        assert {one.key for one in log.records()} == set(project.sweep_keys)


def test_it_takes_two_touches_and_a_third_of_them_to_be_like_a_key():
    def told(times, touches=6):
        first, again = seen_twice()
        made = [first, *(replace(again, number=number) for number in range(2, touches + 1))]
        likes = [replace(one, measures={LIKE_KEY: "blue"}) for one in made[:times]]
        return finds([*likes, *made[times:]])[0].like_key

    assert told(1) is None
    assert told(2) == "blue"
    assert told(2, touches=7) is None


def phrase(rng, hz, start_s, length_s, seconds=1.4):
    """Give a sound of syllables around a pitch, over a little noise."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    syllables = 0.5 + 0.5 * np.sin(2 * np.pi * 6 * (t - start_s))
    inside = (t >= start_s) & (t < start_s + length_s)
    tone = sum(np.sin(2 * np.pi * hz * n * (t - start_s)) / n for n in (1, 2, 3))
    return 0.1 * tone * syllables * inside + rng.normal(0, 1e-4, len(t))


def likeness(*, hz, at_s, length_s=0.5, delay_s=0.05):
    """Say what a touch is like that goes on so, with keys red (300 Hz) and blue (510 Hz)."""
    rng = np.random.default_rng(5)
    ear, span = Ear(RATE_HZ), Span.from_seconds(0.1, 0.5, 1.2, 1.4)
    for _ in range(8):
        ear.learn("red", phrase(rng, 300, 0.15, 0.9), span)
    ear.learn_other("blue", phrase(rng, 510, 0.1 + delay_s, 0.5), span)
    take = phrase(rng, 300, 0.15, 0.35) + phrase(rng, hz, at_s, length_s)
    judged = ear.judge("red", take, span)
    assert judged.sound != "none"
    return judged.measures.get(LIKE_KEY)


@pytest.mark.parametrize("delay_s", [0.02, 0.05, 0.3])
def test_a_sound_is_like_a_key_however_late_that_is_answered(delay_s):
    assert likeness(hz=510, at_s=0.5 + delay_s, delay_s=delay_s) == "blue"


@pytest.mark.parametrize("other", [
    {"hz": 560, "at_s": 0.55},                    # another pitch
    {"hz": 300, "at_s": 0.55},                    # the key's own, begun anew
    {"hz": 510, "at_s": 0.55, "length_s": 0.15},  # stops early
    {"hz": 510, "at_s": 1.25},                    # long after the closing: nothing but a tail
])  # fmt: skip
def test_another_sound_is_like_no_key(other):
    assert likeness(**other) is None


def test_a_key_that_is_silent_is_like_nothing():
    rng = np.random.default_rng(6)
    ear, span = Ear(RATE_HZ), Span.from_seconds(0.1, 0.5, 1.2, 1.4)
    for _ in range(8):
        ear.learn("red", phrase(rng, 300, 0.15, 0.9), span)
    ear.learn_other("blue", rng.normal(0, 1e-4, round(1.4 * RATE_HZ)), span)
    cut = phrase(rng, 300, 0.15, 0.35)
    judged = ear.judge("red", cut, span)
    assert judged.sound != "none"
    assert LIKE_KEY not in judged.measures
