"""Fixtures of the page's tests; helpers of the unit tests are at hand."""

import shutil
import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "unit"))

import pytest
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
