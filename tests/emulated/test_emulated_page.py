"""The page's hold on the emulated rig: the real firmware has the last word, whatever ends the page."""

import signal
import sys
import time
from pathlib import Path

import pytest
from emulated_rig import CLOSED, DEAD_MAN_MS, HELD_BOARD, PAIR, EmulatedRig
from emulator import CYCLES_PER_MS, HANGS_S

sys.path.append(str(Path(__file__).resolve().parents[1] / "page"))
from served import Served


@pytest.fixture(scope="module")
def rig(sound_server, tmp_path_factory):
    with EmulatedRig(tmp_path_factory.mktemp("page"), sound_server, HELD_BOARD) as rig:
        yield rig


@pytest.fixture
def page(rig):
    rig.emulator.wait_for(lambda state: state.is_open_and_off, HANGS_S)
    with Served(rig.folder, env=rig.server.env) as served:
        yield served


class Tab:
    """A tab that holds the pair which bends this board, and says that it is there while it waits."""

    def __init__(self, rig, page):
        self.rig, self.page = rig, page
        answer = page.post("/bench/open", {"sound": PAIR})
        assert answer.status == 200, answer.body
        self.hold = answer.json["hold"]
        self.until(lambda: rig.emulator.state.closures == CLOSED and rig.emulator.state.supply)
        rig.emulator.wait_cycles(500 * CYCLES_PER_MS)  # and kept
        assert rig.emulator.state.closures == CLOSED

    def stay(self):
        return self.page.post("/bench/stay", {"hold": self.hold, "active": True, "hidden": False}).json

    def do(self, word, given=""):
        return self.page.post("/bench/do", {"hold": self.hold, "word": word, "given": given}).json

    def until(self, wanted):
        until_s = time.monotonic() + HANGS_S
        while not wanted():
            assert time.monotonic() < until_s, self.stay()
            self.stay()
            time.sleep(0.2)


def test_a_page_that_is_killed_leaves_all_open_and_the_toy_off(rig, page):
    Tab(rig, page)
    page.process.send_signal(signal.SIGKILL)
    page.process.wait()
    emulator = rig.emulator
    emulator.wait_cycles(200 * CYCLES_PER_MS)  # what it had sent by then has come in
    heard = emulator.heard
    assert emulator.state.closures == CLOSED
    emulator.wait_for(lambda state: state.is_open_and_off, 10)
    off = next(s.cycle for s in emulator.events() if s.cycle > heard and s.is_open_and_off)
    assert (off - heard) / CYCLES_PER_MS == pytest.approx(DEAD_MAN_MS, abs=5)


def test_a_tab_presses_steps_and_lets_go(rig, page):
    tab, emulator = Tab(rig, page), rig.emulator
    assert "Battery toys only" in tab.stay()["cautions"]
    # Longer than a plain closure lasts: it is kept for as long as somebody is there.
    until = emulator.cycle + 11_000 * CYCLES_PER_MS
    tab.until(lambda: emulator.cycle >= until)
    assert emulator.state.closures == CLOSED
    before = emulator.cycle
    assert tab.do("press")["sound"] == 0, "the toy itself sounds"
    assert any(state.keys for state in emulator.settled() if state.cycle > before)
    assert tab.do("step", "down")["held"][0]["at"] == 2
    assert emulator.state.series == {1}
    before = emulator.cycle
    tab.page.post("/bench/leave", {"hold": tab.hold})
    emulator.wait_for(lambda state: state.is_open_and_off, HANGS_S)
    off = next(s.cycle for s in emulator.settled() if s.cycle > before and s.is_open_and_off)
    assert (off - before) / CYCLES_PER_MS < 2000, "it was told to, not left to the dead-man"
    tab.until(lambda: tab.stay()["state"] == "over")
    assert tab.stay()["told"] == "let go: all pads are open and the toy is off"
