"""A photo of the board: its size, and what is said of one that is broken or of another shape."""

import base64
import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
import typer
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin
from PIL.Image import Transpose
from typer.testing import CliRunner

from rig.bench.simulated.folder import new_simulated_project
from rig.cli import build, project
from rig.errors import ConfigError
from rig.project.photo import Broken, embeddable, size_of, upright
from rig.project.places import load_places

# A drawn ellipse of 32 x 24 points, saved as one scan by a library that isn't used here.
JPEG = base64.b64decode("""
/9j/4AAQSkZJRgABAQAAAQABAAD/2wBDAFA3PEY8MlBGQUZaVVBfeMiCeG5uePWvuZHI////////////////////////
////////////////////////////2wBDAVVaWnhpeOuCguv/////////////////////////////////////////////
////////////////////////////wAARCAAYACADASIAAhEBAxEB/8QAGAAAAwEBAAAAAAAAAAAAAAAAAAIEAwH/xAAh
EAACAgECBwAAAAAAAAAAAAAAAQIDESExIkFSYXGBkf/EABUBAQEAAAAAAAAAAAAAAAAAAAAB/8QAFBEBAAAAAAAAAAAA
AAAAAAAAAP/aAAwDAQACEQMRAD8A2EldCLxnPg5e2q9Oe5MQVRtjLTOH3HIiutt1pvcBmk1h6owlQ88L+gAV2NHU/SNt
gAD/2Q==""")


def chunk(name: bytes, data: bytes) -> bytes:
    """Give a chunk of a PNG, as section 5.3 of its standard has it."""
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(width: int, height: int) -> bytes:
    """Give a grey PNG."""
    rows = zlib.compress(b"".join(b"\0" + b"\x80" * width for _ in range(height)))
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", rows)
            + chunk(b"IEND", b""))  # fmt: skip


SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 30"><path d="M0 0"/></svg>'
WHOLE = {".png": (png(40, 30), (40, 30)), ".jpg": (JPEG, (32, 24)), ".svg": (SVG, (40, 30))}
BEHIND_THE_POINTS = {".png": len(chunk(b"IEND", b"")) + 8}
"""Bytes at the end that a picture can be shown without: the end's own chunk and check sums."""
SEEN = Image.fromarray(
    np.stack([*np.meshgrid(np.arange(40) * 6, np.arange(30) * 8), np.full((30, 40), 90)], axis=2)
    .astype(np.uint8)
)
"""A picture as a person sees it: redder to the right, greener below."""
BACK = {1: None, 2: Transpose.FLIP_LEFT_RIGHT, 3: Transpose.ROTATE_180,
        4: Transpose.FLIP_TOP_BOTTOM, 5: Transpose.TRANSPOSE, 6: Transpose.ROTATE_90,
        7: Transpose.TRANSVERSE, 8: Transpose.ROTATE_270}  # fmt: skip
"""How a picture lies in a file of each orientation."""


def save(image, file, orientation=None, **more):
    """Save a picture as it is seen, lying in its file as an orientation has it, with a place."""
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
        image = image if BACK[orientation] is None else image.transpose(BACK[orientation])
    exif[0x010F] = "Camera of Somebody"
    exif.get_ifd(0x8825)[1] = "N"
    image.save(file, exif=exif, **more)


@pytest.mark.parametrize("ending", WHOLE)
def test_a_whole_picture_gives_its_size_and_no_part_of_it_passes(tmp_path, ending):
    data, size = WHOLE[ending]
    file = tmp_path / f"board{ending}"
    file.write_bytes(data)
    assert size_of(file) == size
    for length in range(len(data) - BEHIND_THE_POINTS.get(ending, 0)):
        file.write_bytes(data[:length])
        with pytest.raises(Broken):
            size_of(file)


@pytest.mark.parametrize(
    ("svg", "size"),
    [
        (b'<svg width="40mm" height="30mm"/>', (40, 30)),
        (b'<svg width="40" height="30" viewBox="1 2 80 20"/>', (80, 20)),
        (b'<svg width="100%" height="30"/>', None),
        (b'<svg width="40mm" height="3cm"/>', None),
        (b"<svg/>", None),
    ],
)
def test_a_drawing_may_say_its_size_or_not(tmp_path, svg, size):
    (tmp_path / "b.svg").write_bytes(svg)
    assert size_of(tmp_path / "b.svg") == size


@settings(max_examples=50, deadline=None)
@given(st.binary(max_size=60), st.sampled_from([*WHOLE]), st.integers(0, 400))
def test_any_bytes_are_a_picture_or_broken(tmp_path_factory, noise, ending, at):
    data = WHOLE[ending][0]
    file = tmp_path_factory.mktemp("photo") / f"b{ending}"
    file.write_bytes(data[:at] + noise + data[at + len(noise) :])
    try:
        size = size_of(file)
    except Broken:
        return
    assert size is None or min(size) > 0


BROKEN = [
    ("board.jpg", b"", "is empty"),
    ("board.jpg", JPEG[:-20], "is cut off or damaged: copy it anew"),
    ("board.JPG", b"ftypheic and so on", "is no JPEG picture: save it as one"),
    ("board.jpg", png(4, 3), "is a PNG picture: name it so"),
    ("board.png", JPEG, "is a JPEG picture: name it so"),
    ("board.svg", b"<html></html>", "is no SVG picture"),
    ("board.svg", SVG[:50], "is no SVG picture, or not a whole one"),
]


@pytest.mark.parametrize(("name", "data", "said"), BROKEN)
def test_a_broken_picture_is_told_with_board_yaml_and_without(tmp_path, name, data, said):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(ConfigError) as caught:
        load_places(tmp_path)
    assert str(caught.value).startswith(f"{tmp_path / name} {said}")
    file = tmp_path / "board.yaml"
    file.write_text(f"picture: {name}\nwidth: 4\nheight: 3\n")
    with pytest.raises(ConfigError) as caught:
        load_places(tmp_path)
    assert str(caught.value).startswith(f"{file}:1: {name} {said}")


def test_check_and_sheet_tell_a_broken_picture(tmp_path):
    folder = tmp_path / "toy"
    new_simulated_project(folder, 7, 8)
    (folder / "board.svg").write_bytes(SVG[:50])
    (folder / "picks.yaml").write_text("- pair: A-C\n")
    app = typer.Typer(pretty_exceptions_enable=False)
    project.register(app)
    build.register(app)
    for command in ("check", "sheet"):
        done = CliRunner().invoke(app, [command, "--project", str(folder)])
        assert isinstance(done.exception, ConfigError), (command, done.output)
        assert "board.yaml:3: board.svg is no SVG picture" in str(done.exception)


@pytest.mark.parametrize(
    ("name", "width", "height", "fits"),
    [
        ("b.png", 400, 300, True), ("b.png", 4000, 2900, True), ("b.png", 300, 400, False),
        ("b.png", 400, 400, False),
        ("b.jpg", 24, 32, False), ("b.jpg", 32, 24, True), ("b.jpg", 32, 10, False),
    ],
)  # fmt: skip
def test_a_picture_of_another_shape_than_board_yaml_says(tmp_path, name, width, height, fits):
    (tmp_path / name).write_bytes(WHOLE[Path(name).suffix][0])
    (tmp_path / "board.yaml").write_text(f"picture: {name}\nwidth: {width}\nheight: {height}\n")
    if fits:
        assert load_places(tmp_path).width == width
    else:
        with pytest.raises(ConfigError, match=r"board\.yaml:2: width and height .* write its own"):
            load_places(tmp_path)


@pytest.mark.parametrize("orientation", BACK)
@pytest.mark.parametrize("ending", [".png", ".jpg"])
def test_a_photo_is_upright_however_it_lies_in_its_file(tmp_path, ending, orientation):
    file = tmp_path / f"board{ending}"
    save(SEEN, file, orientation, quality=100, subsampling=0)
    assert size_of(file) == (40, 30)
    image = upright(file)
    assert (image.size, image.mode, image.info) == ((40, 30), "RGB", {})
    off = np.abs(np.asarray(image).astype(int) - np.asarray(SEEN))
    assert off.max() <= (0 if ending == ".png" else 3)
    assert upright(file, most_px=20).size == (20, 15)


@pytest.mark.parametrize("size", [(4001, 1), (1, 4001), (1, 1), (2000, 2000), (2001, 9)])
def test_a_photo_of_any_shape_is_scaled_down_and_never_up(tmp_path, size):
    Image.new("RGB", size).save(tmp_path / "board.jpg")
    wanted = tuple(max(1, round(side * min(1, 2000 / max(size)))) for side in size)
    assert upright(tmp_path / "board.jpg").size == wanted


def test_the_shape_that_board_yaml_says_is_the_upright_one(tmp_path):
    save(SEEN, tmp_path / "board.jpg", 6)
    file = tmp_path / "board.yaml"
    file.write_text("picture: board.jpg\nwidth: 400\nheight: 300\n")
    assert load_places(tmp_path).width == 400
    file.write_text("picture: board.jpg\nwidth: 30\nheight: 40\n")
    with pytest.raises(ConfigError, match="30 x 40, the picture, upright, is 40 x 30"):
        load_places(tmp_path)


@pytest.mark.parametrize("ending", [".png", ".jpg"])
def test_nothing_but_the_points_of_a_photo_is_embedded(tmp_path, ending):
    file = tmp_path / f"board{ending}"
    large = SEEN.resize((3000, 2250))
    more = {"comment": b"at home"} if ending == ".jpg" else {}
    if ending == ".png":
        more["pnginfo"] = PngImagePlugin.PngInfo()
        more["pnginfo"].add_text("Comment", "at home")
    save(large, file, 8, **more)
    assert b"Somebody" in file.read_bytes()
    assert b"at home" in file.read_bytes()
    kind, data = embeddable(file)
    assert kind == "image/jpeg"
    assert b"Somebody" not in data
    assert b"at home" not in data
    with Image.open(io.BytesIO(data)) as embedded:
        assert embedded.size == (2000, 1500)
        assert not embedded.getexif()
        assert set(embedded.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_a_photo_too_large_to_decode_is_told(tmp_path):
    file = tmp_path / "board.png"
    for width in (20_001, 60_000):  # just beyond our bound, and beyond the decoder's own
        header = struct.pack(">IIBBBBB", width, 10_000, 8, 2, 0, 0, 0)
        file.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header)
                         + chunk(b"IDAT", zlib.compress(b"\0")) + chunk(b"IEND", b""))
        with pytest.raises(ConfigError) as caught:
            load_places(tmp_path)
        assert str(caught.value) == f"{file} has more than 200 megapixels: save it smaller"


@pytest.mark.parametrize("exif", [b"Exif\0\0", b"Exif\0\0MM\0*\0\0\0\x08\xff\xff", b"x" * 99,
                                  b"Exif\0\0II*\0\x08\0\0\0\x01\0\x12\x01\x02\0\xff\xff\xff\xff\0\0\0\0"])
def test_damaged_metadata_turn_nothing_and_break_nothing(tmp_path, exif):
    SEEN.save(tmp_path / "board.jpg", exif=exif)
    assert upright(tmp_path / "board.jpg").size == size_of(tmp_path / "board.jpg") == (40, 30)


def test_other_kinds_of_points_become_colours(tmp_path):
    file = tmp_path / "board.png"
    Image.fromarray(np.full((3, 4), 0x80FF, np.uint16)).save(file)  # 16 bit grey
    assert upright(file).getpixel((1, 1)) == (128, 128, 128)
    Image.new("RGBA", (4, 3), (10, 20, 30, 0)).save(file)  # clear
    assert upright(file).getpixel((1, 1)) == (255, 255, 255)
    Image.new("1", (4, 3), 1).save(file)
    assert upright(file).getpixel((1, 1)) == (255, 255, 255)
    Image.new("CMYK", (16, 16), (255, 0, 0, 0)).save(tmp_path / "board.jpg")
    red, _, blue = upright(tmp_path / "board.jpg").getpixel((8, 8))
    assert red < 40 < 200 < blue


def test_a_photo_without_board_yaml_is_taken_before_a_drawing(tmp_path):
    (tmp_path / "board.svg").write_bytes(SVG)
    assert load_places(tmp_path).picture == "board.svg"
    (tmp_path / "board.PNG").write_bytes(png(8, 6))
    assert load_places(tmp_path).picture == "board.PNG"
    save(SEEN, tmp_path / "Board.JPG", 5, format="JPEG")
    places = load_places(tmp_path)
    assert (places.picture, places.width, places.height) == ("Board.JPG", 40, 30)
    assert not places.pads
    (tmp_path / "board-grid.png").write_bytes(b"not a picture")
    assert load_places(tmp_path) == places
