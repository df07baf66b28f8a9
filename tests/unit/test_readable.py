"""Output that can't hold a character gets what stands for it, in columns that still fit."""

import json

import numpy as np
import pytest
import soundfile
from running import run_main, swept_project

from rig.cli.readable import HANDLER, holdable, one_line
from rig.words import ohms

NOTE = "für Käthe – „grün“ → 3 Ω, 日本"
ENCODINGS = {"ascii": 'fur Kathe - "grun" -> 3 ohm, ??', "cp1252": "für Käthe – „grün“ -> 3 ohm, ??"}


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A swept project with one pick whose note no narrow encoding holds."""
    folder = swept_project(tmp_path_factory.mktemp("readable") / "toy")
    rows = json.loads(run_main("export", "--finds", "--format", "json", "--project", folder).out)
    kept = run_main("replay", "--project", folder, "--keep", f"{rows[0]['pads_1']}-{rows[0]['pads_2']}",
                    "--note", NOTE)
    assert kept.code == 0, kept.err
    return folder


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_each_command_writes_what_the_output_can_hold(swept, encoding):
    told = {}
    shown = (("demo", "--folder"),) if encoding == "ascii" else ()  # sweeps' end takes a while
    for words in (*shown, ("check", "--project"), ("sheet", "--project"),
                  ("replay", "--list", "--project"), ("export", "--finds", "--project")):
        done = run_main(*words, swept, encoding=encoding)
        assert (done.code, done.err) == (0, ""), words
        told[words[0]] = done.out
    assert " kohm" in told.get("demo", told["replay"])
    assert ENCODINGS[encoding] in told["replay"]
    head, *rows = told["replay"].splitlines()
    # the columns stand where their headings say, behind resistances that became longer
    at = head.index("choice")
    kept = next(row for row in rows if "kept: " in row)
    assert kept[at - 2 :].startswith("  kept: ")


def test_the_ear_that_judges_again_is_told_in_ascii(swept):
    done = run_main("judge", "--dry-run", "--jobs", "1", "--project", swept, encoding="ascii")
    assert (done.code, done.err) == (0, "")
    assert "takes judged" in done.out


def test_an_error_in_ascii():
    done = run_main("check", "--project", "Ω–toy", encoding="ascii")
    assert (done.code, done.out) == (2, "")
    assert done.err == ("padsweep: there is no folder ohm-toy: make it with "
                        "`padsweep new 'ohm-toy'`\n")


def test_recordings_are_judged_into_ascii(tmp_path):
    t = np.arange(48_000) / 48_000
    for name, hz in (("lärm–1", 440), ("lärm–2", 440), ("schön", 660)):
        press = np.where((t > 0.2) & (t < 0.6), np.sin(2 * np.pi * hz * t), 0)
        soundfile.write(tmp_path / f"{name}.wav", 0.2 * press, 48_000)
    for form in ("text", "json"):
        done = run_main("judge", "--before", tmp_path / "lärm–1.wav", tmp_path / "lärm–2.wav",
                        "--after", tmp_path / "schön.wav", "--format", form, encoding="ascii")
        assert (done.code, done.err) == (0, "")
        assert "schon.wav" in done.out


def test_a_stand_in_is_letters_or_a_question_mark():
    assert holdable(ohms(3600), "ascii") == "3.6 kohm"
    assert holdable("5 µs ± 1 … “x”", "ascii") == '5 us +/- 1 ... "x"'
    assert holdable("e\u0301 Straße ½ 日 🔔", "ascii") == "e Strasse 1/2 ? ?"
    assert holdable("3.6 kΩ – µ", "utf-8") == "3.6 kΩ – µ"
    # a file's name that isn't text keeps its bytes, also where all characters can be held
    assert b"a\xffb" == "a\udcffb".encode("utf-8", HANDLER) == "a\udcffb".encode("ascii", HANDLER)


def test_an_error_is_one_line_that_steers_no_terminal():
    assert one_line("a\n  b\tc\x1b[31m\x00") == "a b c\\x1b[31m\\x00"
    done = run_main("check", "--project", "no\nsuch\x1b[2J")
    assert done.err.count("\n") == 1
    assert "\x1b" not in done.err
