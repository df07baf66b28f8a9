"""Mistakes at the sound input of a sweep by hand: each stops it, or is told, in one clear line."""

import re

import numpy as np
import pytest
from hands import RATE_HZ, Hands, StandIn, write_project

from rig.bench.base import Chunk
from rig.bench.simulated.board import make_board
from rig.errors import BadSound
from rig.events import Noticed, SetAside, SweepDone, TakeLost
from rig.log import SweepLog
from rig.project import load_project, setup_facts, setup_hash
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


def silent(sound, at):
    return 0 * sound


@pytest.fixture
def project(tmp_path):
    return load_project(write_project(tmp_path / "toy", SEED, PADS, LEADS, wait_s=2.0))


def run(project, bench, is_refused=True):
    folder = project.folder / "sweeps" / "main"
    events, said = [], ""
    with SweepLog.create(folder, setup=setup_facts(project), setup_hash=setup_hash(project)) as log:
        try:
            log.listen(events.append)
            SweepByHand(project, bench, log).run()
        except BadSound as error:
            said = str(error)
        assert bool(said) == is_refused
        log.flush()
        return events, said, log.records()


def told(events, kind):
    return [event for event in events if isinstance(event, kind)]


def hum(sound, at):
    return sound + 0.4 * np.sin(2 * np.pi * 100 * at) + 0.2 * np.sin(2 * np.pi * 250 * at)


TOO_LOUD = (
    r"key '\w+' is too loud for the sound input, by about \d+ dB \(estimated from the slopes of its "
    r"clipped peaks\): turn the toy or the input down by \d+ dB, 6 of them for louder bends"
)
HUM = (
    r"key '\w+' isn't heard above a steady hum of 100 Hz: look whether the toy sounds at all; keep "
    r"the microphone away from mains cables, or turn the toy up"
)
MUTED = (
    "the sound input gives nothing at all, not even noise: it is muted, or `sound` in rig.yaml names "
    "another input or channel than the toy's; put it right"
)
GROWN = (
    r"the toy has become too loud for the sound input: \d takes in a row were lost, with nothing "
    r"bridged as well, and key '\w+' is about 1\d dB louder than its baseline: set volume, input and "
    r"microphone back as they were"
)


@pytest.mark.parametrize(
    ("change", "said", "notes"),
    [
        (louder(12), TOO_LOUD, ""),
        (hum, HUM, r"the room is loud: a steady hum of 100 Hz, at -\d+ dBFS; if the toy isn't heard, .*"),
        (silent, MUTED, r"the sound input gives nothing at all so far, .* is it muted\?"),
    ],
)
def test_what_is_wrong_is_said_after_the_first_press(project, change, said, notes):
    bench = Altered(change)
    _, why, records = run(project, bench)
    assert re.fullmatch(f"{said}, {ON}", why)
    assert not records
    assert re.fullmatch(notes, "".join(bench.notes))


def test_a_clean_press_that_clips_is_asked_for_again_and_the_second_one_stops(project):
    def some_phrases(sound, at):
        asked = sum(prompt.ask == "clean" for prompt in bench.asked)
        return louder(12 * (asked in (3, 6)))(sound, at)

    bench = Altered(some_phrases)
    events, why, records = run(project, bench)
    assert "too loud for the sound input" in why
    assert [event.touch for event in told(events, TakeLost)] == [3]
    assert [one.sound for one in records] == 6 * ["lost"]


def test_pairs_that_are_too_loud_are_left_out_where_the_toy_itself_fits(project):
    events, _, records = run(project, Altered(louder(12), ("touch",)), is_refused=False)
    assert told(events, SweepDone)
    assert {one.what[:3] for one in told(events, SetAside)} == {"A-B", "A-F", "B-F"}
    assert told(events, Noticed)[-1].text.startswith("3 pairs are too loud for the sound input")
    assert [one.sound for one in records if one.kind == "check"] == ["none", "none"]


def test_a_toy_that_clips_since_its_baseline_pauses_it(project):
    def since_the_first_pair(sound, at):
        return louder(12 * any(prompt.ask == "touch" for prompt in bench.asked))(sound, at)

    bench = Altered(since_the_first_pair)
    events, why, records = run(project, bench)
    assert re.fullmatch(f"{GROWN}, {ON}", why)
    assert not records[-1].touch.connections
    assert not told(events, SweepDone)
