"""The build sheet: one printable HTML file for the bench with the soldering iron."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from importlib import resources
from pathlib import Path
from string import Template

from rig.build.controls import Control, propose
from rig.build.drawings import board_overlay, wiring
from rig.build.evidence import Evidence, Trials, evidence_for, trials_by_pair
from rig.build.pieces import bands_drawn, fitted, items, number_tag
from rig.build.work import parts, reset, together, work
from rig.choose.picks import PICKS, Pick
from rig.errors import ConfigError, SafetyRefusal
from rig.log import Record
from rig.outcomes import after_words, left_words, like_key_words, sound_words
from rig.project import Project, path_ohm
from rig.project.asked import asked
from rig.project.electrical import highest_v
from rig.project.hints import nearest
from rig.project.places import Places
from rig.words import ohms


@dataclass(frozen=True)
class Seen:
    """What a sweep knows of some picks: the evidence of each, and the trials of every pair.

    Without a sweep there is none, and `trials` is None.
    """

    evidence: Sequence[Evidence]
    trials: Trials | None = None


def see(
    picks: Sequence[Pick], records: Sequence[Record] | None, false_discovery: float
) -> Seen:
    """Gather what a sweep's records (None: there was no sweep) say of the picks."""
    if records is None:
        return Seen([Evidence()] * len(picks))
    return Seen(evidence_for(picks, records, false_discovery), trials_by_pair(records))


def proposals(project: Project, picks: Sequence[Pick], seen: Seen) -> list[Control]:
    """Give a control for each pick.

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
        propose(pick, evidence, least_path_ohm=least, most_path_ohm=most, volts=highest_v(toy))
        for pick, evidence in zip(picks, seen.evidence, strict=True)
    ]


def make_sheet(
    project: Project, picks: Sequence[Pick], places: Places | None, seen: Seen
) -> str:
    """Give the sheet as HTML: one file, nothing from elsewhere, made for paper.

    Parameters
    ----------
    project : Project
    picks : sequence of Pick
        In the order of the sheet, at least one.
    places : Places or None
        Where the pads are on the board's picture.
    seen : Seen

    Raises
    ------
    ConfigError, SafetyRefusal
        As for `proposals`.
    """
    controls = proposals(project, picks, seen)
    supply = f"{project.toy.supply.volts:g} V from {project.toy.supply.source}"
    template = Template(resources.files("rig.build").joinpath("sheet.html").read_text("utf-8"))
    built = [(one.number, seen.evidence[one.number - 1]) for one in fitted(picks, controls)]
    return template.substitute(
        name=escape(project.toy.name), supply=supply,
        count=f"{len(picks)} kept, {len(built)} to fit",
        cautions=_cautions(controls),
        board=_board(project, picks, places),
        overview=_overview(picks, controls, seen.evidence),
        picks="\n".join(
            _pick(project, number, *one)
            for number, one in enumerate(zip(picks, controls, seen.evidence, strict=True), 1)
        ),
        shared=together(project, picks, controls, seen.trials),
        reset=reset(built),
        work=work(project, picks, controls),
        parts=parts(picks, controls),
    )


def _cautions(controls: Sequence[Control]) -> str:
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
                     "plugs into the mains is connected to it, an amplifier included.")  # fmt: skip
    return f'<div class="caution"><b>Before you begin</b>{items(lines)}</div>'


def _board(project: Project, picks: Sequence[Pick], places: Places | None) -> str:
    pads = sorted({p for pick in picks for p in pick.pads}, key=lambda p: (len(p), p))
    drawing = "" if places is None else board_overlay(project.folder, places, picks)
    lost = [p for p in pads if places is None or p not in places.pads]
    text = ""
    if lost:
        text = (
            f"<p>Without a place on the picture: {', '.join(lost)}. Go by the leads on the rig "
            "and the notes below.</p>"
        )
    listed = "".join(
        f'<div><span class="pads">{p}</span> {escape(project.toy.pads[p].note)}'
        f'{_rail(project, p)} <span class="small">'
        f"({', '.join(str(n) for n, k in enumerate(picks, 1) if p in k.pads)})</span></div>"
        for p in pads
    )
    return (
        f'{drawing}{text}<div class="padlist">{listed}</div><p class="small">In brackets the '
        "bends that use the pad. A supply rail may be taken from any joint of that rail.</p>"
    )


def _rail(project: Project, pad: str) -> str:
    return ", supply rail" if project.toy.pads[pad].kind == "rail" else ""


def _overview(
    picks: Sequence[Pick], controls: Sequence[Control], evidence: Sequence[Evidence]
) -> str:
    rows = []
    for number, (pick, control, seen) in enumerate(zip(picks, controls, evidence, strict=True), 1):
        fixed = _value(control)
        boxes = '<span class="box"></span>' if fixed else ""
        rows.append(
            f'<tr><td>{number_tag(number)}</td><td class="pads">{_pads(pick)}'
            f"</td><td>{escape(_title(pick, seen))}</td><td>{escape(control.part)}</td>"
            f"<td>{fixed}</td><td>{boxes}</td><td>{boxes}</td></tr>"
        )
    return (
        "<table><tr><th>No.</th><th>Pads</th><th>What it does</th><th>Control</th>"
        "<th>In series</th><th>Fitted</th><th>Works</th></tr>" + "".join(rows) + "</table>"
    )


def _pads(pick: Pick) -> str:
    return pick.pair.replace("-", " \u2013 ")


def _value(control: Control) -> str:
    """Give the resistor in series, "" where there is no control."""
    if control.fixed_ohm is None:
        return ""
    return ohms(control.fixed_ohm) + (" (yours)" if control.yours else "")


def _title(pick: Pick, seen: Evidence) -> str:
    """Say what a pick does, under the person's own name for it where there is one."""
    return f"{pick.name}: {_does(seen)}" if pick.name else _does(seen)


def _does(seen: Evidence) -> str:
    """Say what the sweep heard of a pair."""
    find = seen.find
    if find is None:
        return "nothing was found" if seen.trials else "not touched"
    said = [] if find.sound == "none" else [sound_words(find.sound, find.amount, find.unit)]
    said += filter(None, (
        like_key_words(find.like_key), after_words(find.after), left_words(find.changed_presses)
    ))
    return "; ".join(said)


def _pick(project: Project, number: int, pick: Pick, control: Control, seen: Evidence) -> str:
    notes = " \u00b7 ".join(
        f"<b>{p}</b> {escape(project.toy.pads[p].note) or 'no note'}" for p in pick.pads
    )
    heard, paths = "", seen.heard_ohm
    if seen.find is not None and paths:
        low, high = ohms(paths[0]), ohms(paths[-1])
        heard = f" Heard again over {low}" + (f" to {high}" if low != high else "") + " of path"
        key = f"key {escape(seen.find.key)}" if seen.find.key else "no key pressed"
        heard += f" with {key}, take {seen.find.best_touch}."
    head = (
        f"<h3>{number_tag(number)} &nbsp;{_pads(pick)}: {escape(_title(pick, seen))}</h3>"
        + (f'<p class="note">{escape(pick.note)}</p>' if pick.note else "")
        + f'<p class="small">{notes}.{heard}</p>'
    )
    why = f"<p><b>{escape(_capital(control.part))}.</b> {escape(control.why)}</p>"
    if control.fixed_ohm is None:
        return f'<div class="pick">{head}{why}</div>'
    pot = f"{ohms(control.pot_ohm)}" if control.pot_ohm else ""
    drawn = bands_drawn(control.fixed_ohm)
    left = (
        wiring(control.kind, pick.pads, control.fixed_ohm, pot)
        + f'<p class="small">{_value(control)}' + (f", 5 %: {drawn}" if drawn else "") + "</p>"
        + f'<p class="small">{escape(control.keep)}</p>'
    )
    right = why + (items([escape(hint) for hint in control.hints]) if control.hints else "")
    return (
        f'<div class="pick">{head}<div class="two"><div>{left}</div><div>{right}</div></div></div>'
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def write_sheet(path: Path, html: str) -> None:
    """Write the sheet, whole or not at all. Raises `ConfigError`."""
    path = Path(path)
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(html, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise ConfigError(f"{path} can't be written: {error.strerror}") from None
