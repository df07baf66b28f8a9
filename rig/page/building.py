"""What is built of what was kept: each control, its positions to hear, what two do at once."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from rig.build.board_map import ink_of
from rig.build.patch_bay import PatchBay
from rig.build.pieces import built_words, capital, in_series
from rig.build.positions import Position, heard_at
from rig.build.proposing import Board, Proposed, propose_all
from rig.build.together import Combination
from rig.build.verified import Build, load_build
from rig.choose import load_picks
from rig.choose.telling import path_words, what
from rig.errors import RigError
from rig.log import Record
from rig.outcomes import AFTERS, sound_words
from rig.page.night import Night, Seen
from rig.project import Project, load_project
from rig.words import ohms

VERDICTS = {"freezes": "stops", "safe": "tried", "not known": "unknown"}
Told = dict[str, Any]


def building(night: Night) -> Told:
    """Give all that the build view shows.

    Files of the folder are read anew, so that it says what `padsweep controls` would.

    Parameters
    ----------
    night : Night

    Returns
    -------
    dict
        `trouble`: why nothing can be proposed, or None; `controls` (each with its `picks`,
        `positions` and what it was `verified` to do), `together`, `patch_bay` (lines), `asked` (what
        the rig could still measure, lines), and `verified`: what was heard of the whole build.
    """
    seen = night.seen()
    folder = night.project.folder
    empty: Told = {"trouble": None, "controls": [], "together": [], "patch_bay": [], "asked": [],
                   "verified": ""}  # fmt: skip
    try:
        project = load_project(folder)
        picks = load_picks(folder)
        if not picks:
            return empty
        board = propose_all(project, picks, seen.records if night.is_begun else None, seen.found)
        build = load_build(folder)
    except RigError as trouble:
        return empty | {"trouble": str(trouble)}
    numbered: dict[int, list[Proposed]] = defaultdict(list)
    for one in board.picks:
        numbered[one.number].append(one)
    takes = _takes(seen, {one.pick.pair for one in board.picks})
    return {
        "trouble": None,
        "controls": [_control(number, mine, project, takes, build) for number, mine in sorted(numbered.items())],
        "together": [_combination(one) for one in board.together],
        "patch_bay": _patch_bay(board.patch_bay), "asked": _asked(project, night.name, board),
        "verified": _verified(project, build),
    }  # fmt: skip


def _takes(seen: Seen, pairs: set[str]) -> Mapping[str, Sequence[Record]]:
    """Give the touches of some pairs that can be heard."""
    made: dict[str, list[Record]] = defaultdict(list)
    for one in seen.records:
        if one.take and one.counts and (name := one.target.in_order().name) in pairs:
            made[name].append(one)
    return made


def _control(
    number: int, mine: Sequence[Proposed], project: Project, takes: Mapping[str, Sequence[Record]],
    build: Build,
) -> Told:
    """Tell one control, and all that is kept of its pair."""
    first = mine[0]
    control, pair = first.control, first.pick.pair
    find = first.evidence.find
    verified = build.of(pair, built_words(control))
    places = heard_at(control, pair, first.key, takes.get(pair, ()))
    return {
        "number": number, "ink": ink_of(number)[0], "pair": pair, "kind": control.kind,
        "pads": [{"pad": pad, "note": project.toy.pads[pad].note} for pad in first.pick.pads],
        "part": capital(control.part), "fitted": control.fixed_ohm is not None,
        "in_series": in_series(control).replace(" (yours)", ", yours"), "why": control.why,
        "warning": control.warning, "keep": control.keep, "hints": list(control.hints),
        "course": _course(first), "plain": find.baseline_touch if find is not None else None,
        "positions": [_position(one) for one in places], "turns": control.knob is not None,
        "picks": [_pick(one) for one in mine],
        "verified": {"verdict": verified.verdict, "words": verified.words, "next": verified.next_step,
                     "at": verified.at[:10]} if verified.at else None,
    }  # fmt: skip


def _course(one: Proposed) -> str:
    """Say what isn't measured, where the reason doesn't say it."""
    course = one.course
    if course is None or course.is_measured or course.told in one.control.why:
        return ""
    return course.told


def _pick(one: Proposed) -> Told:
    """Tell one sound that was kept: its entry in the file, and what there is to hear."""
    find = one.evidence.find
    return {
        "label": one.pick.label, "entry": asdict(one.pick), "says": what(find) if find is not None else "",
        "at": "" if one.at_ohm is None else ohms(one.at_ohm),
        "range": path_words(find) if find is not None else "",
        "touch": find.best_touch if find is not None else None,
        "plain": find.baseline_touch if find is not None else None,
    }  # fmt: skip


def _position(one: Position) -> Told:
    """Tell a position: what it comes to, and the take that is nearest."""
    record = one.record
    said = [] if record.sound == "none" else [sound_words(record.sound, record.amount, record.unit)]
    if record.after is not None and AFTERS[record.after].told:
        said.append(AFTERS[record.after].told)
    return {
        "number": one.number, "of": one.of, "text": ohms(one.path_ohm), "touch": record.number,
        "says": ", ".join(said) or "as plain",
        "far": f"touched over {ohms(record.path_ohm or 0.0)}" if one.is_far else "",
    }  # fmt: skip


def _combination(one: Combination) -> Told:
    return {"numbers": [one.first, one.second], "pairs": list(one.pairs), "verdict": VERDICTS[one.verdict],
            "told": one.told, "wiring": one.wiring, "joins": list(one.joins or ())}  # fmt: skip


def _patch_bay(bay: PatchBay | None) -> list[str]:
    """Tell the patch bay in lines; none where there is none."""
    if bay is None:
        return []
    plays = ", ".join(f"{one.pair} {ohms(one.ohm)}" for one in bay.plays)
    lines = [
        "A socket for each pad with its resistor, and a cord: "
        + ", ".join(f"{pad} {ohms(ohm)}" for pad, ohm in bay.sockets) + ".",
        f"A cord plays: {plays or 'none of them'}.",
    ]  # fmt: skip
    if bay.left_out:
        lines.append(f"Not by a cord, fit its own control: {', '.join(map(str, bay.left_out))}.")
    if bay.never:
        lines.append("Never join: " + "; ".join(f"{a}-{b}, {why}" for a, b, why in bay.never) + ".")
    if bay.untried:
        lines.append("Never tried over so little: " + ", ".join(f"{a}-{b}" for a, b in bay.untried) + ".")
    return lines


def _asked(project: Project, name: str, board: Board) -> list[str]:
    """Give the commands that would tell more."""
    again = f"padsweep controls --project {project.folder}" + ("" if name == "main" else f" --name {name}")
    lines = []
    if not all(one.course.is_measured for one in board.picks if one.course):
        lines.append(f"Not all is measured yet: `{again} --measure` does.")
    if any(one.told == "never tried" for one in board.together):
        lines.append(f"Not all was tried together: `{again} --together` does.")
    return lines


def _verified(project: Project, build: Build) -> str:
    """Say what was heard of the whole build."""
    if not build.controls:
        return f"Once it is soldered, `padsweep verify --project {project.folder}` goes through it with you."
    toy = "All controls open, the toy is itself." if build.is_itself else f"All controls open: {build.toy}."
    return toy if build.is_done else f"{toy} It wasn't gone through to the end."
