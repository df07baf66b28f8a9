"""What a person sees of finds, on screens of any width and in a pipe, and in README."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from screens import PROGRAM, screen

from rig.choose import finds
from rig.choose.telling import span, what
from rig.cli.demo import BEST
from rig.cli.tables import Column, lay_out
from rig.log import SweepLog
from rig.log.opening import DEFAULT_NAME, sweep_folder
from rig.project import load_project

README = Path(__file__).parents[2] / "README.md"


def piped(words, cwd):
    """Run the program in a pipe; gives its lines."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *map(str, words)], check=True, capture_output=True,
        text=True, cwd=cwd, stdin=subprocess.DEVNULL,
    )
    assert done.stderr == ""
    return [line.rstrip() for line in done.stdout.splitlines()]


def test_the_demo_shows_what_the_readme_shows(tmp_path):
    block = README.read_text("utf-8").split("<!-- demo -->")[1].split("<!-- end of demo -->")[0]
    shown = screen(["demo"], 80, tmp_path)
    assert shown == [line.rstrip() for line in block.strip().strip("`").strip("\n").splitlines()]


DEMO = ["demo", "--folder", "talker"]


def test_run_again_the_demo_shows_what_is_there_and_touches_nothing_anew(swept_boards):
    cwd = swept_boards["talker"].parent
    first, again = piped(DEMO, cwd), piped(DEMO, cwd)
    assert first == again
    assert first[2].startswith("continuing: ")
    after = first[next(n for n, line in enumerate(first) if line.endswith("; next:")) + 1]
    assert after.split()[:4] == ["padsweep", "page", "--project", "talker"]
    assert first[2].split()[1] == next(line for line in first if " pairs: " in line).split()[0]


@pytest.mark.parametrize("columns", [60, 80, 100, 132, None])
@pytest.mark.parametrize("command", [DEMO, ["replay", "--list", "--project", "talker"]])
def test_pads_and_what_was_heard_are_whole_on_any_screen(swept_boards, command, columns):
    cwd = swept_boards["talker"].parent
    lines = piped(command, cwd) if columns is None else screen(command, columns, cwd)
    project = load_project(cwd / "talker")
    with SweepLog.open(sweep_folder(project, DEFAULT_NAME), read_only=True) as log:
        found = finds(log.records())
    shown = found[:BEST] if command is DEMO else found
    assert len(shown) >= 5
    assert columns is None or max(map(cell_len, lines)) <= columns
    begins = [n for n, line in enumerate(lines) if re.match(r"[A-Z]+-[A-Z]+ ", line)]
    assert len(begins) == len(shown)
    ends = next(n for n, line in enumerate(lines) if line.startswith(("... and", "path: ")))
    for find, first, behind in zip(shown, begins, [*begins[1:], ends], strict=True):
        assert re.match(rf"{re.escape(find.label)} +{re.escape(what(find))}(  |$)", lines[first])
        # Whatever doesn't fit beside these stands below them, and nothing is left out.
        row = " ".join(" ".join(lines[first:behind]).split())
        assert span(find.path_min_ohm, find.path_max_ohm) in row
        for pad in find.pads:
            assert f"{pad} ({project.toy.pads[pad].note})" in row
        assert re.search(rf"(take | ){find.best_touch}\b", row)
    if columns is None:
        assert ends - begins[0] == len(begins)  # a line each


@pytest.mark.parametrize("columns", [60, 80, 100, 132])
def test_going_through_the_finds_breaks_no_word(swept_boards, columns):
    shown, wide = (
        screen(["replay", "--project", "talker"], width, swept_boards["talker"].parent, typed=b"q")
        for width in (columns, 400)
    )
    assert max(map(cell_len, shown)) <= columns
    assert " ".join(shown).split() == " ".join(wide).split()


CELLS = st.text("ab Ω漢", max_size=12).map(str.strip)


@given(st.lists(st.tuples(CELLS, CELLS, CELLS), min_size=1, max_size=4), st.integers(30, 60))
def test_a_table_keeps_to_its_width_and_loses_nothing(rows, width):
    columns = [Column("x", stays=True), Column("longer", label="is "), Column("last")]
    laid = lay_out(columns, rows, width)
    assert len(laid) == 1 + len(rows)
    for cells, lines in zip(rows, laid[1:], strict=True):
        assert all(cell_len(line) <= width for line in lines)
        joined = " ".join(" ".join(lines).split())
        assert all(" ".join(cell.split()) in joined for cell in cells)


@pytest.mark.parametrize(("low", "high", "said"), [
    (3000.4, 3000.4, "3 kΩ"), (3000.4, 13000, "3 to 13 kΩ"), (470, 3000, "470 Ω to 3 kΩ"),
])
def test_a_range_of_resistance_is_said_once_with_its_unit(low, high, said):
    assert span(low, high) == said
