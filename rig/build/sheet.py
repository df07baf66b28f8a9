"""The build sheet: one printable HTML file for the bench with the soldering iron."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from importlib import resources
from pathlib import Path
from string import Template

from rig.build.drawings import board_overlay, rotary_wiring, wiring
from rig.build.evidence import Evidence, Trials, evidence_for, trials_by_pair
from rig.build.fitting import Control
from rig.build.pieces import bands_drawn, fitted, in_series, items, number_tag
from rig.build.several import Kept, by_pair, propose_one
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
        propose_one(kept, least_path_ohm=least, most_path_ohm=most, volts=highest_v(toy))
        for kept in by_pair(picks, seen.evidence)
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
    kept = by_pair(picks, seen.evidence)
    pairs = [one.pick for one in kept]
    supply = f"{project.toy.supply.volts:g} V from {project.toy.supply.source}"
    template = Template(resources.files("rig.build").joinpath("sheet.html").read_text("utf-8"))
    built = [(one.number, kept[one.number - 1].evidence[0]) for one in fitted(pairs, controls)]
    return template.substitute(
        name=escape(project.toy.name), supply=supply,
        count=f"{len(picks)} kept, {len(built)} to fit",
        cautions=_cautions(controls),
        board=_board(project, pairs, places),
        overview=_overview(kept, controls),
        picks="\n".join(
            _pick(project, number, *one)
            for number, one in enumerate(zip(kept, controls, strict=True), 1)
        ),
        shared=together(project, pairs, controls, seen.trials),
        reset=reset(built),
        work=work(project, pairs, controls),
        parts=parts(pairs, controls),
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


def _overview(kept: Sequence[Kept], controls: Sequence[Control]) -> str:
    rows = []
    for number, (one, control) in enumerate(zip(kept, controls, strict=True), 1):
        fixed = in_series(control)
        boxes = '<span class="box"></span>' if fixed else ""
        rows.append(
            f'<tr><td>{number_tag(number)}</td><td class="pads">{_pads(one.pick)}'
            f"</td><td>{'<br>'.join(map(escape, _titles(one)))}</td><td>{escape(control.part)}</td>"
            f"<td>{fixed}</td><td>{boxes}</td><td>{boxes}</td></tr>"
        )
    return (
        "<table><tr><th>No.</th><th>Pads</th><th>What it does</th><th>Control</th>"
        "<th>In series</th><th>Fitted</th><th>Works</th></tr>" + "".join(rows) + "</table>"
    )


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
    said = [] if find.sound == "none" else [sound_words(find.sound, find.amount, find.unit)]
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
    key = f"key {escape(find.key)}" if find.key else "no key pressed"
    return (f" Heard again over {low}" + (f" to {high}" if low != high else "")
            + f" of path with {key}, take {find.best_touch}.")  # fmt: skip


def _pick(project: Project, number: int, kept: Kept, control: Control) -> str:
    pick = kept.pick
    notes = " \u00b7 ".join(
        f"<b>{p}</b> {escape(project.toy.pads[p].note) or 'no note'}" for p in pick.pads
    )
    heard = "".join(dict.fromkeys(map(_heard, kept.evidence)))
    head = (
        f"<h3>{number_tag(number)} &nbsp;{_pads(pick)}: "
        + "<br>".join(map(escape, _titles(kept))) + "</h3>"
        + "".join(f'<p class="note">{escape(one.note)}</p>' for one in kept.picks if one.note)
        + f'<p class="small">{notes}.{heard}</p>'
    )
    why = f"<p><b>{escape(_capital(control.part))}.</b> {escape(control.why)}</p>"
    if control.fixed_ohm is None:
        return f'<div class="pick">{head}{why}</div>'
    pot = f"{ohms(control.pot_ohm)}" if control.pot_ohm else ""
    if control.positions:
        drawing = rotary_wiring(pick.pads, [one.fixed_ohm for one in control.positions])
    else:
        drawing = wiring(control.kind, pick.pads, control.fixed_ohm, pot)
    values = [_resistor(ohm, yours) for ohm, yours in control.resistors]
    if control.positions:
        told = zip(control.positions, values, strict=True)
        values = [f"{escape(_capital(one.what))}: {value}" for one, value in told]
    left = (
        drawing + "".join(f'<p class="small">{one}</p>' for one in values)
        + f'<p class="small">{escape(control.keep)}</p>'
    )
    right = why + (items([escape(hint) for hint in control.hints]) if control.hints else "")
    return (
        f'<div class="pick">{head}<div class="two"><div>{left}</div><div>{right}</div></div></div>'
    )


def _resistor(ohm: float, yours: bool) -> str:
    """Say a resistor, with its bands where there is one of that value."""
    drawn = bands_drawn(ohm)
    return ohms(ohm) + (" (yours)" if yours else "") + (f", 5 %: {drawn}" if drawn else "")


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
