"""The build sheet: one printable HTML file for the bench with the soldering iron."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from html import escape
from importlib import resources
from pathlib import Path
from string import Template

from rig.build.controls import Control, propose
from rig.build.drawings import board_overlay, ink_of, reset_wiring, wiring
from rig.build.sayings import after_words, sound_words
from rig.build.series import bands, ohms
from rig.build.shared import clusters, crowded, joints
from rig.build.trials import Pair, Trial
from rig.choose.picks import PICKS, Pick
from rig.errors import ConfigError, SafetyRefusal
from rig.project import Project, path_ohm
from rig.project.electrical import highest_v
from rig.project.places import Places
from rig.project.words import nearest

BAND_INKS = {
    "black": "#111", "brown": "#7a4a21", "red": "#c8281e", "orange": "#ee7d1a",
    "yellow": "#f2d21f", "green": "#2f8f3c", "blue": "#2458b0", "violet": "#7c3f9e",
    "grey": "#8c8c8c", "white": "#fff", "gold": "#c9a227",
}  # fmt: skip

Trials = Mapping[Pair, Sequence[Trial]]


def proposals(
    project: Project, picks: Sequence[Pick], trials: Trials | None = None
) -> list[Control]:
    """Give a control for each pick.

    Parameters
    ----------
    project : Project
    picks : sequence of Pick
    trials : mapping or None
        What the sweep saw, by pair; None where there is no log.

    Raises
    ------
    ConfigError
        There are no picks, or one names a pad that toy.yaml doesn't have.
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
    rig = project.rig
    least, most = (path_ohm(rig, one(rig.series_ohm)) for one in (min, max))
    return [
        propose(
            pick, (trials or {}).get(Pair(pick.pads), ()), least_path_ohm=least,
            most_path_ohm=most,
            volts=highest_v(toy),
        )
        for pick in picks
    ]  # fmt: skip


def make_sheet(
    project: Project, picks: Sequence[Pick], places: Places | None, trials: Trials | None = None
) -> str:
    """Give the build sheet's HTML: self-contained, without scripts or links.

    Parameters
    ----------
    project : Project
    picks : sequence of Pick
        In the person's order.
    places : Places or None
        Where the pads are on the picture.
    trials : mapping or None

    Raises
    ------
    ConfigError, SafetyRefusal
        See `proposals`.
    """
    controls = proposals(project, picks, trials)
    source = resources.files("rig.build").joinpath("sheet.html").read_text("utf-8")
    toy = project.toy
    supply = {"cells": "from cells", "bench": "found on a bench supply"}[toy.supply.source]
    return Template(source).substitute(
        name=escape(toy.name),
        supply=f"{toy.supply.volts:g} V {supply}",
        count="1 bend" if len(picks) == 1 else f"{len(picks)} bends",
        cautions=_cautions(controls),
        board=_board(project, picks, places),
        overview=_overview(project, picks, controls),
        picks="\n".join(
            _pick(project, number, pick, control)
            for number, (pick, control) in enumerate(zip(picks, controls, strict=True), 1)
        ),
        shared=_shared(picks, controls, trials),
        reset=_reset(controls, picks),
        work=_work(project, picks, controls),
        parts=_parts(picks, controls),
    )


def _fitted(picks, controls) -> list[tuple[int, Pick, Control]]:
    return [
        (number, pick, control)
        for number, (pick, control) in enumerate(zip(picks, controls, strict=True), 1)
        if control.kind != "leave out"
    ]


def _items(lines: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{line}</li>" for line in lines) + "</ul>"


def _cautions(controls) -> str:
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
    return f'<div class="caution"><b>Before you begin</b>{_items(lines)}</div>'


def _board(project, picks, places) -> str:
    pads = sorted({p for pick in picks for p in pick.pads}, key=lambda p: (len(p), p))
    drawing = "" if places is None else board_overlay(project.folder, places, picks)
    lost = [p for p in pads if places is None or p not in places.pads]
    text = ""
    if lost:
        text = (
            f"<p>Without a place on the picture: {', '.join(lost)}. Go by the leads on the rig "
            "and the notes below.</p>"
        )
    items = "".join(
        f'<div><span class="pads">{p}</span> {escape(project.toy.pads[p].note)}'
        f'{_rail(project, p)} <span class="small">'
        f"({', '.join(str(n) for n, k in enumerate(picks, 1) if p in k.pads)})</span></div>"
        for p in pads
    )
    return (
        f'{drawing}{text}<div class="padlist">{items}</div><p class="small">In brackets the '
        "bends that use the pad. A supply rail may be taken from any joint of that rail.</p>"
    )


def _rail(project, pad) -> str:
    return ", supply rail" if project.toy.pads[pad].kind == "rail" else ""


def _number(number: int) -> str:
    ink, _ = ink_of(number)
    return f'<span class="number" style="color:{ink};border-color:{ink}">{number}</span>'


def _bands(ohm: float) -> str:
    colours = (*bands(ohm), "gold")
    strips = "".join(f'<span style="background:{BAND_INKS[c]}"></span>' for c in colours)
    return f'<span class="bands">{strips}</span> {", ".join(colours)}'


def _overview(project, picks, controls) -> str:
    rows = []
    for number, (pick, control) in enumerate(zip(picks, controls, strict=True), 1):
        fixed = "" if control.kind == "leave out" else ohms(control.fixed_ohm)
        boxes = "" if control.kind == "leave out" else '<span class="box"></span>'
        rows.append(
            f'<tr><td>{_number(number)}</td><td class="pads">{pick.pads[0]} \u2013 {pick.pads[1]}'
            f"</td><td>{escape(_does(pick))}</td><td>{escape(control.part)}</td>"
            f"<td>{fixed}</td><td>{boxes}</td><td>{boxes}</td></tr>"
        )
    return (
        "<table><tr><th>No.</th><th>Pads</th><th>What it does</th><th>Control</th>"
        "<th>In series</th><th>Fitted</th><th>Works</th></tr>" + "".join(rows) + "</table>"
    )


def _does(pick: Pick) -> str:
    said = sound_words(pick.sound, pick.amount, pick.unit)
    return f"{said}; {after_words(pick.after)}" if pick.after not in (None, "answers") else said


def _pick(project, number, pick, control) -> str:
    a, b = pick.pads
    notes = " \u00b7 ".join(
        f"<b>{p}</b> {escape(project.toy.pads[p].note) or 'no note'}" for p in (a, b)
    )
    heard = ""
    if pick.path_min_ohm is not None:
        low, high = ohms(pick.path_min_ohm), ohms(pick.path_max_ohm or pick.path_min_ohm)
        heard = f"Heard over {low}" + (f" to {high}" if low != high else "") + " of path"
        heard += f", take {pick.touch}." if pick.touch else "."
    head = (
        f"<h3>{_number(number)} &nbsp;{a} \u2013 {b}: {escape(_does(pick))}</h3>"
        + (f'<p class="note">{escape(pick.note)}</p>' if pick.note else "")
        + f'<p class="small">{notes}. {heard}</p>'
    )
    why = f"<p><b>{escape(_capital(control.part))}.</b> {escape(control.why)}</p>"
    if control.kind == "leave out":
        return f'<div class="pick">{head}{why}</div>'
    pot = f"{ohms(control.pot_ohm)}" if control.pot_ohm else ""
    left = (
        wiring(control.kind, (a, b), control.fixed_ohm, pot)
        + f'<p class="small">{ohms(control.fixed_ohm)} (E24): {_bands(control.fixed_ohm)}</p>'
        + f'<p class="small">{escape(control.keep)}</p>'
    )
    right = why + (_items([escape(hint) for hint in control.hints]) if control.hints else "")
    return (
        f'<div class="pick">{head}<div class="two"><div>{left}</div><div>{right}</div></div></div>'
    )


def _shared(picks, controls, trials) -> str:
    fitted = _fitted(picks, controls)
    if not fitted:
        return ""
    kept = [pick for _, pick, _ in fitted]
    numbers = [number for number, _, _ in fitted]
    found = joints(kept, [control.fixed_ohm for _, _, control in fitted], trials)
    if not found:
        return (
            "<h2>Together</h2><p>No two of these share a pad: they may be on together without "
            "joining other pads. How two of them sound together wasn't tried.</p>"
        )
    rows = "".join(
        f'<tr><td class="nowrap">{_number(numbers[j.first - 1])} + '
        f"{_number(numbers[j.second - 1])}</td>"
        f'<td class="pads">{j.pad}</td><td class="pads">{j.joins[0]} \u2013 {j.joins[1]}</td>'
        f"<td>{ohms(j.ohm)} or more</td><td>{escape(j.tried)}</td></tr>"
        for j in found
    )
    lines = []
    for pad, users in crowded(kept).items():
        names = ", ".join(str(numbers[u - 1]) for u in users)
        lines.append(
            f"{names} all use {pad}. If only one at a time is wanted, a rotary switch with {pad} "
            f"on its common lug (one way left free as off) or patch sockets save {len(users) - 1} "
            "wires and can't join the others."
        )
    for users, pads in clusters(kept):
        names = ", ".join(str(numbers[u - 1]) for u in users)
        lines.append(f"All of {names} on: {', '.join(pads)} are joined. Not tried.")
    return (
        "<h2>Together</h2><p>These share a pad. With both on, two other pads are joined through "
        "it, and the three were never tried as one. It may be a new bend or a freeze: try each once, "
        "with the reset at hand.</p>"
        "<table><tr><th>Both on</th><th>Share</th><th>Also joins</th><th>Through</th>"
        f"<th>The two alone, on the rig</th></tr>{rows}</table>" + (_items(lines) if lines else "")
    )


def _reset(controls, picks) -> str:
    stops = [
        str(n) for n, pick in enumerate(picks, 1) if pick.after in ("freeze", "guarded")
    ]  # fmt: skip
    need = f"You will need it: {', '.join(stops)} stops the toy. " if stops else (
        "Bends stop a toy sooner or later. "
    )  # fmt: skip
    return (
        f"<p>{need}Fit a push-button that is closed at rest (normally closed) in the battery's "
        "plus lead: cut the lead, solder one end to each lug. Pressed, it cuts the supply.</p>"
        f"{reset_wiring()}"
        '<p class="small">Left: the plain button; hold it for some seconds, as capacitors keep '
        "the chip alive. Right: a changeover button whose second contact empties them through "
        "100 \u03a9, for toys that don't let go. Mind the current: the button carries the whole "
        "toy.</p>"
    )


def _work(project, picks, controls) -> str:
    fitted = _fitted(picks, controls)
    on = f"turn it on ({escape(', '.join(project.toy.on))}), " if project.toy.on else ""
    steps = [
        "Batteries out. Screws into a cup, in their order. Photograph both sides of the board.",
        (
            "Lay the shell halves open side by side. Find where each control fits behind the shell "
            "and clears the board, the speaker and the screw posts; close the shell to try; then drill."
        ),
        (
            "Cut the wires: thin stranded, 28 to 30 AWG (0.05 to 0.08 mm\u00b2). Length: lay a thread "
            "from the pad to the control with the halves open, and add 3 cm. Tin both ends."
        ),
        (
            f"Reset button first (above). Batteries in, {on}press a key, hear that it is well. Press "
            f"reset, {on}hear it return. Batteries out."
        ),
    ]
    for number, pick, control in fitted:
        a, b = pick.pads
        steps.append(
            f"{_number(number)} {ohms(control.fixed_ohm)} onto pad <b>{a}</b>, short leg; wire "
            f"from it to the {escape(control.kind)}; wire from there to pad <b>{b}</b>. Two to "
            "three seconds of heat a joint. Batteries in, try it, batteries out."
        )
    steps += [
        "A drop of hot glue on each wire beside its joint; none on parts that get warm.",
        "Try the combinations under \u201cTogether\u201d.",
        "Close the shell without pinching a wire, try everything once more.",
    ]
    lines = "".join(f'<li><span class="box"></span>{step}</li>' for step in steps)
    return (
        f'<ol class="work">{lines}</ol><p class="small">Test each bend after its own wires, not at '
        "the end. Of several joints on one track take the easiest: large, at a part's leg, away "
        "from fine tracks.</p>"
    )


def _parts(picks, controls) -> str:
    fitted = _fitted(picks, controls)
    parts = Counter(control.part for _, _, control in fitted)
    rows = [f"<tr><td>{n}</td><td>{escape(part)}</td></tr>" for part, n in parts.items()]
    resistors = Counter(control.fixed_ohm for _, _, control in fitted)
    rows += [
        f"<tr><td>{n}</td><td>resistor {ohms(value)}, 1/4 W, 5 %: {_bands(value)}</td></tr>"
        for value, n in sorted(resistors.items())
    ]
    rows.append("<tr><td>1</td><td>push-button, closed at rest (or changeover with a resistor of "
                "100 \u03a9), for the reset</td></tr>")  # fmt: skip
    wires = 2 * len(fitted)
    rows.append(
        f"<tr><td>{wires}</td><td>wires, pad to control"
        + (f"; {_shared_wires(fitted)}" if _shared_wires(fitted) else "")
        + "</td></tr>"
    )
    return f"<table><tr><th>Count</th><th>Part</th></tr>{''.join(rows)}</table>"


def _shared_wires(fitted) -> str:
    uses = Counter(pad for _, pick, _ in fitted for pad in pick.pads)
    lines = [f"{pad} is used {n} times" for pad, n in sorted(uses.items()) if n > 1]
    if not lines:
        return ""
    return ", ".join(lines) + ": one wire to the pad and short links between the controls will do"


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
