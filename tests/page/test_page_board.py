"""The board on the page, in a browser: pads placed by mouse, finger and keys, finds as lines."""

import re
import shutil

import pytest
import yaml
from browsing import now, wait_told
from PIL import Image
from running import swept_project
from served import Served

from rig.project import load_project, new_project
from rig.project.places import load_places

WAIT_MS = 15_000


@pytest.fixture
def context_settings():
    # Where something is on the screen is asked before it is clicked: nothing may glide meanwhile.
    return {"reduced_motion": "reduce"}


@pytest.fixture(scope="module")
def page(swept_boards, tmp_path_factory):
    """A page over the swept talker, for tests that change nothing of it."""
    folder = shutil.copytree(swept_boards["talker"], tmp_path_factory.mktemp("board") / "toy")
    with Served(folder) as served:
        yield served


@pytest.fixture
def new_toy(tmp_path):
    """A folder before its first sweep, with a photo that lies on its side in its file."""
    folder = tmp_path / "toy"
    new_project(folder, 6, by_hand=True)
    turned = Image.Exif()
    turned[0x0112] = 6
    photo = Image.new("RGB", (600, 400), (40, 90, 60))
    photo.paste((220, 40, 40), (0, 0, 60, 40))  # red at the top left
    photo.transpose(Image.Transpose.ROTATE_90).save(folder / "board.jpg", exif=turned, quality=95)
    return folder


def placed(folder):
    return {pad: (one.x, one.y) for pad, one in load_places(folder).pads.items()}


def wait_placed(tab, folder, **pads):
    """Wait until these pads are about where they should be in the file."""
    for _ in range(60):
        there = placed(folder) if (folder / "board.yaml").exists() else {}
        if all(there.get(pad) == (at if at is None else pytest.approx(at, abs=2.5)) for pad, at in pads.items()):
            return
        tab.wait_for_timeout(100)
    assert there == pads


def point(tab, x, y):
    """Give where a point of the picture (600 x 400) is on the screen."""
    box = tab.locator("#board-seat .veil img").bounding_box()
    return box["x"] + x * box["width"] / 600, box["y"] + y * box["height"] / 400


def click(tab, x, y):
    tab.mouse.click(*point(tab, x, y))


def with_picture(tab):
    tab.wait_for_function("() => document.querySelector('#board-seat img').naturalWidth > 0", timeout=WAIT_MS)
    return tab


def test_before_the_first_sweep_the_board_comes_first_with_advice(new_toy, tab_of):
    with Served(new_toy) as page:
        tab = with_picture(tab_of(page))
        assert tab.locator("#placing").is_visible()
        for none in ("#best", "#finds", "#ear", "#views"):
            assert not tab.locator(none).is_visible()
        natural = tab.evaluate("() => { const one = document.querySelector('#board-seat img'); return [one.naturalWidth, one.naturalHeight]; }")
        assert natural == [600, 400]  # upright
        steps = tab.locator("#advice li").all_inner_texts()
        for step, word in zip(steps, ("minus and plus", "speed", "speaker", "at most 4", "likeliest", "biggest"), strict=True):
            assert word in step
        assert "Common practice, no source" in tab.locator("#advice").inner_text()
        assert "every pad" not in tab.locator("#board-said").inner_text()


def test_pads_are_placed_by_mouse_and_stand_there_after_a_reload(new_toy, tab_of):
    toy = (new_toy / "toy.yaml").read_bytes()
    with Served(new_toy) as page:
        tab = with_picture(tab_of(page))
        click(tab, 100, 80)
        wait_placed(tab, new_toy, A=(100, 80))
        click(tab, 300, 200)  # the next letter comes by itself
        wait_placed(tab, new_toy, A=(100, 80), B=(300, 200))
        tab.mouse.move(*point(tab, 300, 200))
        tab.mouse.down()
        tab.mouse.move(*point(tab, 350, 220), steps=4)
        tab.mouse.move(*point(tab, 500, 300), steps=4)
        tab.mouse.up()
        wait_placed(tab, new_toy, B=(500, 300))
        click(tab, 100, 80)  # what is there is chosen
        tab.wait_for_function("() => document.getElementById('place-of').textContent === 'Pad A'")
        tab.locator("#place-undo").click()
        wait_placed(tab, new_toy, B=(300, 200))
        tab.locator("#place-undo").click()
        wait_placed(tab, new_toy, B=None)
        tab.reload()
        tab.wait_for_selector("body[data-ready]")
        tab.wait_for_selector('#board-seat .badge[data-pad="A"]')
        assert tab.locator("#board-seat .badge").count() == 1
    assert list(placed(new_toy)) == ["A"]
    assert (new_toy / "toy.yaml").read_bytes() == toy


def test_pads_are_placed_and_moved_by_keys_alone(new_toy, tab_of):
    with Served(new_toy) as page:
        tab = with_picture(tab_of(page))
        press = tab.keyboard.press
        press("w")
        tab.wait_for_function("() => document.activeElement.id === 'board-seat'")
        press("c")
        press("Enter")
        wait_placed(tab, new_toy, C=(300, 200))
        # A point on screen is more or less of the picture, as it is shown.
        unit = 600 / tab.locator("#board-seat .veil img").bounding_box()["width"]
        press("c")
        for _ in range(3):
            press("ArrowRight")
        press("Shift+ArrowUp")
        wait_placed(tab, new_toy, C=(300 + 3 * unit, 200 - 10 * unit))
        assert placed(new_toy)["C"] == pytest.approx((300 + 3 * unit, 200 - 10 * unit), abs=0.02)
        wait_told(tab, "pad C")
        press("+")
        press("+")
        fine = 600 / tab.locator("#board-seat .veil img").bounding_box()["width"]
        assert fine < 0.6 * unit
        was = placed(new_toy)["C"][0]
        press("ArrowRight")
        wait_placed(tab, new_toy, C=(was + fine, 200 - 10 * unit))
        for _ in range(9):  # keys that soon follow each other are one move
            if placed(new_toy)["C"] == (300, 200):
                break
            press("Control+z")
            wait_told(tab, "taken back")
            tab.evaluate("() => { document.getElementById('told').textContent = ''; }")
        wait_placed(tab, new_toy, C=(300, 200))
        press("Delete")
        wait_placed(tab, new_toy, C=None)
        press("Escape")
        press("0")
        tab.wait_for_selector("#board-seat:not(.zoomed)")


def test_a_finger_places_and_two_zoom(new_toy, tab_of):
    with Served(new_toy) as page:
        tab = with_picture(tab_of(page, has_touch=True, viewport={"width": 390, "height": 844}))
        tab.touchscreen.tap(*point(tab, 200, 150))
        wait_placed(tab, new_toy, A=(200, 150))
        session = tab.context.new_cdp_session(tab)
        x, y = point(tab, 300, 200)

        def fingers(kind, *xs):
            session.send("Input.dispatchTouchEvent", {
                "type": kind, "touchPoints": [{"x": x + dx, "y": y, "id": at} for at, dx in enumerate(xs)]})

        fingers("touchStart", -20)
        fingers("touchStart", -20, 20)
        for far in (30, 45, 60):
            fingers("touchMove", -far, far)
        fingers("touchEnd")
        tab.wait_for_selector("#board-seat.zoomed")
        width = tab.locator("#board-seat").bounding_box()["width"]
        assert tab.locator("#board-seat .veil img").bounding_box()["width"] > 2 * width
        letter = tab.locator('#board-seat .badge[data-pad="A"] circle').bounding_box()["width"]
        assert 16 < letter < 30  # letters keep their size
        assert list(placed(new_toy)) == ["A"]  # and two fingers place nothing


def test_wheel_and_drag_move_the_board_and_the_page_scrolls_over_one_nobody_chose(page, tab_of):
    tab = with_picture(tab_of(page))
    seat = tab.locator("#board-seat")
    seat.scroll_into_view_if_needed()
    box = seat.bounding_box()
    tab.mouse.move(box["x"] + box["width"] / 2, box["y"] + 40)
    before = tab.evaluate("scrollY")
    tab.mouse.wheel(0, 200)
    tab.wait_for_function("was => scrollY > was", arg=before)
    assert "zoomed" not in seat.get_attribute("class")
    tab.keyboard.press("w")
    tab.wait_for_function("() => document.activeElement.id === 'board-seat'")
    box = seat.bounding_box()
    tab.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    tab.mouse.wheel(0, -400)
    tab.wait_for_selector("#board-seat.zoomed")
    at = tab.locator("#board-seat .veil img").bounding_box()
    tab.mouse.down()
    tab.mouse.move(box["x"] + box["width"] / 2 + 50, box["y"] + box["height"] / 2 + 30, steps=3)
    tab.mouse.up()
    tab.wait_for_function("x => document.querySelector('#board-seat img').getBoundingClientRect().x > x + 30", arg=at["x"])
    tab.keyboard.press("ArrowRight")
    tab.wait_for_function("x => document.querySelector('#board-seat img').getBoundingClientRect().x < x", arg=at["x"])


def test_what_a_hand_writes_meanwhile_is_shown_and_kept(new_toy, tab_of):
    file = new_toy / "board.yaml"
    with Served(new_toy) as page:
        tab = with_picture(tab_of(page))
        click(tab, 100, 80)
        wait_placed(tab, new_toy, A=(100, 80))
        file.write_text(file.read_text("utf-8") + "  D: {x: 400, y: 300}  # by hand\n", "utf-8")
        tab.wait_for_selector('#board-seat .badge[data-pad="D"]', timeout=WAIT_MS)
        click(tab, 200, 200)
        wait_placed(tab, new_toy, A=(100, 80), B=(200, 200), D=(400, 300))
        assert "# by hand" in file.read_text("utf-8")
        # The same pad on both sides, before the tab has seen it: asked, and nothing is lost.
        for choice, left in (("#conflict-leave", (50, 60)), ("#conflict-write", (300, 90))):
            tab.evaluate("() => { window.fetched = window.fetch; window.fetch = (at, ...more) => (String(at).startsWith('/events') ? new Promise(() => {}) : window.fetched(at, ...more)); }")
            text = re.sub(r"A: \{.*\}", "A: {x: 50, y: 60}", file.read_text("utf-8"))
            tab.wait_for_timeout(1200)  # a look that was under way is over
            file.write_text(text, "utf-8")
            tab.locator('#place-pads input[value="A"]').check(force=True)
            click(tab, 300, 90)
            tab.wait_for_selector("#conflict[open]")
            assert "board.yaml" in tab.locator("#conflict-title").inner_text()
            assert "50" in tab.locator("#conflict-theirs").inner_text()
            assert "300" in tab.locator("#conflict-mine").inner_text()
            assert placed(new_toy)["A"] == (50, 60)
            tab.locator(choice).click()
            wait_placed(tab, new_toy, A=left)
            file.write_text(re.sub(r"A: \{.*\}", "A: {x: 100, y: 80}", file.read_text("utf-8")), "utf-8")
            tab.reload()
            tab.wait_for_selector("body[data-ready]")
            with_picture(tab)
        tab.troubles[:] = [one for one in tab.troubles if "409" not in one]


def test_two_tabs_place_side_by_side(new_toy, tab_of):
    with Served(new_toy) as page:
        one = with_picture(tab_of(page))
        other = with_picture(tab_of(page, one.context))
        click(one, 100, 80)
        other.wait_for_selector('#board-seat .badge[data-pad="A"]', timeout=WAIT_MS)
        other.locator('#place-pads input[value="F"]').check(force=True)
        click(other, 500, 300)
        one.wait_for_selector('#board-seat .badge[data-pad="F"]', timeout=WAIT_MS)
    assert list(placed(new_toy)) == ["A", "F"]


def test_what_belongs_into_toy_yaml_can_be_pasted_there(new_toy, tab_of):
    file = new_toy / "toy.yaml"
    with Served(new_toy) as page:
        tab = with_picture(tab_of(page))
        tab.locator("#place-new").click()
        tab.locator("#place-note").fill('R4: "left", end \u2028# 5')
        click(tab, 40, 40)
        wait_placed(tab, new_toy, G=(40, 40))
        tab.locator('#place-pads input[value="B"]').check(force=True)
        tab.locator("#place-what").select_option("clock")
        tab.locator('#place-pads input[value="C"]').check(force=True)
        tab.locator("#place-what").select_option("alone")
        tab.wait_for_function("() => document.querySelector('#paste-changed pre').textContent.includes('speaker')")
        fresh = tab.locator("#paste-fresh pre").inner_text()
        assert '  B: {note: "", kind: clock}' in tab.locator("#paste-changed pre").inner_text()
        changed = tab.locator("#paste-changed pre").inner_text()
        tab.context.grant_permissions(["clipboard-read", "clipboard-write"])
        tab.locator("#paste-fresh button").click()
        wait_told(tab, "Copied")
        assert tab.evaluate("navigator.clipboard.readText()").rstrip() == fresh.rstrip()
        assert "marked: B" in tab.locator("#advice").inner_text()
        tab.reload()  # what isn't pasted yet is still there
        tab.wait_for_selector("body[data-ready]")
        tab.wait_for_function("() => document.querySelector('#paste-fresh pre').textContent.includes('R4')")
        # As a person pastes it.
        text = file.read_text("utf-8")
        for line in changed.splitlines():
            letter = line.split(":")[0].strip()
            text, count = re.subn(rf"(?m)^  {letter}: .*$", lambda _, line=line: "  " + line.strip(), text)
            assert count == 1
        last = re.search(r"(?m)^  F: .*\n", text).end()
        file.write_text(text[:last] + "".join(f"  {one.strip()}\n" for one in fresh.splitlines()) + text[last:], "utf-8")
        tab.wait_for_function("() => document.getElementById('paste').hidden", timeout=WAIT_MS)
        # From here on the file counts.
        file.write_text(re.sub(r"(?m)^  B: .*$", '  B: {note: "by hand"}', file.read_text("utf-8")), "utf-8")
        tab.locator('#place-pads input[value="B"]').check(force=True)
        tab.wait_for_function("() => document.getElementById('place-note').value === 'by hand'")
        assert tab.locator("#place-what").input_value() == "signal"
        assert not tab.locator("#paste").is_visible()
    pads = load_project(new_toy).toy.pads
    assert pads["G"].note == 'R4: "left", end  # 5'
    assert (pads["C"].forbidden, pads["C"].note) == (True, "speaker")
    assert yaml.safe_load(file.read_text("utf-8"))["name"] == "My toy"


def test_two_points_and_their_distance_give_the_scale(new_toy, tab_of):
    with Served(new_toy) as page:
        tab = with_picture(tab_of(page))
        tab.locator("#scale > summary").click()
        tab.locator('#scale-ends input[value="from"]').check(force=True)
        click(tab, 100, 200)
        tab.wait_for_selector('#scale-ends input[value="to"]:checked', state="attached")
        click(tab, 500, 200)
        tab.locator("#scale-mm").fill("40")
        tab.locator("#scale-set").click()
        wait_told(tab, "the scale is set")
        assert load_places(new_toy).mm_per_unit == pytest.approx(0.1, rel=0.01)
        assert "60 × 40 mm" in tab.locator("#scale-said").inner_text()
        tab.locator("#place-undo").click()
        wait_told(tab, "taken back")
        assert load_places(new_toy).mm_per_unit is None


def lines(tab):
    return set(tab.locator("#board-seat .lines .line").evaluate_all("all => all.map((one) => one.dataset.label)"))


def listed(tab):
    return set(tab.locator("#finds li[data-label], #stops li[data-label]").evaluate_all("all => all.map((one) => one.dataset.label)"))


LONGEST = """(first) => [...document.querySelectorAll('#board-seat .lines .line')]
  .filter((one) => one.dataset.label !== first && !one.classList.contains('lone'))
  .sort((one, other) => other.getTotalLength() - one.getTotalLength())[0].dataset.label"""


def middle_of(tab, label):
    """Give where the middle of a find's line is on the screen."""
    return tab.evaluate("""(label) => {
      const line = document.querySelector(`#board-seat .lines .line[data-label="${CSS.escape(label)}"]`);
      const at = line.getPointAtLength(line.getTotalLength() * 0.5).matrixTransform(line.getScreenCTM());
      return [at.x, at.y];
    }""", label)


def test_each_find_is_a_line_and_line_and_list_choose_the_same(page, tab_of):
    tab = with_picture(tab_of(page))
    tab.keyboard.press("w")
    first = now(tab)
    tab.wait_for_selector(f'#board-seat .strong .line.now[data-label="{first}"]', state="attached")
    assert lines(tab) == {one for one in listed(tab) if "-" in one}
    other = tab.evaluate(LONGEST, first)  # no pad is near its middle
    tab.mouse.click(*middle_of(tab, other))
    tab.wait_for_selector(f'.lists li.now[data-label="{other}"]')
    tab.wait_for_selector(f'#board-seat .strong .line.now[data-label="{other}"]', state="attached")
    tab.locator("#view-all").click()
    tab.keyboard.press("1")
    tab.wait_for_selector(f'#board-seat .strong .line.now[data-label="{first}"]', state="attached")
    said = tab.locator("#board-seat .words").text_content()
    assert tab.locator("#now-says").inner_text().split(",")[0].strip() in said
    # Beside the colour each kind has dashes and a word.
    drawn = tab.locator("#board-seat .lines .line").evaluate_all(
        "all => all.map((one) => [one.classList[1], one.getAttribute('stroke-dasharray')])")
    dashes = dict(drawn)
    assert len(set(dashes.values())) == len(dashes) == len({tuple(one) for one in drawn}) > 1
    assert tab.locator("#board-legend button").count() == len(dashes)


def test_a_pad_on_the_board_and_a_kind_in_its_legend_filter_and_stand_in_the_address(page, tab_of):
    tab = with_picture(tab_of(page))
    tab.keyboard.press("w")
    every = len(listed(tab))
    pad = now(tab).split("-")[0]
    tab.locator(f'#board-seat .badge[data-pad="{pad}"]').click()
    tab.wait_for_function("pad => new URLSearchParams(location.search).get('pad') === pad", arg=pad)
    few = listed(tab)
    assert 0 < len(few) < every
    assert all(pad in re.findall("[A-Z]+", one.split()[0]) for one in few)
    assert tab.locator("#view-pad").input_value() == pad
    button = tab.locator("#board-legend button").first
    kind = button.get_attribute("class")
    button.click()
    tab.wait_for_function("kind => new URLSearchParams(location.search).get('kind') === kind", arg=kind)
    tab.wait_for_function("() => document.activeElement.closest('#board-legend') !== null")
    fewer = listed(tab)
    assert 0 < len(fewer) <= len(few)
    again = tab.context.new_page()
    again.goto(tab.url)
    again.wait_for_selector("body[data-ready]")
    assert listed(again) == fewer
    assert again.locator("#view-kind").input_value() == kind
    again.goto(f"{page.origin}/?kind=nonsense&kept=nonsense")
    again.wait_for_selector("body[data-ready]")
    assert len(listed(again)) == every
    tab.locator(f'#board-seat .badge[data-pad="{pad}"]').click()
    tab.wait_for_function("() => !new URLSearchParams(location.search).has('pad')")


def test_without_a_picture_a_ring_stays_and_a_photo_appears_by_itself(tmp_path, tab_of):
    folder = swept_project(tmp_path / "toy")
    (folder / "board.yaml").unlink()
    (folder / "board.svg").unlink()
    with Served(folder) as page:
        tab = tab_of(page)
        tab.wait_for_selector("#ring .land")
        assert "board.jpg" in tab.locator("#board-none").inner_text()
        assert not tab.locator("#board-seat").is_visible()
        Image.new("RGB", (300, 200), "green").save(folder / "board.jpg")
        tab.wait_for_function("() => document.querySelector('#board-seat img').naturalWidth === 300", timeout=WAIT_MS)
        tab.wait_for_selector("#ear-seat", state="attached")


@pytest.mark.parametrize("origin", [None, "null", "http://evil.example", "{own}/"])
@pytest.mark.parametrize("where", ["/places", "/scale"])
def test_another_origin_places_nothing(small_page, where, origin):
    before = (small_page.folder / "board.yaml").read_bytes()
    frame = {"picture": "board.svg", "width": 1000, "height": 720}
    asked = {"frame": frame, "pad": "A", "was": None, "now": None} if where == "/places" else {
        "frame": frame, "was": 0.1, "now": 0.2}
    there = small_page.get("/board").json["pads"]["A"]
    answer = small_page.post(where, asked | ({"was": there} if where == "/places" else {}),
                             Origin=origin and origin.format(own=small_page.origin))
    assert answer.status == 403
    assert (small_page.folder / "board.yaml").read_bytes() == before


@pytest.mark.parametrize("body", [
    b"", b"{", b"[]", b"null", b'{"frame": 1, "pad": "A", "was": null, "now": {"x": NaN, "y": 1}}',
    b'{"frame": {"picture": "board.svg", "width": 1000, "height": 720}, "pad": "A", "was": null, "now": {"x": Infinity, "y": 1}}',
    b'{"frame": {"picture": "../board.svg", "width": 1000, "height": 720}, "pad": "A", "was": null, "now": {"x": 1, "y": 1}}',
    b'{"frame": {"picture": "board.svg", "width": 1000, "height": 720}, "pad": "\\ud800", "was": null, "now": {"x": 1, "y": 1}}',
])  # fmt: skip
@pytest.mark.parametrize("where", ["/places", "/scale"])
def test_what_is_no_place_is_told_and_changes_nothing(small_page, where, body):
    before = (small_page.folder / "board.yaml").read_bytes()
    assert small_page.post(where, body).status in (400, 422)
    assert (small_page.folder / "board.yaml").read_bytes() == before


HOSTILE = "<img src=x onerror=\"window.hurt=1\"><script>window.hurt=1</script>"


def test_no_text_of_a_file_is_run_on_the_board(tmp_path, tab_of):
    folder = swept_project(tmp_path / "toy")
    drawing = (folder / "board.svg").read_text("utf-8")
    (folder / "board.svg").write_text(drawing.replace("</svg>", "<script>window.hurt=1; parent.hurt=1</script></svg>"), "utf-8")
    toy = folder / "toy.yaml"
    toy.write_text(re.sub(r'note: "[^"]*"', lambda _: f"note: '{HOSTILE}'", toy.read_text("utf-8")), "utf-8")
    with Served(folder) as page:
        tab = with_picture(tab_of(page))
        tab.locator("#board-place").click()
        tab.wait_for_selector("#placing", state="visible")
        assert tab.locator("#place-note").input_value() == HOSTILE
        assert tab.locator("#board-seat title").first.text_content().endswith(HOSTILE)
        tab.wait_for_timeout(300)
        assert tab.evaluate("window.hurt") is None
        assert tab.locator("#board script").count() == 0
        assert "sandbox" in page.get("/photo").headers["content-security-policy"]


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (390, 844)])
def test_nothing_of_the_board_is_cut_off(page, tab_of, width, height):
    tab = with_picture(tab_of(page, viewport={"width": width, "height": height}))
    tab.locator("#board-place").click()
    tab.wait_for_selector("#placing", state="visible")
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    small = tab.evaluate("""() => [...document.querySelectorAll('#board button, #board .chip span, #board select, #board input:not([type=radio])')]
      .filter((one) => one.checkVisibility()).map((one) => [one.outerHTML, one.getBoundingClientRect()])
      .filter(([, box]) => box.width < 24 || box.height < 24).map(([html]) => html)""")
    assert small == []  # WCAG 2.2, 2.5.8 target size (minimum), from memory
