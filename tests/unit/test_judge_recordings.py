"""`padsweep judge --before … --after …`: recordings that no rig made."""

import json

import numpy as np
import pytest
import soundfile
import typer
from typer.testing import CliRunner

from rig.cli import judge
from rig.errors import RigError

APP = typer.Typer()
judge.register(APP)
RATE_HZ = 32_000


def phrase(which: int = 0) -> np.ndarray:
    """Sing seven syllables, each with its own pitch and colour; 1.2 s or so."""
    rng = np.random.default_rng(which)
    out = []
    for _ in range(7):
        t = np.arange(int(rng.uniform(0.12, 0.2) * RATE_HZ)) / RATE_HZ
        f0, colour = rng.uniform(110, 280), rng.uniform(0.3, 1.0, 14)
        wave = sum(c * np.sin(2 * np.pi * f0 * (k + 1) * t) for k, c in enumerate(colour))
        out.append(0.02 * wave * np.hanning(len(t)) ** 0.3)
    return np.concatenate(out)


def recorded(sound, seed, begins_s=None, room_dbfs=None, rest_s=0.4):
    """Record a sound: it begins somewhere in a room of its own."""
    rng = np.random.default_rng(seed)
    begins = int((rng.uniform(0.15, 0.6) if begins_s is None else begins_s) * RATE_HZ)
    room_dbfs = rng.uniform(-75, -55) if room_dbfs is None else room_dbfs
    out = rng.normal(0, 10 ** (room_dbfs / 20), begins + len(sound) + int(rest_s * RATE_HZ))
    out[begins : begins + len(sound)] += sound
    return out


def looped():
    at, period = int(0.3 * RATE_HZ), int(0.42 * RATE_HZ)
    return np.concatenate([phrase()[:at], np.tile(phrase()[at : at + period], 5)])


def slower(cents):
    sound = phrase()
    place = np.arange(int(len(sound) * 2 ** (cents / 1200))) * 2 ** (-cents / 1200)
    return np.interp(place, np.arange(len(sound)), sound)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Some recordings: plain ones, and what was done to others."""
    folder = tmp_path_factory.mktemp("recordings")
    for i in range(4):
        soundfile.write(folder / f"plain-{i}.wav", recorded(phrase(), i), RATE_HZ)
    for name, sound in {
        "same": phrase(), "loop": looped(), "fifth": slower(702), "cut": phrase()[: RATE_HZ // 2],
    }.items():
        soundfile.write(folder / f"{name}.wav", recorded(sound, len(name) + 20), RATE_HZ)
    return folder


def run(*words):
    """Run the command; its errors are raised, its text given."""
    done = CliRunner().invoke(APP, [str(word) for word in words])
    if done.exception and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.stdout


def judged(folder, *names, before=("plain-*.wav",)):
    text = run("--before", *(folder / one for one in before),
               "--after", *(folder / one for one in names), "--format", "json")
    return json.loads(text)


def test_each_recording_gets_its_words(folder):
    rows = judged(folder, "loop.wav", "fifth.wav", "cut.wav", "same.wav")
    assert [row["file"] for row in rows] == [
        str(folder / name) for name in ("loop.wav", "fifth.wav", "cut.wav", "same.wav")
    ]
    assert [row["sound"] for row in rows] == ["loop", "pitch", "cut", "none"]
    assert [row["unit"] for row in rows] == ["s", "cents", "s", None]
    assert rows[0]["amount"] == pytest.approx(0.42, abs=0.005)
    assert rows[0]["description"] == "loops every 0.42 s"
    assert rows[1]["amount"] == pytest.approx(-702, abs=15)
    assert rows[1]["description"].startswith("slowed, pitch down a fifth (")
    assert rows[2]["description"].startswith("stops early, after 0.")
    assert rows[2]["amount"] == pytest.approx(0.5, abs=0.05)
    assert rows[3]["description"] == "no change of the sound"
    assert all(row["p_value"] < 0.1 for row in rows[:3])
    assert rows[3]["p_value"] > 0.1
    assert all(row["nearest"].startswith(str(folder / "plain-")) for row in rows)
    assert all(row["note"] is None for row in rows)


def test_the_text_says_the_same(folder):
    lines = run("--before", folder / "plain-*.wav", "--after", folder / "loop.wav",
                "--after", folder / "same.wav").splitlines()
    assert lines[0].startswith(f"{folder / 'loop.wav'}: loops every 0.42 s")
    assert lines[1].startswith(f"{folder / 'same.wav'}: no change of the sound")
    assert len(lines) == 2


@pytest.mark.parametrize("count", [1, 2])
def test_with_fewer_than_three_it_describes_without_a_p_value(folder, count):
    before = [f"plain-{i}.wav" for i in range(count)]
    loop, same = judged(folder, "loop.wav", "same.wav", before=before)
    assert loop["description"] == "loops every 0.42 s"
    assert same["sound"] == "none"
    for row in (loop, same):
        assert row["p_value"] is None
        assert row["note"] == "fewer than 3 recordings from before: no p value"
    assert "no p value" in run("--before", folder / "plain-0.wav", "--after", folder / "loop.wav")


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 22_050, 44_100, 96_000])
def test_rates_formats_and_channels_are_mixed(folder, tmp_path, rate_hz):
    from scipy.signal import resample

    for name, change, form in (("loop", looped(), "flac"), ("same", phrase(), "wav")):
        sound = recorded(change, 31)
        sound = resample(sound, round(len(sound) * rate_hz / RATE_HZ))
        # The two wires of a bridge amplifier: their mean is silence.
        soundfile.write(tmp_path / f"{name}.{form}", np.stack([sound, -sound], 1), rate_hz)
    loop, same = json.loads(run(
        "--before", folder / "plain-*.wav", "--format", "json",
        "--after", tmp_path / "loop.flac", tmp_path / "same.wav",
    ))
    assert loop["sound"] == "loop"
    assert loop["amount"] == pytest.approx(0.42, abs=0.005)
    assert same["sound"] == "none"


def test_a_recording_of_the_room_alone_is_silent(folder, tmp_path):
    soundfile.write(tmp_path / "room.wav", recorded(np.zeros(RATE_HZ), 40, room_dbfs=-60), RATE_HZ)
    (row,) = json.loads(run("--before", folder / "plain-*.wav", "--format", "json",
                            "--after", tmp_path / "room.wav"))
    assert (row["sound"], row["amount"], row["unit"]) == ("cut", 0.0, "s")
    assert row["description"] == "stays silent"


def test_a_sound_that_never_pauses_is_no_room(folder, tmp_path):
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    drone = 0.05 * sum(np.sin(2 * np.pi * 150 * k * t) for k in (1, 2, 3, 5))
    soundfile.write(tmp_path / "drone.wav", drone, RATE_HZ)
    (row,) = json.loads(run("--before", folder / "plain-*.wav", "--format", "json",
                            "--after", tmp_path / "drone.wav"))
    assert (row["sound"], row["unit"]) == ("drone", "Hz")
    assert row["amount"] == pytest.approx(150, abs=2)


def clipped(path, seed, direct=0.0):
    soundfile.write(path, np.clip(40 * recorded(phrase(), seed) + direct, -1, 1), RATE_HZ)
    return path


def test_a_clipped_recording_is_named_and_the_others_judged(folder, tmp_path):
    loud = clipped(tmp_path / "loud.wav", 41)
    words = "--before", folder / "plain-*.wav", "--after", loud, folder / "same.wav"
    lines = run(*words).splitlines()
    assert lines[0] == f"{loud}: clipped, can't be judged; turn the recording level down"
    assert lines[1].startswith(f"{folder / 'same.wav'}: no change of the sound")
    row, same = json.loads(run(*words, "--format", "json"))
    assert (row["sound"], row["p_value"], row["clipped"]) == ("lost", None, True)
    assert (same["sound"], same["clipped"]) == ("none", False)


def test_where_all_are_clipped_it_fails(folder, tmp_path):
    # A direct voltage takes one side away from full scale once it is taken out.
    loud = [clipped(tmp_path / f"{i}.wav", 42, i * 0.1) for i in range(2)]
    done = CliRunner().invoke(APP, ["--before", str(folder / "plain-0.wav"), "--after",
                                    *map(str, loud)])
    assert [line.partition(": ")[2][:7] for line in done.stdout.splitlines()[:2]] == ["clipped"] * 2
    assert isinstance(done.exception, RigError)
    assert "none of the recordings" in str(done.exception)


def test_each_clipped_recording_from_before_is_named(folder, tmp_path):
    loud = [clipped(tmp_path / f"loud-{i}.wav", 43 + i) for i in range(2)]
    with pytest.raises(RigError) as caught:
        run("--before", loud[0], folder / "plain-0.wav", loud[1], "--after", folder / "same.wav")
    assert str(caught.value).startswith(f"{loud[0]}, {loud[1]}: clipped")


def doubts(tmp_path, *sounds, after=None):
    """Judge against sounds, each in a room of its own; gives the row of one and the doubts."""
    paths = []
    for i, one in enumerate(sounds):
        sound, room_dbfs = one if isinstance(one, tuple) else (one, None)
        paths.append(tmp_path / f"{i}.wav")
        soundfile.write(paths[-1], recorded(sound, 50 + i, room_dbfs=room_dbfs), RATE_HZ)
    other = tmp_path / "after.wav"
    soundfile.write(other, recorded(phrase() if after is None else after, 49), RATE_HZ)
    (row,) = json.loads(run("--before", *paths, "--after", other, "--format", "json"))
    return row, [one.replace(f"{tmp_path}/", "") for one in row["doubts"]]


def test_recordings_that_are_alike_raise_no_doubt(tmp_path):
    row, said = doubts(tmp_path, *[phrase()] * 3)
    assert said == []
    assert row["p_value"] > 0.1


def test_phrases_heard_twice_are_said_and_judged_against(tmp_path):
    row, said = doubts(tmp_path, phrase(), phrase(5), phrase(), phrase(5), after=looped())
    assert len(said) == 1
    assert "hold 2 sounds (0.wav and 1 like it; 1.wav and 1 like it): fine if" in said[0]
    assert row["sound"] == "loop"
    assert row["p_value"] < 0.1


def test_a_phrase_heard_once_is_named(tmp_path):
    _, said = doubts(tmp_path, phrase(), phrase(7), phrase(), phrase())
    assert len(said) == 1
    assert said[0].startswith("1.wav: unlike all others from before, by at least ")
    assert "differ most; if it is a phrase of its own record that again" in said[0]


def test_a_bent_one_among_those_from_before_is_named_with_what_it_does(folder):
    before = "--before", folder / "plain-*.wav", folder / "loop.wav"
    bent, same, note = run(*before, "--after", folder / "loop.wav",
                           folder / "same.wav").splitlines()
    assert note.startswith(f"note: {folder / 'loop.wav'}: unlike all others from before")
    assert ".wav: loops every 0.42 s); if it" in note
    # What is bent alike isn't told from it, and its line says what it was held against.
    assert f"no change of the sound, beside {folder / 'loop.wav'}" in bent
    assert "no change of the sound" in same


@pytest.mark.parametrize("gains_db", [(0, 0, 12, 0), (0, 12, 0, 12), (0, 0, 4, 0)])
def test_other_recording_levels_are_said_in_db(tmp_path, gains_db):
    _, said = doubts(tmp_path, *[phrase() * 10 ** (gain / 20) for gain in gains_db])
    assert len(said) == 1
    assert f".wav: louder by {max(gains_db)} dB than " in said[0].replace(" and 1 like it", "")
    assert f"{gains_db.index(max(gains_db))}.wav" in said[0]


def test_where_no_two_are_alike_there_is_no_p_value(tmp_path):
    row, said = doubts(tmp_path, phrase(), phrase(7), phrase(8))
    assert len(said) == 1
    assert said[0].startswith("no two of the 3 recordings from before are alike (at least ")
    assert (row["sound"], row["p_value"]) == ("none", None)
    assert row["note"] == "fewer than 3 recordings from before are alike: no p value"


def test_two_that_are_unlike_are_said(tmp_path):
    _, said = doubts(tmp_path, phrase(), phrase(7))
    assert said[0].startswith("the two recordings from before are unalike")


def test_one_from_a_much_louder_room_is_named(tmp_path):
    _, said = doubts(tmp_path, phrase(), phrase(), phrase(), (phrase(), -38))
    assert len(said) == 1
    assert said[0].startswith("3.wav: its sound is only 1")
    assert "it hides changes" in said[0]


def test_a_room_that_hides_nearly_all_is_said(tmp_path):
    _, said = doubts(tmp_path, (phrase(), -36))
    assert len(said) == 1
    assert "only large changes can be heard" in said[0]


def broken(tmp_path, kind):
    path = tmp_path / f"{kind}.wav"
    if kind == "unreadable":
        path.write_bytes(b"RIFF, or so it says")
    elif kind == "folder":
        path.mkdir()
    elif kind == "no-numbers":
        soundfile.write(path, np.full(RATE_HZ, np.nan), RATE_HZ, subtype="FLOAT")
    elif kind != "missing":
        length = {"empty": 0, "short": 1000, "long": 61 * 8000}.get(kind, RATE_HZ)
        rate_hz = {"slow": 4000, "long": 8000}.get(kind, RATE_HZ)
        soundfile.write(path, np.zeros(length), rate_hz)
    return path


@pytest.mark.parametrize("side", ["--before", "--after"])
@pytest.mark.parametrize(
    ("kind", "words"),
    [("missing", "no such file"), ("unreadable", "can't be read as sound"),
     ("folder", "is a folder"), ("empty", "is empty"), ("short", "is only 0.03 s long"),
     ("silent", "is silent"), ("slow", "sample rate is 4000 Hz"), ("long", "longer than 60 s"),
     ("no-numbers", "no numbers")],
)
def test_files_that_cannot_be_judged_are_one_line(folder, tmp_path, side, kind, words):
    path = broken(tmp_path, kind)
    other = "--after" if side == "--before" else "--before"
    with pytest.raises(RigError) as caught:
        run(side, path, other, folder / "plain-0.wav")
    assert str(caught.value).startswith(f"{path}: ")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_clean_recording_without_any_sound_is_refused(folder, tmp_path):
    soundfile.write(tmp_path / "room.wav", recorded(np.zeros(RATE_HZ), 42, room_dbfs=-60), RATE_HZ)
    with pytest.raises(RigError, match=r"room\.wav: nothing but the room is heard"):
        run("--before", tmp_path / "room.wav", "--after", folder / "loop.wav")


def test_a_pattern_that_fits_nothing(folder):
    with pytest.raises(RigError, match="--before .*none-\\*.wav: no file fits"):
        run("--before", folder / "none-*.wav", "--after", folder / "loop.wav")


@pytest.mark.parametrize("option", [("--project", "."), ("--name", "main"), ("--jobs", "1"),
                                    ("--dry-run",), ("--cluster", "tcp://localhost:1")])
def test_stored_takes_and_recordings_exclude_each_other(folder, option):
    with pytest.raises(RigError, match=f"{option[0]}: for stored takes"):
        run(*option, "--before", folder / "plain-0.wav", "--after", folder / "loop.wav")


@pytest.mark.parametrize("side", ["--before", "--after"])
def test_one_side_alone_is_refused(folder, side):
    with pytest.raises(RigError, match="belong together"):
        run(side, folder / "loop.wav")


def test_a_format_without_recordings_is_refused():
    with pytest.raises(RigError, match="--format is for recordings"):
        run("--format", "json")
