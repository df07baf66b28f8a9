"""Where the pads are on the picture of the board: board.yaml and the picture beside it."""

from __future__ import annotations

from pathlib import Path

from pydantic import Field

from rig.errors import ConfigError
from rig.project.models import _Model
from rig.project.nets import BOARD, NETS
from rig.project.photo import PICTURE_TYPES, Broken, is_drawing, size_of
from rig.project.validate import validate
from rig.project.yaml_strict import Document, read_yaml

ADD_A_PHOTO = "copy it there as board.jpg (or board.jpeg, board.png)"

SAME_SHAPE = 0.1
"""By so much the shape of the picture may differ from that of board.yaml: beyond it every pad
would be drawn beside its place."""


class Place(_Model):
    """A point on the picture, in its own units from the top left, as a person sees it."""

    x: float
    y: float


class Places(_Model):
    """The picture, its size in its own units, and the places of pads on it."""

    picture: str = Field(min_length=1)
    width: float = Field(gt=0)
    height: float = Field(gt=0)
    mm_per_unit: float | None = Field(default=None, gt=0)
    pads: dict[str, Place] = Field(default_factory=dict)


def find_picture(folder: Path) -> Path | None:
    """Give the picture of the board in a folder without board.yaml: `board.jpg` and the like.

    Photos come before drawings, in the order of `PICTURE_TYPES`; None where there is none.
    """
    kinds = list(PICTURE_TYPES)
    there = [
        one for one in Path(folder).iterdir()
        if one.stem.lower() == "board" and one.suffix.lower() in kinds
    ]
    return min(there, key=lambda one: (kinds.index(one.suffix.lower()), one.name), default=None)


def load_places(folder: Path) -> Places | None:
    """Load board.yaml and look at its picture, or give None where the folder has no picture.

    Without board.yaml the person's own `board.jpg` is taken; no pad has a place on it yet.

    Raises
    ------
    ConfigError
        board.yaml or its picture can't be used: names file and line.
    """
    file = Path(folder) / BOARD
    document = read_yaml(file) if file.exists() else None
    if document is None or not has_places(document):
        photo = find_picture(folder)
        size = None if photo is None else _size(photo, str(photo))
        if photo is None or size is None:
            return None
        return Places(picture=photo.name, width=float(size[0]), height=float(size[1]))
    places = checked_places(document)
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
    if size is not None and not _same_shape(size, places):
        seen = "" if is_drawing(picture) else ", upright,"
        raise ConfigError(
            f"{document.where(('width',))}: width and height are {places.width:g} x "
            f"{places.height:g}, the picture{seen} is {size[0]:g} x {size[1]:g}: write its own, "
            "and x and y of the pads in the same units"
        )
    return places


def checked_places(document: Document) -> Places:
    """Give what board.yaml says, without a look at the picture. Raises `ConfigError`."""
    places = validate(_without_nets(document), Places)
    for letter, place in places.pads.items():
        if not is_inside(place, places):
            raise ConfigError(
                f"{document.where(('pads', letter))}: pad {letter} lies outside the picture "
                f"({places.width:g} x {places.height:g})"
            )
    return places


def has_places(document: Document) -> bool:
    """Say whether board.yaml is about places at all: it may hold nets alone."""
    return not (isinstance(document.data, dict) and document.data.keys() == {NETS})


def _without_nets(document: Document) -> Document:
    if not isinstance(document.data, dict):
        return document
    data = {name: value for name, value in document.data.items() if name != NETS}
    return Document(document.file, data, document.lines, document.text)


def is_inside(place: Place, places: Places) -> bool:
    """Say whether a point lies on the picture."""
    return 0 <= place.x <= places.width and 0 <= place.y <= places.height


def _size(picture: Path, named: str) -> tuple[float, float] | None:
    try:
        return size_of(picture)
    except Broken as trouble:
        raise ConfigError(f"{named} {trouble}") from None
    except OSError as trouble:
        raise ConfigError(f"{named} can't be read: {trouble.strerror}") from None


def _same_shape(size: tuple[float, float], places: Places) -> bool:
    return abs(places.width / places.height / (size[0] / size[1]) - 1) <= SAME_SHAPE


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
        f"width: {places.width:.10g}",
        f"height: {places.height:.10g}",
    ]
    if places.mm_per_unit is not None:
        lines.append(f"mm_per_unit: {places.mm_per_unit:g}")
    if places.pads:
        lines.append("pads:")
    lines += [f"  {pad}: {place_text(place)}" for pad, place in places.pads.items()]
    return "\n".join(lines) + "\n"


def place_text(place: Place) -> str:
    """Give a place as board.yaml has it."""
    return f"{{x: {place.x:.10g}, y: {place.y:.10g}}}"
