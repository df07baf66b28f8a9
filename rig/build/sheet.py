"""The build sheet: what stands on it, gathered once for both its forms."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from rig.build import line_out
from rig.build.bay import bay
from rig.build.board_map import maps_of
from rig.build.content import (
    Block,
    Drawn,
    Face,
    Map,
    PadNote,
    Paper,
    PickRow,
    Sheet,
    Strong,
    Value,
    runs,
)
from rig.build.drawer import Drawer
from rig.build.drawings import line_out_wiring, rotary_wiring, wiring
from rig.build.evidence import Evidence, Trials, evidence_for, trials_by_pair
from rig.build.fitting import Control
from rig.build.lugs import FACES, holes, lug_notes, lugs, panel
from rig.build.meter import NOTES, meter
from rig.build.parts import parts
from rig.build.patch_bay import bay_of
from rig.build.pieces import bands_of, built_words, capital, fitted, in_series, tag_of
from rig.build.power import Power, measured
from rig.build.several import Kept, by_pair, propose_one
from rig.build.together import Try, tries_of
from rig.build.verified import NOT_VERIFIED, Build, Verified
from rig.build.work import BEFORE, reset, together, work
from rig.choose.find import Find
from rig.choose.picks import PICKS, Pick
from rig.errors import ConfigError, SafetyRefusal
from rig.events import Event
from rig.log import Record
from rig.outcomes import after_words, left_words, like_key_words
from rig.pads import letter_order
from rig.project import Project, path_ohm
from rig.project.asked import asked
from rig.project.electrical import highest_v
from rig.project.hints import nearest
from rig.project.places import Places
from rig.words import ohms


@dataclass(frozen=True)
class Seen:
    """What a sweep knows of some picks: the evidence of each, the trials of every pair, the supply.

    And what was tried of several pads at once.

    Without a sweep there is none, and `trials` is None.
    """

    evidence: Sequence[Evidence]
    trials: Trials | None = None
    tries: Sequence[Try] = ()
    power: Power = field(default_factory=Power)


def see(
    project: Project, picks: Sequence[Pick], records: Sequence[Record] | None,
    events: Iterable[Event] = (), found: Sequence[Find] | None = None,
) -> Seen:
    """Gather what a sweep's records (None: there was no sweep) and events say of the picks.

    `found` are the finds of these records, where they are known already.
    """
    if records is None:
        return Seen([Evidence()] * len(picks))
    trials = trials_by_pair(records)
    evidence = evidence_for(picks, records, project.rig.sweep.false_discovery, found, trials)
    return Seen(evidence, trials, tries_of(records, project), measured(events))


def proposals(project: Project, picks: Sequence[Pick], seen: Seen) -> list[Control]:
    """Give a control for each pair that something is kept of, in the order of `by_pair`.

    Raises
    ------
    ConfigError
        There are no picks, or one names a pad or key that toy.yaml doesn't have.
    SafetyRefusal
        A pick is on a forbidden pad, or joins two rails.
    """
    toy, file = project.toy, project.folder / PICKS
    if not picks:
        raise ConfigError(f"{file}: nothing is picked yet: choose with `padsweep replay`")
    for pick in picks:
        for pad in pick.pads:
            if pad not in toy.pads:
                raise ConfigError(
                    f"{file}: {pick.pair}: there is no pad {pad} in toy.yaml: "
                    f"{nearest(pad, toy.pads)}"
                )
            if toy.pads[pad].forbidden:
                raise SafetyRefusal(f"{file}: {pick.pair}: pad {pad} is forbidden in toy.yaml")
        if all(toy.pads[pad].kind == "rail" for pad in pick.pads):
            raise SafetyRefusal(f"{file}: {pick.pair}: joins two supply rails: take it out")
        keys = [*toy.keys, *("+".join(keys) for _, keys in asked(project))]
        if pick.key is not None and pick.key not in keys:
            raise ConfigError(f"{file}: {pick.pair}: there is no key {pick.key} in toy.yaml: "
                              f"{nearest(pick.key, toy.keys)}")  # fmt: skip
    rig = project.rig
    least, most = (path_ohm(rig, one(rig.swept_ohm)) for one in (min, max))
    return [
        propose_one(kept, least_path_ohm=least, most_path_ohm=most, volts=highest_v(toy),
                    drawer=Drawer.of(rig.parts))
        for kept in by_pair(picks, seen.evidence)
    ]


def make_sheet(
    project: Project, picks: Sequence[Pick], places: Places | None, seen: Seen,
    *, paper: Paper = "a4", face: Face = "outside", with_line_out: bool = False,
    controls: Sequence[Control] | None = None, build: Build = NOT_VERIFIED,
) -> Sheet:
    """Give what stands on the sheet.

    Parameters
    ----------
    project : Project
    picks : sequence of Pick
        In the order of the sheet, at least one.
    places : Places or None
        Where the pads are on the board's picture.
    seen : Seen
    paper, face : str
        See `rig.build.content`.
    with_line_out : bool
        Plan a line out too.
    controls : sequence of Control or None
        What `proposals` gave; None: asked here.
    build : Build
        What the finished build was heard to do.

    Raises
    ------
    ConfigError, SafetyRefusal
        As for `proposals`.
    """
    controls = proposals(project, picks, seen) if controls is None else controls
    kept = by_pair(picks, seen.evidence)
    pairs = [one.pick for one in kept]
    built = [(one.number, kept[one.number - 1].evidence[0]) for one in fitted(pairs, controls)]
    hears = ["; ".join(dict.fromkeys(_does(seen) for seen in one.evidence if seen.find)) for one in kept]
    maps: tuple[Map, ...] = ()
    if places is not None:
        maps = maps_of(project.folder, places, pairs, paper)
    rows = panel(kept, controls, with_line_out)
    return Sheet(
        title=project.toy.name,
        under=f"{len(picks)} kept, {len(built)} to fit, {project.toy.supply.volts:g} V from "
              f"{project.toy.supply.source}",
        paper=paper, face=face, cautions=_cautions(controls, with_line_out),
        maps=maps, map_notes=_map_notes(pairs, places), pads=_pads_used(project, pairs),
        picks=tuple(
            PickRow(tag_of(number), _pads(one.pick), tuple(_titles(one)), control.part,
                    in_series(control), control.fixed_ohm is not None,
                    _works(build.of(one.pick.pair, built_words(control))))
            for number, (one, control) in enumerate(zip(kept, controls, strict=True), 1)
        ),
        blocks=tuple(
            _block(project, number, *one)
            for number, one in enumerate(zip(kept, controls, strict=True), 1)
        ),
        together=together(project, pairs, controls, seen.trials, seen.tries),
        patch_bay=bay(project, bay_of(project, kept, controls, seen.trials or {}),
                      [n for n, one in enumerate(controls, 1) if one.stops]),
        reset=reset(built, seen.power, [n for n, one in enumerate(controls, 1) if one.stops]),
        line_out=Drawn(line_out.LINES, line_out_wiring(), 150.0, (line_out.CHECK,)) if with_line_out else None,
        parts=parts(project, pairs, controls, seen.power, with_line_out),
        before_work=BEFORE, work=work(project, pairs, controls, hears, with_line_out),
        meter_notes=NOTES, meter=meter(pairs, controls),
        lug_notes=lug_notes(controls),
        lugs=lugs(pairs, controls, with_line_out),
        panel_note="Hole and depth of the parts you have: measure them and fill in. Usual sizes are common "
                   "practice, no source; depth is that of the body behind the shell.",
        panel=rows, face_note=FACES[face], holes=holes(rows, face),
        bar_note="Lay a ruler on the bar: it must measure 50 mm, within half a millimetre. If it doesn't, "
                 "print again at 100 %, \u201cactual size\u201d, without fitting to the page.",
    )  # fmt: skip


def _works(verified: Verified) -> str:
    return verified.told if verified.at else ""


def _cautions(controls: Sequence[Control], with_line_out: bool) -> tuple[str, ...]:
    lines = [
        "Batteries out while you solder. Cells only, never an adaptor, also afterwards.",
        (
            "Keep the resistor in series with each control. The rig heard each bend through at "
            "least the resistance given here; less did something else, or wasn't tried and can "
            "harm the chip. To leave one out, first bridge its two pads by hand once, through less "
            "and less, and listen."
        ),
        "Open a window for the fume; wash your hands after lead-bearing solder.",
        "Stop if anything gets warm, or the sound goes weak.",
    ]
    if any(control.kind == "body contacts" for control in controls):
        lines.append("Body contacts carry the toy's own few volts: never while anything that "
                     "plugs into the mains is connected to it, an amplifier included."
                     + (" So never touch them with a plug in the line out." if with_line_out else ""))  # fmt: skip
    return tuple(lines)


def _map_notes(picks: Sequence[Pick], places: Places | None) -> tuple[str, ...]:
    lost = [pad for pad in _letters(picks) if places is None or pad not in places.pads]
    brackets = "In brackets the bends that use the pad. A supply rail may be taken from any joint of that rail."
    if not lost:
        return (brackets,)
    return (
        f"Without a place on the picture: {', '.join(lost)}. Go by the leads on the rig and the notes below.",
        brackets,
    )


def _letters(picks: Sequence[Pick]) -> list[str]:
    return sorted({pad for pick in picks for pad in pick.pads}, key=letter_order)


def _pads_used(project: Project, picks: Sequence[Pick]) -> tuple[PadNote, ...]:
    return tuple(
        PadNote(pad, project.toy.pads[pad].note + _rail(project, pad),
                tuple(number for number, one in enumerate(picks, 1) if pad in one.pads))
        for pad in _letters(picks)
    )  # fmt: skip


def _rail(project: Project, pad: str) -> str:
    return ", supply rail" if project.toy.pads[pad].kind == "rail" else ""


def _pads(pick: Pick) -> str:
    return pick.pair.replace("-", " \u2013 ")


def _titles(kept: Kept) -> list[str]:
    """Say what each pick of a pair does, under the person's own name for it where there is one."""
    return [
        f"{pick.name}: {_does(seen)}" if pick.name else _does(seen)
        for pick, seen in zip(kept.picks, kept.evidence, strict=True)
    ]


def _does(seen: Evidence) -> str:
    """Say what the sweep heard of a pick, and over which path."""
    find = seen.find
    if find is None:
        return "nothing was found" if seen.trials else "not touched"
    said = [] if find.sound == "none" else [find.words]
    if like := like_key_words(find.like_key):
        said.append(like)
    if after := after_words(find.after):
        said.append(after)
    if said and find.best_path_ohm is not None and not find.stops_only:
        said[0] += f" over {ohms(find.best_path_ohm)}"
    if left := left_words(find.changed_presses):
        said.append(left)
    return "; ".join(said)


def _heard(seen: Evidence) -> str:
    """Say over which paths, with which key and in which take a pick was heard."""
    find, paths = seen.find, seen.heard_ohm
    if find is None or not paths:
        return ""
    low, high = ohms(paths[0]), ohms(paths[-1])
    key = f"key {find.key}" if find.key else "no key pressed"
    return (f"Heard again over {low}" + (f" to {high}" if low != high else "")
            + f" of path with {key}, take {find.best_touch}.")  # fmt: skip


def _block(project: Project, number: int, kept: Kept, control: Control) -> Block:
    pick = kept.pick
    where = [
        piece for pad in pick.pads
        for piece in (Strong(pad), f" {project.toy.pads[pad].note or 'no note'} \u00b7 ")
    ]
    where[-1] = where[-1].removesuffix(" \u00b7 ")
    is_fitted = control.fixed_ohm is not None
    return Block(
        tag_of(number), _pads(pick), tuple(_titles(kept)),
        tuple(one.note for one in kept.picks if one.note), runs(*where),
        " ".join(filter(None, dict.fromkeys(map(_heard, kept.evidence)))),
        capital(control.part), control.reason, *(
            (_drawing(pick, control), _values(control), control.keep, control.hints) if is_fitted else ()
        ),
    )  # fmt: skip


def _drawing(pick: Pick, control: Control) -> str:
    if control.positions:
        return rotary_wiring(pick.pads, [one.fixed_ohm for one in control.positions], control.kind)
    pot = ohms(control.pot_ohm) if control.pot_ohm else ""
    return wiring(control.kind, pick.pads, control.fixed_ohm or 0.0, pot)


def _values(control: Control) -> tuple[Value, ...]:
    """Give each resistor with its bands, where there is one of that value."""
    what = [capital(one.what) for one in control.positions] or [""]
    return tuple(
        Value(said, ohms(ohm) + (" (yours)" if yours else "") + (", 5 %" if bands_of(ohm) else ""), bands_of(ohm))
        for said, (ohm, yours) in zip(what, control.resistors, strict=True)
    )
