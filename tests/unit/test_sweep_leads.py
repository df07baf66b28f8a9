"""A board whose clock feels a lead: what the lead does alone is one find of one pad, and no pair's."""

from dataclasses import replace

import pytest
from listening import Enough
from small_sweeps import TAKES, new_log

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project, project_board
from rig.bench.simulated.truth import Truth, facts
from rig.choose import finds, tally
from rig.events import Progress
from rig.listen import AS_WITH_LEAD, BESIDE_LEAD, Span, with_lead
from rig.log import SweepLog
from rig.log.between import parts
from rig.sweep import Sweep
from rig.sweep.book import Book
from rig.sweep.plan import touches_left
from rig.sweep.rejudge import clean_takes, in_processes, learnt, rejudge

SEED, PADS = 4, 8
CLOCK, BENT, PLAIN = "A", "E", "GH"
"""The clock's pad, one that bends it, and two that do nothing with it but by the lead."""


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    made = new_simulated_project(tmp_path_factory.mktemp("leads") / "toy", SEED, PADS)
    pads = {name: pad.model_copy(update={"forbidden": name not in CLOCK + BENT + PLAIN})
            for name, pad in made.toy.pads.items()}
    sweep = made.rig.sweep.model_copy(update={"baseline_takes": TAKES})
    rig = made.rig.model_copy(update={"sweep": sweep, "series_ohm": [33_000.0, 150_000.0]})
    return replace(made, toy=made.toy.model_copy(update={"pads": pads}), rig=rig)


@pytest.fixture(scope="module")
def swept(project):
    """A log of two runs: the first ends in the midst of the takes with the lead on."""
    log = new_log(project)
    with_it = []

    def end(event):
        if isinstance(event, Progress) and event.kind == "baseline" and "alone" in event.what:
            with_it.append(event)
            if len(with_it) == 3:
                raise Enough

    log.listen(end)
    with pytest.raises(Enough):
        Sweep(project, SimulatedBench(project), log).run()
    log.close()
    with SweepLog.open(log.folder) as log:
        Sweep(project, SimulatedBench(project), log).run()
    return SweepLog.open(log.folder, read_only=True)


def test_the_lead_is_one_find_and_what_it_explains_is_none(project, swept):
    records = swept.records()
    found = {one.pair: one for one in finds(records)}
    assert set(found) == {CLOCK, f"{CLOCK}-{BENT}"}
    lone = found[CLOCK]
    assert (lone.sound, lone.unit, lone.path_min_ohm) == ("pitch", "cents", None)
    told = tally(records, found.values(), set())
    assert (told.pairs, told.groups, told.lone, told.bends) == (6, 0, 1, 1)
    bend = found[f"{CLOCK}-{BENT}"]
    of_it = [one for one in records if one.number in bend.touches]
    assert {one.measures[BESIDE_LEAD] for one in of_it} == {CLOCK}
    assert bend.baseline_touch in parts(records).loaded
    plain = [one for one in records if one.target.name in {f"{CLOCK}-{pad}" for pad in PLAIN}]
    assert {one.sound for one in plain} == {"none"}
    assert {one.measures[AS_WITH_LEAD] for one in plain} == {CLOCK}
    assert {one.kind for one in plain} == {"sweep"}  # nothing of it was confirmed


def test_without_the_rule_each_of_its_pairs_is_lower(swept):
    records = swept.records()
    ear = learnt(clean_takes(swept, records[0].key, records))
    for one in records:
        if one.target.name not in {f"{CLOCK}-{pad}" for pad in PLAIN}:
            continue
        samples, rate_hz = swept.read_take(one.number)
        span = Span.from_samples(one.offsets, len(samples), rate_hz)
        alone = ear.judge(one.key, samples, span)
        assert alone.sound == "pitch" and alone.amount < -100


def test_the_truth_says_the_same(project, swept):
    played = Truth(project, states=2)
    assert set(played.alone()) == {CLOCK}
    assert facts([played.alone()[CLOCK]])["bends"] == 1
    pairs = {"-".join(pair): facts(shown) for pair, shown in (
        ((CLOCK, pad), list(played.shown(CLOCK, pad))) for pad in BENT + PLAIN)}
    assert pairs[f"{CLOCK}-{BENT}"]["bends"] == 1
    assert all(pairs[f"{CLOCK}-{pad}"] is None for pad in PLAIN)


def test_no_other_pad_of_the_board_feels_its_lead(project):
    played, board = Truth(project, states=1), project_board(project)
    for pad in board.letters:
        link = played.link(pad, None, 0.0)
        assert (played._shown([link], None, []).differs > 0) == (pad == CLOCK)


def test_takes_with_the_lead_on_are_counted_over_both_runs_and_read_back(project, swept):
    records = swept.records()
    loaded = parts(records).loaded
    assert len(loaded) == TAKES
    assert {one.target.name for one in records if one.number in loaded} == {CLOCK}
    book = Book(project, swept, 48_000)
    book.remember()
    assert touches_left(book.known) == 0
    assert list(book.known.leads.made.values()) == [TAKES]
    assert book.ear.takes_learnt(with_lead(records[0].key, CLOCK)) == TAKES


def test_the_lead_comes_before_the_pairs_of_its_pad(swept):
    records = swept.records()
    first = {}
    for one in records:
        first.setdefault((one.kind, one.target.name), one.number)
    last = max(parts(records).loaded)
    assert all(last < first["sweep", f"{CLOCK}-{pad}"] for pad in BENT + PLAIN)
    assert first["sweep", f"{BENT}-G"] < last  # others don't wait


def test_judging_the_log_again_says_the_same(swept):
    again = [one for one in rejudge(swept, in_processes(1)) if one.record.target.leads]
    assert {one.record.target.name for one in again} >= {f"{CLOCK}-{pad}" for pad in BENT + PLAIN}
    assert not any(one.has_another_word for one in again)
    assert not any(one.is_news for one in again if one.record.kind == "confirm")
    assert any(AS_WITH_LEAD in one.judgement.measures for one in again)
