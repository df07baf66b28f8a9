"""Where a night was long: only what is seen is made, and all can be come to; spectrograms."""

from itertools import combinations

import numpy as np
import pytest
from browsing import now, wait_told
from making_logs import BASELINE, RATE_HZ, add, bridge, new_log, tone
from served import Served

from rig.bench.simulated.folder import new_simulated_project

PAIRS = 100


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """A page of a hundred finds, each a tone of its own."""
    folder = tmp_path_factory.mktemp("long") / "toy"
    project = new_simulated_project(folder, 5, 16)
    pairs = list(combinations(project.toy.pads, 2))[:PAIRS]
    with new_log(folder / "sweeps/main") as log:
        for _ in range(4):
            add(log, kind="baseline", touch=BASELINE, samples=tone(0.3, 440.0))
        for at, pair in enumerate(pairs):
            for kind in ("sweep", "confirm"):
                add(log, kind=kind, touch=bridge(*pair), sound="pitch", amount=100.0 + at, unit="cents",
                    score=5.0, samples=tone(0.2, 500.0 + at) if kind == "confirm" else None,
                    take=kind == "confirm")  # fmt: skip
    with Served(folder) as served:
        yield served


@pytest.fixture
def tab(page, tab_of):
    return tab_of(page, viewport={"width": 1280, "height": 800})


def test_of_a_long_list_only_what_is_seen_is_in_the_page(page, tab):
    order = page.get("/picks").json["order"]
    assert len(order) == PAIRS
    assert tab.locator("#count").inner_text() == str(PAIRS)
    there = tab.locator("#finds li[data-label]")
    assert there.count() < PAIRS / 2
    first = there.first
    assert (first.get_attribute("data-label"), first.get_attribute("aria-posinset")) == (order[0], "1")
    assert first.get_attribute("aria-setsize") == str(PAIRS)
    # Keys go through all of it, and what is looked at is in sight.
    tab.locator(f'#finds li[data-label="{order[0]}"] .hear').click()
    for label in order[1:]:
        tab.keyboard.press("j")
        assert now(tab) == label
    last = tab.locator(f'#finds li[data-label="{order[-1]}"]')
    last.wait_for()
    tab.wait_for_function("""label => {
      const box = document.querySelector(`#finds li[data-label="${label}"]`).getBoundingClientRect();
      return box.top >= 0 && box.bottom <= window.innerHeight + 1;
    }""", arg=order[-1])
    assert tab.locator(f'#finds li[data-label="{order[0]}"]').count() == 0
    tab.keyboard.press("j")
    wait_told(tab, "That was the last")


def test_rows_stay_where_they_are_while_somebody_scrolls(tab):
    tab.mouse.move(300, 400)
    for step in (600, 600, 600, -300, -300):
        seen = tab.evaluate("""() => {
          window.mark = [...document.querySelectorAll("#finds li[data-label], #best li")]
            .find((one) => one.getBoundingClientRect().top > 200);
          return [window.mark.getBoundingClientRect().top, window.scrollY];
        }""")
        tab.mouse.wheel(0, step)
        tab.wait_for_function("before => Math.abs(window.scrollY - before) >= 299", arg=seen[1])
        tab.wait_for_function("""() => new Promise((done) => {
          const at = window.scrollY;
          setTimeout(() => done(window.scrollY === at), 150);
        })""")
        if tab.evaluate("window.mark.isConnected"):
            top, scrolled = tab.evaluate("[window.mark.getBoundingClientRect().top, window.scrollY]")
            # What the list above it turned out to be taller, the browser has scrolled further.
            assert top - seen[0] == pytest.approx(-step, abs=2), (top, scrolled)


POWERS = """async (number) => {
  const { Takes } = await import("/static/sound.js");
  const { powers } = await import("/static/spectrogram.js");
  const samples = (await new Takes(new OfflineAudioContext(1, 1, 48000)).get(number)).getChannelData(0);
  return [[...samples.slice(0, 4096)], [...powers(samples, 100)], [...powers(samples, 3000)]];
}"""


def test_a_spectrogram_is_that_of_the_samples(tab):
    samples, *told = tab.evaluate(POWERS, 1)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(1024) / 1024)
    for start, mine in zip((100, 3000), told, strict=True):
        expected = np.abs(np.fft.rfft(np.array(samples[start : start + 1024]) * window)) ** 2
        assert mine == pytest.approx(expected, rel=1e-5, abs=1e-6 * expected.max())
    assert abs(np.argmax(told[0]) * RATE_HZ / 1024 - 440.0) < RATE_HZ / 1024


def test_behind_numbers_there_is_a_spectrogram(tab):
    assert tab.locator("#spectrogram").get_attribute("data-ms") is None
    tab.locator("#numbers > summary").click()
    tab.wait_for_function("() => document.getElementById('spectrogram').dataset.ms")
    levels = tab.evaluate("""() => {
      const canvas = document.getElementById("spectrogram");
      const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
      const told = new Set();
      for (let at = 0; at < data.length; at += 4) told.add(data[at]);
      return told.size;
    }""")
    assert levels > 20
