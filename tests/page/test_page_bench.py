"""The bench on the page, and a sweep's pause, asked for by a client that may lie."""

import io
import os
import sys
import time
import wave
from contextlib import nullcontext
from pathlib import Path

import numpy as np
import pytest
from served import Served

sys.path.append(str(Path(__file__).resolve().parents[1] / "unit"))
from making_logs import add, bridge, new_log
from running import run_main, small_project, swept_project

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.turn import GIVE_WAY_S, HOLDER, WANTED, Turn, wanted
from rig.choose import load_picks
from rig.errors import BenchError
from rig.events import SweepDone, SweepStarted, SweepWaits
from rig.log.pausing import PAUSE, pause_wished
from rig.page.held import HIDDEN_S, SILENT_S, Benches, Hold
from rig.project import load_project
from rig.trying import READ_S

POSTS = ["/pause", "/bench/open", "/bench/stay", "/bench/do", "/bench/leave"]


class Tab:
    """A tab at the bench, which says that it is there only when it is told to."""

    def __init__(self, page):
        self.page, self.hold = page, None

    def open(self, sound):
        answer = self.page.post("/bench/open", {"sound": sound})
        assert answer.status == 200, answer.body
        self.hold = answer.json["hold"]
        return self.until(lambda now: now["state"] not in ("opening", "leaving"))

    def stay(self, active=False, hidden=False):
        asked = {"hold": self.hold, "active": active, "hidden": hidden}
        return self.page.post("/bench/stay", asked).json

    def until(self, wanted, seconds=30.0):
        until_s = time.monotonic() + seconds
        while not wanted(now := self.stay()):
            assert time.monotonic() < until_s, now
            time.sleep(0.05)
        return now

    def do(self, word, given=""):
        answer = self.page.post("/bench/do", {"hold": self.hold, "word": word, "given": given})
        assert answer.status == 200, answer.body
        return answer.json

    def leave(self):
        self.page.post("/bench/leave", {"hold": self.hold})
        return self.until(lambda now: now["state"] == "over")


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    folder = swept_project(tmp_path_factory.mktemp("bench") / "toy")
    with Served(folder) as served:
        yield served


def is_free(folder):
    try:
        with Turn(folder, "a test", gives_way=True):  # or the page would give way
            return True
    except BenchError:
        return False


def until_free(folder, seconds):
    until_s = time.monotonic() + seconds
    while not is_free(folder):
        assert time.monotonic() < until_s
        time.sleep(0.05)


def sound_of(page, number):
    answer = page.get(f"/bench/sound/{number}")
    assert answer.status == 200
    assert answer.headers["content-type"] == "audio/wav"
    with wave.open(io.BytesIO(answer.body)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, 48_000)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32768


# Turns


def test_one_at_a_time_has_the_bench_and_the_others_are_told_who(tmp_path):
    with Turn(tmp_path, "the command sweep"):
        with pytest.raises(BenchError, match="^the command sweep has this bench since .*: let it end"):
            Turn(tmp_path, "the command try")
        with pytest.raises(BenchError):
            Turn(tmp_path, "the command page", gives_way=True)
        assert wanted(tmp_path) == "", "nobody asks one who doesn't give way"
    with Turn(tmp_path, "the command try"):
        pass
    assert not (tmp_path / HOLDER).exists()
    (tmp_path / WANTED).write_text("the command sweep")
    assert wanted(tmp_path) == "the command sweep"
    (tmp_path / WANTED).write_text("\x1b[2J")
    assert wanted(tmp_path) == "another command"
    long_ago_s = time.time() - GIVE_WAY_S - 1
    os.utime(tmp_path / WANTED, (long_ago_s, long_ago_s))
    assert wanted(tmp_path) == "", "who wanted it was killed"


# What may be asked


@pytest.mark.parametrize("place", POSTS)
@pytest.mark.parametrize(("headers", "status"), [
    ({"Origin": None}, 403), ({"Origin": "http://evil.example"}, 403), ({"Cookie": None}, 403),
    ({"Content_Type": "text/plain"}, 415), ({"Content_Length": str(10**9)}, 413),
    ({"Host": "evil.example"}, 421),
])  # fmt: skip
def test_nobody_else_may_ask(page, place, headers, status):
    assert page.post(place, {"wished": True, "sound": "A-B"}, **headers).status == status
    assert not (page.folder / "sweeps/main" / PAUSE).exists()
    assert is_free(page.folder)


@pytest.mark.parametrize("place", ["/bench", "/bench/sound/1"])
def test_without_the_cookie_nothing_of_the_bench_is_told(page, place):
    assert page.get(place, cookie=None).status == 403


@pytest.mark.parametrize(("place", "asked"), [
    ("/pause", {}), ("/pause", {"wished": 1}), ("/pause", {"wished": True, "more": 1}), ("/pause", []),
    ("/pause", {"wished": True}),
    ("/bench/open", {}), ("/bench/open", {"sound": 5}), ("/bench/open", {"sound": "nose"}),
    ("/bench/open", {"sound": "A-B " + "1" * 200}), ("/bench/open", {"sound": "A-B\u001b"}),
    ("/bench/open", {"sound": "A"}), ("/bench/open", {"sound": "A-B", "hold": "x"}),
    ("/bench/stay", {"hold": "x"}), ("/bench/stay", {"hold": "x", "active": 1, "hidden": False}),
    ("/bench/do", {"hold": "x", "word": "quit", "given": ""}),
    ("/bench/do", {"hold": "x", "word": "__class__", "given": ""}),
    ("/bench/do", {"hold": "x", "word": "press", "given": 7}), ("/bench/leave", {}),
    ("/bench/leave", {"hold": ["x"]}),
])  # fmt: skip
def test_what_is_no_wish_is_told_and_nothing_is_done(page, place, asked):
    answer = page.post(place, asked)
    assert answer.status in (409, 422)
    assert "\n" not in answer.json["told"]
    assert is_free(page.folder)
    assert not (page.folder / "sweeps/main" / PAUSE).exists()


@pytest.mark.parametrize("hold", ["", "x", "A" * 43, "é"])
def test_another_tab_does_nothing_with_the_bench(page, hold):
    tab = Tab(page)
    tab.open("A-B 150k")
    other = {"hold": hold}
    assert page.post("/bench/do", other | {"word": "open", "given": ""}).status == 409
    assert page.post("/bench/stay", other | {"active": True, "hidden": False}).status == 409
    assert page.post("/bench/leave", other).status == 409
    second = page.post("/bench/open", {"sound": "A-B"})
    assert (second.status, second.json["told"].split(":")[0]) == (409, "another tab has the bench")
    assert tab.stay()["closed"]
    assert tab.leave()["told"].endswith("all pads are open and the toy is off")
    until_free(page.folder, 5)


# What is held


def test_a_pair_is_held_pressed_stepped_heard_and_kept(tmp_path):
    folder = swept_project(tmp_path / "toy")
    with Served(folder) as page:
        facts = page.get("/bench").json
        assert [one["pad"] for one in facts["pads"]] == ["A", "B", "C", "D"]
        assert (facts["refused"], facts["had"]) == ("", False)
        tab = Tab(page)
        now = tab.open("A-B 36k")
        assert (now["state"], now["closed"], now["off"], now["cautions"]) == ("held", True, False, "")
        assert now["held"][0]["pair"] == "A-B"
        assert now["held"][0]["path"] == "36 kΩ"
        assert page.get("/bench").json["had"]
        pressed = tab.do("press")
        assert pressed["sound"] == 1
        sound = sound_of(page, 1)
        assert 0.3 < len(sound) / 48_000 < 7
        assert np.sqrt(np.mean(sound**2)) > 0.005
        assert page.get("/bench/sound/2").status == 404
        less = tab.do("step", "down")
        assert less["held"][0]["at"] == now["held"][0]["at"] - 1
        assert not tab.do("open")["closed"]
        assert tab.do("close")["closed"]
        assert tab.do("press", "nose")["told"].startswith("the toy has no key nose")
        assert tab.do("hold", "A-B")["closed"]
        assert "can't be closed twice" in tab.do("add", "A-B")["told"]
        assert "pad" in tab.do("hold", "A-Q")["told"]
        now = tab.do("hold", "C-D 36k")
        assert now["held"][0]["pair"] == "C-D"
        assert tab.do("keep")["told"].startswith("kept: C-D 36k")
        assert [one.pair for one in load_picks(folder)] == ["C-D"]
        assert tab.leave()["state"] == "over"
        until_free(folder, 5)
        # What comes too late is answered, and does nothing.
        assert tab.do("close")["state"] == "over"
        assert is_free(folder)


def test_what_stopped_the_toy_is_asked_twice_and_not_by_a_key_that_is_held_down(tmp_path):
    folder = small_project(tmp_path / "toy")
    with new_log(folder / "sweeps/main") as log:
        add(log, touch=bridge("A", "B"), after="freeze", path_ohm=36_000.0)
    with Served(folder) as page:
        tab = Tab(page)
        now = tab.open("A-B 3k")
        assert not now["closed"]
        assert now["told"] == "A-B stopped the toy over 36 kΩ: once more to go down to 3 kΩ"
        assert (now["asked"], now["held"][0]["stopped"]) == (["close", ""], "36 kΩ")
        time.sleep(READ_S + 0.1)
        assert tab.do("open")["asked"] is None
        first = tab.do("hold", "A-B 36k")
        assert (first["closed"], first["asked"]) == (False, ["hold", "A-B 36k"])
        assert first["told"] == "A-B stopped the toy over 36 kΩ: once more to go there"
        assert not tab.do("hold", "A-B 36k")["closed"], "it couldn't be read yet"
        time.sleep(READ_S + 0.1)
        assert tab.do("hold", "A-B 36k")["closed"]
        tab.leave()


def test_a_tab_that_says_nothing_has_gone(tmp_path):
    folder = swept_project(tmp_path / "toy")
    with Served(folder) as page:
        tab = Tab(page)
        assert tab.open("A-B 36k")["closed"]
        begun_s = time.monotonic()
        assert not is_free(folder)
        until_free(folder, SILENT_S + 5)
        assert time.monotonic() - begun_s > SILENT_S - 1
        assert f"the tab said nothing for {SILENT_S:g} s" in tab.stay()["told"]


def test_a_sweep_gets_the_bench_within_two_seconds_and_the_tab_is_told(tmp_path):
    folder = small_project(tmp_path / "toy")
    with Served(folder) as page:
        tab = Tab(page)
        assert tab.open("A-B 36k")["closed"]
        begun_s = time.monotonic()
        with Turn(folder, "the command sweep"):
            assert time.monotonic() - begun_s < 2
            now = tab.until(lambda now: now["state"] == "over")
            told = "the command sweep wants the bench: all pads are open and the toy is off"
            assert now["told"] == told
            refused = page.post("/bench/open", {"sound": "A-B"})
            tab.hold = refused.json["hold"]
            now = tab.until(lambda now: now["state"] == "over")
            assert now["told"].startswith("the command sweep has this bench since ")
        done = run_main("sweep", "--project", folder)
        assert (done.code, done.err) == (0, "")


def test_ctrl_c_of_the_page_leaves_the_bench(tmp_path):
    folder = swept_project(tmp_path / "toy")
    with Served(folder) as page:
        Tab(page).open("A-B 36k")
    assert page.process.returncode == 130
    assert is_free(folder)
    assert not (folder / HOLDER).exists()


def test_by_hand_nothing_is_held(tmp_path):
    assert run_main("new", tmp_path / "toy", "--by-hand").code == 0
    with Served(tmp_path / "toy") as page:
        assert "bridge the pads yourself" in page.get("/bench").json["refused"]
        answer = page.post("/bench/open", {"sound": "A-B"})
        assert (answer.status, "bridge the pads yourself" in answer.json["told"]) == (422, True)


# Pausing


def test_a_pause_is_asked_for_and_taken_back(tmp_path):
    folder = small_project(tmp_path / "toy")
    with Served(folder) as page:
        answer = page.post("/pause", {"wished": True})
        assert (answer.status, answer.json["told"]) == (422, "no sweep is running: there is nothing to pause")
        with new_log(folder / "sweeps/main") as log:
            log.tell(SweepStarted(bench="simulated", identity="none", done=0, planned=40))
            log.flush()
            assert page.get("/events").json["pause"] == {"may": True, "waits": False, "wished": ""}
            assert page.post("/pause", {"wished": True}).json["wished"].startswith("asked for on the page at ")
            wish = pause_wished(log.folder)
            assert wish.asked == "on the page"
            log.tell(SweepWaits(asked=wish.asked, asked_at=wish.at))
            log.flush()
            assert page.get("/events").json["pause"]["waits"]
            standing = page.get("/finds").json["standing"]
            assert standing["state"] == "waits"
            assert standing["said"].startswith("The sweep is paused, asked for on the page at ")
            assert standing["alive"] == "The toy is off, all pads are open."
            assert page.post("/pause", {"wished": False}).json["wished"] == ""
            assert pause_wished(log.folder) is None
            assert "It was let go on" in page.get("/finds").json["standing"]["said"]
            log.tell(SweepDone(touches=6, freezes=2, recoveries=0))
            log.flush()
        assert not page.get("/events").json["pause"]["may"]


# The thread, on a bench and a clock of the test's own


class Here(SimulatedBench):
    """A bench that knows what is on, and may not be left safe."""

    joined, is_on, alarm = (), False, None

    def supply(self, on):
        self.is_on = on
        super().supply(on)

    def _connect(self, connections):
        self.joined = connections
        super()._connect(connections)

    def _open_all(self):
        self.joined = ()
        super()._open_all()

    def safe(self):
        self.is_on = False
        super().safe()
        return self.alarm


class Away:
    """A hold whose tab is as a test says; time passes with each look at the clock."""

    def __init__(self, folder, **how):
        self.now_s, self.project = 0.0, load_project(folder)
        self.bench = Here(self.project)
        vars(self.bench).update(how)
        self.hold = Hold(
            self.project, Benches(lambda: nullcontext(self.bench)), "A-B 36k", found=[], stops={},
            unforeseen=lambda error: f"unforeseen: {error}", clock=self.clock,
        )

    def clock(self):
        self.now_s += 0.25
        self.each()
        return self.now_s

    def each(self):
        pass

    def run(self):
        self.hold.run()
        assert (self.bench.joined, self.bench.is_on) == ((), False)
        assert self.hold.state["state"] == "over"
        return self.hold.state["told"]


@pytest.fixture(scope="module")
def project_folder(tmp_path_factory):
    return small_project(tmp_path_factory.mktemp("held") / "toy")


def test_a_tab_that_is_hidden_for_a_minute_has_left(project_folder):
    away = Away(project_folder)
    away.each = lambda: hasattr(away, "hold") and setattr(away.hold, "_heard_s", away.now_s)
    assert away.run() == "the tab was hidden for a minute: all pads are open and the toy is off"
    assert HIDDEN_S <= away.now_s < HIDDEN_S + 2


def test_a_minute_in_which_nobody_does_anything_opens_the_pads(project_folder):
    away, seen = Away(project_folder), []

    def each():
        if hasattr(away, "hold"):
            away.hold._heard_s = away.hold._shown_s = away.now_s
            seen.append((away.now_s, bool(away.bench.joined), away.hold.state["told"]))
            if away.now_s < 20:
                away.hold._is_active = True
            if away.now_s > 100:
                away.hold.leave()

    away.each = each
    away.run()
    opened_s = next(at for at, is_joined, _ in seen if at > 5 and not is_joined)
    assert 78 < opened_s < 84
    assert "nothing was pressed for a minute: everything is open" in seen[-1][2]


@pytest.mark.parametrize(("how", "why"), [
    (BenchError("the link is lost: plug it in"), "the link is lost: plug it in"),
    (ZeroDivisionError("x"), "unforeseen: x"),
])
def test_whatever_ends_it_opens_everything(project_folder, how, why):
    away = Away(project_folder)

    def fail(seconds):
        assert away.bench.joined
        raise how

    away.bench.listen = fail
    assert away.run() == f"{why}: all pads are open and the toy is off"


def test_a_toy_that_may_still_be_on_is_told_in_place_of_that_it_is_off(project_folder):
    away = Away(project_folder, alarm="the toy is STILL SUPPLIED")
    away.hold.leave()
    assert away.run() == "let go: the toy is STILL SUPPLIED"
