"""Where the pads are on the picture of the board: board.yaml and the picture beside it."""

from __future__ import annotations

from pathlib import Path

from pydantic import Field

from rig.errors import ConfigError
from rig.project.models import _Model
from rig.project.photo import PICTURE_TYPES, Broken, size_of
from rig.project.validate import validate
from rig.project.yaml_strict import read_yaml

SAME_SHAPE = 0.1
"""By so much the shape of the picture may differ from that of board.yaml: beyond it every pad
would be drawn beside its place."""


class Place(_Model):
    """A point on the picture, in its own units from the top left."""

    x: float
    y: float


class Places(_Model):
    """The picture, its size in its own units, and the places of pads on it."""

    picture: str = Field(min_length=1)
    width: float = Field(gt=0)
    height: float = Field(gt=0)
    mm_per_unit: float | None = Field(default=None, gt=0)
    pads: dict[str, Place] = Field(default_factory=dict)


def load_places(folder: Path) -> Places | None:
    """Load board.yaml and look at its picture, or give None where the folder has none.

    A photo is looked at without board.yaml, too: it's the person's own `board.jpg`.

    Raises
    ------
    ConfigError
        board.yaml or its picture can't be used: names file and line.
    """
    file = Path(folder) / "board.yaml"
    if not file.exists():
        for photo in sorted(Path(folder).iterdir()):
            if photo.stem.lower() == "board" and photo.suffix.lower() in PICTURE_TYPES:
                _size(photo, str(photo))
        return None
    document = read_yaml(file)
    places = validate(document, Places)
    for letter, place in places.pads.items():
        if not (0 <= place.x <= places.width and 0 <= place.y <= places.height):
            raise ConfigError(
                f"{document.where(('pads', letter))}: pad {letter} lies outside the picture "
                f"({places.width:g} x {places.height:g})"
            )
    picture = Path(folder) / places.picture
    if picture.suffix.lower() not in PICTURE_TYPES:
        raise ConfigError(
            f"{document.where(('picture',))}: {places.picture} is no picture read here: use "
            f"{', '.join(PICTURE_TYPES)}"
        )
    if Path(places.picture).name != places.picture:
        raise ConfigError(
            f"{document.where(('picture',))}: the picture must lie in the project folder itself"
        )
    if not picture.is_file():
        raise ConfigError(f"{document.where(('picture',))}: there is no {picture}")
    size = _size(picture, f"{document.where(('picture',))}: {places.picture}")
    if size is not None and not _same_shape(size, places, picture):
        raise ConfigError(
            f"{document.where(('width',))}: width and height are {places.width:g} x "
            f"{places.height:g}, the picture is {size[0]:g} x {size[1]:g}: write its own, and x "
            "and y of the pads in the same units"
        )
    return places


def _size(picture: Path, named: str) -> tuple[float, float] | None:
    try:
        return size_of(picture)
    except Broken as trouble:
        raise ConfigError(f"{named} {trouble}") from None
    except OSError as trouble:
        raise ConfigError(f"{named} can't be read: {trouble.strerror}") from None


def _same_shape(size: tuple[float, float], places: Places, picture: Path) -> bool:
    """Compare proportions; a photo may be stored lying, with a note that it stands."""
    shape = places.width / places.height
    shapes = [size[0] / size[1]]
    if picture.suffix.lower() in (".jpg", ".jpeg"):
        shapes.append(size[1] / size[0])
    return any(abs(shape / one - 1) <= SAME_SHAPE for one in shapes)


def places_text(places: Places, heading: str) -> str:
    """Give the text of board.yaml.

    Parameters
    ----------
    heading : str
        One comment line, without `#`.
    """
    lines = [
        f"# {heading}",
        "# x and y are in the picture's own units, from its top left corner.",
        f"picture: {places.picture}",
        f"width: {places.width:g}",
        f"height: {places.height:g}",
    ]
    if places.mm_per_unit is not None:
        lines.append(f"mm_per_unit: {places.mm_per_unit:g}")
    lines.append("pads:")
    lines += [f"  {pad}: {{x: {p.x:g}, y: {p.y:g}}}" for pad, p in places.pads.items()]
    return "\n".join(lines) + "\n"
