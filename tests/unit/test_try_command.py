"""`padsweep try` as a person has it: a screen of single keys, lines in a pipe, what is refused."""

import os
import pty
import re
import select
import shutil
import signal
import subprocess
import sys
import time
import wave

import numpy as np
import pytest
from rich.cells import cell_len
from screens import PROGRAM, screen

from rig.bench.simulated.folder import new_simulated_project
from rig.choose import keep, load_picks
from rig.cli.trying import READ_S
from rig.log.lock import lock_sweep

SEED, PADS, KEY = 8, 8, "bell"
CLOSED_S = 30.0
"""Even a busy machine shows a screen by then."""


@pytest.fixture
def folder(tmp_path):
    """A project that was never swept, with two picks."""
    new_simulated_project(tmp_path / "toy", SEED, PADS)
    keep(tmp_path / "toy", "F-G", at_ohm=153_000, key=KEY)
    keep(tmp_path / "toy", "B-E", at_ohm=3_000)
    return tmp_path / "toy"


def run(folder, lines, *words):
    return subprocess.run(
        [sys.executable, "-c", PROGRAM, "try", "--project", str(folder), *words],
        input="\n".join(lines), capture_output=True, text=True, check=False,
    )


def told(folder, lines, *words) -> list[str]:
    """Give what is told in a pipe, without the last line: that all is open and off."""
    done = run(folder, lines, *words)
    assert (done.returncode, done.stderr) == (0, "")
    *rest, last = done.stdout.splitlines()
    assert last == "all pads are open and the toy is off"
    return rest


def test_each_line_of_a_pipe_is_done_and_told(folder):
    assert told(folder, ["press", "open", "next", "add B-E", "add A-D", "drop", "quit", "press"]) == [
        "F-G over 153 kΩ: closed", "F-G over 153 kΩ: closed", "F-G over 153 kΩ: open",
        "B-E over 3 kΩ: closed",
        "B-E and B-E: a pad can't be closed twice", "B-E over 3 kΩ: closed",
        "B-E over 3 kΩ with A-D over 153 kΩ: closed", "B-E over 3 kΩ: closed",
    ]


def test_another_sound_is_held_in_place_of_all(folder):
    assert told(folder, ["add B-E", "hold A-D 36k", "hold nose", "hold A-Q", "quit"]) == [
        "F-G over 153 kΩ: closed", "F-G over 153 kΩ with B-E over 3 kΩ: closed", "A-D over 36 kΩ: closed",
        "'nose' is no pair: write two pads, such as C-F", "A-D over 36 kΩ: closed",
        "A-Q: there is no pad Q in toy.yaml", "A-D over 36 kΩ: closed",
    ]


def test_the_end_of_a_pipe_ends_it_and_a_last_line_without_its_end_counts(folder):
    assert told(folder, []) == ["F-G over 153 kΩ: closed"]
    assert told(folder, ["open"])[-1] == "F-G over 153 kΩ: open"


def test_a_minute_without_a_line_opens_everything_and_ten_end_it(folder):
    lines = told(folder, ["wait 59", "press", "wait 59", "wait 2", "close", "wait 600", "wait 1", "close"])
    closed, opened = "F-G over 153 kΩ: closed", "F-G over 153 kΩ: open"
    away = "nothing was pressed for a minute: everything is open"
    assert lines == [
        closed, closed, closed, closed, away, opened, closed,
        away, opened, "nothing was pressed for ten minutes: the toy is off", opened,
    ]


@pytest.mark.parametrize("line", ["frobnicate", "press nose", "step", "step 3", "open F-G", "wait long",
                                  "wait -1", "wait 601", "add nose", "add Q-Z", "quit now"])
def test_a_line_that_is_none_is_told_and_changes_nothing(folder, line):
    lines = told(folder, [line, "open", "quit"])
    assert lines[0] == "F-G over 153 kΩ: closed"
    assert not lines[1].startswith("F-G over")
    assert lines[-1] == "F-G over 153 kΩ: open"


def test_what_is_heard_is_recorded_and_nothing_is_written_over(folder, tmp_path):
    path = tmp_path / "heard.wav"
    lines = ["press", "wait 1", "open", "wait 1", "press", "wait 1", "quit"]
    done = run(folder, lines, "--record", str(path))
    assert done.returncode == 0
    assert done.stdout.splitlines()[-1] == f"what was heard is in {path}"
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, 48_000)
        samples = np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32768
    assert len(samples) == pytest.approx(48_000 * 3.24, abs=5)
    bent, plain = (samples[round(s * 48_000) :][: 48_000] for s in (0.0, 2.12))
    assert min(np.sqrt(np.mean(bent**2)), np.sqrt(np.mean(plain**2))) > 0.02
    spectra = [np.abs(np.fft.rfft(one)) for one in (bent, plain)]
    assert np.corrcoef(*spectra)[0, 1] < 0.5, "F-G changes the pitch by more than an octave"
    before = path.read_bytes()
    again = run(folder, lines, "--record", str(path))
    assert again.returncode == 1
    assert again.stderr == f"padsweep: {path}: is there already; give another name\n"
    assert path.read_bytes() == before


def test_named_ones_are_tried_and_kept(folder):
    lines = told(folder, ["step down", "keep", "quit"], "d-a 154k cloud", "F-G")
    assert lines[0] == "A-D over 153 kΩ: closed"
    assert lines[-2].startswith("kept: A-D ")
    kept = load_picks(folder)[-1]
    assert (kept.pair, kept.key) == ("A-D", "cloud")
    assert kept.at_ohm == 36_000


@pytest.mark.parametrize(("words", "why"), [
    (["nose"], "'nose' is no pair: write two pads, such as C-F"),
    (["C"], "'C' is one pad, and controls are planned for two pads only"),
])
def test_what_is_no_pair_is_refused_before_the_toy_is_on(folder, words, why):
    done = run(folder, [], *words)
    assert (done.returncode, done.stdout) == (2, "")
    assert why in done.stderr


def test_without_picks_it_says_how_to_get_one(folder):
    (folder / "picks.yaml").unlink()
    done = run(folder, [])
    assert done.returncode == 2
    assert done.stderr.startswith("padsweep: nothing is kept yet: name a pair")


def test_a_bench_by_hand_holds_nothing(tmp_path):
    subprocess.run(
        [sys.executable, "-c", PROGRAM, "new", str(tmp_path / "hand"), "--by-hand"], check=True,
        capture_output=True,
    )
    done = run(tmp_path / "hand", [], "A-B")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "a bench by hand can't hold anything" in done.stderr


def test_it_has_the_rig_to_itself(folder):
    done = run(folder, ["quit"])
    assert done.returncode == 0
    with lock_sweep(folder / "sweeps" / "main"):
        done = run(folder, ["quit"])
    assert done.returncode == 4
    assert "another padsweep is writing this sweep" in done.stderr
    assert done.stdout == ""


def test_a_sweep_s_freezes_are_asked_for_twice(swept_boards, tmp_path):
    shutil.copytree(swept_boards["talker"], tmp_path / "toy")
    down = ["step down"] * 40
    lines = told(tmp_path / "toy", [*down, "quit"], "F-G 153k")
    asked = [n for n, line in enumerate(lines) if "once more" in line]
    assert lines[asked[0]].startswith("F-G stopped the toy over 36 kΩ: once more to go there")
    assert lines[asked[0] + 1] != "F-G over 36 kΩ: closed"
    assert lines[asked[0] + 2] == "F-G over 36 kΩ: closed"
    (tmp_path / "toy" / "picks.yaml").unlink(missing_ok=True)
    assert told(tmp_path / "toy", ["quit"], "F-G 3k") == [
        "F-G stopped the toy over 36 kΩ: once more to go down to 3 kΩ", "F-G over 3 kΩ: open",
    ]


# At a terminal


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_the_screen_says_what_is_held_and_what_each_key_does(folder, columns):
    lines = screen(["try", "--project", "toy"], columns, folder.parent, typed=b" <k+o2q")
    assert max(map(cell_len, lines)) <= columns
    shown = " ".join(" ".join(lines).split())
    assert re.search(r"pick 2 of 2: B-E 3k open", shown)
    assert "F-G over 3 kΩ" not in shown
    assert "toy's keys: 1 bell 2 cloud space cloud" in shown
    for key in ("space or digit press the key", "< > less, more resistance", "n p next, previous pick",
                "o open and close", "+ add the next pick", "- drop the last added",
                "k keep this resistance", "r cut the supply", "q quit"):
        assert key in shown
    assert shown.endswith("all pads are open and the toy is off")
    assert load_picks(folder)[0].at_ohm != 153_000
    if columns == 80:
        assert len(lines) <= 16, "it stands on one screen, drawn over itself"


def test_a_key_that_is_held_down_says_yes_to_no_question(swept_boards, tmp_path):
    shutil.copytree(swept_boards["talker"], tmp_path / "toy")
    words = ["try", "F-G 153k", "--project", "toy"]
    shown = " ".join(screen(words, 80, tmp_path, typed=b"<" * 20 + b"q"))
    assert "F-G over 153 kΩ (4 of 4 from the least up)" in shown
    assert "F-G stopped the toy over 36 kΩ: once more to go there" in shown


class AtTerminal:
    """The program at a terminal of its own, which can be looked at and hung up."""

    def __init__(self, folder, *words):
        self.ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, "try", "--project", str(folder), *words],
            stdin=theirs,
            stdout=theirs, stderr=subprocess.PIPE, text=True, start_new_session=True,
            env=os.environ | {"TERM": "xterm"},
        )
        os.close(theirs)

    def wait_for(self, text: bytes) -> None:
        seen, until = b"", time.monotonic() + CLOSED_S
        while text not in seen:
            assert time.monotonic() < until, seen
            if select.select([self.ours], [], [], 0.1)[0]:
                seen += os.read(self.ours, 65536)


def test_pressed_again_once_it_was_read_it_says_yes(swept_boards, tmp_path):
    shutil.copytree(swept_boards["talker"], tmp_path / "toy")
    at = AtTerminal(tmp_path / "toy", "F-G 153k")
    at.wait_for(b"CLOSED")
    os.write(at.ours, b"<")
    at.wait_for(b"once more to go there")
    time.sleep(2 * READ_S)
    os.write(at.ours, b"<")
    at.wait_for("over 36 kΩ (3 of 4".encode())
    os.write(at.ours, b"q")
    assert at.process.wait(CLOSED_S) == 0
    at.process.stderr.close()
    os.close(at.ours)


@pytest.mark.parametrize("how", ["Ctrl-C", "terminated", "hung up"])
def test_whatever_stops_it_stops_it_in_a_line(folder, how):
    at = AtTerminal(folder)
    at.wait_for(b"CLOSED")
    if how == "hung up":
        os.close(at.ours)  # the terminal is no controlling one here, so no signal comes
    else:
        at.process.send_signal(signal.SIGINT if how == "Ctrl-C" else signal.SIGTERM)
    _, errors = at.process.communicate(timeout=CLOSED_S)
    assert "Traceback" not in errors
    if how != "hung up":
        assert at.process.returncode == 130
        assert errors == "padsweep: stopped: all pads are open and the toy is off\n"
        os.close(at.ours)
