"""How quick is the page where a night was long, and what does watching cost a sweep?

    python tests/benchmarks/page.py [--touches 10000] [--finds 1000] [--pads 64] [--watched 400]

Makes a log as large as that (`big_log.py` says of what), serves it and opens it in Chromium. Printed
are: how long the log took; when the first words are painted and when all can be used, from the click
on; how long until another find is shown, from the key to the frame behind it; a spectrogram of a plain
and a bent take; the build view and the PDF with 20 picks; and the server's memory (resident, from
/proc, Linux alone), of which the program's own modules are a part.

Watching: two sweeps of one simulated board make the same touches, by turns, one block of touches at a
time; while one of them makes its block, an open page follows it. A simulated touch takes some 30 ms in
place of a rig's 2 s, so the page asks far less often per touch than it would at a rig, but the
processor is never idle, which at a rig it mostly is. Needs Debian's chromium. Leave
the machine alone meanwhile: what is told by the clock hangs on it.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path
from statistics import median

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path[:0] = [str(Path(__file__).parents[1] / "page"), str(Path(__file__).parent)]

import numpy as np
from big_log import big_project
from browsing import browser, opened
from served import Served

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.events import Progress
from rig.log.opening import open_log
from rig.project import load_project
from rig.sweep import Sweep

LOADS, SELECTIONS, SPECTROGRAMS, PICKS = 5, 40, 8, 20
BLOCK = 50
"""Touches that are made before it is the other sweep's turn."""
SCREEN = {"width": 1280, "height": 800}

LOADED = """() => ({
  painted: performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? NaN,
  told: window.readyAt, elements: document.querySelectorAll("*").length,
})"""
WATCH = """window.readyAt = NaN; new MutationObserver((_, mine) => {
  if (document.body?.dataset.ready) { window.readyAt = performance.now(); mine.disconnect(); }
}).observe(document, { subtree: true, attributes: true, childList: true });"""
SELECT = """async (count) => {
  const took = [];
  for (let at = 0; at < count; at += 1) {
    const begun = performance.now();
    document.dispatchEvent(new KeyboardEvent("keydown", { key: "j", bubbles: true }));
    await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
    took.push(performance.now() - begun);
    await new Promise((done) => setTimeout(done, 50));
  }
  return took;
}"""


@contextmanager
def told(what: str):
    """Print how long something took."""
    begun_s = time.monotonic()
    yield
    print(f"{what:44}{time.monotonic() - begun_s:9.2f} s", flush=True)


def row(what: str, of_all, unit: str = "ms") -> None:
    """Print the middle and the worst."""
    print(f"{what:44}{median(of_all):9.1f} {unit}, at worst {max(of_all):.1f}", flush=True)


def memory_mb(process: int) -> str:
    """Say how much memory a process has, and had at most."""
    status = dict(line.split(":", 1) for line in Path(f"/proc/{process}/status").read_text().splitlines())
    now, most = (int(status[name].split()[0]) / 1024 for name in ("VmRSS", "VmHWM"))
    return f"{now:9.0f} MB, at most {most:.0f}"


def look(folder: Path, chromium) -> None:
    """Serve a project and measure what a person waits for."""
    with told("the page's server is there"):
        served = Served(folder).__enter__()
    try:
        print(f"{'its memory':44}{memory_mb(served.process.pid)}")
        context = chromium.new_context(viewport=SCREEN)
        context.add_init_script(WATCH)
        tab = opened(context, served.address)
        loads = []
        for _ in range(LOADS):
            loads.append(tab.evaluate(LOADED))
            tab.reload()
            tab.wait_for_selector("body[data-ready]")
        print(f"{'opened first: painted, to be used':44}{loads[0]['painted']:9.0f} ms, {loads[0]['told']:.0f} ms")
        row("opened again: painted", [one["painted"] for one in loads[1:]])
        row("opened again: to be used", [one["told"] for one in loads[1:]])
        print(f"{'elements in the page':44}{loads[0]['elements']:9,d}")
        row("another find is shown", tab.evaluate(SELECT, SELECTIONS))
        tab.locator("#numbers > summary").click()
        row("spectrogram, plain and bent", list(spectrograms(tab)))
        found = served.get("/finds").json["finds"]
        kept = "".join(f"- pair: {one['pair']}\n" for one in found[:PICKS])
        (folder / "picks.yaml").write_text(kept, "utf-8")
        tab.wait_for_function("() => document.getElementById('build-count').textContent !== 'nothing yet'",
                              timeout=60_000)  # fmt: skip
        begun_s = time.monotonic()
        tab.keyboard.press("g")
        tab.wait_for_selector(".made", timeout=60_000)
        print(f"{f'build view of {PICKS} picks':44}{1000 * (time.monotonic() - begun_s):9.0f} ms")
        print(f"{'server memory':44}{memory_mb(served.process.pid)}")
        with told("the sheet as PDF"):
            assert served.get("/sheet.pdf").status == 200
        print(f"{'server memory then':44}{memory_mb(served.process.pid)}")
        context.close()
    finally:
        served.__exit__()


def spectrograms(tab):
    """Give how long each of some took, in the browser."""
    for _ in range(SPECTROGRAMS):
        tab.evaluate("delete document.getElementById('spectrogram').dataset.ms")
        tab.keyboard.press("j")
        tab.wait_for_function("() => document.getElementById('spectrogram').dataset.ms")
        yield float(tab.evaluate("document.getElementById('spectrogram').dataset.ms"))


def now_s() -> np.ndarray:
    """Give the clock, and this process's own time."""
    return np.array([time.monotonic(), time.process_time()])


def sweep(folder: Path, touches: int, pipe) -> None:
    """Sweep a project, a block of touches each time it is asked for; tells what that took, s.

    By the clock, and of the processor's time, which hangs less on what else the machine does.
    """
    project = load_project(folder)
    with open_log(project, "main") as log:
        made, begun_s = 0, np.zeros(2)

        def count(event):
            nonlocal made, begun_s
            if not isinstance(event, Progress):
                return
            if made % BLOCK == 0:
                if made:
                    pipe.send(now_s() - begun_s)
                if made >= touches or pipe.recv() is None:
                    raise KeyboardInterrupt
                begun_s = now_s()
            made += 1

        log.listen(count)
        try:
            Sweep(project, SimulatedBench(project), log).run()
        except KeyboardInterrupt:
            return


def watching(folder: Path, touches: int, chromium) -> None:
    """Sweep one board twice, by turns, and watch one of both."""
    fork = multiprocessing.get_context("fork")
    sides = []
    for name in ("alone", "watched"):
        new_simulated_project(folder / name, 5, 24)
        mine, other = fork.Pipe()
        process = fork.Process(target=sweep, args=(folder / name, touches, other), daemon=True)
        process.start()
        other.close()
        sides.append((mine, process))
    blocks_s = []
    with Served(folder / "watched") as page:
        tab = opened(chromium.new_context(viewport=SCREEN), page.address)
        for _ in range(touches // BLOCK):
            took_s = []
            for (pipe, _), address in zip(sides, ("about:blank", f"{page.origin}/"), strict=True):
                tab.goto(address)
                if address != "about:blank":
                    tab.wait_for_selector("body[data-ready]")
                    tab.wait_for_timeout(1000)  # loading it isn't watching
                pipe.send("go")
                took_s.append(pipe.recv())
            blocks_s.append(took_s)
    for _, process in sides:
        process.join(10)
    made = np.array(blocks_s)  # blocks, alone or watched, which time
    for at, what in enumerate(("by the clock", "processor's time")):
        alone_ms, watched_ms = 1000 * made[:, :, at].sum(axis=0) / touches
        ratios = np.sort(made[:, 1, at] / made[:, 0, at])
        print(f"{f'a touch, alone and watched, {what}':44}{alone_ms:9.1f} ms, {watched_ms:.1f} ms: ratio "
              f"{watched_ms / alone_ms:.3f}, by blocks {np.median(ratios):.3f} ({ratios[0]:.2f} to {ratios[-1]:.2f})")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--touches", type=int, default=10_000)
    parser.add_argument("--finds", type=int, default=1_000)
    parser.add_argument("--pads", type=int, default=64)
    parser.add_argument("--watched", type=int, default=400, help="touches of the sweep that is watched; 0: none")
    parser.add_argument("--log", type=Path, help="a folder for the large log, to use it again")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        folder = given.log or Path(passing) / "toy"
        if not folder.exists():
            with told(f"a log of {given.touches:,} touches"):
                big_project(folder, given.touches, given.finds, given.pads)
        # Forked processes come before the browser's threads.
        with browser() as chromium:
            look(folder, chromium)
            if given.watched:
                watching(Path(passing), given.watched, chromium)


if __name__ == "__main__":
    main()
