"""A sweep paused, and pads held on the bench, by a person at a browser."""

import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from browsing import now, wait_told
from served import PROGRAM, Served

sys.path.append(str(Path(__file__).resolve().parents[1] / "unit"))
from running import small_project, swept_project

from rig.bench.turn import Turn
from rig.choose import load_picks
from rig.errors import BenchError
from rig.events import SweepDone, SweepGoesOn, SweepWaits
from rig.log import SweepLog, read_events
from rig.log.stream import waits

LONG_MS = 60_000


@pytest.fixture
def expected_troubles():
    return ("409",)


def is_free(folder):
    try:
        with Turn(folder, "a test", gives_way=True):
            return True
    except BenchError:
        return False


def until(what, seconds=60.0):
    until_s = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < until_s
        time.sleep(0.05)


def wait_text(tab, name, words):
    tab.wait_for_function("([id, words]) => document.getElementById(id).textContent.includes(words)",
                          arg=[name, words], timeout=LONG_MS)


def wait_bench(tab, state):
    tab.wait_for_function("state => document.body.dataset.bench === state", arg=state, timeout=LONG_MS)


def test_a_live_sweep_is_paused_and_let_go_on(tmp_path, tab_of):
    folder = small_project(tmp_path / "toy")
    with Served(folder) as page:
        tab = tab_of(page)
        assert tab.locator("#pause").is_hidden()
        running = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, "sweep", "--project", str(folder)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        log = folder / "sweeps/main"
        tab.wait_for_selector("#do-pause", state="visible", timeout=LONG_MS)
        tab.locator("#do-pause").click()
        wait_told(tab, "pauses")
        until(lambda: waits(read_events(log)) is not None)
        wait_text(tab, "said", "The sweep is paused, asked for on the page at ")
        wait_text(tab, "alive", "The toy is off, all pads are open.")
        wait_text(tab, "do-pause", "Let it go on")
        made = len(SweepLog.open(log, read_only=True).records())
        tab.wait_for_timeout(1500)
        assert len(SweepLog.open(log, read_only=True).records()) == made
        # The bench is the sweep's all the while.
        tab.locator("#touch > summary").click()
        tab.wait_for_selector("#touch-over option", state="attached")
        tab.locator("#touch-form button").click()
        wait_text(tab, "bench-told", "has this bench since")
        tab.locator("#do-pause").click()
        wait_text(tab, "said", "The sweep is running.")
        out, err = running.communicate(timeout=120)
        assert (running.returncode, err) == (0, "")
        assert "paused, asked for on the page at " in out
        wait_text(tab, "said", "The sweep is done")
        tab.wait_for_selector("#pause", state="hidden")
    told = [type(one) for one in read_events(log)
            if isinstance(one, (SweepWaits, SweepGoesOn, SweepDone))]
    assert told == [SweepWaits, SweepGoesOn, SweepDone]


def test_a_find_is_held_pressed_stepped_kept_and_let_go(tmp_path, tab_of):
    folder = swept_project(tmp_path / "toy")
    with Served(folder) as page:
        tab = tab_of(page)
        press = tab.keyboard.press
        pair = now(tab).split()[0]
        tab.locator("#do-hold").click()
        wait_bench(tab, "held")
        wait_text(tab, "bench-held", pair.replace("-", "–"))
        wait_text(tab, "bench-is", "closed")
        assert not is_free(folder)
        press(" ")
        tab.wait_for_function("() => document.body.dataset.benchHeard === '1'", timeout=LONG_MS)
        place = re.compile(r"(\d) of (\d)")
        at, of = place.search(tab.locator("#bench-held").inner_text()).groups()
        way, there = ("<", int(at) - 1) if at == of else (">", int(at) + 1)
        press(way)
        wait_text(tab, "bench-held", f"{there} of {of}")
        press("o")
        wait_text(tab, "bench-is", "open")
        press("o")
        wait_text(tab, "bench-is", "closed")
        press("k")
        wait_text(tab, "bench-told", f"kept: {pair}")
        assert [one.pair for one in load_picks(folder)] == [pair]
        # A second tab is told, and the first goes on.
        other = tab_of(page, tab.context)
        other.keyboard.press("h")
        wait_text(other, "bench-told", "another tab has the bench")
        assert other.evaluate("document.body.dataset.bench") == ""
        press("q")
        wait_bench(tab, "")
        wait_text(tab, "bench-told", "all pads are open and the toy is off")
        until(lambda: is_free(folder), 5)
        other.keyboard.press("h")
        wait_bench(other, "held")
        other.close()


@pytest.mark.parametrize("how", ["closed", "left"])
def test_a_tab_that_is_closed_or_left_opens_everything(tmp_path, tab_of, how):
    folder = swept_project(tmp_path / "toy")
    with Served(folder) as page:
        tab = tab_of(page)
        tab.locator("#touch > summary").click()
        tab.wait_for_selector("#touch-over option", state="attached")
        tab.locator("#touch-one").select_option("A")
        tab.locator("#touch-other").select_option("B")
        tab.locator("#touch-form button").click()
        wait_bench(tab, "held")
        wait_text(tab, "bench-held", "A–B")
        assert not is_free(folder)
        if how == "closed":
            tab.close(run_before_unload=True)
        else:
            tab.goto("about:blank")
        until(lambda: is_free(folder), 8)


def test_a_sweep_that_begins_gets_the_bench_from_the_tab(tmp_path, tab_of):
    folder = small_project(tmp_path / "toy")
    with Served(folder) as page:
        tab = tab_of(page)
        tab.locator("#touch > summary").click()
        tab.wait_for_selector("#touch-over option", state="attached")
        tab.locator("#touch-form button").click()
        wait_bench(tab, "held")
        running = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, "sweep", "--project", str(folder)],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        wait_text(tab, "bench-told", "the command sweep wants the bench: all pads are open and the toy is off")
        wait_bench(tab, "")
        _, err = running.communicate(timeout=120)
        assert (running.returncode, err) == (0, "")


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (390, 844)])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_of_the_bench_is_cut_off(tmp_path, tab_of, width, height, scheme):
    folder = swept_project(tmp_path / "toy")
    with Served(folder) as page:
        tab = tab_of(page, viewport={"width": width, "height": height}, color_scheme=scheme)
        tab.keyboard.press("h")
        wait_bench(tab, "held")
        wait_text(tab, "bench-is", "closed")
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
        for name in ("#bench-keys button", "#bench-turn", "#bench-leave"):
            box = tab.locator(name).first.bounding_box()
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= width
            assert box["y"] >= 0
            assert box["y"] + box["height"] <= height
            assert box["height"] >= 24  # WCAG 2.2, 2.5.8 target size (minimum), from memory
        nameless = tab.evaluate("""() => [...document.querySelectorAll("#bench button, #touch select, #pause button")]
          .filter((one) => !(one.textContent.trim() || one.labels?.length)).map((one) => one.outerHTML)""")
        assert nameless == []
