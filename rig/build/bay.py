"""The sheet's part on the patch bay: its sockets, its cords, its drawing, and what no cord may join."""

from __future__ import annotations

from collections.abc import Sequence

from rig.build.content import Bay, CordRow, Runs, SocketRow, Strong, runs
from rig.build.drawings import bay_wiring
from rig.build.patch_bay import PatchBay
from rig.build.pieces import bands_of, tag_of
from rig.project import Project
from rig.words import ohms

WIDTH_MM = 150.0


def bay(project: Project, proposed: PatchBay | None, stops: Sequence[int]) -> Bay | None:
    """Give the part on the patch bay; None where none is proposed.

    Parameters
    ----------
    project : Project
    proposed : PatchBay or None
    stops : sequence of int
        Numbers of the controls that stop the toy by wish.
    """
    if proposed is None:
        return None
    cords = tuple(
        CordRow(tag_of(one.number), one.pair.replace("-", " \u2013 "), ohms(one.ohm), one.plays)
        for one in proposed.plays
    )
    at = {pad: n for n, (pad, _) in enumerate(proposed.sockets)}
    arcs = []
    for one in proposed.plays:
        first, second = (at[pad] for pad in one.pair.split("-"))
        arcs.append((first, second, tag_of(one.number)))
    count = len(proposed.sockets)
    return Bay(
        (
            ("It would do in place of the controls, and is the cheapest panel (common practice, no source): "
             f"{count} sockets, a resistor at each, a cord or two. Fit it or the controls, not both on one pad."),
            ("Each resistor sits at its pad, short leg; a wire goes from it to its socket. A cord joins two "
             "sockets, and is pulled to end it. One cord at a time, unless two were tried (above): two that "
             "meet in a socket join three pads."),
        ),
        bay_wiring(proposed.sockets, arcs), WIDTH_MM,
        tuple(
            SocketRow(pad, project.toy.pads[pad].note, ohms(ohm) + (", 5 %" if bands_of(ohm) else ""), bands_of(ohm))
            for pad, ohm in proposed.sockets
        ),
        cords, tuple(_lines(proposed, stops)),
    )


def _lines(proposed: PatchBay, stops: Sequence[int]) -> list[Runs]:
    """Say what no cord may join, what was never tried, and what has no place here."""
    lines = [runs(Strong(f"Never join {a} \u2013 {b}"), f": {why}.") for a, b, why in proposed.never]
    if proposed.untried:
        pairs = ", ".join(f"{a} \u2013 {b}" for a, b in proposed.untried)
        lines.append(runs("Never tried over so little: ", Strong(pairs), ". Try each once, with the reset at hand."))
    if proposed.left_out:
        lines.append(runs(f"No cord gives {_numbers(proposed.left_out)}: fit its own control."))
    if stops:
        lines.append(runs(f"{_numbers(stops)} stops the toy: a cord would leave it stuck, so its button stays."))
    return lines


def _numbers(numbers: Sequence[int]) -> str:
    return " and ".join(map(str, numbers))
