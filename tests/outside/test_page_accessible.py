"""The page against axe-core's rules for WCAG 2.2 A and AA, as a browser sees it.

axe-core is not ours; it comes with the package axe-playwright-python. What its rules can't see, such
as whether all goes by keys, is in tests/page.
"""

import sys
from importlib import resources
from pathlib import Path

import pytest

sys.path += [str(Path(__file__).resolve().parents[1] / name) for name in ("page", "unit")]
from browsing import browser, opened
from PIL import Image
from running import swept_project
from served import Served

from rig.project import new_project

AXE = resources.files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RUN = "(tags) => axe.run(document, {runOnly: tags})"


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    with Served(swept_project(tmp_path_factory.mktemp("page") / "toy")) as served:
        yield served


@pytest.fixture(scope="module")
def new_toy(tmp_path_factory):
    """A page over a folder before its first sweep, where pads are to be placed on a photo."""
    folder = tmp_path_factory.mktemp("new") / "toy"
    new_project(folder, 12, by_hand=True)
    Image.new("RGB", (600, 400), (40, 90, 60)).save(folder / "board.jpg")
    with Served(folder) as served:
        yield served


@pytest.fixture(scope="module")
def chromium():
    with browser() as running:
        yield running


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
def test_no_rule_of_accessible_pages_is_broken(page, chromium, scheme, width):
    context = chromium.new_context(color_scheme=scheme, viewport={"width": width, "height": 800})
    tab = opened(context, page.address)
    for one in ("#news", "#pairs", "#help", "#numbers"):
        tab.locator(f"{one} > summary").evaluate("(one) => { one.parentElement.open = true; }")
    assert tab.locator("#board-seat").is_visible()
    _is_accessible(tab)
    # The rules do find something: here a button without a name.
    tab.evaluate("() => { const one = document.createElement('button'); document.body.append(one); }")
    assert "button-name" in [one["id"] for one in tab.evaluate(RUN, RULES)["violations"]]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("where", ["page", "new_toy"])
def test_nor_where_pads_are_placed(request, chromium, where, scheme, width):
    context = chromium.new_context(color_scheme=scheme, viewport={"width": width, "height": 800})
    tab = opened(context, request.getfixturevalue(where).address)
    if where == "page":
        tab.locator("#board-place").click()
    tab.wait_for_selector("#placing", state="visible")
    tab.locator("#scale > summary").click()
    tab.locator("#place-new").click()  # it is for toy.yaml, too
    tab.wait_for_selector("#paste", state="visible")
    _is_accessible(tab)


def _is_accessible(tab):
    tab.evaluate(AXE)
    told = tab.evaluate(RUN, RULES)
    assert len(told["passes"]) >= 20
    assert [(one["id"], [node["html"] for node in one["nodes"]]) for one in told["violations"]] == []
