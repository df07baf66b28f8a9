"""A sweep that is asked to pause: what it leaves on meanwhile, what it knows then, and who ends it."""

import json
import os
import random
import subprocess
import sys
import time

import pytest
from hands import Hands, StandIn, write_project
from listening import told_during
from running import run_main, small_project
from screens import PROGRAM
from scripted_hand import ENDS, ScriptedHand
from small_sweeps import few_leads, new_log

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.board import make_board
from rig.cli import pausing as command
from rig.cli.console import console
from rig.cli.progress import paused_lines
from rig.cli.terminal import Terminal
from rig.errors import Restarted, RigError
from rig.events import (
    ControllerRestarted,
    Progress,
    SweepDone,
    SweepGoesOn,
    SweepLeft,
    SweepStarted,
    SweepWaits,
    Unsettled,
)
from rig.log import SweepLog, read_events, verify
from rig.log.between import parts
from rig.log.pausing import PAUSE, SOMEBODY, ask_to_pause, let_go_on, pause_wished
from rig.log.records import CONTROL
from rig.log.stream import is_under_way, waits
from rig.project import load_project, setup_facts, setup_hash
from rig.sweep import Sweep, run
from rig.sweep.asking import SweepByHand
from rig.sweep.measuring import Wanted, pick_steps
from rig.sweep.run import Run
from rig.words import clock_words

# The wish


def test_a_wish_is_whole_and_who_asked_first_stays(tmp_path):
    assert pause_wished(tmp_path) is None
    first = ask_to_pause(tmp_path, "on the page")
    assert ask_to_pause(tmp_path, "at a terminal") == first == pause_wished(tmp_path)
    assert [one.name for one in tmp_path.iterdir()] == [PAUSE]
    assert let_go_on(tmp_path) == first
    assert let_go_on(tmp_path) is None
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("content", [
    b"", b"{", b"[]", b"\xff\xfe", b'{"asked": 1, "at": "now"}', b"[" * 900,
    b'{"asked": "x", "at": "yesterday"}', b'{"asked": "a\\u001b[2J", "at": "2026-01-01"}',
    json.dumps({"asked": "x" * 5000, "at": "2026-01-01T00:00:00+00:00"}).encode(),
])  # fmt: skip
def test_a_file_that_somebody_made_by_hand_is_a_wish_too(tmp_path, content):
    (tmp_path / PAUSE).write_bytes(content)
    wish = pause_wished(tmp_path)
    assert wish.asked == SOMEBODY
    assert clock_words(wish.at)
    assert let_go_on(tmp_path) == wish


def test_nothing_is_read_through_a_link_and_no_pipe_is_waited_for(tmp_path):
    (tmp_path / "else").write_text(json.dumps({"asked": "elsewhere", "at": "2026-01-01"}))
    (tmp_path / PAUSE).symlink_to(tmp_path / "else")
    assert pause_wished(tmp_path).asked == SOMEBODY
    (tmp_path / PAUSE).unlink()
    os.mkfifo(tmp_path / PAUSE)
    assert pause_wished(tmp_path).asked == SOMEBODY


# The run at a rig


class Watched(SimulatedBench):
    """A bench that knows what is on."""

    is_on, joined, pressed = False, (), ()

    def supply(self, on):
        self.is_on = on
        super().supply(on)

    def safe(self):
        self.is_on = False
        return super().safe()

    def _connect(self, connections):
        self.joined = connections
        super()._connect(connections)

    def _open_all(self):
        self.joined = ()
        super()._open_all()


def sweep_of(project, log, meanwhile):
    """A run whose pauses are passed by `meanwhile`, which is given the bench."""
    made = Sweep(project, Watched(project), log)
    made.hand.sleep = lambda seconds: meanwhile(made.hand.bench)
    return made


def asking(log, *numbers):
    """Have a pause asked for as soon as these touches are made."""
    def note(event):
        if isinstance(event, Progress) and event.touch in numbers:
            ask_to_pause(log.folder, "on the page")
    log.listen(note)


def test_it_pauses_between_touches_with_all_open_and_off_and_makes_the_same(tmp_path):
    project = few_leads(tmp_path / "toy")
    with new_log(project, "plain") as log:
        sweep_of(project, log, None).run()
        plain = {(one.target.name, one.path_ohm) for one in log.records() if one.kind == "sweep"}
    seen = []

    def meanwhile(bench):
        seen.append((bench.is_on, bench.joined, round(bench.rail_v(), 1)))
        # All is on the disk: whoever opens the log now knows that no touch waits.
        there = SweepLog.open(folder, read_only=True).records()
        assert all(one.complete or one.fault for one in there)
        assert waits(read_events(folder)).asked == "on the page"
        if len(seen) % 3 == 0:
            let_go_on(folder)

    with new_log(project) as log:
        folder = log.folder
        asking(log, 5, 11, 16)
        events = told_during(log, sweep_of(project, log, meanwhile).run)
        records = log.records()
    paused = [n for n, one in enumerate(events) if isinstance(one, SweepWaits)]
    assert len(paused) == 3
    assert len(seen) == 9
    assert {one[:2] for one in seen} == {(False, ())}
    assert isinstance(events[-1], SweepDone)
    assert not any(isinstance(one, Unsettled) for one in events), "each touch before it was settled"
    for at in paused:
        assert isinstance(events[at + 1], SweepGoesOn)
        behind = next(one for one in events[at:] if isinstance(one, Progress))
        if at > paused[0]:  # the first lies within the baseline, which is such presses anyway
            assert records[behind.touch - 1].target.is_clean, "the toy shows itself first"
    assert {(one.target.name, one.path_ohm) for one in records if one.kind == "sweep"} == plain
    assert verify(SweepLog.open(folder, read_only=True)) == []


def test_it_looks_once_a_touch_and_never_in_the_middle(tmp_path, monkeypatch):
    project = few_leads(tmp_path / "toy")
    looks, busy = [], []
    monkeypatch.setattr(run, "pause_wished", lambda folder: looks.append(list(busy)))

    class Busy(SimulatedBench):
        def begin(self, touch):
            super().begin(touch)
            busy.append(touch)

        def timeline(self):
            busy.clear()
            return super().timeline()

    with new_log(project) as log:
        Sweep(project, Busy(project), log).run()
        touches = len(log.records())
    assert 1 < len(looks) <= touches + 1
    assert not any(looks)


def test_ctrl_c_in_a_pause_leaves_it_safe_and_the_wish_is_told_at_the_next_start(tmp_path):
    project = few_leads(tmp_path / "toy")
    benches = []

    def stop(bench):
        benches.append(bench)
        raise KeyboardInterrupt

    with new_log(project) as log:
        asking(log, 13)
        with pytest.raises(KeyboardInterrupt):
            sweep_of(project, log, stop).run()
        before = log.records()
    assert (benches[0].is_on, benches[0].joined, benches[0].rail_v() < 6) == (False, (), True)
    assert pause_wished(log.folder)
    was_on = []

    def go_on(bench):
        was_on.append(bench.is_on)
        let_go_on(log.folder)

    with SweepLog.open(log.folder, setup_hash(project), setup_facts(project), {}) as log:
        events = told_during(log, sweep_of(project, log, go_on).run)
        records = log.records()
    started, waited, on, *_ = events
    assert isinstance(started, SweepStarted)
    assert isinstance(waited, SweepWaits)
    assert waited.is_old
    assert isinstance(on, SweepGoesOn)
    assert was_on == [False], "the toy isn't switched on before it is let go on"
    assert isinstance(events[-1], SweepDone)
    assert [one.number for one in records[: len(before)]] == [one.number for one in before]
    made = [one.plan_key for one in records if one.kind == "sweep" and not one.fault]
    assert len(made) == len(set(made)), "nothing is made twice"


def test_a_toy_that_may_still_be_on_is_told_with_the_pause(tmp_path):
    project = few_leads(tmp_path / "toy")

    class Stuck(Watched):
        def safe(self):
            super().safe()
            return "the toy is STILL SUPPLIED"

    with new_log(project) as log:
        asking(log, 9)
        made = Sweep(project, Stuck(project), log)
        made.hand.sleep = lambda seconds: let_go_on(log.folder)
        events = told_during(log, made.run)
    told = next(one for one in events if isinstance(one, SweepWaits))
    assert told.alarm == "the toy is STILL SUPPLIED"
    assert told.alarm in paused_lines(told)[0]
    assert "is off" not in paused_lines(told)[0]


def test_a_controller_that_restarted_meanwhile_is_met_as_at_any_time(tmp_path):
    project = few_leads(tmp_path / "toy")
    with new_log(project) as log:
        asking(log, 13)
        made = sweep_of(project, log, lambda bench: let_go_on(log.folder))

        def restarted(tries=1):
            raise Restarted("the controller restarted by itself")

        made.hand.recovery.power_cycle = restarted
        events = told_during(log, made.run)
    assert sum(isinstance(one, ControllerRestarted) for one in events) == 1
    assert isinstance(events[-1], SweepDone)


def test_what_is_measured_pauses_too_and_lies_between_clean_presses(tmp_path):
    project = few_leads(tmp_path / "toy")
    with new_log(project) as log:
        Sweep(project, SimulatedBench(project), log).run()
        first = log.next_number()
        steps = pick_steps(project, [Wanted(("A", "D"), (project.sweep_keys[0],))])
        asking(log, first + 1, first + 4)
        events = told_during(
            log, lambda: sweep_of(project, log, lambda bench: let_go_on(log.folder)).measure(steps))
        records = log.records()
        counting = parts(records).measuring
    assert sum(isinstance(one, SweepWaits) for one in events) == 2
    for at, one in enumerate(events):
        if isinstance(one, SweepGoesOn):
            behind = next(one for one in events[at:] if isinstance(one, Progress))
            assert records[behind.touch - 1].target.is_clean
    made = [one for one in records if one.number >= first and not one.target.is_clean]
    assert {one.kind for one in records if one.number >= first} == {CONTROL}
    assert len([one for one in made if one.number in counting]) == len(steps)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("is_person", [False, True])
def test_whatever_goes_wrong_and_whenever_it_pauses_it_ends(tmp_path, seed, is_person):
    chance = random.Random(seed)
    project = few_leads(tmp_path / "toy")
    often = ["ok"] * 12 + [one for one in ENDS if one != "gone"]
    hand = ScriptedHand(lambda step: chance.choice(often) if hand.made > 9 else "ok", is_person)
    hand.project = project
    paused = []
    with new_log(project) as log:
        def note(event):
            assert hand.made < 300, "no end"
            if isinstance(event, SweepWaits):
                paused.append(event)
            elif isinstance(event, Progress) and chance.random() < 0.2:
                ask_to_pause(log.folder, "on the page")

        log.listen(note)
        try:
            Run(project, hand, log).run()
        except RigError:
            assert paused
    assert verify(SweepLog.open(log.folder, read_only=True)) == []
    assert paused


# By hand

SEED, PADS, LEADS = 9, 8, "ABCF"


def by_hand(tmp_path, answer):
    """Sweep by hand; behind touch 12 a pause is asked for, in which the person says `answer`."""
    project = load_project(write_project(tmp_path / "toy", SEED, PADS, LEADS))
    bench = StandIn(Hands(make_board(SEED, PADS), SEED, 10_000.0, (0.35, 0.7)))
    folder = project.folder / "sweeps/main"
    with SweepLog.create(folder, setup_facts(project), setup_hash(project), {}) as log:
        asking(log, 12)
        log.listen(lambda event: isinstance(event, SweepWaits) and answer(bench, folder))
        return told_during(log, SweepByHand(project, bench, log).run), log.records()


@pytest.mark.parametrize("who", ["the person", "somebody else"])
def test_by_hand_it_waits_for_enter_or_for_the_wish_to_go(tmp_path, who):
    def answer(bench, folder):
        if who == "the person":
            bench.answers.append("next")
        else:
            let_go_on(folder)

    events, records = by_hand(tmp_path, answer)
    at = next(n for n, one in enumerate(events) if isinstance(one, SweepWaits))
    assert isinstance(events[at + 1], SweepGoesOn)
    assert isinstance(events[-1], SweepDone)
    behind = next(one for one in events[at:] if isinstance(one, Progress))
    assert records[behind.touch - 1].target.is_clean
    assert pause_wished(tmp_path / "toy/sweeps/main") is None
    made = [one.plan_key for one in records if one.kind == "sweep" and one.complete and not one.fault]
    assert len(made) == len(set(made))


def test_by_hand_q_leaves_a_pause(tmp_path):
    events, _ = by_hand(tmp_path, lambda bench, folder: bench.answers.append("leave"))
    assert isinstance(events[-1], SweepLeft)
    assert not any(isinstance(one, SweepGoesOn) for one in events)


def test_by_hand_it_says_what_to_do(tmp_path, capsys):
    project = load_project(write_project(tmp_path / "toy", SEED, PADS, LEADS))
    at = "2026-01-02T03:04:05+00:00"
    Terminal(console(), project).tell(SweepWaits(asked="on the page", asked_at=at))
    told = capsys.readouterr().out
    assert "take the bridge off" in told
    assert "Enter or `padsweep pause --go-on` goes on" in told


# The command


def process(folder, *words):
    return subprocess.Popen([sys.executable, "-c", PROGRAM, *words, "--project", str(folder)],
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)  # fmt: skip


def until(what, seconds=60.0):
    until_s = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < until_s
        time.sleep(0.05)


def test_a_sweep_in_another_process_pauses_and_goes_on(tmp_path):
    folder = small_project(tmp_path / "toy")
    log = folder / "sweeps/main"
    running = process(folder, "sweep")
    until(lambda: (log / "log.db").exists() and any(
        isinstance(one, Progress) for one in read_events(log)))
    done = run_main("pause", "--project", folder)
    assert (done.code, done.err) == (0, "")
    first, second = done.out.splitlines()
    assert first.startswith("paused, asked for at a terminal at ")
    assert first.endswith("the toy is off and all pads are open")
    assert second == f"`padsweep pause --project {folder} --go-on` goes on"
    made = len(SweepLog.open(log, read_only=True).records())
    time.sleep(1.0)
    assert len(SweepLog.open(log, read_only=True).records()) == made
    assert running.poll() is None
    done = run_main("pause", "--project", folder, "--go-on")
    assert (done.code, done.err) == (0, "")
    assert "a sweep that waits goes on" in done.out
    out, err = running.communicate(timeout=120)
    assert (running.returncode, err) == (0, "")
    assert "paused, asked for at a terminal at" in out
    assert "going on after" in out
    done = run_main("pause", "--project", folder)
    assert (done.code, done.out) == (4, "")
    assert done.err.startswith("padsweep: no sweep is running in ")
    assert run_main("pause", "--project", folder, "--go-on").out == "no pause was asked for\n"


def test_a_sweep_that_doesnt_pause_is_told(tmp_path, monkeypatch):
    folder = small_project(tmp_path / "toy")
    with new_log(load_project(folder)) as log:
        log.tell(SweepStarted(bench="simulated", identity="none", done=0, planned=4))
    monkeypatch.setattr(command, "PATIENCE_S", 0.2)
    done = run_main("pause", "--project", folder)
    assert (done.code, done.out) == (4, "")
    assert "it is still asked to" in done.err
    assert pause_wished(log.folder).asked == "at a terminal"


def test_what_is_told_tells_who_is_under_way():
    started = SweepStarted(bench="simulated", identity="none", done=0, planned=4)
    waited = SweepWaits(asked="on the page", asked_at="2026-01-02T03:04:05+00:00")
    left = SweepLeft(touches=1)
    assert not is_under_way([])
    assert is_under_way([started])
    assert waits([started]) is None
    assert waits([started, waited]) == waited
    assert waits([started, waited, SweepGoesOn(waited_s=1.0)]) is None
    assert waits([started, waited, left]) is None
    assert waits([started, waited, left, started]) is None
