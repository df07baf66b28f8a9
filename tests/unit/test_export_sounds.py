"""`padsweep export --sounds`: the files hold what was recorded, the medley what it should."""

import io
import re

import numpy as np
import pytest
import soundfile
from making_logs import BASELINE, RATE_HZ, add, bridge, new_log, tone
from running import run_main

from rig.bench.base import Connection, Stimulus, Touch
from rig.bench.simulated.folder import new_simulated_project
from rig.choose.replay import GAP_S
from rig.choose.sounds import (
    BETWEEN_S,
    CEILING,
    FADE_S,
    MEDLEY,
    as_wav,
    loudness,
    safe_name,
    true_peak,
)
from rig.log import SweepLog

GROUP = Touch((Connection(("A", "B"), ("C",), 0.0),), Stimulus(("moo",)))
FAMILIES = [("C-F", "loop", 0.25, "s"), ("A-B", "pitch", 300.0, "cents"),
            ("A-C", "pitch", 300.0, "cents"), ("D-E", "drone", 440.0, "Hz")]  # fmt: skip


@pytest.fixture
def project(tmp_path):
    """A project with four bends and a group; takes are tones of their touch's own frequency."""
    folder = tmp_path / "toy"
    new_simulated_project(folder, 5, 8)
    with new_log(folder / "sweeps" / "main") as log:
        add(log, kind="baseline", touch=BASELINE, samples=0.3 * tone(0.5, 1000))
        for kind in ("sweep", "confirm"):
            for at, (pair, sound, amount, unit) in enumerate(FAMILIES):
                add(log, kind=kind, touch=bridge(*pair.split("-")), sound=sound, amount=amount,
                    unit=unit, score=9.0 - at, samples=(at + 1) * tone(0.5, 1100 + 100 * at))
            add(log, kind=kind, touch=GROUP, sound="level", amount=9.0, unit="dB", score=2.0,
                samples=tone(0.5, 2000))
    return folder


def export(project, *words, code=0):
    done = run_main("export", "--project", project, *words)
    assert done.code == code, done
    return done


def read(file):
    info = soundfile.info(file)
    assert (info.format, info.subtype, info.channels) == ("WAV", "PCM_16", 1)
    assert info.samplerate == RATE_HZ
    return soundfile.read(file, dtype="int16")[0]


def take(project, number):
    return soundfile.read(project / f"sweeps/main/takes/{number:06d}.flac", dtype="int16")[0]


def names(folder):
    return sorted(one.name for one in folder.iterdir())


def heard_hz(samples):
    """The frequency that is strongest, to within 10 Hz."""
    spectrum = np.abs(np.fft.rfft(samples, RATE_HZ))
    return round(float(np.argmax(spectrum)), -1)


def parts_of(samples):
    """Give the stretches of sound between silences of a tenth of a second or more."""
    loud = np.flatnonzero(samples)
    cuts = np.flatnonzero(np.diff(loud) > RATE_HZ // 10)
    starts, ends = loud[np.r_[0, cuts + 1]], loud[np.r_[cuts, len(loud) - 1]]
    return [(start, samples[start : end + 1]) for start, end in zip(starts, ends, strict=True)]


def test_picks_are_written_as_they_were_recorded(project, tmp_path):
    (project / "picks.yaml").write_text(
        '- pair: A-B\n  name: "Wobbly / Würm: *?"\n- pair: G-H\n- pair: D-E\n  set_aside: true\n'
        "- pair: A+B-C\n- pair: C-F\n")
    out = export(project, "--sounds", tmp_path / "new" / "wav").out.splitlines()
    folder = tmp_path / "new" / "wav"
    assert names(folder) == [
        "01-A-B-bent-Wobbly-Wurm.wav", "01-A-B-plain-Wobbly-Wurm.wav", "03-A+B-C-bent.wav",
        "03-A+B-C-plain.wav", "04-C-F-bent.wav", "04-C-F-plain.wav", MEDLEY]  # fmt: skip
    found = {one.pair: one for one in finds_in(project)}
    for name, pair in [("01-A-B-{}-Wobbly-Wurm", "A-B"), ("03-A+B-C-{}", "A+B-C"), ("04-C-F-{}", "C-F")]:
        assert np.array_equal(read(folder / f"{name.format('plain')}.wav"), take(project, 1))
        best = take(project, found[pair].best_touch)
        assert best.any()
        assert np.array_equal(read(folder / f"{name.format('bent')}.wav"), best)
    assert out[0] == "note: G-H: kept, but not found in this sweep: it has no sound here"
    assert out[1] == f"{folder}: 6 recordings of what you kept"
    assert out[2].startswith(f"{folder / MEDLEY}: ")
    assert [line.split()[:2] for line in out[3:]] == [
        ["0:00", "C-F"], ["0:02", "A-B"], ["0:04", "A+B-C"]]  # fmt: skip


def finds_in(project):
    from rig.choose import finds

    with SweepLog.open(project / "sweeps" / "main", read_only=True) as log:
        return finds(log.records())


def test_the_medley_is_equally_loud_below_full_scale_and_has_one_of_each_family_first(
    project, tmp_path
):
    (project / "picks.yaml").write_text("- pair: A-C\n- pair: D-E\n- pair: A-B\n- pair: C-F\n")
    out = export(project, "--sounds", tmp_path / "wav").out.splitlines()
    order = [line.split()[1] for line in out[2:]]
    assert sorted(order[:3]) == ["A-B", "C-F", "D-E"]
    assert order[3] == "A-C"  # alike A-B
    samples = read(tmp_path / "wav" / MEDLEY) / 32768
    assert true_peak(samples) == pytest.approx(CEILING, abs=2e-4)
    assert 20 * np.log10(CEILING) == pytest.approx(-1)
    parts = parts_of(samples)
    hz = {pair: 1100 + 100 * at for at, (pair, *_) in enumerate(FAMILIES)}
    assert [heard_hz(one) for _, one in parts] == [
        one for pair in order for one in (1000, hz[pair])]  # fmt: skip
    levels = [loudness(one, RATE_HZ) for _, one in parts]
    for bent in levels[1::2]:
        assert bent == pytest.approx(levels[1], rel=0.01)
    # Plain and bent share their gain: the toy's tone was 0.03 high, the bends' 0.1 to 0.4.
    for pair, plain, bent in zip(order, levels[::2], levels[1::2], strict=True):
        times = 1 + [one for one, *_ in FAMILIES].index(pair)
        assert plain / bent == pytest.approx(0.3 / times, rel=0.02)
    long = 0.5
    starts = [start / RATE_HZ for start, _ in parts]
    step = [long + GAP_S, long + BETWEEN_S] * 4
    assert starts == pytest.approx(np.cumsum([0, *step[:-1]]), abs=2e-4)
    for _, one in parts:  # 10 ms of fading at both ends
        for end in (one, one[::-1]):
            early = np.abs(end[: round(FADE_S * RATE_HZ / 10)]).max()
            assert 0 < early < 0.12 * np.abs(one).max()
            assert np.abs(end[: round(FADE_S * RATE_HZ)]).max() > 0.7 * np.abs(one).max()


def test_a_kept_one_of_another_family_goes_before_one_that_is_alike(project, tmp_path):
    with SweepLog.open(project / "sweeps" / "main") as log:
        for kind in ("sweep", "confirm"):
            add(log, kind=kind, touch=bridge("D", "F"), sound="drone", amount=440.0, unit="Hz",
                score=0.1)
    ranked = [one.pair for one in finds_in(project)]
    kept = [pair for pair in ranked if pair in ("A-B", "A-C", "D-F")]
    assert kept == ["A-B", "A-C", "D-F"]  # D-F, the second of its family, is the weakest of all
    (project / "picks.yaml").write_text("".join(f"- pair: {pair}\n" for pair in kept))
    out = export(project, "--sounds", tmp_path / "wav").out.splitlines()
    assert [line.split()[1] for line in out[2:]] == ["A-B", "D-F", "A-C"]


def test_with_nothing_kept_the_best_finds_of_the_sweep_are_the_medley(project, tmp_path):
    out = export(project, "--sounds", tmp_path / "wav").out.splitlines()
    assert out[0].startswith("nothing is kept yet, so the medley has the best finds of the sweep")
    assert names(tmp_path / "wav") == [MEDLEY]
    best = [one.pair for one in finds_in(project)]
    assert [line.split()[1] for line in out[2:]] == best
    assert len(parts_of(read(tmp_path / "wav" / MEDLEY))) == 2 * len(best) == 10


def test_a_medley_has_eight_at_most(tmp_path):
    folder = tmp_path / "toy"
    new_simulated_project(folder, 5, 8)
    with new_log(folder / "sweeps" / "main") as log:
        add(log, kind="baseline", touch=BASELINE)
        for kind in ("sweep", "confirm"):
            for other in "BCDEFGH":
                add(log, kind=kind, touch=bridge("A", other), sound="loop", amount=0.1, unit="s")
            for other in "DEFG":
                add(log, kind=kind, touch=bridge("C", other), sound="drone", amount=99.0, unit="Hz")
    out = export(folder, "--sounds", tmp_path / "wav").out.splitlines()
    assert len(out) == 2 + 8
    assert len(parts_of(read(tmp_path / "wav" / MEDLEY))) == 16


def test_nothing_that_is_there_is_overwritten_unasked(project, tmp_path):
    (project / "picks.yaml").write_text("- pair: C-F\n- pair: A-B\n")
    folder = tmp_path / "wav"
    folder.mkdir()
    for name in ("02-A-B-bent.wav", MEDLEY):
        mine = folder / name
        mine.write_text("mine")
        done = export(project, "--sounds", folder, code=1)
        assert done.err == f"padsweep: {mine}: is there already; give --force to overwrite it\n"
        assert (names(folder), mine.read_text()) == ([name], "mine")
        mine.unlink()
    (folder / "02-A-B-bent.wav").write_text("mine")
    (folder / "other.txt").write_text("mine")
    export(project, "--sounds", folder, "--force")
    assert len(read(folder / "02-A-B-bent.wav")) == RATE_HZ // 2
    assert (folder / "other.txt").read_text() == "mine"
    assert len(names(folder)) == 6
    done = export(project, "--sounds", project / "toy.yaml", code=1)
    assert "toy.yaml" in done.err
    assert done.err.count("\n") == 1


def test_takes_that_cant_be_read_are_noted_and_the_rest_is_written(project, tmp_path):
    (project / "picks.yaml").write_text("- pair: C-F\n- pair: A-B\n")
    found = {one.pair: one for one in finds_in(project)}
    takes = project / "sweeps" / "main" / "takes"
    (takes / f"{found['C-F'].best_touch:06d}.flac").unlink()
    (takes / "000001.flac").write_bytes(b"half")
    out = export(project, "--sounds", tmp_path / "wav").out.splitlines()
    assert [line.split(":")[:2] for line in out[:3]] == [
        ["note", " C-F"], ["note", " C-F"], ["note", " A-B"]]  # fmt: skip
    assert "000001.flac: the take can't be read as FLAC" in out[0]
    assert "the take is missing" in out[1]
    assert names(tmp_path / "wav") == ["02-A-B-bent.wav", MEDLEY]
    assert len(parts_of(read(tmp_path / "wav" / MEDLEY))) == 1
    (takes / f"{found['A-B'].best_touch:06d}.flac").write_bytes(b"half")
    done = export(project, "--sounds", tmp_path / "none", code=1)
    assert done.err == f"padsweep: {tmp_path / 'none'}: no take could be read, so nothing was written\n"
    assert done.out.count("note: ") == 4


def test_without_anything_found_it_is_said(project, tmp_path):
    (project / "picks.yaml").write_text("- pair: G-H\n")
    done = export(project, "--sounds", tmp_path / "wav", code=1)
    assert "none of what you kept was found in this sweep: there are no sounds to write" in done.err
    with new_log(project / "sweeps" / "other") as log:
        add(log, kind="baseline", touch=BASELINE)
    (project / "picks.yaml").unlink()
    done = export(project, "--sounds", tmp_path / "wav", "--name", "other", code=1)
    assert "nothing is kept, and nothing that changes the sound was found" in done.err
    assert not (tmp_path / "wav").exists()


def test_a_pick_with_a_key_of_its_own_gives_that_keys_sound(tmp_path):
    folder = tmp_path / "toy"
    new_simulated_project(folder, 5, 8)

    def with_key(touch, key):
        return Touch(touch.connections, Stimulus((key,)))

    with new_log(folder / "sweeps" / "main") as log:
        for at, key in enumerate(("moo", "baa")):
            add(log, kind="baseline", touch=with_key(BASELINE, key), samples=tone(0.5, 300 + at))
        for kind in ("sweep", "confirm"):
            for at, key in enumerate(("moo", "baa")):
                add(log, kind=kind, touch=with_key(bridge("C", "F"), key), sound="loop", amount=0.2,
                    unit="s", score=5.0 - at, samples=tone(0.5, 500 + at))
    (folder / "picks.yaml").write_text("- pair: C-F\n  key: baa\n")
    export(folder, "--sounds", tmp_path / "wav")
    assert np.array_equal(read(tmp_path / "wav" / "01-C-F-plain.wav"), take(folder, 2))
    assert np.array_equal(read(tmp_path / "wav" / "01-C-F-bent.wav"), take(folder, 4))


@pytest.mark.parametrize("option", [["--finds"], ["--all"], ["--format", "csv"], ["--output", "x"]])
def test_rows_and_sounds_are_two_things(project, tmp_path, option):
    done = export(project, "--sounds", tmp_path / "wav", *option, code=1)
    assert done.err.startswith(f"padsweep: {option[0]} is about rows, --sounds about recordings")
    assert not (tmp_path / "wav").exists()


@pytest.mark.parametrize(
    ("text", "safe"),
    [("", ""), ("Grumble", "Grumble"), ("a/b\\c:d*e?f\"g<h>i|j", "a-b-c-d-e-f-g-h-i-j"),
     ("..", ""), ("naïve \N{SNOWMAN}", "naive"), ("鳴く", ""), ("x" * 99, "x" * 40),
     ("CON.", "CON")],
)  # fmt: skip
def test_names_are_safe_on_any_system(text, safe):
    assert safe_name(text) == safe
    assert re.fullmatch("[A-Za-z0-9-]*", safe)


def test_a_wav_holds_each_step_exactly():
    steps = np.arange(-32768, 32768, 7).astype(np.int16)
    whole = as_wav(steps.astype(np.float32) / 32768, 44_100)
    assert np.array_equal(soundfile.read(io.BytesIO(whole), dtype="int16")[0], steps)
