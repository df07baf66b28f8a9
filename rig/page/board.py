"""Where the pads are, as the page shows it, and what a tab asks to be changed there."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from rig.errors import ConfigError, RigError
from rig.project import Project, Toy, load_project
from rig.project.models import MAX_PADS, letters
from rig.project.nets import BOARD
from rig.project.place_words import mm_per_unit_of
from rig.project.places import ADD_A_PHOTO, Place, Places, is_inside, load_places
from rig.project.placing import frame, set_places, set_scale

FINE = 10_000
"""A place is written as fine as one part in so many of the picture's long side."""
LETTERS = letters(MAX_PADS)
FRAME = ("picture", "width", "height")
_OWN_LETTERS = (b'<style>text[paint-order="stroke"][stroke="white"][font-weight="bold"] '
                b"{ display: none }</style>")
Told = dict[str, Any]


def board(folder: Path, toy: Toy) -> Told:
    """Give the picture, the places of pads on it, and the pads of toy.yaml.

    Parameters
    ----------
    folder : Path
        The project folder.
    toy : Toy

    Returns
    -------
    dict
        `frame` (picture, width, height) or None without a picture, `picture_stamp` (differs where
        that is another), `pads`: by their letters the
        places that are known, `mm_per_unit`, `toy`: the pads of toy.yaml with `note`, `kind` and
        `forbidden`, `letters`: all that there can be, `trouble`: why board.yaml or its picture
        can't be used, `missing`: how a picture is added. `id` is the folder's.
    """
    told: Told = {
        "frame": None, "pads": {}, "mm_per_unit": None, "trouble": None, "missing": ADD_A_PHOTO,
        "toy": {pad: facts.model_dump() for pad, facts in toy.pads.items()}, "letters": LETTERS,
        "id": hashlib.sha256(str(Path(folder).resolve()).encode()).hexdigest()[:16],
    }  # fmt: skip
    try:
        places = load_places(folder)
    except ConfigError as trouble:
        return told | {"trouble": str(trouble)}
    if places is None:
        return told
    picture = Path(folder) / places.picture
    if picture.is_symlink():
        return told | {"trouble": f"{picture} is a link: copy the picture itself into the folder"}
    return told | {
        "frame": dict(zip(FRAME, frame(places), strict=True)),
        "picture_stamp": _stat(picture), "mm_per_unit": places.mm_per_unit,
        "pads": {pad: place.model_dump() for pad, place in places.pads.items()},
    }  # fmt: skip


def without_letters(drawing: bytes) -> bytes:
    """Give a drawing without the letters that the drawings of invented boards have beside their pads.

    The page writes its own, of a size that can be read.
    """
    before, end, behind = drawing.rpartition(b"</svg>")
    return before + _OWN_LETTERS + end + behind if end else drawing


def toy_now(project: Project) -> tuple[Toy, str | None]:
    """Give the toy as toy.yaml has it by now; where that can't be used as it was, and why."""
    try:
        return load_project(project.folder).toy, None
    except RigError as trouble:
        return project.toy, str(trouble)


def stamp(folder: Path) -> str:
    """Give what differs where board.yaml, its picture or toy.yaml were changed."""
    folder = Path(folder)
    try:
        there = sorted({*folder.glob("board.*"), folder / "toy.yaml"})
    except OSError:
        return ""
    return " ".join(filter(None, map(_stat, there)))


def _stat(path: Path) -> str:
    """Give what differs where a file was changed; "" where there is none."""
    try:
        facts = path.stat()
    except OSError:
        return ""
    return f"{facts.st_mtime_ns}.{facts.st_size}.{facts.st_ino}"


def place(folder: Path, asked: Any) -> Told:
    """Place a pad, move it, or take its place out, as a tab asks.

    Parameters
    ----------
    folder : Path
    asked : object
        From the tab: `frame` (what its places are told in), `pad`, `was` (its place as the tab knows
        it, or null) and `now` (where it goes, or null).

    Returns
    -------
    dict
        `was` and `now`: where it was, and is.

    Raises
    ------
    PlacedMeanwhile
        It was placed elsewhere since.
    ConfigError
        That can't be done; says why.
    """
    fields = _mapping(asked, ("frame", "pad", "was", "now"))
    places = _framed(folder, fields["frame"])
    pad = fields["pad"]
    if not isinstance(pad, str) or pad not in LETTERS:
        raise ConfigError(f"a pad is one of {LETTERS[0]} to {LETTERS[-1]}")
    was, now = _place(fields["was"]), _place(fields["now"])
    if now is not None:
        if not is_inside(now, places):
            raise ConfigError(f"{now.x:g},{now.y:g} lies outside the picture")
        now = Place(x=_fine(now.x, places.width, places), y=_fine(now.y, places.height, places))
    after = set_places(folder, places, {pad: now}, was={pad: was})
    there = after.pads.get(pad)
    return {"was": was and was.model_dump(), "now": there and there.model_dump()}


def scale(folder: Path, asked: Any) -> Told:
    """Set the scale of the picture, or take it out, as a tab asks.

    Parameters
    ----------
    folder : Path
    asked : object
        From the tab: `frame`, `was` (mm per unit as the tab knows it, or null) and `now`: mm per
        unit, null, or two `points` and the `mm` between them.

    Returns
    -------
    dict
        `was` and `now`, mm per unit or null.

    Raises
    ------
    PlacedMeanwhile, ConfigError
        As `place`.
    """
    fields = _mapping(asked, ("frame", "was", "now"))
    places = _framed(folder, fields["frame"])
    was = None if fields["was"] is None else _number(fields["was"])
    now = fields["now"]
    if isinstance(now, dict):
        now = _by_points(now, places)
    elif now is not None:
        now = _number(now)
        if now <= 0:
            raise ConfigError("mm per unit must be above 0")
    after = set_scale(folder, places, now, was)
    return {"was": was, "now": after.mm_per_unit}


def sides(mine: Place | float | None, theirs: Place | float | None) -> tuple[Any, Any]:
    """Give the two versions of what was changed on both sides, as they are shown."""
    def told(one: Place | float | None) -> Any:
        return {"mm_per_unit": one} if isinstance(one, float) else one and one.model_dump()

    return told(mine), told(theirs)


def _by_points(asked: Any, places: Places) -> float:
    fields = _mapping(asked, ("points", "mm"))
    points = fields["points"]
    if not isinstance(points, list) or len(points) != 2:
        raise ConfigError("the scale needs two points")
    one, other = (_place(point) for point in points)
    if one is None or other is None:
        raise ConfigError("the scale needs two points")
    try:
        return mm_per_unit_of(one, other, _number(fields["mm"]), places)
    except ValueError as trouble:
        raise ConfigError(str(trouble)) from None


def _framed(folder: Path, asked: Any) -> Places:
    """Give the places by now, where they are told in what the tab's are told in."""
    fields = _mapping(asked, FRAME)
    places = load_places(folder)
    if places is None:
        raise ConfigError(f"there is no photo of the board: {ADD_A_PHOTO}")
    if frame(places) != tuple(fields[name] for name in FRAME):
        raise ConfigError(f"{BOARD} has another picture by now: look at it anew, then place pads")
    return places


def _fine(value: float, most: float, places: Places) -> float:
    """Give a coordinate with no more digits than a hand can mean."""
    digits = math.ceil(math.log10(FINE / max(places.width, places.height)))
    return min(most, round(value, max(0, digits)))


def _place(asked: Any) -> Place | None:
    if asked is None:
        return None
    fields = _mapping(asked, ("x", "y"))
    return Place(x=_number(fields["x"]), y=_number(fields["y"]))


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < 1e9:
        raise ConfigError("a number is needed, below 1e9")
    return float(value)


def _mapping(asked: Any, names: Sequence[str]) -> Mapping[str, Any]:
    if not isinstance(asked, dict) or set(asked) != set(names):
        raise ConfigError(f"asked for without one of {', '.join(names)}, or with more")
    return asked
