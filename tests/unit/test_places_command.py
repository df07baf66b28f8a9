"""`padsweep places`: what it writes into board.yaml, and what it says of what it can't take."""

import base64
import io
import re

import numpy as np
import pytest
from PIL import Image
from running import run_main

from rig.bench.simulated.folder import new_simulated_project
from rig.build.board_map import board_picture
from rig.errors import ConfigError
from rig.project import new_project
from rig.project.grid import GRID
from rig.project.places import Place, load_places
from rig.project.placing import set_places

MINE = """\
# my board, top side
picture: board.jpg   # the second photo
width: 600
height: 400
pads:
  # the chip
  A: {x: 10, y: 20.5}  # leg 1
  C:
    x: 30   # from the left
    y: 40
# below the pads
"""


@pytest.fixture
def folder(tmp_path):
    new_project(tmp_path / "toy", 6, by_hand=True)
    Image.new("RGB", (600, 400), (40, 90, 60)).save(tmp_path / "toy" / "board.jpg")
    return tmp_path / "toy"


def places(folder, *words, code=0):
    done = run_main("places", "--project", folder, *words)
    assert done.code == code, done
    return done


def contents(folder):
    return {one.name: one.read_bytes() for one in folder.iterdir() if one.name != ".board.lock"}


def refused(folder, *words):
    """Run it where it must refuse in one line and write nothing."""
    before = contents(folder)
    done = places(folder, *words, code=2)
    assert (done.out, contents(folder)) == ("", before)
    assert done.err.count("\n") == 1
    return done.err.removeprefix("padsweep: ").rstrip("\n")


def test_without_options_the_grid_is_drawn_and_the_next_steps_told(folder):
    out = places(folder).out.splitlines()
    assert out[0] == f"{folder / GRID}: board.jpg, 600 wide and 400 high, with a line every 100"
    assert out[1] == "without a place: A, B, C, D, E, F"
    assert [line.split()[:2] for line in out[3:]] == [["padsweep", "places"]] * 3
    assert f"places --project {folder} A=200,200 " in out[3]
    assert sorted(one.name for one in folder.iterdir()) == [
        GRID, "board.jpg", "rig.yaml", "toy.yaml"]  # fmt: skip
    places(folder, "F=600,400")
    assert places(folder).out.splitlines()[1] == "without a place: A, B, C, D, E"


def test_places_make_board_yaml_and_then_change_it(folder):
    out = places(folder, "A=100,50.5", "c=0,400").out
    assert out == f"{folder / 'board.yaml'}: 2 pads placed; without a place: B, D, E, F\n"
    assert (folder / "board.yaml").read_text() == (
        "# Where the pads are on board.jpg. `padsweep places` writes here, and so may you.\n"
        "# x and y are in the picture's own units, from its top left corner.\n"
        "picture: board.jpg\nwidth: 600\nheight: 400\npads:\n"
        "  A: {x: 100, y: 50.5}\n  C: {x: 0, y: 400}\n"
    )
    places(folder, "C=7,8", "B=1,2")
    assert (folder / "board.yaml").read_text().endswith(
        "  A: {x: 100, y: 50.5}\n  C: {x: 7, y: 8}\n  B: {x: 1, y: 2}\n")  # fmt: skip
    assert places(folder, "D=1,1", "E=2,2", "F=3,3").out.endswith("every pad has a place\n")


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("end", ["", "\n"])
def test_what_a_person_wrote_in_board_yaml_stays(folder, newline, end):
    def laid_out(text):
        return ("\ufeff" + text.rstrip("\n") + end).replace("\n", newline).encode()

    file = folder / "board.yaml"
    file.write_bytes(laid_out(MINE))
    places(folder, "A=11,20.5", "C=31,41", "F=5,6", "--scale", "0,0 300,400 50")
    expected = MINE.replace("x: 10,", "x: 11,").replace("x: 30 ", "x: 31 ").replace("y: 40", "y: 41")
    expected = expected.replace("41\n", "41\n  F: {x: 5, y: 6}\nmm_per_unit: 0.1\n")
    assert file.read_bytes() == laid_out(expected)
    now = load_places(folder)
    assert (now.mm_per_unit, now.pads["F"].x, now.pads["C"].y) == (0.1, 5, 41)
    places(folder, "--scale", "0,0 0,400 50")
    assert file.read_bytes() == laid_out(expected.replace("0.1\n", "0.125\n"))


@pytest.mark.parametrize(
    ("pads", "after"),
    [
        ("", "pads:\n  B: {x: 1, y: 2}\n  D: {x: 3, y: 4}\n"),
        ("pads: {}   # none yet\n# end\n",
         "pads:   # none yet\n  B: {x: 1, y: 2}\n  D: {x: 3, y: 4}\n# end\n"),
        ("pads: {A: {x: 9, y: 9}}  # one\n",
         "pads: {A: {x: 9, y: 9}, B: {x: 1, y: 2}, D: {x: 3, y: 4}}  # one\n"),
        ("pads:\n    A: {x: 9, y: 9}\n",
         "pads:\n    A: {x: 9, y: 9}\n    B: {x: 1, y: 2}\n    D: {x: 3, y: 4}\n"),
    ],
)
def test_pads_are_added_however_they_are_laid_out(folder, pads, after):
    head = "picture: board.jpg\nheight: 400\nwidth: 600\n"
    (folder / "board.yaml").write_text(head + pads)
    places(folder, "B=1,2", "D=3,4")
    assert (folder / "board.yaml").read_text() == head + after


def test_board_yaml_in_braces_alone_is_changed_too(folder):
    file = folder / "board.yaml"
    file.write_text("{picture: board.jpg, height: 400, width: 600}\n")
    places(folder, "B=1,2")
    assert file.read_text() == (
        "{picture: board.jpg, height: 400, width: 600, pads: {B: {x: 1, y: 2}}}\n")
    places(folder, "A=3,4")
    assert list(load_places(folder).pads) == ["B", "A"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["AA=1,2"], "AA=1,2: there is no pad AA in toy.yaml: did you mean A?"),
        (["Q=1,2"], "Q=1,2: there is no pad Q in toy.yaml: there is only: A, B, C, D, E, F"),
        (["A=601,2"], "A=601,2: 601,2 lies outside the picture: board.jpg is 600 wide and 400 high"),
        (["A=6,-2"], "A=6,-2: 6,-2 lies outside the picture: board.jpg is 600 wide and 400 high"),
        (["A"], "A is no place of a pad: write C=420,310"),
        (["A=1"], "A=1: after the = two numbers are needed: write C=420,310"),
        (["A=1,5,2,5"], "A=1,5,2,5: after the = two numbers are needed: write C=420,310"),
        (["A=1,2px"], "A=1,2px: 2px is no number: write it with a decimal point, if any, and no unit"),
        (["A=nan,2"], "A=nan,2: nan is no number: write it with a decimal point, if any, and no unit"),
        (["B=3,4", "A=1,2", "a=1,3"], "a=1,3: pad A is given twice: take one out"),
        (["--scale", "1,2 3,4"], ("--scale can't be 1,2 3,4: give two points and the mm between them, "
                                 '--scale "420,310 980,655 25"')),
        (["--scale", ""], 'give two points and the mm between them, --scale "420,310 980,655 25"'),
        (["--scale", "1,2 1,2 5"], "--scale: both points are the same: take two that are far apart"),
        (["--scale", "1,2 700,2 5"],
         "--scale: 700,2 lies outside the picture: board.jpg is 600 wide and 400 high"),
        (["--scale", "1,2 7,2 0"], "--scale: the distance must be above 0 mm, is 0"),
    ],
)  # fmt: skip
def test_what_is_no_place_is_told_in_one_line(folder, words, said):
    assert refused(folder, *words).endswith(said)


def test_a_table_gives_places(folder):
    table = folder.parent / "pads.csv"
    table.write_bytes("\ufeffPad,X,Y\r\nA,10,20\r\n\r\n b , 30.5 ,40\r\n".encode())
    places(folder, "--csv", table)
    table.write_text("C;50;60;;\nD;70;80\n")
    out = places(folder, "--csv", table, "E=1,2").out
    assert out == f"{folder / 'board.yaml'}: 3 pads placed; without a place: F\n"
    there = load_places(folder).pads
    assert {pad: (one.x, one.y) for pad, one in there.items()} == {
        "A": (10, 20), "B": (30.5, 40), "C": (50, 60), "D": (70, 80), "E": (1, 2)}  # fmt: skip
    assert "pad D is given here and in" in refused(folder, "--csv", table, "D=1,2")


def test_each_bad_line_of_a_table_is_told_and_nothing_is_written(folder):
    table = folder.parent / "pads.csv"
    table.write_text("pad,x,y\nA,10,20\nZ,1,2\nB,1\nC,1,5,2\nD,x,2\nE,1,999\nA,3,4\npad,x,y\nF,1,2\n")
    done = places(folder, "--csv", table, code=2)
    lines = done.err.splitlines()
    assert [line.removeprefix(f"{table}:").split(":")[0] for line in lines[:-1]] == list("3456789")
    assert "3: there is no pad Z in toy.yaml" in lines[0]
    assert "4: 2 columns; a line is pad,x,y" in lines[1]
    assert "5: 4 columns; a line is pad,x,y" in lines[2]
    assert "6: x is no number" in lines[3]
    assert "7: 1,999 lies outside the picture" in lines[4]
    assert "8: pad A is there twice (first in line 2): take one out" in lines[5]
    assert lines[-1] == f"padsweep: {table}: 7 lines can't be used, so nothing was written"
    assert not (folder / "board.yaml").exists()
    table.write_text("A;1,5;2\nB;1;2\n")
    assert refused(folder, "--csv", table) == (
        f"{table}:1: 1,5 is no number: write it with a decimal point, if any, and no unit")
    for data, said in [(b"", "no places in it"), (b"pad,x,y\n", "no places in it"),
                       (b"\xff\xfe", "not UTF-8 text"), (b"A," + b"9" * 200_000, "can't be read")]:  # fmt: skip
        table.write_bytes(data)
        assert said in refused(folder, "--csv", table)
    table.unlink()
    assert refused(folder, "--csv", table) == f"{table}: can't be read: No such file or directory"


def test_the_scale_is_the_distance_over_that_of_the_points(folder):
    out = places(folder, "--scale", "100,0 400,400 25").out
    assert out == (f"{folder / 'board.yaml'}: 0.05 mm per unit, so the picture shows 30 x 20 mm\n")
    assert load_places(folder).mm_per_unit == 0.05
    assert "pads" not in (folder / "board.yaml").read_text().split("picture:")[1]
    places(folder, "A=1,2")
    assert load_places(folder).mm_per_unit == 0.05


def test_the_list_has_those_without_a_place_last(folder):
    toy = folder / "toy.yaml"
    toy.write_text(toy.read_text().replace('C: {note: ""}', 'C: {note: "IC2, leg 4"}'))
    places(folder, "C=420,310", "B=1,2.5")
    rows = [line.split(None, 3) for line in places(folder, "--list").out.splitlines()]
    assert rows == [
        ["pad", "x", "y", "where"], ["B", "1", "2.5"], ["C", "420", "310", "IC2, leg 4"],
        ["A", "-", "-", "battery minus"], ["D", "-", "-"], ["E", "-", "-"], ["F", "-", "-"],
    ]  # fmt: skip
    (folder / "board.yaml").unlink()
    (folder / "board.jpg").unlink()
    listed = places(folder, "--list").out.splitlines()
    assert [line.split()[:2] for line in listed[1:]] == [[pad, "-"] for pad in "ABCDEF"]


def test_without_a_photo_it_is_said_how_to_add_one(folder):
    (folder / "board.jpg").unlink()
    for words in ([], ["A=1,2"], ["--scale", "1,2 3,4 5"]):
        assert refused(folder, *words) == (
            f"{folder} has no photo of the board: copy it there as board.jpg (or board.jpeg, board.png)")
    (folder / "board.jpg").write_bytes(b"\xff\xd8\xff\xe0 half")
    assert refused(folder) == f"{folder / 'board.jpg'} is cut off or damaged: copy it anew"


def test_a_photo_named_in_capitals_is_taken(folder):
    (folder / "board.jpg").rename(folder / "board.JPG")
    places(folder, "A=1,2")
    assert "picture: board.JPG\n" in (folder / "board.yaml").read_text()
    places(folder)
    assert (folder / GRID).is_file()


def test_a_drawing_takes_places_but_no_grid(tmp_path):
    toy = tmp_path / "toy"
    new_simulated_project(toy, 7, 8)
    before = (toy / "board.yaml").read_text()
    places(toy, "A=50.5,60")
    assert re.sub(r"  A: .*", "  A: {x: 50.5, y: 60}", before) == (toy / "board.yaml").read_text()
    assert "board.svg is a drawing, and the grid goes over a photo" in refused(toy)


def test_a_change_that_would_not_read_back_as_meant_is_refused(folder, monkeypatch):
    (folder / "board.yaml").write_text(MINE)
    monkeypatch.setattr("rig.project.placing.set_entry", lambda text, path, value: text + "x: y\n")
    assert "board.yaml: can't be changed by the program as it is written" in refused(folder, "B=1,2")


def test_a_picture_changed_meanwhile_takes_no_places(folder):
    there = load_places(folder)
    (folder / "board.yaml").write_text(MINE.replace("600", "300").replace("400", "200"))
    with pytest.raises(ConfigError, match="its picture was changed meanwhile: place pads anew"):
        set_places(folder, there, {"A": Place(x=1, y=2)})


@pytest.mark.parametrize("ending", ["png", "jpg"])
def test_grid_and_sheet_show_every_orientation_alike(folder, ending):
    (folder / "board.jpg").unlink()
    seen = Image.new("RGB", (300, 200), (0, 0, 200))
    seen.paste((200, 0, 0), (0, 0, 150, 100))  # red at the top left
    back = {1: None, 6: Image.Transpose.ROTATE_90, 3: Image.Transpose.ROTATE_180,
            8: Image.Transpose.ROTATE_270, 2: Image.Transpose.FLIP_LEFT_RIGHT,
            4: Image.Transpose.FLIP_TOP_BOTTOM, 5: Image.Transpose.TRANSPOSE,
            7: Image.Transpose.TRANSVERSE}  # fmt: skip
    grids, drawn = [], set()
    for orientation, turn in back.items():
        exif = Image.Exif()
        exif[0x0112] = orientation
        exif.get_ifd(0x8825)[1] = "N"
        lying = seen if turn is None else seen.transpose(turn)
        lying.save(folder / f"board.{ending}", exif=exif, quality=100, subsampling=0)
        (folder / "board.yaml").unlink(missing_ok=True)
        places(folder, "A=75,50", "B=200,150")
        places(folder)
        with Image.open(folder / GRID) as grid:
            grids.append(np.asarray(grid).astype(int))
        kind, _, data = board_picture(folder, load_places(folder)).partition(",")
        data = base64.b64decode(data)
        drawn.add(kind)
        with Image.open(io.BytesIO(data)) as shown:
            assert shown.size == (300, 200)
            assert not shown.getexif()
            assert min(shown.getpixel((75, 50))[0], shown.getpixel((75, 150))[2]) > 150
            assert max(shown.getpixel((75, 50))[2], shown.getpixel((75, 150))[0]) < 50
    assert drawn == {"data:image/jpeg;base64"}
    assert max(np.abs(one - grids[0]).max() for one in grids) <= (0 if ending == "png" else 3)
