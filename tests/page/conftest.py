"""Fixtures of the page's tests; helpers of the unit tests are at hand."""

import shutil
import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "unit"))

import pytest
from browsing import browser, opened
from served import Served


@pytest.fixture(scope="session")
def small_page(tmp_path_factory):
    """A page over a small swept toy, for tests that change nothing of it."""
    from running import swept_project

    folder = swept_project(tmp_path_factory.mktemp("page") / "toy")
    with Served(folder) as page:
        yield page


@pytest.fixture
def toy_folder(swept_boards, tmp_path):
    """A copy of the swept talker."""
    return Path(shutil.copytree(swept_boards["talker"], tmp_path / "toy"))


@pytest.fixture(scope="module")
def chromium():
    with browser() as running:
        yield running


@pytest.fixture
def context_settings():
    """What each browser context of a file's tests begins with; a file may say otherwise."""
    return {}


@pytest.fixture
def expected_troubles():
    """What the browser may complain of in a file's tests; a file may say otherwise."""
    return ()


@pytest.fixture
def tab_of(chromium, context_settings, expected_troubles):
    """Open tabs on pages; at the end none of their scripts may have failed."""
    contexts, tabs = [], []

    def opening(page, context=None, **how):
        if context is None:
            context = chromium.new_context(**context_settings, **how)
            contexts.append(context)
        tabs.append(opened(context, page.address))
        return tabs[-1]

    yield opening
    troubles = [
        one for tab in tabs for one in tab.troubles
        if not any(words in one for words in expected_troubles)
    ]
    for one in contexts:
        one.close()
    assert troubles == []
