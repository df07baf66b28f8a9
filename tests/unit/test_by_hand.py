"""The sweep by hand on a virtual clock: a person's stand-in does what the prompts ask."""

import os
from collections import Counter
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
import typer
from hands import RATE_HZ, Hands, StandIn, write_project
from listening import told_during
from typer.testing import CliRunner

from rig.bench.byhand import Prompt
from rig.bench.simulated.board import make_board
from rig.bench.simulated.folder import new_simulated_project
from rig.choose import finds
from rig.cli import sweep as commands
from rig.cli.console import console
from rig.cli.terminal import Terminal, two_pads
from rig.errors import CaptureLost, ConfigError, RigError, Stopped, ToyLost
from rig.events import FreezeSeen, Recovered, SetAside, SweepDone, TakeLost, Told, Unsettled
from rig.log import SweepLog, verify
from rig.project import load_project, setup_facts, setup_hash
from rig.sweep import Step
from rig.sweep.asking import SweepByHand
from rig.touches import Target

SEED, PADS, LEADS, PATH_OHM = 9, 8, "ABCF", 10_000.0
BEND, FREEZE, DULL = ("B", "F"), ("C", "F"), ("A", "B")
"""What pairs of this board do when held from before the press on (looked up beforehand)."""


def at_the_bench(script=None):
    """A stand-in at the board of these tests."""
    hands = Hands(make_board(SEED, PADS), SEED, PATH_OHM, (0.35, 0.7))
    return StandIn(hands, script)


def says(word):
    """The person answers so, and does nothing else."""
    def act(bench):
        bench.answers.append(word)
        return True
    return act


def taps(count):
    def act(bench):
        bench.hands.obey("room", "", None)
        bench.hands.tap(count)
        return True
    return act


def nothing(bench):
    """The person isn't there."""
    bench.hands.obey("room", "", None)
    return True


@pytest.fixture
def project(tmp_path):
    return load_project(write_project(tmp_path / "toy", SEED, PADS, LEADS))


def open_log(project, name="main"):
    folder = project.folder / "sweeps" / name
    make = SweepLog.open if (folder / "log.db").exists() else SweepLog.create
    return make(folder, setup=setup_facts(project), setup_hash=setup_hash(project))


def sweep(project, bench, name="main"):
    with open_log(project, name) as log:
        events = told_during(log, SweepByHand(project, bench, log).run)
        assert not verify(log)
        return events, log.records(), log.events()


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    project = load_project(write_project(tmp_path_factory.mktemp("s") / "toy", SEED, PADS, LEADS))
    bench = at_the_bench()
    return *sweep(project, bench), bench


def pairs_of(records, kind="sweep"):
    return [(r.pads_1, r.pads_2) for r in records if r.kind == kind and r.complete]


def test_every_pair_is_asked_for_and_what_changed_once_more(swept):
    events, records, log_events, bench = swept
    assert isinstance(events[-1], SweepDone)
    assert sorted(pairs_of(records)) == list(combinations(LEADS, 2))
    changed = {(r.pads_1, r.pads_2) for r in records
               if r.kind == "sweep" and (r.sound != "none" or r.after == "freeze")}
    assert changed == set(pairs_of(records, "confirm"))
    assert {BEND, FREEZE} <= changed and DULL not in changed
    assert {e.name for e in events if isinstance(e, FreezeSeen)} >= {"-".join(FREEZE)}
    told = [e.name for e in events if isinstance(e, Told)]
    # A touch ahead of a silent one isn't known to have left the toy alive: it is made again.
    unsettled = sum(isinstance(e, Unsettled) for e in log_events)
    assert len(told) - unsettled == len(pairs_of(records)) + len(pairs_of(records, "confirm"))
    assert bench.asked[0].ask == "room" and bench.asked[1].ask == "level"


def test_the_finds_have_the_path_and_their_takes(swept):
    _, records, _, _ = swept
    found = {(one.pads_1, one.pads_2): one for one in finds(records)}
    assert {BEND, FREEZE} <= set(found) and DULL not in found
    assert found[FREEZE].stop == "freeze"
    assert found[BEND].p_value < 0.02
    assert {one.path_min_ohm for one in found.values()} == {PATH_OHM}


def test_the_takes_begin_with_the_room_and_the_bridge_is_closed_before_the_press(swept):
    _, records, _, _ = swept
    for record in records:
        line = record.timeline
        assert line.end_us - line.press_us == 1_500_000
        assert line.release_us is None and record.facts["stamped"] == "by ear"
        if record.touch.connections:
            assert line.close_us < line.press_us
        assert record.offsets["press"] >= 0.1 * RATE_HZ


def test_presses_are_placed_where_hands_made_them(project):
    bench = at_the_bench()
    _, records, _ = sweep(project, bench)
    clean = [r for r in records if r.kind == "baseline"]
    # The toy takes some ms to answer: that is the same at each press, within its key scan.
    with open_log(project) as log:
        lead = []
        for record in clean:
            samples, _ = log.read_take(record.number)
            loud = np.flatnonzero(np.abs(samples) > 0.05)
            lead.append((loud[0] - record.offsets["press"]) / RATE_HZ)
    assert np.ptp(lead) < 0.03
    assert 0.0 < np.median(lead) < 0.1


def test_each_freeze_was_followed_by_batteries_out_and_in(swept):
    events, records, log_events, bench = swept
    freezes = [r for r in records if r.after == "freeze"]
    assert freezes
    out = [what for _, what in bench.hands.done if what == "batteries out"]
    assert len(out) == len(freezes) == sum(isinstance(e, Recovered) for e in events)
    assert all(r.facts["rung"] == "person" for r in freezes)
    assert {e.touch for e in log_events if isinstance(e, Recovered)} == {r.number for r in freezes}


@pytest.mark.parametrize("say", [says("again"), taps(2)])
def test_again_makes_the_last_touch_again(project, say):
    bench = at_the_bench({("touch", 2): say})
    _, records, events = sweep(project, bench)
    asked = [p.pads for p in bench.asked if p.ask == "touch"]
    assert asked[2] == asked[0]
    first = next(r for r in records if r.touch.connections)
    assert not first.complete
    assert next(e.touch for e in events if isinstance(e, Unsettled)) == first.number
    assert sorted(pairs_of(records)) == list(combinations(LEADS, 2))


def test_again_with_nothing_to_take_back_asks_the_same_pair(project):
    bench = at_the_bench({("touch", 1): says("again")})
    sweep(project, bench)
    asked = [p.pads for p in bench.asked if p.ask == "touch"]
    assert asked[1] == asked[0]


def test_a_skipped_pair_is_left_out_until_the_next_run(project):
    bench = at_the_bench({("touch", 3): says("skip")})
    events, records, _ = sweep(project, bench)
    skipped = [p.pads for p in bench.asked if p.ask == "touch"][2]
    assert skipped not in pairs_of(records)
    assert len([e for e in events if isinstance(e, SetAside)]) == 1
    _, records, _ = sweep(project, at_the_bench())
    assert sorted(pairs_of(records)) == list(combinations(LEADS, 2))


@pytest.mark.parametrize("say", [says("froze"), taps(3)])
def test_the_person_says_that_it_froze(project, say):
    bench = at_the_bench({("touch", 1): say})
    _, records, _ = sweep(project, bench)
    at = next(n for n, prompt in enumerate(bench.asked) if prompt.ask == "touch")
    first = next(r for r in records if (r.pads_1, r.pads_2) == bench.asked[at].pads)
    assert first.after == "freeze" and first.facts["rung"] == "person"
    assert bench.asked[at + 1].ask == "battery"


def test_it_can_be_left_and_continued(project, swept):
    events, before, _ = sweep(project, at_the_bench({("touch", 4): says("leave")}))
    assert not any(isinstance(e, SweepDone) for e in events)
    bench = at_the_bench()
    events, after, _ = sweep(project, bench)
    assert isinstance(events[-1], SweepDone)
    assert [r.number for r in after[: len(before)]] == [r.number for r in before]
    assert Counter(pairs_of(after)) == Counter(combinations(LEADS, 2))
    # A clean press comes before the next pair: toy or microphone may have been moved.
    asked = [p.ask for p in bench.asked]
    assert asked[:3] == ["room", "level", "clean"]
    assert {f.pair for f in finds(after)} == {f.pair for f in finds(swept[1])}


def test_ctrl_c_is_no_kill(project):
    class Interrupted(StandIn):
        def command(self):
            if sum(p.ask == "touch" for p in self.asked) == 2:
                raise KeyboardInterrupt
            return ""

    bench = Interrupted(at_the_bench().hands)
    with open_log(project) as log:
        with pytest.raises(KeyboardInterrupt):
            SweepByHand(project, bench, log).run()
        pair = "-".join(bench.asked[-1].pads)
        key = project.sweep_keys[0]
        assert log.attempts(f"sweep {key} {pair} {PATH_OHM:g}") == 0


def test_a_missed_press_is_asked_for_once_more(project, swept):
    bench = at_the_bench({("touch", 1): nothing})
    _, records, _ = sweep(project, bench)
    once_more = [p for p in bench.asked if p.ask == "once more" and p.pads]
    assert once_more[0].pads == next(p.pads for p in bench.asked if p.ask == "touch")
    first = next(r for r in records if r.touch.connections)
    assert first.facts["answer"] == "sound"
    assert {f.pair for f in finds(records)} == {f.pair for f in finds(swept[1])}


def test_a_silent_pair_with_a_living_toy_is_a_cut(project):
    # At the first pair the hands do nothing, whatever is asked of them with the bridge on.
    bench = at_the_bench({("touch", 1): nothing, ("once more", 1): nothing})
    _, records, _ = sweep(project, bench)
    first = next(r for r in records if r.touch.connections)
    assert (first.sound, first.after) == ("cut", "answers")
    assert first.facts["answer"] == "silence"
    assert records[first.number].kind == "check"  # the press with nothing bridged


def test_a_toy_that_never_comes_back_is_lost_and_its_touch_is_a_freeze(project):
    bench = at_the_bench({("touch", 2): nothing, "once more": nothing, "bare": nothing,
                     "battery": nothing})
    with open_log(project) as log:
        with pytest.raises(ToyLost, match=r"take them out and look at it, .*continue") as caught:
            SweepByHand(project, bench, log).run()
        last = log.records()[-1]
        assert (last.after, last.facts["rung"]) == ("freeze", "none")
        # The touch before was never answered: it is due again.
        assert [r.complete for r in log.records() if r.touch.connections] == [False, True]
    assert "\n" not in str(caught.value)
    assert sum(p.ask == "battery" for p in bench.asked) == 3


def test_an_enter_that_comes_late_is_no_answer_to_the_next_prompt(project):
    def stale(bench):
        bench.answers.append("next")

    bench = at_the_bench({"touch": stale, "battery": stale, "clean": stale})
    _, records, _ = sweep(project, bench)
    assert sum(r.facts.get("answer") == "sound" for r in records) > len(LEADS)
    assert not any(p.ask == "once more" and p.pads is None for p in bench.asked)


def test_a_silent_toy_is_told_at_once(project):
    with open_log(project) as log, pytest.raises(RigError, match="nothing is heard when key"):
        SweepByHand(project, at_the_bench({"level": nothing}), log).run()


def test_a_press_before_the_tone_is_over_is_asked_for_again(project):
    def hasty(bench):
        bench.hands.obey("room", "", None)
        bench.hands._press(0.1, bench.asked[-1].key)
        return True

    bench = at_the_bench({("clean", 2): hasty})
    _, records, _ = sweep(project, bench)
    assert any("too soon" in note for note in bench.notes)
    assert sum(r.kind == "baseline" for r in records) >= 8


def test_lost_sound_is_made_again_and_never_ranked(project, swept):
    bench = at_the_bench()
    def lose(bench):
        touches = [p for p in bench.asked if p.ask == "touch"]
        return len(touches) == 1 and bench.tones["go"] == len(bench.asked) - 1
    bench.lose = lose
    events, records, _ = sweep(project, bench)
    lost = [r for r in records if r.fault]
    assert [r.fault for r in lost] == ["sound samples were lost"]
    assert lost[0].sound == "lost" and lost[0].take is None
    assert sum(isinstance(e, TakeLost) for e in events) == 1
    assert {f.pair for f in finds(records)} == {f.pair for f in finds(swept[1])}


def test_a_sound_input_that_keeps_losing_pauses_the_sweep(project):
    bench = at_the_bench()
    bench.lose = lambda bench: sum(p.ask == "clean" for p in bench.asked) > 2
    with open_log(project) as log, pytest.raises(CaptureLost, match=r"4 takes in a row"):
        SweepByHand(project, bench, log).run()


def explore(project, bench):
    with open_log(project) as log:
        events = told_during(log, SweepByHand(project, bench, log).explore)
        assert not verify(log)
        return events, log.records()


def test_poking_at_will_logs_what_is_new_with_the_pair_that_is_named(project):
    bench = at_the_bench({("explore", 4): says("leave")})
    bench.pairs = [DULL, BEND, BEND]
    bench.named = [BEND[::-1], None]  # the order of the letters doesn't matter; once dropped
    events, records = explore(project, bench)
    made = [r for r in records if r.touch.connections]
    assert [(r.pads_1, r.pads_2, r.kind, r.complete) for r in made] == [(*BEND, "sweep", True)]
    assert made[0].sound != "none" and made[0].take
    assert bench.named == []
    told = [e for e in events if isinstance(e, Told)]
    # What is new is told, and once more with the pair that was named.
    assert [e.sound == "none" for e in told] == [True, False, False, False]
    assert [e.name for e in told] == [None, None, "-".join(BEND), None]
    # The sweep goes on with it, and confirms what was found by poking.
    bench = at_the_bench()
    _, records, _ = sweep(project, bench)
    assert "-".join(BEND) in {f.pair for f in finds(records)}


def test_a_pair_that_may_not_be_touched_is_asked_for_again(tmp_path):
    folder = write_project(tmp_path / "toy", SEED, PADS, LEADS)
    text = (folder / "toy.yaml").read_text()
    line = next(one for one in text.split("\n") if one.startswith("  C:"))
    (folder / "toy.yaml").write_text(text.replace(line, "  C: {forbidden: true}"))
    project = load_project(folder)
    bench = at_the_bench({("explore", 2): says("leave")})
    bench.pairs = [BEND]
    bench.named = [("B", "C"), ("B", "Q"), BEND]
    _, records = explore(project, bench)
    assert [(r.pads_1, r.pads_2) for r in records if r.touch.connections] == [BEND]
    assert bench.notes == ["pad C is forbidden in toy.yaml", "there is no pad Q in toy.yaml"]


def test_a_pair_that_is_refused_is_never_asked_for(project):
    bench = at_the_bench()
    pads = {**project.toy.pads, "C": project.toy.pads["C"].model_copy(update={"forbidden": True})}
    unsafe = replace(project, toy=project.toy.model_copy(update={"pads": pads}))
    step = Step("sweep", Target.pair("B", "C", PATH_OHM, project.sweep_keys[0]))
    with open_log(project) as log:
        (event,) = told_during(log, lambda: SweepByHand(unsafe, bench, log).make(step))
        assert not log.attempts(step.plan_key)
    assert isinstance(event, SetAside)
    assert event.why == "refused: pad C is forbidden in toy.yaml"
    assert bench.asked == []


def test_with_two_paths_all_pairs_come_first_with_the_higher(tmp_path):
    folder = write_project(tmp_path / "toy", SEED, PADS, "ABC")
    text = (folder / "rig.yaml").read_text()
    (folder / "rig.yaml").write_text(text.replace("[10000]", "[10000, 300000]"))
    bench = at_the_bench()
    sweep(load_project(folder), bench)
    paths = [p.path_ohm for p in bench.asked if p.ask == "touch" and not p.why]
    assert paths == sorted(paths, reverse=True) and set(paths) == {1e4, 3e5}


# What the terminal says


@pytest.mark.parametrize(
    ("said", "pads"),
    [("C F", ("C", "F")), ("c-f", ("C", "F")), ("fc", ("F", "C")), ("C and F", None),
     ("C", None), ("C C", None), ("C Q", None), ("aa,c", ("AA", "C")), ("", None)],
)
def test_two_pads_are_read_as_people_write_them(said, pads):
    assert two_pads(said, ["B", "C", "E", "F", "AA"]) == pads


def test_each_prompt_says_what_to_do(project, capsys):
    terminal = Terminal(console(), replace(
        project, toy=project.toy.model_copy(update={"on": ["woof"]})))
    for ask in ("room", "level", "clean", "once more", "bare", "quieten", "battery", "explore"):
        terminal.say(Prompt(ask, "woof", why="nothing was heard"))
    terminal.say(Prompt("touch", "woof", ("C", "F"), PATH_OHM))
    said = capsys.readouterr().out.splitlines()
    note = project.toy.pads["C"].note
    assert said[-1].startswith("bridge C and F, then press woof   C (")
    assert note in said[-1]
    assert "count to ten, put them in, press woof to turn it on, then press woof" in said[-3]
    assert all("press woof" in line for line in said if "bridge nothing" in line)


def test_keys_are_read_without_waiting(monkeypatch, project):
    end, other = os.pipe()
    with os.fdopen(end) as stdin, os.fdopen(other, "wb", buffering=0) as hand:
        monkeypatch.setattr("sys.stdin", stdin)
        terminal = Terminal(console(), project)
        assert terminal.command() == ""
        hand.write(b"asf\nq")
        said = [terminal.command() for _ in range(6)]
        assert said == ["again", "skip", "froze", "next", "leave", ""]
        hand.close()
        assert [terminal.command() for _ in range(2)] == ["", ""]


def test_an_unknown_key_shows_what_there_is(monkeypatch, project, capsys):
    terminal = Terminal(console(), project)
    monkeypatch.setattr(terminal._keys, "next", lambda: "x")
    assert terminal.command() == ""
    assert "f  the toy froze" in capsys.readouterr().out


def test_the_pair_is_asked_for_until_it_is_one(monkeypatch, project, capsys):
    lines = iter(["C and F", "C Q", "c f"])
    monkeypatch.setattr("rig.cli.terminal.ask_line", lambda prompt: next(lines))
    terminal = Terminal(console(), project)
    assert terminal.which() == ("C", "F")
    assert capsys.readouterr().out.count("isn't two of the pads A, B, C") == 2
    monkeypatch.setattr("rig.cli.terminal.ask_line", lambda prompt: "")
    assert terminal.which() is None


def run_command(monkeypatch, project, bench, *words):
    monkeypatch.setattr(commands, "open_hands", lambda project, person: bench)
    app = typer.Typer(pretty_exceptions_enable=False)
    commands.register(app)
    result = CliRunner().invoke(app, ["--project", str(project.folder), *words])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.output


def test_the_command_sweeps_and_says_what_it_came_to(monkeypatch, project):
    said = run_command(monkeypatch, project, at_the_bench())
    assert "B-F: " in said and "bend    B-F over 10 kΩ, heard again   B (" in said
    assert "freeze  C-F over 10 kΩ   C (" in said and "the toy is back" in said
    assert said.splitlines()[-1] == f"next: padsweep replay --project {project.folder}"


def test_the_command_can_be_left_and_interrupted(monkeypatch, project):
    said = run_command(monkeypatch, project, at_the_bench({("clean", 3): says("leave")}))
    last = f"left early: `padsweep sweep --project {project.folder}` continues"
    assert said.splitlines()[-1] == last
    bench = at_the_bench()
    monkeypatch.setattr(bench, "command", interrupt)
    with pytest.raises(Stopped, match="take the bridge off; the log is whole"):
        run_command(monkeypatch, project, bench)


def interrupt():
    raise KeyboardInterrupt


def test_exploring_is_for_hands(monkeypatch, tmp_path):
    made = new_simulated_project(tmp_path / "toy", SEED, PADS)
    with pytest.raises(ConfigError, match="--explore is for work by hand"):
        run_command(monkeypatch, made, None, "--explore")
