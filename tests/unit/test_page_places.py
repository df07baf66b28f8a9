"""What the page's server makes of places of pads and of the scale that a tab sends."""

import math

import pytest
from PIL import Image

from rig.errors import ConfigError
from rig.page.board import board, place, scale, stamp, toy_now, without_letters
from rig.project import load_project, new_project
from rig.project.places import load_places
from rig.project.placing import PlacedMeanwhile

FRAME = {"picture": "board.jpg", "width": 600.0, "height": 400.0}


@pytest.fixture
def folder(tmp_path):
    new_project(tmp_path / "toy", 6, by_hand=True)
    Image.new("RGB", (600, 400), (40, 90, 60)).save(tmp_path / "toy" / "board.jpg")
    return tmp_path / "toy"


def asked(pad, now, was=None, frame=FRAME):
    return {"frame": frame, "pad": pad, "was": was, "now": now}


def at(x, y):
    return {"x": x, "y": y}


def test_pads_are_placed_moved_and_taken_out(folder):
    assert place(folder, asked("C", at(100, 50.04))) == {"was": None, "now": at(100, 50.04)}
    assert place(folder, asked("C", at(7, 8), was=at(100, 50.04)))["now"] == at(7, 8)
    place(folder, asked("M", at(1, 2)))  # it needs no entry in toy.yaml
    told = board(folder, load_project(folder).toy)
    assert (told["frame"], told["pads"]) == (FRAME, {"C": at(7, 8), "M": at(1, 2)})
    assert told["toy"]["A"] == {"note": "battery minus", "kind": "rail", "forbidden": False, "lead_ohm": None}
    assert "M" not in told["toy"]
    assert len(told["letters"]) == 64
    place(folder, asked("C", None, was=at(7, 8)))
    place(folder, asked("M", None, was=at(1, 2)))
    assert load_places(folder).pads == {}
    assert (folder / "board.yaml").read_text("utf-8").endswith("pads: {}\n")
    place(folder, asked("D", at(3, 4)))
    assert (folder / "board.yaml").read_text("utf-8").endswith("pads:\n  D: {x: 3, y: 4}\n")


def test_a_place_is_no_finer_than_a_hand_and_stays_on_the_picture(folder):
    assert place(folder, asked("A", at(100.123456, 400)))["now"] == at(100.12, 400)
    assert place(folder, asked("B", at(600, 0)))["now"] == at(600, 0)


@pytest.mark.parametrize("there", [at(5, 6), None])
def test_what_was_placed_elsewhere_meanwhile_stays(folder, there):
    place(folder, asked("A", at(1, 1)))
    if there:
        place(folder, asked("A", there, was=at(1, 1)))
    else:
        place(folder, asked("A", None, was=at(1, 1)))
    before = (folder / "board.yaml").read_bytes()
    with pytest.raises(PlacedMeanwhile) as trouble:
        place(folder, asked("A", at(9, 9), was=at(1, 1)))
    assert trouble.value.mine.model_dump() == at(9, 9)
    assert (trouble.value.theirs and trouble.value.theirs.model_dump()) == there
    assert (folder / "board.yaml").read_bytes() == before
    # Where both meant the same there is nothing to ask.
    assert place(folder, asked("A", there, was=at(1, 1)))["now"] == there
    # Another pad is nobody's business.
    assert place(folder, asked("B", at(9, 9)))["now"] == at(9, 9)


def test_comments_and_pads_of_a_hand_stay(folder):
    mine = ("# mine\npicture: board.jpg\nwidth: 600\nheight: 400\npads:\n  # the chip\n"
            "  A: {x: 10, y: 20}  # leg 1\n  B:\n    x: 30   # from the left\n    y: 40\n  C: {x: 1, y: 1}\n")
    (folder / "board.yaml").write_text(mine, "utf-8")
    place(folder, asked("B", None, was=at(30, 40)))
    left = mine.replace("  B:\n    x: 30   # from the left\n    y: 40\n", "")
    assert (folder / "board.yaml").read_text("utf-8") == left
    place(folder, asked("A", at(11, 20), was=at(10, 20)))
    assert (folder / "board.yaml").read_text("utf-8") == left.replace("x: 10", "x: 11")


@pytest.mark.parametrize(("pads", "after"), [
    ("pads: {A: {x: 1, y: 2}, B: {x: 3, y: 4}}", "pads: {B: {x: 3, y: 4}}"),
    ("pads: {B: {x: 3, y: 4}, A: {x: 1, y: 2}}  # so", "pads: {B: {x: 3, y: 4}}  # so"),
    ("pads: {A: {x: 1, y: 2}}  # so", "pads: {}  # so"),
    ("pads:   # so\n  # the only one\n  A: {x: 1, y: 2}\n# end", "pads: {}   # so\n  # the only one\n# end"),
])  # fmt: skip
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_a_place_is_taken_out_however_it_is_laid_out(folder, pads, after, newline):
    head = "picture: board.jpg\nwidth: 600\nheight: 400\n"
    (folder / "board.yaml").write_bytes((head + pads + "\n").replace("\n", newline).encode())
    place(folder, asked("A", None, was=at(1, 2)))
    assert (folder / "board.yaml").read_bytes() == (head + after + "\n").replace("\n", newline).encode()


@pytest.mark.parametrize("what", [
    asked("A", at(601, 2)), asked("A", at(-0.1, 2)), asked("A", at(math.nan, 2)), asked("A", at(math.inf, 2)),
    asked("A", at(True, 2)), asked("A", at("1", 2)), asked("A", at(None, 2)), asked("A", [1, 2]),
    asked("A", {"x": 1}), asked("A", {"x": 1, "y": 2, "z": 3}), asked("A", at(10**400, 2)),
    asked("a", at(1, 2)), asked("BM", at(1, 2)), asked("A: {x: 1}\nB", at(1, 2)), asked(["A"], at(1, 2)),
    asked(None, at(1, 2)), asked("A", at(1, 2), frame=None), asked("A", at(1, 2), frame=FRAME | {"width": 601}),
    asked("A", at(1, 2), frame=FRAME | {"picture": "../toy.yaml"}), asked("A", at(1, 2)) | {"more": 1},
    asked("A", at(1, 2), was=5), {}, [], None, "A",
])  # fmt: skip
def test_what_is_no_place_writes_nothing(folder, what):
    with pytest.raises(ConfigError):
        place(folder, what)
    assert not (folder / "board.yaml").exists()


def test_the_scale_comes_from_two_points_or_goes(folder):
    points = {"points": [at(100, 0), at(400, 400)], "mm": 25}
    assert scale(folder, {"frame": FRAME, "was": None, "now": points}) == {"was": None, "now": 0.05}
    place(folder, asked("A", at(1, 2)))
    assert load_places(folder).mm_per_unit == 0.05
    with pytest.raises(PlacedMeanwhile):
        scale(folder, {"frame": FRAME, "was": 0.2, "now": 0.1})
    scale(folder, {"frame": FRAME, "was": 0.05, "now": 0.1})
    scale(folder, {"frame": FRAME, "was": 0.1, "now": None})
    assert load_places(folder).mm_per_unit is None
    assert "mm_per_unit" not in (folder / "board.yaml").read_text("utf-8")
    assert load_places(folder).pads["A"].x == 1


@pytest.mark.parametrize("now", [
    0, -1, True, "1", math.nan, [], {"points": [at(1, 1)], "mm": 5}, {"points": [at(1, 1), at(1, 1)], "mm": 5},
    {"points": [at(1, 1), at(2, 999)], "mm": 5}, {"points": [at(1, 1), at(2, 2)], "mm": 0},
    {"points": [at(1, 1), None], "mm": 5}, {"points": [at(1, 1), at(2, 2)], "mm": "5"}, {"mm": 5},
])  # fmt: skip
def test_what_is_no_scale_writes_nothing(folder, now):
    with pytest.raises(ConfigError):
        scale(folder, {"frame": FRAME, "was": None, "now": now})
    assert not (folder / "board.yaml").exists()


def test_without_a_photo_or_with_a_broken_file_it_is_said(folder):
    toy = load_project(folder).toy
    (folder / "board.yaml").write_text("picture: [\n", "utf-8")
    told = board(folder, toy)
    assert told["frame"] is None
    assert "board.yaml:" in told["trouble"]
    (folder / "board.yaml").unlink()
    (folder / "board.jpg").rename(folder.parent / "mine.jpg")
    (folder / "board.jpg").symlink_to(folder.parent / "mine.jpg")
    told = board(folder, load_project(folder).toy)
    assert (told["frame"], told["trouble"]) == (
        None, f"{folder / 'board.jpg'} is a link: copy the picture itself into the folder")
    (folder / "board.jpg").unlink()
    told = board(folder, load_project(folder).toy)
    assert (told["frame"], told["trouble"]) == (None, None)
    assert "board.jpg" in told["missing"]
    with pytest.raises(ConfigError, match="no photo of the board"):
        place(folder, asked("A", at(1, 2)))


def test_the_toy_is_read_anew_and_a_slip_in_it_is_told(folder):
    project = load_project(folder)
    file = folder / "toy.yaml"
    before = stamp(folder)
    file.write_text(file.read_text("utf-8").replace('  F: {note: ""}', '  F: {note: ""}\n  G: {note: "R4"}'), "utf-8")
    assert stamp(folder) != before
    toy, trouble = toy_now(project)
    assert (toy.pads["G"].note, trouble) == ("R4", None)
    file.write_text("name: [\n", "utf-8")
    toy, trouble = toy_now(project)
    assert toy == project.toy
    assert "toy.yaml:" in trouble


def test_of_a_drawing_only_our_own_letters_go():
    assert without_letters(b"no drawing") == b"no drawing"
    bare = without_letters(b"<svg><text>IC1</text></svg>\n")
    assert bare.startswith(b"<svg><text>IC1</text><style>text[paint-order")
    assert bare.endswith(b"</style></svg>\n")
