"""A photo of the board: its size, and what is said of one that is broken or of another shape."""

import base64
import struct
import zlib
from pathlib import Path

import pytest
import typer
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from rig.bench.simulated.folder import new_simulated_project
from rig.cli import build, project
from rig.errors import ConfigError
from rig.project.photo import Broken, size_of
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


@pytest.mark.parametrize("ending", WHOLE)
def test_a_whole_picture_gives_its_size_and_no_part_of_it_passes(tmp_path, ending):
    data, size = WHOLE[ending]
    file = tmp_path / f"board{ending}"
    file.write_bytes(data)
    assert size_of(file) == size
    for length in range(len(data)):
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
    ("board.jpg", JPEG[:-20], "is cut off: copy it anew"),
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
        # A telephone's photo may lie in its file and stand on the screen.
        ("b.jpg", 24, 32, True), ("b.jpg", 32, 24, True), ("b.jpg", 32, 10, False),
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
