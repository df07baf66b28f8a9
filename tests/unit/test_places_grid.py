"""The grid over the photo: lines and labels where they should be, on any photo."""

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from rig.errors import ConfigError
from rig.project import grid
from rig.project.grid import EDGE_PX, FONT_PX, GRID, draw_grid, lay_out, write_grid
from rig.project.places import Place, Places, load_places

DARK, LIGHT = (0, 0, 0), (255, 255, 255)
INKS = [(200, 30, 60), DARK, LIGHT, (128, 128, 128)]


def places(width, height, **pads):
    return Places(picture="board.png", width=width, height=height,
                  pads={pad: Place(x=x, y=y) for pad, (x, y) in pads.items()})  # fmt: skip


@pytest.mark.parametrize("ink", INKS)
@pytest.mark.parametrize(
    ("size", "units", "step", "columns", "rows"),
    [
        ((2000, 1500), (4000, 3000), 200, [*range(0, 2000, 100), 1999],
         [*range(0, 1500, 100), 1499]),
        ((600, 900), (600, 900), 100, [*range(0, 600, 100), 599], [*range(0, 900, 100), 899]),
        ((1000, 720), (100, 72), 10, [*range(0, 1000, 100), 999], range(0, 720, 100)),
        ((30, 20), (30, 20), 100, [0], [0]),
    ],
)
def test_lines_are_at_their_pixels_and_dark_within_light(ink, size, units, step, columns, rows):
    there = places(*units)
    layout = lay_out(there, size)
    drawn = draw_grid(Image.new("RGB", size, ink), there)
    assert layout.step == step
    assert drawn.size == (size[0] + 2 * layout.left, size[1] + 2 * layout.top)
    assert [layout.at(x, 0)[0] - layout.left for x in layout.xs if x < units[0]] == [
        column for column in columns if column < size[0] - 1
    ]
    points = np.asarray(drawn)[layout.top : layout.top + size[1], layout.left : layout.left + size[0]]
    # A row and a column of points that cross no line and no tick.
    free_y, free_x = (min(at + 10, side - 5) for at, side in ((0, size[1]), (0, size[0])))
    across, down = points[free_y], points[:, free_x]
    for row, wanted in ((across, columns), (down, rows)):
        for at, point in enumerate(row):
            if at in wanted:
                assert tuple(point) == DARK, at
            elif at - 1 in wanted or at + 1 in wanted:
                assert tuple(point) == LIGHT, at
            else:
                assert tuple(point) == ink, at


def test_ticks_part_each_space_into_round_parts():
    there = places(4000, 3000)
    layout = lay_out(there, (2000, 1500))
    points = np.asarray(draw_grid(Image.new("RGB", (2000, 1500), (9, 99, 9)), there))
    beside = points[layout.top + 100 + grid.TICK_PX, layout.left : layout.left + 2000]
    assert [at for at in range(100, 200) if tuple(beside[at]) == DARK] == [100, 125, 150, 175]


@pytest.mark.parametrize("size", [(2000, 1500), (900, 1600)])
def test_each_line_is_labelled_at_both_ends(size):
    there = places(2 * size[0], 2 * size[1])
    layout = lay_out(there, size)
    drawn = draw_grid(Image.new("RGB", size, (90, 90, 90)), there)
    font = ImageFont.load_default(FONT_PX)
    (width, height), left, top = size, layout.left, layout.top
    expected = Image.new("RGB", drawn.size, "white")
    draw = ImageDraw.Draw(expected)
    for n, x in enumerate(range(0, width + 1, 100)):
        at = left + min(x, width - 1)
        draw.text((at, top - EDGE_PX), f"{n * 200}", "black", font, anchor="ms")
        draw.text((at, top + height + EDGE_PX), f"{n * 200}", "black", font, anchor="mt")
    for n, y in enumerate(range(0, height + 1, 100)):
        at = top + min(y, height - 1)
        draw.text((left - EDGE_PX, at), f"{n * 200}", "black", font, anchor="rm")
        draw.text((left + width + EDGE_PX, at), f"{n * 200}", "black", font, anchor="lm")
    for one in (drawn, expected):
        one.paste((0, 0, 0), (left, top, left + width, top + height))
    assert np.array_equal(np.asarray(drawn), np.asarray(expected))
    edge = np.asarray(drawn).min(axis=2)
    assert edge[0].min() == edge[-1].min() == edge[:, 0].min() == edge[:, -1].min() == 255


def test_placed_pads_are_ringed_with_their_letter_towards_the_middle():
    there = places(2000, 1500, A=(330, 250), AA=(1950, 1450), C=(40, 40))
    layout = lay_out(there, (2000, 1500))
    plain = draw_grid(Image.new("RGB", (2000, 1500), "white"), places(2000, 1500))
    drawn = draw_grid(Image.new("RGB", (2000, 1500), "white"), there)
    differs = (np.asarray(drawn) != np.asarray(plain)).any(axis=2)
    for pad, letters_right in (("A", True), ("AA", False), ("C", True)):
        x, y = layout.at(there.pads[pad].x, there.pads[pad].y)
        rows, columns = np.nonzero(differs[max(0, y - 40) : y + 40, max(0, x - 100) : x + 100])
        assert abs((rows.min() + rows.max()) / 2 + max(0, y - 40) - y) <= 3
        right = columns.max() + max(0, x - 100) - x
        left = x - (columns.min() + max(0, x - 100))
        assert bool(right > left + 20) is letters_right, pad
        assert min(left, right) == grid.PAD_PX  # its outer edge is white, as the photo
    assert not differs[:, 700:1700].any()


def test_the_grid_is_written_from_the_photo_and_written_anew_but_nothing_else_is(tmp_path):
    Image.new("RGB", (3000, 1000), (1, 200, 3)).save(tmp_path / "board.jpg")
    there = load_places(tmp_path)
    assert write_grid(tmp_path, there) == 200
    with Image.open(tmp_path / GRID) as first:
        layout = lay_out(there, (2000, 667))
        assert first.size == (2000 + 2 * layout.left, 667 + 2 * layout.top)
        assert first.info == {"Software": "padsweep places"}
    before = (tmp_path / GRID).read_bytes()
    write_grid(tmp_path, there.model_copy(update={"pads": {"A": Place(x=1, y=2)}}))
    assert (tmp_path / GRID).read_bytes() != before
    assert sorted(one.name for one in tmp_path.iterdir()) == [GRID, "board.jpg"]
    Image.new("RGB", (9, 9)).save(tmp_path / GRID)
    mine = (tmp_path / GRID).read_bytes()
    with pytest.raises(ConfigError, match=r"board-grid\.png wasn't made by padsweep"):
        write_grid(tmp_path, there)
    assert (tmp_path / GRID).read_bytes() == mine


def test_a_grid_named_as_the_picture_is_no_ones_to_overwrite(tmp_path):
    Image.new("RGB", (300, 200)).save(tmp_path / "board.jpg")
    write_grid(tmp_path, load_places(tmp_path))
    before = (tmp_path / GRID).read_bytes()
    (tmp_path / "board.yaml").write_text(f"picture: {GRID}\nwidth: 300\nheight: 208\n")
    with pytest.raises(ConfigError, match="is the grid, and board.yaml names it as the picture"):
        write_grid(tmp_path, load_places(tmp_path))
    assert (tmp_path / GRID).read_bytes() == before
