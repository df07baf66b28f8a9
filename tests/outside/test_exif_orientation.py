"""The eight orientations of a photo against the table of the EXIF standard."""

import numpy as np
import pytest
from PIL import Image

from rig.project.photo import size_of, upright

# Exif 2.32 (CIPA DC-008), tag 0x0112 Orientation, from memory, no copy was at hand: which side of
# the seen picture the stored 0th row is, and which side its 0th column is.
CIPA_DC_008_0X0112 = {
    1: ("top", "left"), 2: ("top", "right"), 3: ("bottom", "right"), 4: ("bottom", "left"),
    5: ("left", "top"), 6: ("right", "top"), 7: ("right", "bottom"), 8: ("left", "bottom"),
}  # fmt: skip


def stored(seen, row_side, column_side):
    """Give the stored points of a seen picture, point by point from the table's two sides."""
    height, width = seen.shape
    lying = row_side in ("left", "right")
    points = np.zeros((width, height) if lying else (height, width), np.uint8)
    for row in range(points.shape[0]):
        for column in range(points.shape[1]):
            along, across = (column, row) if lying else (row, column)
            y = along if "top" in (row_side, column_side) else height - 1 - along
            x = across if "left" in (row_side, column_side) else width - 1 - across
            points[row, column] = seen[y, x]
    return points


@pytest.mark.parametrize(("orientation", "sides"), CIPA_DC_008_0X0112.items())
def test_a_photo_is_seen_as_the_table_has_it(tmp_path, orientation, sides):
    seen = np.arange(5 * 7, dtype=np.uint8).reshape(5, 7)
    exif = Image.Exif()
    exif[0x0112] = orientation
    Image.fromarray(stored(seen, *sides)).save(tmp_path / "board.png", exif=exif)
    assert size_of(tmp_path / "board.png") == (7, 5)
    image = upright(tmp_path / "board.png")
    assert np.array_equal(np.asarray(image), np.repeat(seen[:, :, None], 3, axis=2))
