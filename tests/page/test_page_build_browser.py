"""From a find that is kept to its sheet, in a browser: heard, wished otherwise, stored."""

import re

import pytest
from browsing import wait_told
from running import swept_project
from served import Served

from rig.choose import load_picks
from rig.page.build_app import SHEET_POLICY

HEARD = "take => document.querySelector(`.position[data-take=\"${take}\"][aria-pressed=true]`) !== null"


@pytest.fixture
def expected_troubles():
    return ("blob:",)


@pytest.fixture
def folder(tmp_path):
    return swept_project(tmp_path / "toy")


def test_from_keeping_to_the_sheet(folder, tab_of, tmp_path):
    with Served(folder) as page:
        tab = tab_of(page)
        tab.keyboard.press("g")
        tab.wait_for_selector("#build-none:not([hidden])")
        assert not tab.locator("#build-sheet").is_visible()
        tab.keyboard.press("1")
        tab.keyboard.press("k")
        wait_told(tab, "kept")
        tab.wait_for_selector(".made")
        first = tab.locator(".made").first
        assert first.locator("h3").inner_text().split()[0] == "1"
        assert "in series" in first.inner_text()
        assert not tab.locator("#build-none").is_visible()
        # A knob is wished for: it has five positions, and each can be heard.
        wish = first.locator("select")
        wish.select_option("potentiometer")
        wait_told(tab, "control “potentiometer”")
        tab.wait_for_selector(".made .position[data-at='position-1-5']")
        assert load_picks(folder)[0].control == "potentiometer"
        places = tab.locator(".made .position")
        assert places.count() == 6  # off before them
        last = places.nth(5)
        take = last.get_attribute("data-take")
        assert page.get(f"/takes/{take}").status == 200
        last.click()
        tab.wait_for_function(HEARD, arg=take, timeout=15_000)
        tab.keyboard.press("Escape")
        tab.locator("[data-at='through-1']").click()
        heard = [places.nth(n).get_attribute("data-take") for n in range(1, 6)]
        tab.wait_for_function(HEARD, arg=heard[0], timeout=15_000)
        tab.wait_for_function(HEARD, arg=heard[4], timeout=30_000)
        # A name for the panel stands in the file.
        first.locator("input").fill("Grumble")
        first.locator("input").press("Enter")
        wait_told(tab, "name “Grumble”")
        assert load_picks(folder)[0].name == "Grumble"
        # Both forms of the sheet.
        tab.locator("#sheet-paper").select_option("letter")
        with tab.expect_download() as told:
            tab.locator("#sheet-pdf").click()
        stored = tmp_path / told.value.suggested_filename
        told.value.save_as(stored)
        assert stored.name == "sheet.pdf"
        assert stored.read_bytes().startswith(b"%PDF")
        wait_told(tab, "print it on Letter")
        with tab.context.expect_page() as opening:
            tab.locator("#sheet-html").click()
        sheet = opening.value
        sheet.wait_for_load_state()
        assert "paper=letter" in sheet.url
        assert "Grumble" in sheet.locator("body").inner_text()
        assert sheet.evaluate("getComputedStyle(document.querySelector('.caution')).borderTopWidth") == "2px"
        # Taken back, it is no more to be built.
        for words in ("name “Grumble”", "control “potentiometer”", "kept"):
            tab.locator("h1").click()
            tab.keyboard.press("u")
            tab.wait_for_function("words => /^taken back: .*/.test(document.getElementById('told').textContent) "
                                  "&& document.getElementById('told').textContent.endsWith(words)", arg=words)
        tab.wait_for_selector("#build-none:not([hidden])")
    assert load_picks(folder) == []
    assert not (folder / "sheet.pdf").exists()


def test_what_somebody_writes_isnt_lost_as_the_view_is_renewed(folder, tab_of):
    with Served(folder) as page:
        tab = tab_of(page)
        tab.keyboard.press("1")
        tab.keyboard.press("k")
        wait_told(tab, "kept")
        tab.keyboard.press("g")
        field = tab.locator(".made input").first
        field.click()
        tab.keyboard.type("Half a na")
        picks = folder / "picks.yaml"
        with tab.expect_response(lambda answer: answer.url.endswith("/build")):
            picks.write_text(picks.read_text("utf-8") + "  note: by hand\n", "utf-8")
        tab.keyboard.type("me")
        tab.keyboard.press("Enter")
        wait_told(tab, "name “Half a name”")
        tab.wait_for_function("() => document.querySelector('.made').textContent.includes('by hand')", timeout=15_000)
        (entry,) = load_picks(folder)
    assert (entry.name, entry.note) == ("Half a name", "by hand")


def test_what_stands_in_the_way_of_the_sheet_is_told_in_its_line(folder, tab_of):
    with Served(folder) as page:
        tab = tab_of(page)
        tab.keyboard.press("1")
        tab.keyboard.press("k")
        wait_told(tab, "kept")
        tab.keyboard.press("g")
        tab.wait_for_selector("#sheet-pdf:visible")
        picks = folder / "picks.yaml"
        kept = picks.read_text("utf-8")
        picks.write_text(kept + '  name: "ጤና"\n', "utf-8")
        with tab.expect_download():
            tab.locator("#sheet-pdf").click()
        tab.wait_for_function("() => document.getElementById('build-lacking').textContent.includes('has no ጤ')")
        picks.write_text("- pair: Y-Z\n", "utf-8")
        tab.wait_for_function("() => document.getElementById('build-trouble').textContent.includes('there is no pad Y')",
                              timeout=15_000)
        assert not tab.locator("#build-sheet").is_visible()
        answer = page.get("/sheet.pdf")
        assert (answer.status, "there is no pad Y" in answer.json["told"]) == (422, True)
        answer = page.get("/sheet.html")
        assert (answer.status, answer.headers["content-type"]) == (422, "text/plain; charset=utf-8")
        assert b"there is no pad Y" in answer.body


HOSTILE = "<img src=x onerror=\"window.hurt=1\"><script>window.hurt=1</script>"


def test_the_sheet_runs_nothing_whatever_a_file_says(folder, tab_of):
    toy = folder / "toy.yaml"
    toy.write_text(re.sub(r'note: "[^"]*"', lambda _: f"note: '{HOSTILE}'", toy.read_text("utf-8")), "utf-8")
    with Served(folder) as page:
        tab = tab_of(page)
        tab.keyboard.press("1")
        tab.keyboard.press("k")
        wait_told(tab, "kept")
        tab.keyboard.press("g")
        tab.wait_for_selector(".made")
        assert HOSTILE in tab.locator(".made").first.inner_text()
        assert tab.evaluate("window.hurt") is None
        with tab.context.expect_page() as opening:
            tab.locator("#sheet-html").click()
        sheet = opening.value
        sheet.wait_for_load_state()
        assert HOSTILE in sheet.locator("body").inner_text()
        assert sheet.evaluate("window.hurt") is None
        assert sheet.evaluate("self.origin") == "null"
        policy = page.get("/sheet.html").headers["content-security-policy"]
    assert policy == SHEET_POLICY
    assert "sandbox" in policy
    assert "script-src" not in policy


@pytest.mark.parametrize("place", ["/build", "/sheet.pdf", "/sheet.html"])
def test_nobody_else_gets_anything_of_the_build(small_page, place):
    assert small_page.get(place, cookie=None).status == 403
    assert small_page.get(place, Sec_Fetch_Site="cross-site").status == 403
    assert small_page.get(place, Host="evil.example").status == 421
    assert small_page.post(place, {}).status == 405


@pytest.mark.parametrize("query", ["paper=a5", "face=", "line_out=2", "paper=a4%00", "paper=../../toy.yaml"])
@pytest.mark.parametrize("place", ["/sheet.pdf", "/sheet.html"])
def test_a_sheet_that_there_isnt_is_refused(small_page, place, query):
    assert small_page.get(f"{place}?{query}").status == 400
