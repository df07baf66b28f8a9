"""What the page says of a sweep: how it stands, its finds and their steps, and what was decided."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from making_logs import BASELINE, add, bridge, new_log
from making_records import baseline, record, seen_twice
from running import small_project, swept_project

import rig.page
from rig.choose import finds, load_picks
from rig.choose.keeping import EditedMeanwhile
from rig.errors import ConfigError, LogError
from rig.events import (
    FreezeSeen,
    Noticed,
    Progress,
    Recovered,
    Retried,
    SetAside,
    StillSupplied,
    SweepDone,
    SweepLeft,
    SweepPaused,
    SweepStarted,
    TakeLost,
    ToyGone,
)
from rig.page.deciding import decide, decisions, put_back
from rig.page.keys import KEYS
from rig.page.night import PROGRESS_MOST, Night, Seen
from rig.page.rows import BEST, best, rows
from rig.page.standing import QUIET_S, news, standing
from rig.project import load_project

NOW = datetime(2031, 5, 4, 8, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A small swept toy and what its log says."""
    folder = swept_project(tmp_path_factory.mktemp("page") / "toy")
    project = load_project(folder)
    return project, Night(project, "main").seen()


@pytest.fixture
def made(tmp_path):
    """A project whose log a test writes, and that log."""
    project = load_project(small_project(tmp_path / "toy"))
    with new_log(project.folder / "sweeps/main") as log:
        for _ in range(3):
            add(log, kind="baseline", touch=BASELINE)
        yield project, log


def looked(project, log):
    log.flush()
    return Night(project, "main").seen()


def touched(log, path_ohm, often=2, pads=("A", "B"), **told):
    """Touch a pair over a path: once, and again to confirm."""
    for number in range(often):
        add(log, kind="confirm" if number else "sweep", touch=bridge(*pads, series_ohm=path_ohm),
            path_ohm=path_ohm, **({"score": 5.0} | told))  # fmt: skip


def at(seconds, number, event):
    return replace(event, id=number, at=(NOW + timedelta(seconds=seconds)).isoformat(timespec="milliseconds"))


def told(swept, *events, now=NOW):
    project, _ = swept
    return standing(project, "main", Seen(), [at(-60 + n, n + 1, one) for n, one in enumerate(events)], now)


BEGUN = SweepStarted(bench="simulated", identity="none", done=0, planned=10)
FROZE = FreezeSeen(name="A-B", key="moo", path_ohm=3600.0)
BACK = Recovered(rung="power", tries=1)


@pytest.mark.parametrize(("events", "state", "alive", "well"), [
    ([], "none", "", True),
    ([BEGUN], "running", "The toy answers.", True),
    ([BEGUN, FROZE], "running", "A-B froze the toy; it is being brought back.", True),
    ([BEGUN, FROZE, BACK], "running", "The toy answers.", True),
    ([BEGUN, SweepLeft(touches=5)], "left", "The toy answered to the last.", True),
    ([BEGUN, ToyGone(key="moo"), SweepPaused(why="the toy is gone")], "paused",
     "The toy no longer answers moo.", False),
    ([BEGUN, ToyGone(key="moo"), SweepPaused(why="the toy is gone"), BEGUN], "running",
     "The toy answers.", True),
    ([BEGUN, SweepDone(touches=9, freezes=0, recoveries=0), StillSupplied(why="the link is lost")],
     "done", "The toy may still be supplied: the link is lost", False),
    ([BEGUN, SweepDone(touches=9, freezes=0, recoveries=0)], "done", "The toy answered to the last.",
     True),
])
def test_it_says_whether_the_sweep_is_done_and_the_toy_alive(swept, events, state, alive, well):
    shown = told(swept, *events)
    assert (shown["state"], shown["alive"], shown["well"]) == (state, alive, well)
    assert shown["said"]


def test_a_sweep_that_tells_nothing_any_more_is_told_so(swept):
    later = NOW + timedelta(seconds=QUIET_S)
    shown = told(swept, BEGUN, now=later)
    assert shown["state"] == "quiet"
    assert "padsweep sweep --project" in shown["said"]


def test_what_is_doubtful_is_told(swept):
    aside = SetAside(plan_key="a", what="A-B over 3 kΩ", why="the take was lost three times")
    shown = told(swept, BEGUN, Noticed(text="an old run's"), aside, Retried(), replace(aside, plan_key="b"),
                 TakeLost(why="dropout"), BEGUN, Noticed(text="look at A's lead"), Noticed(text="look at A's lead"))
    assert shown["doubts"] == ["Set aside: A-B over 3 kΩ: the take was lost three times", "look at A's lead",
                               "1 take was lost and made again."]
    assert shown["untouched"]["pairs"] + [None] * shown["untouched"]["refused"]


def test_progress_is_told_with_the_time_left(swept):
    made = [Progress(kind="sweep", what="A-B", done=done, planned=100, bench_s=0.0) for done in range(1, 41)]
    shown = told(swept, BEGUN, *made)["progress"]
    assert (shown["done"], shown["planned"], shown["what"]) == (40, 100, "A-B")
    assert shown["left_s"] == pytest.approx(60.0)  # a touch each second
    assert shown["left"] == "60 s"


def test_every_event_that_is_worth_it_is_a_line():
    for event in (BEGUN, FROZE, SweepPaused(why="x"), ToyGone(key="moo"), Noticed(text="hm")):
        assert news(at(0, 1, event))["text"]
    assert news(at(0, 1, Progress(kind="sweep", what="A-B", done=1, planned=2, bench_s=0.0))) is None


def test_a_swept_toys_finds_are_shown_with_their_steps(swept):
    project, seen = swept
    shown = rows(seen, project.toy)
    assert [one["label"] for one in shown["finds"]] == [one.label for one in seen.found]
    assert len(shown["finds"]) >= 2
    assert len(decisions(project.folder, seen.found)["best"]) <= BEST
    for one, find in zip(shown["finds"], seen.found, strict=True):
        ohms = [step["ohm"] for step in one["steps"]]
        assert ohms == sorted(ohms)
        heard = [step["ohm"] for step in one["steps"] if step["state"] == "heard"]
        assert heard == list(find.heard_ohm)
        step = one["steps"][one["at"]]
        assert (step["touch"], step["plain"]) == (find.best_touch, find.baseline_touch)
        assert step["touch"] in seen.takes
        assert one["often"]
    assert set(shown["matrix"]) == {"A-B", "A-C", "A-D", "B-C", "B-D", "C-D"}
    assert [one["pad"] for one in shown["pads"]] == list(project.toy.pads)


def test_steps_say_what_each_path_did(swept):
    project, _ = swept
    pitches = [
        replace(one, amount=amount) for first, ohm, amount in ((3, 36_000.0, 300.0), (5, 10_000.0, 700.0))
        for one in seen_twice(first=first, path_ohm=ohm)
    ]
    records = [
        record(1, path_ohm=150_000.0, sound="none"), baseline(2), *pitches,
        record(7, path_ohm=10_000.0, sound="none", kind="confirm"),
        record(8, path_ohm=3_600.0, sound="cut", after="freeze"),
    ]
    seen = Seen("1", records, finds(records))
    (shown,) = rows(seen, project.toy)["finds"]
    told = [(step["short"], step["state"], step["amount"], step["often"]) for step in shown["steps"]]
    assert told == [
        ("3.6k", "stop", None, "1 of 1 times"), ("10k", "heard", 700.0, "2 of 3 times"),
        ("36k", "heard", 300.0, "2 of 2 times"), ("150k", "nothing", None, "0 of 1 times"),
    ]  # fmt: skip
    assert shown["after"] == "freezes at 3.6 kΩ"
    assert shown["steps"][shown["at"]]["plain"] == 2
    assert shown["steps"][0]["touch"] is None


def test_freezes_that_sounded_are_listed_and_silent_ones_only_counted(swept):
    project, _ = swept
    loud = [replace(one, sound="drone", amount=220.0, unit="Hz", after="freeze") for one in seen_twice("AB", 1)]
    silent = [replace(record(3, "AC"), sound="none", after="freeze")]
    records = [*loud, *silent, baseline(4)]
    seen = Seen("1", records, finds(records))
    shown = rows(seen, project.toy)
    assert shown["stops"] == ["A-B"]
    assert best(seen.found) == []
    (step,) = shown["finds"][0]["steps"]
    assert (step["state"], step["touch"], step["plain"]) == ("stop", seen.found[0].best_touch, 4)
    assert shown["matrix"]["A-C"]["mark"] == "stop"


def test_a_log_is_read_again_only_where_it_has_grown_and_never_all_the_time(made):
    project, log = made
    log.flush()
    now_s = [100.0]
    night = Night(project, "main", clock=lambda: now_s[0])
    first = night.seen()
    assert night.version() == first.version
    touched(log, 36_000.0, sound="none")
    log.flush()
    assert night.version() != first.version
    assert night.seen() is first
    now_s[0] += 60
    second = night.seen()
    assert len(second.records) == len(first.records) + 2
    now_s[0] += 60
    assert night.seen() is second


def test_while_reading_rests_nobody_is_told_to_ask_anew(made):
    project, log = made
    log.flush()
    now_s = [100.0]
    night = Night(project, "main", clock=lambda: now_s[0])
    first = night.seen()
    touched(log, 36_000.0, sound="none")
    log.flush()
    assert night.version_to_give() == first.version != night.version()
    now_s[0] += 60
    assert night.version_to_give() == night.version() == night.seen().version


def test_of_progress_only_the_latest_is_kept_and_all_else_whole(made):
    project, log = made
    night = Night(project, "main")
    log.tell(SweepStarted(bench="simulated", identity="none", done=0, planned=9))
    log.tell(Noticed(text="look at A's lead"))
    for done in range(2 * PROGRESS_MOST + 3):
        log.tell(Progress(kind="sweep", what="A-B", done=done, planned=9, bench_s=0.0))
    log.flush()
    kept = night.events()
    assert [type(one) for one in kept[:2]] == [SweepStarted, Noticed]
    assert [one.done for one in kept[2:]][-3:] == [2 * PROGRESS_MOST + at for at in range(3)]
    assert PROGRESS_MOST <= len(kept) - 2 < 2 * PROGRESS_MOST
    assert night.events() == kept


def test_without_a_log_there_is_nothing_yet_and_a_damaged_one_is_told(tmp_path):
    project = load_project(small_project(tmp_path / "toy"))
    night = Night(project, "main")
    assert (night.seen(), night.events(), night.version()) == (Seen(), (), "0")
    night.folder.mkdir(parents=True)
    (night.folder / "log.db").write_bytes(b"no database, whatever its name says" * 50)
    with pytest.raises(LogError):
        night.seen()


def asked(find, change, was=None, ohm=None):
    return {"find": find.label, "ohm": ohm or find.best_path_ohm, "was": was, "change": change}


@pytest.fixture
def folder(tmp_path):
    return tmp_path


def test_what_is_kept_stands_in_the_file_with_its_resistance_and_key(swept, folder):
    _, seen = swept
    find = next(one for one in seen.found if one.along and not one.is_lone)
    done = decide(folder, seen, asked(find, {"set_aside": False}))
    (entry,) = load_picks(folder)
    assert (entry.pair, entry.key) == (find.pair, find.key)
    assert entry.at_ohm == pytest.approx(find.best_path_ohm, rel=0.005)
    shown = decisions(folder, seen.found)
    assert shown["of"][find.label]["steps"][find.best_touch] == done["now"]
    assert shown["entries"][0]["find"] == find.label
    decide(folder, seen, asked(find, {"name": "Bear", "control": "toggle"}, was=done["now"]))
    assert load_picks(folder)[0].name == "Bear"
    with pytest.raises(EditedMeanwhile, match="another name"):
        decide(folder, seen, asked(find, {"name": "Cow"}, was=done["now"]))
    aside = decide(folder, seen, asked(find, {"set_aside": True}, was=load_entry(folder)))
    assert decisions(folder, seen.found)["of"][find.label]["state"] == "set aside"
    put_back(folder, {"was": aside["now"], "now": aside["was"]})
    assert not load_picks(folder)[0].set_aside
    decide(folder, seen, asked(find, None, was=load_entry(folder)))
    assert load_picks(folder) == []


def load_entry(folder):
    from dataclasses import asdict

    return asdict(load_picks(folder, set_aside=True)[0])


def test_of_a_pair_that_was_set_aside_one_sound_is_kept(swept, folder):
    _, seen = swept
    find = next(one for one in seen.found if one.along and not one.is_lone)
    (folder / "picks.yaml").write_text(f"- pair: {find.pair}\n  set_aside: true\n", "utf-8")
    decide(folder, seen, asked(find, {"set_aside": False}, was=load_entry(folder)))
    (entry,) = load_picks(folder)
    assert entry.at_ohm is not None
    assert entry.key == find.key


@pytest.mark.parametrize(("wrong", "why"), [
    ({"find": "Y-Z"}, "no longer among"), ({"find": 5}, "no longer among"),
    ({"change": {"pair": "A-B"}}, "can be changed"), ({"change": {"control": "lever"}}, "can't be lever"),
    ({"change": {"note": "x" * 5000}}, "longer than"), ({"change": 5}, "can be changed"),
    ({"was": {"pair": "Y-Z"}}, "is no entry of"), ({"was": 5}, "must be a mapping"), ({"more": 1}, "or with more"),
])
def test_what_cant_be_decided_is_told_and_writes_nothing(swept, folder, wrong, why):
    _, seen = swept
    find = next(one for one in seen.found if not one.is_lone)
    with pytest.raises(ConfigError, match=why):
        decide(folder, seen, asked(find, {"set_aside": False}) | wrong)
    assert not (folder / "picks.yaml").exists()


def test_a_file_that_cant_be_read_is_told_beside_the_finds(swept, folder):
    _, seen = swept
    (folder / "picks.yaml").write_text("- pair: A-B\n  note: 'half\n", "utf-8")
    shown = decisions(folder, seen.found)
    assert "picks.yaml:2" in shown["trouble"]
    assert shown["of"] == {}


def test_each_key_that_is_listed_does_something():
    script = Path(rig.page.__file__).with_name("static").joinpath("main.js").read_text("utf-8")
    block = re.search(r"const actions = \{(.*?)\n\};", script, re.DOTALL)[1]
    acting = {one.strip('"') for one in re.findall(r'(?:^|[{,\n] *)("[^"]+"|\w+): (?=\(\) =>|\w+,)', block)} | {"1 … 8"}
    listed = {" " if one.shown == "space" else one.shown for one in KEYS}
    assert listed <= acting, listed - acting
    others = {"ArrowDown", "ArrowUp", "ArrowLeft", "ArrowRight", ",", ".", "?"}
    assert acting - listed <= others
