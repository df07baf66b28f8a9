"""Going through a built toy on a virtual clock: hands do what is asked, and each fault is told."""

import re
import shutil
import subprocess
import sys
from dataclasses import replace

import pytest
import typer
from built_toys import KEPT, Person, built, new_swept, planned
from rich.cells import cell_len
from screens import PROGRAM, screen
from typer.testing import CliRunner

from rig.bench.byhand import Prompt
from rig.bench.simulated.built import BuiltBench, lifted
from rig.build.verified import VERIFIED, load_build
from rig.cli import verify as commands
from rig.cli.console import console
from rig.errors import ConfigError, Stopped, ToyLost
from rig.verify import Verifying, decide

PRESSES, ROUNDS = 5, 2


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A project folder after its sweep, three sounds kept; only ever read."""
    return new_swept(tmp_path_factory.mktemp("verify") / "toy")


@pytest.fixture
def folder(swept, tmp_path):
    return shutil.copytree(swept, tmp_path / "toy")


def verdicts(folder):
    """Give what each control came to, by its pair."""
    return {one.pair: one for one in load_build(folder).controls}


def changed(build, number, **more):
    return replace(build, controls={**build.controls, number: replace(build.controls[number], **more)})


def go(folder, change=lambda build, made: build, numbers=(1,), script=None, gain_db=0.0):
    """Go through some controls of a build; gives the toy, the verdicts and the person."""
    project, log, made = planned(folder)
    person = Person(script)
    with log:
        bench = BuiltBench(change(built(project, made), made), 5, person, gain_db=gain_db)
        run = Verifying(project, bench, log, made, wait_s=4.0)
        toy = run.open_toy()
        told = {}
        for job in made:
            if toy.is_itself and job.number in numbers:
                tried = run.try_out(job, person.note)
                told[job.number] = tried and decide(job, [tried], made, run.misses(job))
    return toy, told, person


def test_a_right_build_is_right(swept):
    toy, told, person = go(swept, numbers=(1, 2, 3))
    assert toy.is_itself and abs(toy.louder_db) < 3
    assert {number: one.name for number, one in told.items()} == dict.fromkeys((1, 2, 3), "right")
    asked = [one.control for one in person.asked if one.ask == "control"]
    assert asked == [1] * PRESSES + [2] * PRESSES + [3] * PRESSES
    assert all(one.late for one in person.asked if one.ask == "control")


def test_another_level_is_no_difference(swept):
    toy, told, _ = go(swept, gain_db=-9.0)
    assert toy.is_itself and toy.louder_db == pytest.approx(-9.0, abs=2.0)
    assert told[1].name == "right"


def test_an_open_joint(swept):
    _, told, _ = go(swept, lambda build, made: changed(build, 1, ohm={}))
    assert told[1].name == "no change"


def test_two_controls_that_are_swapped(swept):
    def swap(build, made):
        one, other = build.controls[2].pads, build.controls[3].pads
        return changed(changed(build, 2, pads=other), 3, pads=one)

    _, told, _ = go(swept, swap, (2, 3))
    assert {one.name for one in told.values()} == {"sounds like another"}
    assert "F-G, control 3" in told[2].words and "D-G, control 2" in told[3].words


def test_a_loose_joint(swept):
    _, told, _ = go(swept, lambda build, made: changed(build, 1, loose=0.5))
    assert told[1].name == "comes and goes"


def test_a_resistor_of_another_decade(swept):
    _, told, _ = go(swept, lambda build, made: changed(build, 1, ohm={"on": 10 * build.controls[1].ohm["on"]}))
    assert told[1].name in ("changed", "no change")


def test_lugs_that_touch_are_told_by_the_open_toy(swept):
    toy, told, _ = go(swept, lambda build, made: changed(build, 3, shorted=True))
    assert not toy.is_itself and toy.suspect.number == 3 and not told
    # This one never falls silent any more, whatever is done about it.
    toy, told, _ = go(swept, lambda build, made: changed(build, 2, shorted=True))
    assert not toy.is_itself and "sounds on by itself" in toy.words and not told


def test_solder_and_lifted_tracks_are_told_by_the_open_toy(swept):
    toy, _, _ = go(swept, lambda build, made: replace(build, solder=(("D", "G"),)))
    assert not toy.is_itself
    toy, _, _ = go(swept, lambda build, made: replace(build, board=lifted(build.board, "F")))
    assert not toy.is_itself and "timbre" in toy.words


def test_a_control_that_stops_the_toy(swept):
    script = {("control", 1, 3): "froze"}
    _, told, person = go(swept, script=script)
    assert told[1].name == "stops the toy"
    asked = [one.ask for one in person.asked]
    assert asked.count("control") == 3 and asked.count("battery") == 1  # it isn't done again


def test_again_takes_the_last_press_back_and_skip_leaves_out(swept):
    _, told, person = go(swept, script={("control", 1, 3): "again"})
    assert sum(one.ask == "control" for one in person.asked) == PRESSES + 2
    assert told[1].name == "right" and "5 of 5" in told[1].words
    _, told, _ = go(swept, script={("control", 1, 2): "skip"})
    assert told == {1: None}


# The command


def run_command(monkeypatch, folder, *words, change=lambda build, made: build, script=None):
    people = []

    def opened(project, asker, made):
        person = Scripted(asker, script)
        people.append(person)
        return BuiltBench(change(built(project, made), made), 5, person)

    monkeypatch.setattr(commands, "open_build", opened)
    monkeypatch.setattr("rig.verify.session.AGAIN_S", 2.0)
    app = typer.Typer(pretty_exceptions_enable=False)
    commands.register(app)
    result = CliRunner().invoke(app, ["--project", str(folder), *words])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.output, people[0].asked if people else []


class Scripted(Person):
    """A person at the terminal."""

    def __init__(self, asker, script):
        super().__init__(script)
        self._asker = asker

    def say(self, prompt):
        super().say(prompt)
        self._asker.say(prompt)

    def note(self, text):
        self._asker.note(text)


def controls(asked):
    return sorted({one.control for one in asked if one.ask == "control"})


def test_all_is_gone_through_twice_and_stored(monkeypatch, folder):
    said, asked = run_command(monkeypatch, folder)
    assert sum(one.ask == "control" for one in asked) == 3 * PRESSES * ROUNDS
    build = load_build(folder)
    assert build.is_done and build.is_itself and "sounds as in the sweep" in build.toy
    assert [(one.pair, one.verdict, one.rounds) for one in build.controls] == [
        (pair, "right", ROUNDS) for pair in KEPT]
    assert all("10 of 10 presses" in one.words and len(one.heard) == 10 for one in build.controls)
    assert said.splitlines()[-1] == "3 of 3 controls right"
    # Done means that the next time begins anew.
    _, asked = run_command(monkeypatch, folder, script={("control", 2, 1): "leave"})
    assert controls(asked) == [1, 2] and not load_build(folder).is_done


def test_a_fault_is_told_with_what_to_do(monkeypatch, folder):
    said, _ = run_command(monkeypatch, folder, change=lambda build, made: changed(build, 2, ohm={}))
    assert "2 (D-G): look for an open joint" in said and said.splitlines()[-1] == "2 of 3 controls right"
    assert verdicts(folder)["D-G"].verdict == "no change"


def test_what_was_left_is_continued(monkeypatch, folder):
    said, _ = run_command(monkeypatch, folder, script={("control", 2, 3): "leave"})
    assert f"left early: `padsweep verify --project {folder}` continues" in said
    assert [one.pair for one in load_build(folder).controls] == ["C-E"]
    _, asked = run_command(monkeypatch, folder, script={("control", 1, 1): "leave"})
    assert controls(asked) == [1, 2, 3]  # the first one only in the second round
    assert [one.rounds for one in load_build(folder).controls] == [1, 1, 1]


def test_the_patch_bay_is_gone_through_cord_by_cord(monkeypatch, folder):
    said, asked = run_command(monkeypatch, folder, "--patch-bay", script={("control", 2, 1): "leave"})
    assert {one.setting for one in asked if one.ask == "control"} == {"cord"}
    assert "a cord in one socket of 1" in said and "patch bay: C 36 kΩ" in said
    assert f"left early: `padsweep verify --project {folder} --patch-bay` continues" in said
    assert [(one.pair, one.verdict) for one in load_build(folder).controls] == [("C-E", "right")]
    (folder / "picks.yaml").write_text("- pair: C-E\n  at_ohm: 36000\n", "utf-8")
    with pytest.raises(ConfigError, match="no patch bay is proposed"):
        run_command(monkeypatch, folder, "--patch-bay")


def test_ctrl_c_leaves_what_was_heard(monkeypatch, folder):
    with pytest.raises(Stopped, match=r"what was heard is stored"):
        run_command(monkeypatch, folder, script={("control", 2, 1): "interrupt"})
    assert [(one.pair, one.verdict) for one in load_build(folder).controls] == [("C-E", "right")]


def test_a_kill_leaves_the_file_whole(monkeypatch, folder):
    saved = []

    class Killed(BaseException):
        pass

    def save(where, build):
        if len(saved) == 2:
            raise Killed
        saved.append(build)
        real(where, build)

    real = commands.save_build
    monkeypatch.setattr(commands, "save_build", save)
    with pytest.raises(Killed):
        run_command(monkeypatch, folder)
    assert load_build(folder) == saved[-1] and len(saved[-1].controls) == 2
    monkeypatch.setattr(commands, "save_build", real)
    _, asked = run_command(monkeypatch, folder, script={("control", 1, 1): "leave"})
    assert controls(asked) == [1, 3]


def test_again_adds_to_what_was_heard(monkeypatch, folder):
    with pytest.raises(ConfigError, match="nothing was verified yet"):
        run_command(monkeypatch, folder, "--again")
    run_command(monkeypatch, folder, script={("control", 1, PRESSES + 1): "leave"})  # in the second round
    said, _ = run_command(monkeypatch, folder, "--list")
    assert "--again`" in said
    said, asked = run_command(monkeypatch, folder, "--again", change=lambda build, made: changed(build, 1, ohm={}))
    assert sum(one.ask == "control" for one in asked) == 3 * PRESSES
    told = verdicts(folder)
    assert told["C-E"].verdict == "comes and goes" and told["D-G"].verdict == "right"
    assert {one.rounds for one in told.values()} == {2}


def test_a_toy_that_isnt_itself_leaves_no_verdict_standing(monkeypatch, folder):
    run_command(monkeypatch, folder)
    said, asked = run_command(monkeypatch, folder, change=lambda build, made: changed(build, 3, shorted=True))
    assert controls(asked) == [] and "with all controls open it isn't as in the sweep" in said
    told = verdicts(folder)
    assert told["F-G"].verdict == "changes the toy while open"
    assert {told[pair].verdict for pair in ("C-E", "D-G")} == {"not tried"}
    assert said.splitlines()[-1] == "0 of 3 controls right"


def test_a_dead_toy_is_told_and_no_verdict_stands(monkeypatch, folder):
    run_command(monkeypatch, folder, script={("control", 2, 1): "leave"})
    assert verdicts(folder)["C-E"].verdict == "right"
    with pytest.raises(ToyLost, match=r"isn't heard with all controls open.*`padsweep verify` again"):
        run_command(monkeypatch, folder, change=lambda build, made: replace(build, solder=(("C", "E"),)))
    assert {one.verdict for one in verdicts(folder).values()} == {"not tried"}
    assert not load_build(folder).is_itself


def test_what_is_built_otherwise_by_now_isnt_tried(monkeypatch, folder):
    run_command(monkeypatch, folder, script={("control", 2, 1): "leave"})
    text = (folder / "picks.yaml").read_text("utf-8")
    (folder / "picks.yaml").write_text(text.replace("at_ohm: 36000", "at_ohm: 9800", 1), "utf-8")
    said, _ = run_command(monkeypatch, folder, "--list")
    assert re.search(r"(?m)^1 +C-E +not tried", said)


def test_without_a_sweep_or_a_control_it_says_what_is_missing(monkeypatch, folder):
    with pytest.raises(ConfigError, match="there is no sweep 'other'"):
        run_command(monkeypatch, folder, "--name", "other")
    (folder / "picks.yaml").write_text("- pair: C-D\n", "utf-8")
    with pytest.raises(ConfigError, match=r"fits no control|nothing is picked"):
        run_command(monkeypatch, folder)


def test_each_prompt_says_what_to_do(folder, capsys):
    project, _, made = planned(folder)
    asker = commands.Asker(console(), project, made, "padsweep verify")
    key = project.sweep_keys[0]
    for setting in (*commands.SET, "2"):
        for late in (False, True):
            asker.say(Prompt("control", key, why="1 of 3", control=1, setting=setting, late=late))
    said = capsys.readouterr().out.splitlines()
    assert len(said) == 2 * (len(commands.SET) + 1)
    assert all(line.startswith("1 of 3: ") and f"press {key}" in line and "1" in line for line in said)
    assert all(line.endswith("open at the low tone") for line in said)
    for ask in ("room", "level", "clean", "bare", "battery", "quieten"):
        asker.say(Prompt(ask, key))
    assert "batteries out, count to ten" in capsys.readouterr().out


# What stands on a screen


@pytest.mark.parametrize("columns", [80, None])
def test_all_reads_well_on_a_screen_and_in_a_pipe(folder, columns):
    (folder / "picks.yaml").write_text("- pair: C-E\n  at_ohm: 36000\n", "utf-8")
    words = ["verify", "--project", "toy"]
    if columns is None:
        done = subprocess.run([sys.executable, "-c", PROGRAM, *words], check=True, capture_output=True, text=True,
                              cwd=folder.parent, stdin=subprocess.DEVNULL)  # fmt: skip
        assert done.stderr == ""
        lines = done.stdout.splitlines()
    else:
        lines = screen(words, columns, folder.parent)
        assert max(map(cell_len, lines)) <= columns
    assert (folder / VERIFIED).exists()
    assert any(line.startswith("1 of 5: press ") for line in lines)
    assert any(re.match(r"1 +C-E +right", line) for line in lines)
    assert lines[-1] == "1 of 1 controls right"
