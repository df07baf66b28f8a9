"""Which lug of a control goes to which pad, and what the controls take up on the shell."""

from __future__ import annotations

from collections.abc import Sequence

from rig.build import line_out
from rig.build.content import Face, Hole, LugRow, PanelRow
from rig.build.drawings import hole_drawing
from rig.build.evidence import Evidence
from rig.build.fitting import Control
from rig.build.pieces import Fitted, fitted, tag_of
from rig.build.power import BLEED_OHM
from rig.build.several import Kept
from rig.choose.picks import Pick
from rig.outcomes import sound_words
from rig.words import ohms

POT_LUGS = ("Lugs of a potentiometer as its shaft points at you and they point down. Turned, a meter "
            "from pad to pad must go as its table says: if it goes the other way, take the other outer lug.")  # fmt: skip


def ends(one: Fitted) -> tuple[tuple[str, str], ...]:
    """Give each lug of a control and where it goes; those that stay free too."""
    a, b = one.pick.pads
    first, second = f"{ohms(one.ohm)} at pad {a}", f"pad {b}"
    control = one.control
    if control.positions:
        return (
            ("common", f"pad {a}"), ("first position", "free: off"),
            *((f"position {n}", f"{ohms(ohm)}, on to pad {b}")
              for n, (ohm, _) in enumerate(control.resistors, 2)),
        )  # fmt: skip
    if not control.lowers:
        return ("left", first), ("middle and right, joined", second)
    return _LUGS.get(control.kind, lambda first, second: (("one", first), ("other", second)))(first, second)


def _toggle(first: str, second: str) -> tuple[tuple[str, str], ...]:
    return ("middle", first), ("outer", second), ("other outer", "free")


def _knob(first: str, second: str) -> tuple[tuple[str, str], ...]:
    return ("right", first), ("middle and left, joined", second)


def _either(first: str, second: str) -> tuple[tuple[str, str], ...]:
    return ("either", first), ("the other", second)


def _domes(first: str, second: str) -> tuple[tuple[str, str], ...]:
    return ("one dome", first), ("the other dome", second)


_LUGS = {
    "toggle": _toggle, "push-button": _either, "potentiometer": _knob, "photocell": _either,
    "body contacts": _domes,
}  # fmt: skip


def lugs(
    picks: Sequence[Pick], controls: Sequence[Control], with_line_out: bool
) -> tuple[LugRow, ...]:
    """Give a row for each lug of all that is fitted, the reset and the line out included."""
    rows = [
        LugRow(tag_of(one.number), one.control.kind, lug, goes)
        for one in fitted(picks, controls) for lug, goes in ends(one)
    ]
    rows += [
        LugRow(None, "reset", "common", "board plus"),
        LugRow(None, "reset", "closed at rest", "battery plus"),
        LugRow(None, "reset", "closed while pressed", f"{ohms(BLEED_OHM)}, on to battery minus"),
    ]
    if with_line_out:
        rows += [LugRow(None, "line out", lug, goes) for lug, goes in line_out.LUGS]
    return tuple(rows)


def lug_notes(controls: Sequence[Control]) -> tuple[str, ...]:
    """Give what is to be known of the lugs: of knobs, and of a button that stops the toy."""
    stops = [str(n) for n, one in enumerate(controls, 1) if one.stops]
    notes = [POT_LUGS] if any(one.pot_ohm for one in controls) else []
    if stops:
        notes.append(f"The button of {' and '.join(stops)} stops the toy: only its own two lugs, which meet "
                     "while it is pressed; nothing of it goes to the reset button's.")  # fmt: skip
    return tuple(notes)


SIZES: dict[str, tuple[float, str]] = {
    "toggle": (6.0, "20\u00a0mm"), "push-button": (7.0, "20\u00a0mm"), "potentiometer": (7.0, "15\u00a0mm"),
    "photocell": (5.0, "10\u00a0mm"), "body contacts": (4.0, "10\u00a0mm"), "rotary switch": (10.0, "30\u00a0mm"),
    "stepped switch": (10.0, "30\u00a0mm"), "patch bay": (6.0, "20\u00a0mm"),
}  # fmt: skip
"""Usual hole, mm, and depth of the body behind the shell (common practice, no source)."""
RESET_SIZE, JACK_SIZE = (7.0, "25\u00a0mm"), (9.5, "30\u00a0mm")
NOT_KNOWN = (6.0, "")

FACES = {
    "outside": "For the OUTSIDE of the shell, the face that is seen: lay it on that face, print up. "
               "Laid inside it is mirrored, and mirrored holes ruin a shell.",
    "inside": "For the INSIDE of the shell, where the parts sit: its rows run from right to left, so "
              "that they come out in order outside. Lay it inside, print up. Never on the outside.",
}  # fmt: skip


def panel(
    kept: Sequence[Kept], controls: Sequence[Control], with_line_out: bool
) -> tuple[PanelRow, ...]:
    """Give a row for each control on the shell, in the order of the sheet.

    Body contacts are two domes, so two holes.
    """
    rows = [
        PanelRow(tag_of(one.number), _name(kept[one.number - 1]), one.control.kind,
                 *_usual(SIZES.get(one.control.kind, NOT_KNOWN), one.control.kind))
        for one in fitted([each.pick for each in kept], controls)
    ]  # fmt: skip
    rows.append(PanelRow(None, "Reset", "push-button", *_usual(RESET_SIZE)))
    if with_line_out:
        rows.append(PanelRow(None, "Line out", "jack", *_usual(JACK_SIZE)))
    return tuple(rows)


def _usual(size: tuple[float, str], kind: str = "") -> tuple[str, str]:
    hole_mm, depth = size
    return ("2\u00a0×\u00a0" if kind == "body contacts" else "") + f"{hole_mm:g}\u00a0mm", depth


def _name(kept: Kept) -> str:
    """Name a control by the person's own names, else by what it does."""
    own = [one.name for one in kept.picks if one.name]
    return " / ".join(own) or next(filter(None, map(_short, kept.evidence)), "")


def _short(seen: Evidence) -> str:
    find = seen.find
    if find is None or find.sound == "none":
        return ""
    return sound_words(find.sound, None, None)


ROW = 5
"""Holes in a row of the template."""


def holes(rows: Sequence[PanelRow], face: Face) -> tuple[Hole, ...]:
    """Give the holes of the template, row by row from the left; those for the inside are mirrored."""
    made: list[Hole] = []
    for row in rows:
        each = SIZES.get(row.part, NOT_KNOWN)
        if row.tag is None:
            each = JACK_SIZE if row.part == "jack" else RESET_SIZE
        svg, width_mm, height_mm = hole_drawing(each[0], 2 if row.part == "body contacts" else 1)
        made.append(Hole(row.tag, row.name, svg, width_mm, height_mm))
    if face == "outside":
        return tuple(made)
    return tuple(one for at in range(0, len(made), ROW) for one in reversed(_filled(made[at:at + ROW])))


def _filled(row: list[Hole]) -> list[Hole]:
    return row + [Hole(None, "", "", 0.0, 0.0)] * (ROW - len(row))
