"""What a sweep knows after each touch is what it reads back from its log: a stop costs nothing."""

import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from listening import Enough
from small_sweeps import make_project, new_log

from rig.bench.base import Timeline
from rig.bench.simulated.bench import SimulatedBench
from rig.events import Progress
from rig.sweep import Step, Sweep, known
from rig.sweep.book import Book
from rig.sweep.outcome import LEAD_IN, NO_ANSWER, Outcome

sys.path.append(str(Path(__file__).parents[1] / "golden"))
from golden_sweeps import Troubled

TROUBLES = {
    ("press", 3): "deaf", ("pair", 2): "dead", ("pair", 5): "lost", ("pair", 6): "lost",
    ("pair", 7): "lost", ("pair", 9): "late", ("pair", 14): "louder",
}  # fmt: skip
CHECK_EVERY = 8
LEAST_TAIL_MS = 100
"""Those that only show what a press does while it sounds have less."""


class Doubted(Troubled):
    """A bench with troubles, and three clean presses behind the baseline that sound softer."""

    clean = 0

    def begin(self, touch):
        if touch.armed and not touch.connections and touch.tail_ms > LEAST_TAIL_MS:
            self.clean += 1
            if self.clean in (11, 12, 15):
                self.troubles["press", self.begun["press"] + 1] = "softer"
        super().begin(touch)


def state(book):
    """Give all that a sweep knows but for what is under way."""
    all_of_it = {name: dict(one) if isinstance(one, dict) else one
                 for name, one in vars(book.known).items() if name not in ("under_way", "project")}
    counted = ("clean_takes", "heard_once", "more_takes", "spots")
    blank = {name: {key: one for key, one in all_of_it[name].items() if one and one != known._Spot()}
             for name in counted}
    # Behind a touch of pads that isn't settled the toy wasn't just heard to be itself.
    blank["between"] = replace(book.known.between, ready=book.known.is_ready,
                               is_itself=book.known.between.is_itself and not book.known.under_way)
    learnt = {key: book.ear.takes_learnt(key) for key in blank["clean_takes"]}
    return all_of_it | blank | {"learnt": learnt}


def test_a_sweep_that_is_stopped_at_any_touch_knows_what_it_knew(tmp_path, monkeypatch):
    monkeypatch.setattr(known, "CHECK_EVERY", CHECK_EVERY)
    project = make_project(tmp_path / "toy")
    failures, doubts, more_takes, freezes = set(), set(), set(), set()
    with new_log(project) as log:
        sweep = Sweep(project, Doubted(project, dict(TROUBLES), False), log)

        def compare(event):
            if not isinstance(event, Progress):
                return
            if event.touch > 80:
                raise Enough
            read = Book(project, log, sweep.hand.rate_hz)
            read.remember()
            live = state(sweep.book)
            assert live == state(read), event
            failures.update(spot.faults.count("lost") for spot in live["spots"].values())
            doubts.add(live["doubts"].odd)
            more_takes.update(live["more_takes"].values())
            freezes.add(live["freezes"])

        log.listen(compare)
        with pytest.raises(Enough):
            sweep.run()
    # All of it came about.
    assert failures >= {0, 1} and doubts == {0, 1, 2} and more_takes and max(freezes) > 1


def test_what_the_toy_said_anew_asks_for_more_clean_takes_also_when_read_back(tmp_path):
    project = make_project(tmp_path / "toy")
    for answer, more in (("none", 0), ("strange", known.MORE_TAKES), (None, 0)):
        with new_log(project, f"answer-{answer}") as log:
            book = Book(project, log, SimulatedBench(project).rate_hz)
            step: Step = book.known.steps[0]
            book.known.apply(Outcome(step, NO_ANSWER, answer))
            facts = {LEAD_IN: answer} if answer else {}
            log.intend(step.plan_key, step.touch(project))
            log.made(
                1, step.plan_key, step.kind, step.touch(project), path_ohm=1e5,
                started_at=datetime.now(UTC), samples=None,
                timeline=Timeline(press_us=0, close_us=0, release_us=0, open_us=0, end_us=0),
                rate_hz=book.rate_hz, fault=NO_ANSWER, facts=facts,
            )
            again = Book(project, log, book.rate_hz)
            again.remember()
            assert state(again) == state(book)
            assert again.known.more_takes[step.key] == more
