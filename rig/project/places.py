"""Where the pads are on the picture of the board: board.yaml and the picture beside it."""

from __future__ import annotations

from pathlib import Path

from pydantic import Field

from rig.errors import ConfigError
from rig.project.load import validate
from rig.project.models import _Model
from rig.project.yaml_strict import read_yaml

PICTURE_TYPES = {
    ".svg": "image/svg+xml", ".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png",
}  # fmt: skip


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
    """Load board.yaml, or give None where the folder has none.

    Raises
    ------
    ConfigError
        board.yaml or its picture can't be used: names file and line.
    """
    file = Path(folder) / "board.yaml"
    if not file.exists():
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
    return places


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
