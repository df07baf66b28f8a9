"""The page's pictures in README: `python tests/page/pictures.py` makes them anew."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "unit"))

from browsing import browser, opened
from served import PROGRAM, Served

FOLDER = Path(__file__).resolve().parents[2] / "docs"
PICTURES = {
    "page-light.png": {"viewport": {"width": 1280, "height": 800}, "color_scheme": "light"},
    "page-dark.png": {"viewport": {"width": 390, "height": 844}, "color_scheme": "dark"},
}


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        toy = Path(folder) / "parrot"
        subprocess.run([sys.executable, "-c", PROGRAM, "demo", "--folder", str(toy)], check=True,
                       stdout=subprocess.DEVNULL)
        with browser() as running, Served(toy) as page:
            for name, how in PICTURES.items():
                context = running.new_context(reduced_motion="reduce", **how)
                tab = opened(context, page.address)
                tab.keyboard.press("2")
                tab.keyboard.press(" ")
                tab.wait_for_timeout(2000)  # what is told fades
                tab.screenshot(path=FOLDER / name)
                context.close()


if __name__ == "__main__":
    main()
