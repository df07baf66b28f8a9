"""The sheet's last parts: bends that share a pad, the reset, the order of work, the parts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from html import escape

from rig.build.drawings import reset_wiring
from rig.build.evidence import Evidence, Trials
from rig.build.fitting import Control
from rig.build.pieces import Fitted, bands_drawn, fitted, items, number_tag
from rig.build.shared import Joint, clusters, crowded, far_stops, joints
from rig.choose.picks import Pick
from rig.project import Project
from rig.project.electrical import current_ma
from rig.words import ohms


def together(
    project: Project, picks: Sequence[Pick], controls: Sequence[Control], trials: Trials | None
) -> str:
    """Give the part on picks that share a pad."""
    built = fitted(picks, controls)
    if not built:
        return ""
    kept = [one.pick for one in built]
    numbers = [one.number for one in built]
    fixed_ohm = [one.ohm for one in built]
    found = joints(kept, fixed_ohm, trials)
    if not found:
        return (
            "<h2>Together</h2><p>No two of these share a pad: they may be on together without "
            "joining other pads. How two of them sound together wasn't tried.</p>"
        )
    rows = "".join(
        f'<tr><td class="nowrap">{number_tag(numbers[j.first - 1])} + '
        f"{number_tag(numbers[j.second - 1])}</td>"
        f'<td class="pads">{j.pad}</td><td class="pads">{j.joins[0]} \u2013 {j.joins[1]}</td>'
        f"<td>{ohms(j.ohm)} or more</td><td>{_known(project, j)}</td></tr>"
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
        far = far_stops([kept[u - 1] for u in users], [fixed_ohm[u - 1] for u in users], trials)
        stops = "".join(f" <b>{a} \u2013 {b} will stop the toy</b>: {escape(tried)}." for a, b, tried in far)
        lines.append(f"All of {names} on: {', '.join(pads)} are joined. Not tried as one.{stops}")
    return (
        "<h2>Together</h2><p>These share a pad. With both on, two other pads are joined through "
        "it, and the three were never tried as one. "
        "Where the last column doesn't say what will happen, it may be a new bend or a freeze: try "
        "each once, with the reset at hand.</p>"
        "<table><tr><th>Both on</th><th>Share</th><th>Also joins</th><th>Through</th>"
        f"<th>The two alone, on the rig</th></tr>{rows}</table>" + (items(lines) if lines else "")
    )


def _known(project: Project, joint: Joint) -> str:
    """Say what is known of the two pads that two controls join."""
    if joint.stops:
        return f"<b>will stop the toy</b>: {escape(joint.tried)}. Fit them so that only one can be on."
    if all(project.toy.pads[pad].kind == "rail" for pad in joint.joins):
        drawn_ma = current_ma(project.toy, joint.ohm)
        return (f"both supply rails: up to {drawn_ma:.2g} mA from the cells while both are on. Fit "
                "them so that only one can be on.")  # fmt: skip
    return escape(joint.tried)


def reset(built: Sequence[tuple[int, Evidence]]) -> str:
    """Give the part on the reset button; of each pick that is fitted, its number and evidence."""
    stops = [str(number) for number, seen in built if seen.stopped_ohm is not None]
    need = (
        f"The pads of {', '.join(stops)} stopped the toy in the sweep. "
        if stops else "Bends stop a toy sooner or later. "
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


def work(project: Project, picks: Sequence[Pick], controls: Sequence[Control]) -> str:
    """Give the order of work, with boxes to tick."""
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
    for one in fitted(picks, controls):
        a, b = one.pick.pads
        if one.control.positions:
            values = ", ".join(ohms(ohm) for ohm, _ in one.control.resistors)
            steps.append(
                f"{number_tag(one.number)} {values}, short legs, each onto a lug of the rotary switch, "
                "one lug left free as off; their other legs together, and wire from there to pad "
                f"<b>{b}</b>; wire from the common lug to pad <b>{a}</b>. Two to three seconds of heat "
                "a joint. Batteries in, try each position, batteries out."
            )
            continue
        steps.append(
            f"{number_tag(one.number)} {ohms(one.ohm)} onto pad <b>{a}</b>, short leg; wire from it "
            f"to the {escape(one.control.kind)}; wire from there to pad <b>{b}</b>. Two to three "
            "seconds of heat a joint. Batteries in, try it, batteries out."
        )
    steps += [
        "A drop of hot glue on each wire beside its joint; none on parts that get warm.",
        "Try the combinations under \u201cTogether\u201d, but for those that will stop the toy.",
        "Close the shell without pinching a wire, try everything once more.",
    ]
    lines = "".join(f'<li><span class="box"></span>{step}</li>' for step in steps)
    return (
        f'<ol class="work">{lines}</ol><p class="small">Test each bend after its own wires, not at '
        "the end. Of several joints on one track take the easiest: large, at a part's leg, away "
        "from fine tracks.</p>"
    )


def parts(picks: Sequence[Pick], controls: Sequence[Control]) -> str:
    """Give the list of parts and wires."""
    built = fitted(picks, controls)
    controls_of = Counter(one.control.part for one in built)
    rows = [f"<tr><td>{n}</td><td>{escape(part)}</td></tr>" for part, n in controls_of.items()]
    resistors = Counter(ohm for one in built for ohm, _ in one.control.resistors)
    rows += [
        f"<tr><td>{n}</td><td>{_resistor(value)}</td></tr>"
        for value, n in sorted(resistors.items())
    ]
    rows.append("<tr><td>1</td><td>push-button, closed at rest (or changeover with a resistor of "
                "100 \u03a9), for the reset</td></tr>")  # fmt: skip
    wires, shared = 2 * len(built), _shared_wires(built)
    rows.append(
        f"<tr><td>{wires}</td><td>wires, pad to control"
        + (f"; {shared}" if shared else "")
        + "</td></tr>"
    )
    return f"<table><tr><th>Count</th><th>Part</th></tr>{''.join(rows)}</table>"


def _resistor(ohm: float) -> str:
    drawn = bands_drawn(ohm)
    return f"resistor {ohms(ohm)}, 1/4 W, " + (f"5 %: {drawn}" if drawn else "as you wished it")


def _shared_wires(built: Sequence[Fitted]) -> str:
    uses = Counter(pad for one in built for pad in one.pick.pads)
    lines = [f"{pad} is used {n} times" for pad, n in sorted(uses.items()) if n > 1]
    if not lines:
        return ""
    return ", ".join(lines) + ": one wire to the pad and short links between the controls will do"
