"""Mistakes at the sound input of a sweep by hand: each stops it, or is told, in one clear line."""

import re

import numpy as np
import pytest
from hands import RATE_HZ, Hands, StandIn, write_project

from rig.bench.base import Chunk
from rig.bench.simulated.board import make_board
from rig.errors import BadSound
from rig.log import SweepLog
from rig.project import load_project, setup_facts, setup_hash
from rig.sweep import Noticed, SetAside, SweepDone, TakeLost
from rig.sweep.asking import SweepByHand

SEED, PADS, LEADS, PATH_OHM = 9, 8, "ABF", 10_000.0
ON = "then run `padsweep sweep` to continue"


class Altered(StandIn):
    """A stand-in whose microphone is altered while a prompt of some kind is on; it clips."""

    def __init__(self, change, asks=()):
        super().__init__(Hands(make_board(SEED, PADS), SEED, PATH_OHM, (0.35, 0.7)))
        self.change, self.asks = change, asks

    def listen(self):
        chunk = super().listen()
        if self.asks and self.asked[-1].ask not in self.asks:
            return chunk
        at = np.arange(chunk.first_sample, chunk.first_sample + len(chunk.sound)) / RATE_HZ
        sound = np.clip(self.change(chunk.sound, at), -1, 1).astype(np.float32)
        return Chunk(chunk.first_sample, sound, sound, chunk.lost)


def louder(db):
    return lambda sound, _: sound * 10 ** (db / 20)


@pytest.fixture
def project(tmp_path):
    return load_project(write_project(tmp_path / "toy", SEED, PADS, LEADS, wait_s=2.0))


def run(project, bench, is_refused=True):
    folder = project.folder / "sweeps" / "main"
    events, said = [], ""
    with SweepLog.create(folder, setup=setup_facts(project), setup_hash=setup_hash(project)) as log:
        try:
            events.extend(SweepByHand(project, bench, log).run())
        except BadSound as error:
            said = str(error)
        assert bool(said) == is_refused
        log.flush()
        return events, said, log.records()


def told(events, kind):
    return [event for event in events if isinstance(event, kind)]


def hum(sound, at):
    return sound + 0.4 * np.sin(2 * np.pi * 100 * at) + 0.2 * np.sin(2 * np.pi * 250 * at)


@pytest.mark.parametrize(
    ("change", "said", "note"),
    [
        (louder(12), (r"key '\w+' is too loud for the sound input, by about \d+ dB \(estimated from how "
         r"steeply its peaks are cut off\): turn the toy or the input down by \d+ dB, 6 of them for bends "
         r"that are louder still"), None),
        (hum, (r"key '\w+' isn't heard above a steady hum of 100 Hz; 12 dB are needed: join the toy's ground "
         r"to the input's, keep leads away from mains cables, or turn the toy up"),
         r"the room is loud: a steady hum of 100 Hz, at -\d+ dBFS; join .* if the toy isn't heard"),
        (lambda sound, at: sound + np.random.default_rng(5).normal(0, 0.3, len(sound)),
         (r"key '\w+' isn't heard above the noise that is always there; 12 dB are needed: bring the "
         r"microphone closer, quieten the room, or turn the toy up"),
         r"the room is loud: the noise that is always there, at -\d+ dBFS; bring .*"),
        (louder(-200), (r"the sound input gives nothing at all, not even noise: it is muted, or `sound` in "
         r"rig.yaml names another input or channel than the toy's; put it right"),
         r"the sound input gives nothing at all so far, not even noise: is it muted\?"),
    ],
)
def test_what_is_wrong_is_said_after_the_first_press(project, change, said, note):
    bench = Altered(change)
    _, why, records = run(project, bench)
    assert re.fullmatch(f"{said}, {ON}", why)
    assert not records
    assert bench.notes[:1] == [] if note is None else re.fullmatch(note, bench.notes[0])


def test_a_clean_press_that_clips_is_asked_for_again_and_the_second_one_stops(project):
    bench = Altered(lambda s, at: louder(12 * (sum(p.ask == "clean" for p in bench.asked) in (3, 6)))(s, at))
    events, why, records = run(project, bench)
    assert "too loud for the sound input" in why
    assert [event.number for event in told(events, TakeLost)] == [3]
    assert [one.sound for one in records] == 6 * ["lost"]


def test_pairs_that_are_too_loud_are_left_out_where_the_toy_itself_fits(project):
    events, _, records = run(project, Altered(louder(12), ("touch",)), is_refused=False)
    assert told(events, SweepDone)
    assert {one.what[:3] for one in told(events, SetAside)} == {"A-B", "A-F", "B-F"}
    assert told(events, Noticed)[-1].text.startswith("3 pairs are too loud for the sound input")
    assert [one.sound for one in records if one.kind == "check"] == ["none", "none"]


def test_a_toy_that_clips_since_its_baseline_pauses_it(project):
    bench = Altered(lambda s, at: louder(12 * any(p.ask == "touch" for p in bench.asked))(s, at))
    events, why, records = run(project, bench)
    assert re.fullmatch(
        r"the toy has become too loud for the sound input: \d takes in a row were clipped, with nothing "
        r"bridged as well, and key '\w+' is about 1\d dB louder than its baseline: set volume, input and "
        rf"microphone back as they were, {ON}", why)
    assert not records[-1].touch.connections
    assert not told(events, SweepDone)
