"""What rig.yaml asks for beside all pairs: said where it is wrong, touched, remembered, found, kept."""

from dataclasses import replace

import pytest
from small_sweeps import new_log

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.choose import finds, keep, load_picks
from rig.choose.matching import find_named
from rig.errors import ConfigError
from rig.events import Progress
from rig.project import load_project
from rig.sweep import Sweep
from rig.sweep.book import Book
from rig.sweep.steps import asked_steps, pair_steps
from rig.sweep.workload import workload

LEADS = "BDEG"
GROUP, HELD, UNPRESSED = "B+E-G", "B-D / E-G", "B-D"


def make(folder, also, kind="keyboard", seed=3, leads=LEADS):
    """A toy of which few pads are reached, with something more that is asked for."""
    new_simulated_project(folder, seed, 8, kind)
    text = (folder / "toy.yaml").read_text()
    lines = [f"  {line.strip()[0]}: {{forbidden: true}}"
             if line[:2] == "  " and line[3:4] == ":" and line[2] not in leads else line
             for line in text.splitlines()]  # fmt: skip
    (folder / "toy.yaml").write_text("\n".join(lines) + "\n")
    rig = (folder / "rig.yaml").read_text()
    assert "sweep:" not in rig
    (folder / "rig.yaml").write_text(f"{rig}\nsweep:\n  baseline_takes: 8\n  also:\n{also}")


ALSO = f"""\
    - {GROUP}
    - {{join: {HELD}, keys: [do]}}
    - {{join: {UNPRESSED}, keys: []}}
    - {{join: B-E, keys: [do, mi]}}
"""


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A sweep of all of it, what it knew after each touch, live and read back, and its log."""
    folder = tmp_path_factory.mktemp("asked") / "toy"
    make(folder, ALSO)
    project = load_project(folder)
    log, both = new_log(project), []
    sweep = Sweep(project, SimulatedBench(project), log)

    def compare(event):
        if isinstance(event, Progress) and event.touch % 25 == 0:
            read = Book(project, log, sweep.hand.rate_hz)
            read.remember()
            both.append([(dict(one.known.left), (dict(one.known.confirms.waiting), dict(one.known.froze)), one.known.touches,
                          {key: n for key, n in one.known.clean_takes.items() if n})
                         for one in (sweep.book, read)])

    log.listen(compare)
    sweep.run()
    log.flush()
    yield project, log.records(), both, log
    log.close()


def test_each_is_touched_from_high_to_low_and_read_back_as_it_was(swept):
    project, records, both, _ = swept
    made = {}
    for one in records:
        if one.kind == "sweep" and one.complete:
            made.setdefault((one.target.name, one.target.keys), []).append(one.path_ohm)
    for asked in asked_steps(project):
        values = made[asked.target.name, asked.target.keys]
        assert values == sorted(values, reverse=True) and len(values) >= 1
    assert {keys for _, keys in made} == {("do",), (), ("do", "mi")}
    assert len(both) >= 5 and all(live == read for live, read in both)


def test_every_stimulus_has_a_baseline_of_its_own_and_only_a_press_shows_how_a_touch_left_the_toy(swept):
    _, records, _, _ = swept
    counts = {}
    for one in records:
        if one.kind == "baseline" and one.complete:
            counts[one.target.keys] = counts.get(one.target.keys, 0) + 1
    heard_once = {keys for keys, times in counts.items() if times == 1}
    stimuli = set(counts) - heard_once
    assert stimuli == {("do",), (), ("do", "mi")} and min(counts[keys] for keys in stimuli) >= 8
    assert {("mi",), ("re",)} <= heard_once  # a chord's keys are others, each alone
    # What follows a touch of pads is a press, pressed alone or with the next touch.
    bridged = [n for n, one in enumerate(records[:-1]) if not one.target.is_clean and one.complete]
    assert all(records[n + 1].target.keys for n in bridged)


def test_an_unpressed_toy_that_a_bridge_makes_sound_is_found(swept):
    _, records, _, _ = swept
    heard = [one for one in records if one.target.name == UNPRESSED and not one.target.keys]
    assert {one.sound for one in heard} >= {"none", "drone"}
    (find,) = [one for one in finds(records, key="") if one.pair == UNPRESSED]
    assert find.sound == "drone" and not find.stop


def test_groups_are_found_exported_and_kept_under_their_names(swept):
    project, records, _, _ = swept
    found = {one.pair: one for one in finds(records)}
    assert GROUP in found or HELD in found
    for name in {GROUP, HELD} & set(found):
        find = find_named(list(found.values()), name.lower())
        keep(project.folder, find.pair)
    assert {one.pair for one in load_picks(project.folder)} == {GROUP, HELD} & set(found)


def test_the_check_counts_them(swept):
    project, *_ = swept
    plain = replace(project, rig=project.rig.model_copy(
        update={"sweep": project.rig.sweep.model_copy(update={"also": []})}))
    more = len(list(asked_steps(project)))
    assert workload(project).touches == workload(plain).touches + more
    assert workload(project).baselines == 3 * workload(plain).baselines
    assert len(list(pair_steps(project))) == workload(plain).touches - workload(plain).lone


@pytest.mark.parametrize(("also", "said"), [
    ("    - B+D\n", "rig.yaml:19: 'B+D' joins no pads: write such as A+B-C, or A-B / C-D"),
    ("    - B-D-E\n", "rig.yaml:19: 'B-D-E' joins no pads"),
    ("    - B-Z\n", "rig.yaml:19: B-Z can't be touched over any path: there is no pad Z in toy.yaml"),
    ("    - A-B\n", "rig.yaml:19: A-B can't be touched over any path: pad A is forbidden"),
    ("    - {join: B-D, keys: [doo]}\n", "there is no key doo in toy.yaml: did you mean do?"),
    ("    - {join: B-D, keys: [do, do]}\n", "key do is there twice: take one out"),
    ("    - {joint: B-D}\n", "unknown `joint`: did you mean join?"),
    ("    - 7\n", "rig.yaml:19: also[0] must hold `key: value` lines, such as `join: ...`, is 7"),
])  # fmt: skip
def test_what_is_wrong_is_said_with_its_line(tmp_path, also, said):
    make(tmp_path / "toy", also)
    with pytest.raises(ConfigError) as told:
        load_project(tmp_path / "toy")
    assert said in str(told.value) and "\n" not in str(told.value)
