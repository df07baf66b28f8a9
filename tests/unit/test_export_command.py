"""`padsweep export` and `padsweep replay` as a person and a pipe use them."""

import csv
import io
import json
import os
import pty
import re
import select
import subprocess
import sys
import time

import pytest
import typer
from making_logs import BASELINE, add, bridge, new_log
from typer.testing import CliRunner

from rig.bench.simulated.folder import new_simulated_project
from rig.choose import load_picks
from rig.cli import choose, export
from rig.errors import ConfigError, LogError, RigError

APP = typer.Typer()
choose.register(APP)
export.register(APP)


@pytest.fixture
def project(tmp_path):
    """A project with a sweep of two bends, one freeze and an open touch."""
    folder = tmp_path / "toy"
    new_simulated_project(folder, 5, 8)
    with new_log(folder / "sweeps" / "main") as log:
        add(log, kind="baseline", touch=BASELINE)
        for kind in ("sweep", "confirm"):
            add(log, kind=kind, touch=bridge("C", "F"), sound="loop", amount=0.25, unit="s",
                score=4.0)
            add(log, kind=kind, touch=bridge("A", "B"), sound="pitch", amount=300.0,
                unit="cents", score=2.0)
            add(log, kind=kind, touch=bridge("D", "E"), after="freeze", score=3.0)
        add(log, touch=bridge("G", "H"), after=None)
    return folder


def run(project, *words):
    """Run a command of the project; its errors are raised, its text given."""
    done = CliRunner().invoke(APP, [words[0], "--project", str(project), *words[1:]])
    if done.exception and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.mark.parametrize(
    ("words", "begins"),
    [
        (["--output", "out.json"], "["),
        (["--output", "out.JSON", "--format", "json"], "["),
        (["--output", "out.csv"], "touch,"),
        (["--output", "out.txt"], "touch,"),
        (["--output", "out.txt", "--format", "json"], "["),
    ],
)
def test_the_ending_says_the_format_where_nothing_else_does(
    project, tmp_path, monkeypatch, words, begins
):
    monkeypatch.chdir(tmp_path)
    assert run(project, "export", *words) == ""
    assert (tmp_path / words[1]).read_text().startswith(begins)


@pytest.mark.parametrize(("ending", "form"), [("json", "csv"), ("csv", "json")])
def test_a_format_that_contradicts_the_ending_is_refused(project, tmp_path, ending, form):
    target = tmp_path / f"out.{ending}"
    with pytest.raises(RigError, match=f"would hold {form.upper()}: give --format {ending} or an"):
        run(project, "export", "--format", form, "--output", str(target))
    assert not target.exists()


def test_export_touches(project):
    rows = list(csv.DictReader(io.StringIO(run(project, "export"))))
    assert [row["touch"] for row in rows] == [str(n) for n in range(1, 8)]
    assert rows[1]["sound"] == "loop"
    assert (project / rows[1]["take"]).is_file()
    every = json.loads(run(project, "export", "--format", "json", "--all"))
    assert [row["touch"] for row in every] == list(range(1, 9))
    assert (every[-1]["after"], every[0]["path_ohm"]) == (None, None)


def test_export_finds(project):
    rows = json.loads(run(project, "export", "--finds", "--format", "json"))
    assert [(row["pads_1"], row["pads_2"], row["sound"], row["after"]) for row in rows] == [
        ("C", "F", "loop", "answers"), ("A", "B", "pitch", "answers"),
        ("D", "E", "none", "freeze")]
    assert rows[0]["path_min_ohm"] == rows[0]["path_max_ohm"] == 12_000.0
    assert rows[0]["best_path_ohm"] == 12_000.0
    assert (project / rows[0]["take"]).name == "000002.flac"
    assert (project / rows[0]["take"]).is_file()
    assert {(row["choice"], row["note"]) for row in rows} == {(None, None)}


def test_exported_finds_carry_the_persons_own_words(project):
    run(project, "replay", "--keep", "C-F", "--note", "robot, stutters")
    run(project, "replay", "--set-aside", "A-B")
    rows = list(csv.DictReader(io.StringIO(run(project, "export", "--finds"))))
    assert [(row["choice"], row["note"]) for row in rows] == [
        ("kept", "robot, stutters"), ("set aside", ""), ("", "")]


def test_export_to_a_file_never_overwrites_unasked(project, tmp_path):
    target = tmp_path / "out.csv"
    assert run(project, "export", "--output", str(target)) == ""
    text = target.read_text()
    assert text == run(project, "export")
    with pytest.raises(RigError, match="is there already; give --force"):
        run(project, "export", "--finds", "--output", str(target))
    assert target.read_text() == text
    run(project, "export", "--finds", "--output", str(target), "--force")
    assert target.read_text().startswith("pads_1,")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out.csv", "toy"]
    with pytest.raises(RigError, match="can't be written: No such file or directory"):
        run(project, "export", "--output", str(tmp_path / "none" / "out.csv"))
    with pytest.raises(RigError, match="without --finds"):
        run(project, "export", "--finds", "--all")


def test_a_sweep_that_isnt_there_is_one_line(project):
    for command in ("export", "replay"):
        with pytest.raises(LogError, match="there is no sweep here; run `padsweep sweep` first"):
            run(project, command, "--name", "other")
    assert not (project / "sweeps" / "other").exists()


def test_replay_lists_in_a_pipe_with_choices_and_where(project):
    toy = (project / "toy.yaml").read_text("utf-8")
    note = re.search(r'  C: {note: "(.*?)"', toy).group(1)
    run(project, "replay", "--keep", "C-F", "--note", "robot [loud] stutter")
    run(project, "replay", "--set-aside", "b-a")
    listed = run(project, "replay", "--list").splitlines()
    assert [line.split()[0] for line in listed] == [
        "pads", "C-F", "A-B", "D-E", "path:", "takes:"]
    assert "loops every 0.25 s" in listed[1]
    assert "kept: robot [loud] stutter" in listed[1]
    assert re.search(rf"  2 +C \({re.escape(note)}\), F \(", listed[1])
    assert (project / "sweeps" / "main" / "takes" / "000002.flac").is_file()
    assert str(project / "sweeps" / "main" / "takes") in listed[5]
    assert "set aside" in listed[2]
    assert "freezes" in listed[3]
    assert run(project, "replay").splitlines()[:6] == listed  # no terminal: the list, and a hint
    assert not any(letter in "".join(listed) for letter in "│┃━─\x1b")


def test_replay_keeps_sets_aside_and_undoes(project):
    run(project, "replay", "--keep", "F-C", "--keep", "A-B")
    assert [one.pair for one in load_picks(project)] == ["C-F", "A-B"]
    run(project, "replay", "--set-aside", "A-B", "--keep", "C-F", "--note", "good")
    assert [(one.pair, one.note) for one in load_picks(project)] == [("C-F", "good")]
    assert "no longer" in run(project, "replay", "--undo", "C-F")
    assert load_picks(project) == []


@pytest.mark.parametrize(("words", "message"), [
    (("--keep", "C-G"), r"nothing was found on C-G: found with these pads: C-F"),
    (("--keep", "X-Y"), r"nothing was found on X-Y; see `padsweep replay --list`"),
    (("--keep", "C-F", "--set-aside", "nonsense"), "'nonsense' is no pair"),
    (("--note", "x"), "--note belongs to one kept pair"),
    (("--keep", "C-F", "--keep", "A-B", "--note", "x"), "--note belongs to one kept pair"),
])
def test_a_wrong_pair_changes_nothing(project, words, message):
    with pytest.raises(RigError, match=message):
        run(project, "replay", *words)
    assert not (project / "picks.yaml").exists()


def test_a_spoilt_picks_file_is_named_and_left_alone(project):
    (project / "picks.yaml").write_text("- pair: C-F\n  sond: loop\n")
    for words in (("--list",), ("--keep", "A-B")):
        with pytest.raises(ConfigError, match=r"picks\.yaml:2: unknown `sond`"):
            run(project, "replay", *words)


PROGRAM = ("import typer\nfrom rig.cli import choose, export\napp = typer.Typer()\n"
           "choose.register(app)\nexport.register(app)\napp()\n")
NO_PORTAUDIO = "import ctypes.util\nctypes.util.find_library = lambda name: None\n"
"""What a machine without the library answers when it's looked for."""


def play(project, program):
    """Run `replay --play C-F` in a process of its own."""
    return subprocess.run(
        [sys.executable, "-c", program, "replay", "--project", project, "--play", "C-F"],
        capture_output=True, text=True, check=False, timeout=120,
        env=os.environ | {"PULSE_SERVER": "unix:/nonexistent"})


def test_without_portaudio_it_says_what_to_install_and_where_the_files_are(project):
    done = play(project, NO_PORTAUDIO + PROGRAM)
    assert done.returncode == 0, done.stderr
    assert "apt-get install libportaudio2" in done.stdout
    for number in (1, 2):
        assert str(project / "sweeps" / "main" / "takes" / f"00000{number}.flac") in done.stdout
    assert done.stderr == ""


def test_without_a_sound_device_it_says_where_the_files_are(project):
    done = play(project, "from rig.cli.player import Player\n"
                         "try: Player()\nexcept Exception: pass\nelse: raise SystemExit(77)\n"
                         + PROGRAM)
    if done.returncode == 77:
        pytest.skip("NOT CHECKED: this machine has a sound output")
    assert done.returncode == 0, done.stderr
    assert "no sound output was found" in done.stdout
    assert str(project / "sweeps" / "main" / "takes" / "000002.flac") in done.stdout
    assert done.stderr == ""


class Terminal:
    """A person's terminal with the command running in it."""

    def __init__(self, *words):
        self._ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", NO_PORTAUDIO + PROGRAM, *map(str, words)], stdin=theirs, stdout=theirs,
            stderr=theirs, env=os.environ | {"TERM": "xterm", "COLUMNS": "100"})
        os.close(theirs)
        self.seen = ""

    def wait_for(self, text, seconds=120.0):
        """Read until `text` shows; what was before it is given and not looked at again."""
        end = time.monotonic() + seconds
        while text not in self.seen:
            left = end - time.monotonic()
            assert left > 0, f"{text!r} never showed in {self.seen!r}"
            if select.select([self._ours], [], [], left)[0]:
                try:
                    self.seen += os.read(self._ours, 4096).decode()
                except OSError:  # the other end is closed
                    raise AssertionError(f"{text!r} never showed in {self.seen!r}") from None
        before, self.seen = self.seen.split(text, 1)
        return before

    def press(self, keys):
        """Type."""
        os.write(self._ours, keys.encode())

    def close(self):
        """Wait for its end; gives the exit code."""
        code = self.process.wait(60)
        os.close(self._ours)
        return code

    def __enter__(self):
        return self

    def __exit__(self, kind, *_):
        if kind is not None:
            self.process.kill()
            self.close()


def test_at_a_terminal_single_keys_choose(project):
    with Terminal("replay", "--project", project) as terminal:
        go_through(terminal)
        assert terminal.close() == 0
    picks = load_picks(project, set_aside=True)
    assert [(one.pair, one.note, one.set_aside) for one in picks] == [
        ("C-F", "stutters, für Käthe", False), ("A-B", "", True)]


def go_through(terminal):
    """Keep the first with a note, think again about the second, leave at the third."""
    terminal.wait_for("1 of 3   C-F   loops every 0.25 s")
    terminal.wait_for("000002.flac")
    terminal.press("n")
    terminal.wait_for("note: ")
    terminal.press("stutters, für Käthe\n")
    terminal.wait_for("2 of 3   A-B")
    terminal.press("k")
    terminal.wait_for("3 of 3   D-E")
    terminal.press("\x1b[A")
    terminal.wait_for("2 of 3   A-B")
    terminal.wait_for("(kept)")
    terminal.press("u")
    terminal.wait_for("taken back")
    terminal.press("s")
    terminal.wait_for("3 of 3   D-E")
    terminal.press("x")
    terminal.wait_for("p play baseline and bend")
    terminal.press("q")
    terminal.wait_for("1 kept, 1 set aside")


@pytest.fixture
def several(tmp_path):
    """A project with a pair of two sounds, of which one was seen once more over less."""
    folder = tmp_path / "toy"
    new_simulated_project(folder, 5, 8)
    with new_log(folder / "sweeps" / "main") as log:
        add(log, kind="baseline", touch=BASELINE)
        for kind in ("sweep", "confirm"):
            add(log, kind=kind, touch=bridge("C", "F", 36_000.0), path_ohm=36_000.0, sound="loop",
                amount=0.25, unit="s", score=4.0)
            add(log, kind=kind, touch=bridge("C", "F", 3_600.0), path_ohm=3_600.0, sound="pitch",
                amount=-2400.0, unit="cents", score=2.0)
        add(log, touch=bridge("C", "F", 1_200.0), path_ohm=1_200.0, sound="pitch", amount=-2500.0,
            unit="cents", score=2.0)
    return folder


def test_each_sound_of_a_pair_is_a_row_and_kept_by_its_resistance(several):
    said = run(several, "replay", "--keep", "c-f 3k6", "--note", "falls")
    assert said.startswith(f"C-F 3.6k: kept, in {several / 'picks.yaml'}")
    assert (several / "picks.yaml").read_text("utf-8").endswith(
        '- pair: C-F\n  at_ohm: 3600\n  key: "moo"\n  note: "falls"\n')
    listed = run(several, "replay", "--list").splitlines()
    assert [line.split("  ")[0] for line in listed[1:3]] == ["C-F 36k", "C-F 3.6k"]
    assert "kept" not in listed[1] and "kept: falls" in listed[2]
    rows = json.loads(run(several, "export", "--finds", "--format", "json"))
    assert [(row["pads_1"], row["pads_2"], row["key"], row["path_max_ohm"], row["choice"], row["note"])
            for row in rows] == [
        ("C", "F", "moo", 36_000.0, None, None), ("C", "F", "moo", 3_600.0, "kept", "falls")]
    assert rows[0]["family"] == "C-F 36k"
    run(several, "replay", "--keep", "C-F", "--set-aside", "C-F 3.6k moo")
    assert [(one.at_ohm, one.set_aside) for one in load_picks(several, set_aside=True)] == [
        (3600.0, True), (36000.0, False)]
    assert "C-F 3600: no longer in" in run(several, "replay", "--undo", "C-F 3600")
    assert "C-F 3600: was not in" in run(several, "replay", "--undo", "C-F 3600")
    assert [one.at_ohm for one in load_picks(several)] == [36000.0]
    run(several, "replay", "--keep", "C-F 3.6k")
    assert "C-F: no longer in" in run(several, "replay", "--undo", "C-F")
    assert load_picks(several, set_aside=True) == []


def test_two_sounds_of_a_pair_are_files_of_one_number(several, tmp_path):
    for sound in ("C-F", "C-F 3.6k"):
        run(several, "replay", "--keep", sound)
    run(several, "export", "--sounds", str(tmp_path / "wav"))
    assert sorted(one.name for one in (tmp_path / "wav").iterdir()) == [
        "01-C-F-3.6k-bent.wav", "01-C-F-3.6k-plain.wav", "01-C-F-36k-bent.wav",
        "01-C-F-36k-plain.wav", "medley.wav"]


def test_single_keys_go_up_and_down_through_a_pairs_resistances(several):
    with Terminal("replay", "--project", several) as terminal:
        terminal.wait_for("1 of 2   C-F 36k   loops every 0.25 s")
        terminal.press(">")
        terminal.wait_for("it was heard over no more")
        terminal.press("<")
        terminal.wait_for("1 of 2   C-F 3.6k   pitch down two octaves (2400 cents)   over 3.6 kΩ")
        terminal.wait_for("000003.flac")
        terminal.press("<")
        terminal.wait_for("1 of 2   C-F 1.2k   pitch down 2500 cents   over 1.2 kΩ, seen once")
        terminal.press("<")
        terminal.wait_for("it was heard over no less")
        terminal.press("k")
        terminal.wait_for("2 of 2   C-F 3.6k   pitch down two octaves")
        terminal.press("k")
        terminal.wait_for("2 kept, 0 set aside")
        assert terminal.close() == 0
    assert [(one.pair, one.at_ohm, one.key) for one in load_picks(several)] == [
        ("C-F", 1200.0, "moo"), ("C-F", 3600.0, "moo")]
