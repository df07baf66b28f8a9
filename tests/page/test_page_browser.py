"""The page as a person has it, in a browser: heard, chosen and kept by keys."""

import hashlib
import re
import shutil
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from browsing import now, wait_told
from served import Served

from rig.choose import finds, load_picks
from rig.choose.picks import CONTROLS, PICKS
from rig.events import Progress, SweepDone, SweepStarted
from rig.log import SweepLog
from rig.log.takes import take_path

sys.path.append(str(Path(__file__).resolve().parents[1] / "unit"))
from making_logs import BASELINE, add, bridge, new_log

GAP = round(0.35 * 48_000)

# Chromium's samples are of steps of 1/32768 below zero and of 1/32767 above it.
SAMPLES = """async (number) => {
  const { Takes } = await import("/static/sound.js");
  const takes = new Takes(new OfflineAudioContext(1, 1, 48000));
  const buffer = await takes.get(number);
  const pcm = Int16Array.from(buffer.getChannelData(0), (one) => Math.round(one * (one < 0 ? 32768 : 32767)));
  const hash = new Uint8Array(await crypto.subtle.digest("SHA-256", pcm.buffer));
  return [buffer.length, buffer.sampleRate, buffer.numberOfChannels,
    [...hash].map((one) => one.toString(16).padStart(2, "0")).join("")];
}"""

SCHEDULED = """async ([numbers, fromS, length]) => {
  const { Takes, schedule } = await import("/static/sound.js");
  const context = new OfflineAudioContext(1, length, 48000);
  const takes = new Takes(context);
  const buffers = await Promise.all(numbers.map((one) => takes.get(one)));
  const plan = schedule(context, buffers.map((buffer) => ({ buffer })), fromS);
  const heard = (await context.startRendering()).getChannelData(0);
  const pcm = Int16Array.from(heard, (one) => Math.round(one * (one < 0 ? 32768 : 32767)));
  const hash = new Uint8Array(await crypto.subtle.digest("SHA-256", pcm.buffer));
  return [plan.starts, plan.ends, [...hash].map((one) => one.toString(16).padStart(2, "0")).join("")];
}"""


@pytest.fixture(scope="module")
def page(swept_boards, tmp_path_factory):
    """A page over the swept talker, for tests that change nothing of it."""
    folder = shutil.copytree(swept_boards["talker"], tmp_path_factory.mktemp("page") / "toy")
    with Served(folder) as served:
        yield served


def records_of(folder):
    return SweepLog(folder / "sweeps/main").records()


def pcm_of(folder, number):
    samples, rate_hz = soundfile.read(folder / "sweeps/main" / take_path(number), dtype="int16")
    assert rate_hz == 48_000
    return samples


def sha(samples):
    return hashlib.sha256(np.ascontiguousarray(samples, "<i2").tobytes()).hexdigest()


def test_what_is_heard_is_the_take_sample_by_sample(page, tab_of):
    found = finds(records_of(page.folder))
    tab = tab_of(page)
    for number in {found[0].baseline_touch, *(one.best_touch for one in found[:6])}:
        pcm = pcm_of(page.folder, number)
        assert tab.evaluate(SAMPLES, number) == [len(pcm), 48_000, 1, sha(pcm)]


@pytest.mark.parametrize("from_s", [0.0, 0.1, 0.123456789, 1 / 3])
def test_plain_bent_and_plain_begin_on_just_their_sample(page, tab_of, from_s):
    find = finds(records_of(page.folder))[0]
    numbers = [find.baseline_touch, find.best_touch, find.baseline_touch]
    pieces = [pcm_of(page.folder, number) for number in numbers]
    first = int(np.ceil(from_s * 48_000))
    length = first + sum(map(len, pieces)) + 2 * GAP + 100
    expected, at, starts = np.zeros(length, np.int16), first, []
    for piece in pieces:
        expected[at : at + len(piece)] = piece
        starts.append(at)
        at += len(piece) + GAP
    heard = tab_of(page).evaluate(SCHEDULED, [numbers, from_s, length])
    assert heard == [starts, at - GAP, sha(expected)]


LEVELS = """async ([numbers, together]) => {
  const { Takes, matched, loudness, peak } = await import("/static/sound.js");
  const takes = new Takes(new OfflineAudioContext(1, 1, 48000));
  const sounds = (await Promise.all(numbers.map((one) => takes.get(one)))).map((one) => one.getChannelData(0));
  const gains = matched(sounds, together);
  return [gains, sounds.map((one) => loudness(one)), sounds.map(peak)];
}"""


def test_levels_are_matched_without_clipping(page, tab_of):
    from rig.choose.sounds import loudness
    from rig.pcm import from_pcm

    found = [one for one in finds(records_of(page.folder)) if one.sound not in ("cut", "none")]
    tab = tab_of(page)
    for find in found[:8]:
        numbers = [find.baseline_touch, find.best_touch]
        gains, loud, peaks = tab.evaluate(LEVELS, [numbers, False])
        mine = [loudness(from_pcm(pcm_of(page.folder, one)), 48_000) for one in numbers]
        assert loud == pytest.approx(mine, rel=1e-3)
        assert max(gain * peak for gain, peak in zip(gains, peaks, strict=True)) <= 0.9
        plain, bent = (gain * one for gain, one in zip(gains, loud, strict=True))
        assert plain == pytest.approx(bent, rel=1e-6)
        (one, other), *_ = tab.evaluate(LEVELS, [numbers, True])
        assert one == other


def test_a_person_goes_through_all_by_keys_alone(toy_folder, tab_of):
    found = finds(records_of(toy_folder))
    with Served(toy_folder) as page:
        tab = tab_of(page)
        press = tab.keyboard.press
        press("1")
        best = now(tab)
        tab.wait_for_function("() => document.body.dataset.heard === 'plain'")
        tab.wait_for_function("() => document.body.dataset.heard === 'bent'", timeout=15_000)
        press(" ")
        wait_told(tab, "stopped")
        press("k")
        wait_told(tab, f"{best}: kept")
        assert tab.locator("#do-keep").get_attribute("aria-pressed") == "true"
        press("j")
        second = now(tab)
        assert second != best
        press("i")
        assert now(tab) == best
        press("j")
        press("s")
        wait_told(tab, f"{second}: set aside")
        press("n")
        tab.keyboard.type("not s, nor k")  # letters are letters while somebody writes
        press("Enter")
        wait_told(tab, "note")
        press("m")
        tab.keyboard.type("Grumble")
        press("Enter")
        wait_told(tab, "name")
        press("c")
        press("ArrowDown")
        wait_told(tab, "control")
        press("Escape")
        entries = load_picks(toy_folder, set_aside=True)
        assert [one.set_aside for one in entries] == [False, True]
        assert (entries[1].name, entries[1].note) == ("Grumble", "not s, nor k")
        assert entries[1].control in CONTROLS
        press("u")
        wait_told(tab, f"taken back: {second}: control")
        press("u")
        wait_told(tab, f"taken back: {second}: name")
        press("u")
        wait_told(tab, f"taken back: {second}: note")
        press("l")
        wait_told(tab, "as recorded")
        press("/")
        tab.keyboard.type("pitch")
        press("Escape")
        assert tab.locator("#view-q").input_value() == "pitch"
        shown = tab.locator("#finds li[data-label] .says").all_inner_texts()
        assert shown
        assert [one for one in shown if "pitch" not in one] == []
        assert "q=pitch" in tab.evaluate("location.search")
        # Each button can be reached and seen by Tab.
        reached = set()
        for _ in range(60):
            press("Tab")
            reached.add(tab.evaluate("document.activeElement.id"))
            if tab.evaluate("document.activeElement !== document.body"):
                assert tab.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"
    assert {"view-pad", "do-play", "do-keep", "word-name"} <= reached
    assert len(found) >= 5


def test_five_kept_at_chosen_resistances_while_the_file_is_edited_by_hand(toy_folder, tab_of):
    file = toy_folder / PICKS
    with Served(toy_folder) as page:
        tab = tab_of(page)
        press = tab.keyboard.press
        labels = tab.locator("#finds li[data-label]").evaluate_all("all => all.map(one => one.dataset.label)")
        kept = []
        for number in range(5):
            tab.locator(f'#finds li[data-label="{labels[number]}"] .hear').click()
            press(">" if number % 2 else "<")
            at = tab.locator("#stairs [aria-pressed=true]").get_attribute("aria-label")
            press("k")
            wait_told(tab, ": kept")
            kept.append((now(tab), at))
            if number == 2:  # by hand: a comment, another pair, and words for one that was kept
                text = file.read_text("utf-8")
                mine = re.sub(r"(- pair: .*\n(?:  .*\n)*)", r"\1  name: 'by hand'  # my own\n", text, count=1)
                file.write_text(mine + "# below\n- pair: Y-Z\n", "utf-8")
        tab.reload()
        tab.wait_for_selector("body[data-ready]")
        marked = tab.locator("#finds .state.kept").count()
        names = tab.locator("#finds .state.kept").all_inner_texts()
    text = file.read_text("utf-8")
    entries = load_picks(toy_folder)
    assert "name: 'by hand'  # my own" in text
    assert "# below" in text
    assert [one.pair for one in entries if one.pair == "Y-Z"] == ["Y-Z"]
    of_page = [one for one in entries if one.pair != "Y-Z"]
    assert len(of_page) == len(set(kept))
    for one, (label, at) in zip(of_page, dict.fromkeys(kept), strict=True):
        assert label.split()[0] == one.pair
        ohm, unit = re.match(r"([\d.]+) (k?)Ω", at).groups()
        assert one.at_ohm == pytest.approx(float(ohm) * (1000 if unit else 1), rel=0.01)
    assert marked == len({label for label, _ in kept})
    assert any("by hand" in one for one in names)


def test_where_hand_and_page_change_the_same_both_are_shown_and_nothing_is_lost(toy_folder, tab_of):
    file = toy_folder / PICKS
    with Served(toy_folder) as page:
        tab = tab_of(page)
        press = tab.keyboard.press
        press("1")
        press("n")
        tab.keyboard.type("first")
        press("Enter")
        wait_told(tab, "note")
        for choice, left in (("#conflict-leave", "by hand"), ("#conflict-write", "mine again")):
            press("n")
            tab.locator("#word-note").fill("mine again")
            file.write_text(re.sub('note: ".*"', 'note: "by hand" # so', file.read_text("utf-8")), "utf-8")
            press("Enter")
            tab.wait_for_selector("#conflict[open]")
            assert "by hand" in tab.locator("#conflict-theirs").inner_text()
            assert "mine again" in tab.locator("#conflict-mine").inner_text()
            assert load_picks(toy_folder)[0].note == "by hand"
            tab.locator(choice).click()
            tab.wait_for_selector("#conflict", state="hidden")
            tab.wait_for_timeout(400)
            assert load_picks(toy_folder)[0].note == left
            assert "# so" in file.read_text("utf-8")
            file.write_text(re.sub('note: ".*"', 'note: "first"', file.read_text("utf-8")).replace(" # so", ""), "utf-8")
            tab.wait_for_function("() => document.getElementById('word-note').value === 'first'", timeout=15_000)
        tab.troubles[:] = [one for one in tab.troubles if "409" not in one]


def test_two_tabs_see_what_the_other_decides(toy_folder, tab_of):
    with Served(toy_folder) as page:
        one = tab_of(page)
        other = tab_of(page, one.context)
        one.keyboard.press("1")
        one.keyboard.press("k")
        wait_told(one, "kept")
        label = now(one)
        other.wait_for_selector(f'#finds li[data-label="{label}"] .state.kept', timeout=15_000)
        other.keyboard.press("1")
        other.keyboard.press("s")
        wait_told(other, "set aside")
        one.wait_for_selector(f'#finds li[data-label="{label}"] .state.aside', timeout=15_000)
        one.keyboard.press("u")  # what it kept was set aside meanwhile: that's no longer its own to undo
        one.wait_for_selector("#conflict[open]")
        one.keyboard.press("Escape")
        one.troubles[:] = [told for told in one.troubles if "409" not in told]
    assert [entry.set_aside for entry in load_picks(toy_folder, set_aside=True)] == [True]


def test_a_view_stands_in_the_address(page, tab_of):
    tab = tab_of(page)
    every = tab.locator("#finds li[data-label]").count()
    pads = tab.locator("#finds li[data-label] .hear b").all_inner_texts()
    pad = pads[0].split("–")[0]
    tab.locator("#view-pad").select_option(pad)
    few = tab.locator("#finds li[data-label]").count()
    assert few == sum(pad in re.findall("[A-Z]+", one.split()[0]) for one in pads) < every
    tab.locator("#view-kept").select_option("open")
    address = tab.evaluate("location.href")
    assert f"pad={pad}" in address
    assert "token" not in address
    again = tab.context.new_page()
    again.goto(address)
    again.wait_for_selector("body[data-ready]")
    assert again.locator("#finds li[data-label]").count() == few
    assert again.locator("#view-pad").input_value() == pad


def test_the_order_follows_taste_only_when_asked(toy_folder, tab_of):
    labels = """() => [...document.querySelectorAll('#finds li[data-label], #stops li[data-label]')]
      .map((one) => one.dataset.label)"""
    with Served(toy_folder) as page:
        tab = tab_of(page)
        before = tab.evaluate(labels)
        stops = page.get("/finds").json["stops"]
        for label in before:  # what comes first is set aside, until that moves its like
            tab.locator(f'.lists section:not(#best) li[data-label="{label}"] .hear').click()
            tab.keyboard.press("s")
            wait_told(tab, f"{label}: set aside")
            order = [one for one in page.get("/picks").json["order"] if one in before]
            wanted = sorted(order, key=lambda one: one in stops)  # those have a list of their own
            if wanted != before:
                break
        assert wanted != before
        tab.wait_for_selector("#anew:not([hidden])")
        assert tab.evaluate(labels) == before
        tab.locator("h1").click()
        tab.keyboard.press("r")
        wait_told(tab, "ordered anew")
        assert tab.evaluate(labels) == wanted
        assert not tab.locator("#anew").is_visible()
        tab.reload()
        tab.wait_for_selector("body[data-ready]")
        assert tab.evaluate(labels) == wanted


HOSTILE = "<img src=x onerror=\"window.hurt=1\"><script>window.hurt=1</script>'\"&"


def test_no_text_of_a_file_is_run(toy_folder, tab_of):
    toy = toy_folder / "toy.yaml"
    quoted = HOSTILE.replace("'", "''")
    text = re.sub(r"(?m)^(name: ).*$", lambda found: f"{found[1]}'{quoted[:76]}'", toy.read_text("utf-8"))
    toy.write_text(re.sub(r'note: "[^"]*"', lambda _: f"note: '{quoted}'", text), "utf-8")
    pair = finds(records_of(toy_folder))[0].pair
    (toy_folder / PICKS).write_text(
        f"- pair: {pair}\n  name: '{quoted}'\n  note: '{quoted}'\n", "utf-8")
    with Served(toy_folder) as page:
        tab = tab_of(page)
        tab.locator("#pairs summary").click()
        tab.keyboard.press("1")
        tab.wait_for_timeout(500)
        assert tab.evaluate("window.hurt") is None
        assert HOSTILE in tab.locator("#finds").inner_text()
        assert HOSTILE[:70] in tab.locator("h1").inner_text()
        assert tab.locator("#finds img, #finds script").count() == 0


def test_a_night_is_followed_without_reloading(toy_folder, tab_of):
    shutil.rmtree(toy_folder / "sweeps")
    with Served(toy_folder) as page:
        tab = tab_of(page)
        assert "Nothing was swept yet" in tab.locator("#said").inner_text()
        with new_log(toy_folder / "sweeps/main") as log:
            log.tell(SweepStarted(bench="simulated", identity="none", done=0, planned=40))
            for _ in range(4):
                add(log, kind="baseline", touch=BASELINE)
            _progress(log, 4)
            tab.wait_for_function("() => document.getElementById('said').textContent.includes('running')",
                                  timeout=15_000)
            tab.wait_for_function("() => document.getElementById('bar').value === 4", timeout=15_000)
            stop = bridge("A", "B")
            add(log, touch=stop, sound="drone", after="freeze", score=5.0, amount=220.0, unit="Hz")
            add(log, kind="confirm", touch=stop, sound="drone", after="freeze", score=5.0,
                amount=220.0, unit="Hz")
            _progress(log, 6)
            begun_s = time.monotonic()
            log.flush()
            assert time.monotonic() - begun_s < 2
            tab.wait_for_function("() => document.getElementById('bar').value === 6", timeout=15_000)
            tab.wait_for_selector('#stops li[data-label="A-B"]', timeout=15_000)
            assert "6 touches of 1 pairs: 1 change" in tab.locator("#tally").inner_text()
            log.tell(SweepDone(touches=6, freezes=2, recoveries=0))
        tab.wait_for_function("() => document.getElementById('said').textContent.includes('is done')",
                              timeout=15_000)
        assert not tab.locator("#run").is_visible()


def _progress(log, done):
    log.tell(Progress(kind="sweep", what="A-B over 12 kΩ", done=done, planned=40, bench_s=1.0 * done))


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (1920, 1080), (390, 844)])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_is_cut_off_on_any_screen(page, tab_of, width, height, scheme):
    tab = tab_of(page, viewport={"width": width, "height": height}, color_scheme=scheme)
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    for name in ("#do-play", "#do-keep", "#do-next"):
        box = tab.locator(name).bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
        assert box["y"] + box["height"] <= height
        assert box["height"] >= 24  # WCAG 2.2, 2.5.8 target size (minimum), from memory


def test_all_that_can_be_pressed_has_a_name(page, tab_of):
    tab = tab_of(page)
    for one in ("#pairs", "#help", "#numbers"):
        tab.locator(f"{one} > summary").click()
    nameless = tab.evaluate("""() => [...document.querySelectorAll("button, input, select, [role=img], a")]
      .filter((one) => !(one.getAttribute("aria-label") || one.textContent.trim()
        || one.labels?.length || one.title)).map((one) => one.outerHTML)""")
    assert nameless == []
    assert tab.locator("#told").get_attribute("aria-live") == "polite"
    headings = tab.evaluate("() => [...document.querySelectorAll('h1, h2')].map((one) => one.tagName)")
    assert headings.count("H1") == 1
    ids = tab.evaluate("() => [...document.querySelectorAll('[id]')].map((one) => one.id)")
    assert len(ids) == len(set(ids))
