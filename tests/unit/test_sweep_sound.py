"""Mistakes at the sound input: each stops the sweep, or is told, in one clear line."""

import re
from dataclasses import replace

import numpy as np
import pytest
from running import run_main
from small_sweeps import PADS, SEED, TAKES, Altered, few_leads, louder, new_log

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.errors import BadSound, CaptureLost, ConfigError, RigError
from rig.events import Noticed, SetAside, SweepDone, TakeLost
from rig.listen import HOP_S, THRESHOLDS
from rig.log import SweepLog, verify
from rig.project import load_project, setup_facts, setup_hash
from rig.project.models import LEAST_LEAD_IN_MS
from rig.sweep import Knowledge, Sweep, plan, recovery
from rig.sweep.hearing import SPARE_FRAMES
from rig.sweep.limits import LIMITS
from rig.sweep.outcome import Outcome


@pytest.fixture
def project(tmp_path):
    return few_leads(tmp_path / "toy")


def silent(sound, marker, number):
    """Somebody mutes the toy's channel."""
    return 0 * sound, marker


def run(log, project, bench, kind=None):
    """Sweep as far as it goes; gives the events, and what was said where it was refused."""
    events = []
    try:
        log.listen(events.append)
        Sweep(project, bench, log).run()
    except RigError as error:
        assert kind and type(error) is kind
        assert error.exit_code == 5
        assert "\n" not in str(error)
        log.flush()
        assert not verify(log)
        return events, str(error)
    assert kind is None
    log.flush()
    return events, ""


def told(events, kind):
    return [event for event in events if isinstance(event, kind)]


ON = "then run `padsweep sweep` to continue"
BACK = "set the toy's volume, the input and the microphone back as they were"
TOO_LOUD = (
    r"key 'boat' is too loud for the sound input, by about [4-8] dB \(estimated from the slopes of "
    r"its clipped peaks\): turn the toy or the input down by 1[0-4] dB, 6 of them for louder bends"
)
HUM = (
    r"key 'boat' stands only \d dB above a steady hum of 50 Hz, 12 dB are needed; look at the sound "
    r"lead's screen, keep all leads away from mains cables, or turn the toy up"
)
NOISE = (
    r"key 'boat' stands only \d dB above the noise that is always there, 12 dB are needed; look at "
    r"the sound lead, or turn the toy up"
)
NOTHING = (
    r"nothing is heard when key 'boat' is pressed, but noise at -6\d dBFS: check the toy's volume, "
    r"its supply, the key's lead and the sound input's level"
)
TONE = (
    r"key 'boat' isn't heard above a steady tone of 3[12]\d Hz: look whether the toy sounds at all; "
    r"turn off what makes it \(the toy itself\?\), or turn the toy up"
)
MUTED = (
    "the sound input gives nothing at all, not even noise: it is muted, or `sound` in rig.yaml names "
    "another input or channel than the toy's; put it right"
)
COVERED = (
    "key 'boat' can't be heard any more: the noise that is always there, 30 dB louder than it was "
    "for the baseline, the toy being off: look at the sound lead, or set the input back as it was"
)
MOVED = (
    r"key 'boat' sounds [345] dB (louder|softer) than before \(was the toy, the input or the microphone "
    r"moved\?\): its baseline is heard again at this level"
)
GROWN = (
    "the toy has become too loud for the sound input: [56] takes in a row were lost, with nothing "
    "bridged as well, and key 'boat' is about 1[3-8] dB louder than its baseline: set volume, input "
    "and microphone back as they were"
)
LEFT_OUT = (
    r"6 pairs are too loud for the sound input over some path, which is left out: to hear it, turn "
    r"the input down by \d+ dB and sweep again with another --name"
)


@pytest.mark.parametrize(
    ("line", "said"),
    [("room: {gain_db: 9}", TOO_LOUD), ("room: {hum_db: -8}", HUM), ("room_db: 0", NOISE)],
)
def test_the_command_says_what_is_wrong_at_the_first_press(tmp_path, line, said):
    folder = tmp_path / "toy"
    new_simulated_project(folder, SEED, PADS)
    rig = folder / "rig.yaml"
    kept = [one for one in rig.read_text().splitlines() if line.split(":")[0] not in one]
    rig.write_text("\n".join([*kept, f"  {line}"]))
    done = run_main("sweep", "--project", folder)
    assert done.code == 5
    assert re.fullmatch(f"padsweep: {said}, {ON}\n", done.err.replace(f" --project {folder}", ""))


class Dead(Altered):
    """A bench whose toy is never supplied."""

    def supply(self, on):
        super().supply(False)


def whistle(sound, marker, number):
    """Something whistles all the time."""
    return sound + 0.1 * np.sin(np.arange(len(sound)) / 24), marker


@pytest.mark.parametrize(
    ("bench", "change", "said"),
    [(Dead, louder(0), NOTHING), (Dead, whistle, TONE), (Altered, silent, MUTED)],
)
def test_a_key_that_isnt_heard_says_what_is_there_instead(project, bench, change, said):
    with new_log(project) as log:
        _, why = run(log, project, bench(project, change), BadSound)
        assert re.fullmatch(f"{said}, {ON}", why)


def test_the_baseline_is_made_afresh_at_the_level_that_it_is_turned_down_to(project):
    def some_phrases(sound, marker, number):
        db = 20 if len(log.records()) in (2, 3) else 0
        return louder(db, from_piece=4)(sound, marker, number)

    with new_log(project) as log:
        events, why = run(log, project, Altered(project, some_phrases), BadSound)
        assert "too loud" in why
        # One clipped take may be a slammed door.
        assert [event.touch for event in told(events, TakeLost)] == [3]
        before = log.records()
        assert [one.sound for one in before] == 4 * ["lost"]
    with SweepLog.open(log.folder, setup_hash(project), setup_facts(project)) as log:
        events, _ = run(log, project, SimulatedBench(project))
        assert told(events, SweepDone)
        made = [one for one in log.records() if one.kind == "baseline" and one.sound == "none"]
        assert len(made) >= TAKES
        assert min(one.number for one in made) > len(before)


def test_bends_louder_than_the_input_takes_are_set_aside_and_told_at_the_end(tmp_path):
    project, spots = few_leads(tmp_path / "toy", "ABDE"), 6 + 4  # pairs, and leads alone
    with new_log(project) as log:
        bench = Altered(project, louder(16, from_piece=4), bridged_only=True, after=1)
        events, _ = run(log, project, bench)
        records = log.records()
    assert told(events, SweepDone)
    assert len(told(events, SetAside)) == spots
    assert "too loud for the sound input" in told(events, SetAside)[0].why
    assert len([one for one in records if one.sound == "lost"]) == 3 * spots
    # After each four in a row a clean press showed that the toy itself fits.
    kinds = [one.kind for one in records if one.kind != "baseline"]
    assert kinds[:6] == [*(LIMITS["lost"].in_a_row + 1) * ["sweep"], "check"]
    assert re.fullmatch(LEFT_OUT, told(events, Noticed)[-1].text)


def test_a_toy_that_clips_in_mid_sweep_pauses_it(tmp_path):
    project = few_leads(tmp_path / "toy", "ABDE")
    with new_log(project) as log:
        bench = Altered(project, louder(16, from_piece=4), after=2)
        events, why = run(log, project, bench, BadSound)
        lost = [one for one in log.records() if one.sound == "lost"]
    assert re.fullmatch(f"{GROWN}, {ON}", why)
    assert lost[-1].kind == "check"
    assert not told(events, SweepDone)
    with SweepLog.open(log.folder, setup_hash(project), setup_facts(project)) as log:
        events, _ = run(log, project, SimulatedBench(project))
        made = [one.kind for one in log.records()[lost[-1].number :]]
    # Whether the level is back shows before the next pair is touched.
    assert made[:2] == ["check", "sweep"]
    assert told(events, SweepDone)


@pytest.mark.parametrize(
    ("change", "said"), [(louder(30), COVERED), (silent, MUTED)]
)
def test_a_level_that_is_turned_in_mid_sweep_is_no_dead_toy_and_no_freeze(
    project, monkeypatch, change, said
):
    *gentle, supply = recovery.RUNGS
    monkeypatch.setattr(recovery, "RUNGS", (*gentle, replace(supply, tries=1)))
    with new_log(project) as log:
        _, why = run(log, project, Altered(project, change, after=2), BadSound)
        assert re.fullmatch(f"{said}, {ON}", why)
        assert not any(one.stops for one in log.records())


@pytest.mark.parametrize("db", [4, -4])
def test_a_toy_that_is_turned_up_or_down_is_listened_to_at_its_new_level(project, db):
    with new_log(project) as log:
        events, _ = run(log, project, Altered(project, louder(db), after=2))
        records = log.records()
    assert told(events, SweepDone)
    assert any(re.fullmatch(MOVED, one.text) for one in told(events, Noticed))
    assert not any(one.stops for one in records)
    assert sum(one.kind == "baseline" for one in records) >= TAKES + 6
    # Nothing that was touched since is found for the level alone.
    assert not any(one.kind == "confirm" and one.sound == "level" for one in records)


def test_a_lost_check_is_made_again_before_the_next_pair(project):
    known = Knowledge(project)
    others = len(known.other_keys) * ["baseline"]
    steps = []
    for step in plan(known):
        steps.append(step.kind)
        if step.kind == "check" and steps.count("check") < 3:
            known.apply(Outcome(step, fault="no sound arrived"))
        else:
            known.apply(Outcome(step, sound="none", after="answers"))
        if len(steps) == TAKES + 2:
            known.check_next()
    assert steps[TAKES:] == [*2 * ["sweep"], *3 * ["check"], *4 * ["sweep"], *others]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda sound, marker, _: (marker, sound),
         "the marker is on the sound channel: swap sound_channel and marker_channel in rig.yaml"),
        (lambda sound, marker, _: (sound + marker, sound + marker),
         "the marker is on the sound channel as well: is the input mono?"),
        (lambda sound, marker, _: (0 * sound, 0 * marker),
         "the sound input gives nothing at all, not even noise: is it muted?"),
    ],
)
def test_channels_that_are_mixed_up_are_named(project, change, said):
    with new_log(project) as log:
        events, why = run(log, project, Altered(project, change), CaptureLost)
    assert len(told(events, TakeLost)) == LIMITS["lost"].in_a_row
    assert why == f"4 takes in a row were lost ({said}): put that right, {ON}"


def test_a_lead_in_too_short_to_hear_a_dead_toy_is_refused(tmp_path):
    new_simulated_project(tmp_path / "toy", SEED, PADS)
    rig = tmp_path / "toy" / "rig.yaml"
    text = rig.read_text()
    rig.write_text(f"{text}timings: {{lead_in_ms: 299}}\n")
    with pytest.raises(ConfigError, match="lead_in_ms must be at least 300, is 299"):
        load_project(tmp_path / "toy")
    rig.write_text(f"{text}timings: {{lead_in_ms: 300}}\n")
    load_project(tmp_path / "toy")


def test_the_least_lead_in_is_what_ear_and_host_need():
    least, ear = LEAST_LEAD_IN_MS["simulated"] / 1000, THRESHOLDS.judging
    heard_s = (ear.skip_frames + ear.answer_frames + SPARE_FRAMES) * HOP_S
    assert least - heard_s == pytest.approx(0.1)  # for the host
    assert LEAST_LEAD_IN_MS["hardware"] / 1000 - heard_s == pytest.approx(0.15)
