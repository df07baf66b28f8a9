"""The change of board.yaml that takes in places of pads and the scale; all else in it stays."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from rig.errors import ConfigError
from rig.project.changing import change_text
from rig.project.nets import BOARD
from rig.project.places import Place, Places, checked_places, has_places, places_text
from rig.project.places import place_text as _text
from rig.project.yaml_edit import remove_entry, set_entry
from rig.project.yaml_strict import parse_yaml

HEADING = "Where the pads are on {picture}. `padsweep places` writes here, and so may you."
_LAYOUT = (
    "can't be changed by the program as it is written: let each pad be a line like "
    "`C: {x: 420, y: 310}` below `pads:`"
)


class PlacedMeanwhile(ConfigError):
    """What was to be changed in board.yaml was changed there since it was read; nothing is written.

    Parameters
    ----------
    message : str
    mine : Place, float or None
        What was to be written.
    theirs : Place, float or None
        What is there by now; None: it was taken out.
    """

    def __init__(self, message: str, mine: Place | float | None, theirs: Place | float | None) -> None:
        super().__init__(message)
        self.mine = mine
        self.theirs = theirs


def set_places(
    folder: Path, places: Places, pads: Mapping[str, Place | None],
    mm_per_unit: float | None = None, was: Mapping[str, Place | None] | None = None,
) -> Places:
    """Take places, and the scale if one is given, into board.yaml; all else in it stays.

    Parameters
    ----------
    folder : Path
        The project folder.
    places : Places
        As they were loaded; of a picture without board.yaml they begin it.
    pads : mapping of str to Place or None
        None takes a pad's place out.
    mm_per_unit : float or None
    was : mapping of str to Place or None
        Where these pads were when somebody began to change them; without it that doesn't count.

    Returns
    -------
    Places
        As they are now.

    Raises
    ------
    PlacedMeanwhile
        A pad isn't where it was, nor where it should go.
    ConfigError
        The file can't be written, or holds another picture by now.
    """
    def changed(before: Places, file: Path) -> Places:
        if was is not None:
            for letter, place in pads.items():
                there = before.pads.get(letter)
                if there not in (was.get(letter), place):
                    now = "has no place any more" if there is None else "was moved"
                    raise PlacedMeanwhile(f"{file}: pad {letter} {now} meanwhile", place, there)
        placed: dict[str, Place | None] = {**before.pads, **pads}
        scale = before.mm_per_unit if mm_per_unit is None else mm_per_unit
        kept = {letter: place for letter, place in placed.items() if place is not None}
        return before.model_copy(update={"pads": kept, "mm_per_unit": scale})

    return _change(folder, places, changed)


def set_scale(
    folder: Path, places: Places, mm_per_unit: float | None, was: float | None
) -> Places:
    """Take the scale into board.yaml, or out of it with None; all else in it stays.

    Parameters
    ----------
    folder : Path
    places : Places
        As they were loaded.
    mm_per_unit : float or None
    was : float or None
        What it was when somebody began to change it.

    Raises
    ------
    PlacedMeanwhile
        It isn't what it was, nor what it should be.
    ConfigError
        As `set_places`.
    """
    def changed(before: Places, file: Path) -> Places:
        if before.mm_per_unit not in (was, mm_per_unit):
            raise PlacedMeanwhile(f"{file}: mm_per_unit was changed meanwhile", mm_per_unit,
                                  before.mm_per_unit)
        return before.model_copy(update={"mm_per_unit": mm_per_unit})

    return _change(folder, places, changed)


def _change(folder: Path, places: Places, act: Callable[[Places, Path], Places]) -> Places:
    """Change board.yaml by what is there when it is replaced."""
    file = Path(folder) / BOARD
    after = places

    def changed(text: str) -> str:
        nonlocal after
        before = places.model_copy(update={"pads": {}, "mm_per_unit": None})
        begun = text.strip() and has_places(parse_yaml(text, file))
        if begun:
            before = checked_places(parse_yaml(text, file))
            if frame(before) != frame(places):
                raise ConfigError(f"{file}: its picture was changed meanwhile: place pads anew")
        after = act(before, file)
        if after == before:
            return text
        heading = HEADING.format(picture=after.picture)
        return _edited(text, before, after, file) if begun else text + places_text(after, heading)

    change_text(file, changed)
    return after


def _edited(text: str, before: Places, after: Places, file: Path) -> str:
    """Give the text of board.yaml with what differs between the two."""
    if after.mm_per_unit is None and before.mm_per_unit is not None:
        text = remove_entry(text, ["mm_per_unit"])
    elif after.mm_per_unit != before.mm_per_unit:
        text = set_entry(text, ["mm_per_unit"], f"{after.mm_per_unit:.10g}")
    for letter in before.pads:
        if letter not in after.pads:
            text = remove_entry(text, ["pads", letter])
    for letter, place in after.pads.items():
        if letter not in before.pads:
            text = set_entry(text, ["pads", letter], _text(place))
        elif place != before.pads[letter]:
            text = set_entry(text, ["pads", letter, "x"], f"{place.x:.10g}")
            text = set_entry(text, ["pads", letter, "y"], f"{place.y:.10g}")
    try:
        as_meant = checked_places(parse_yaml(text, file)) == after
    except ConfigError:
        as_meant = False
    if not as_meant:
        raise ConfigError(f"{file}: {_LAYOUT}")
    return text


def frame(places: Places) -> tuple[str, float, float]:
    """Give what a pad's place is told in: the picture, its width and height."""
    return places.picture, places.width, places.height
