"""What isn't refused but should be known before a sweep."""

from __future__ import annotations

import re

from rig.project.electrical import ASK_ABOVE_MA, MAX_SUPPLY_V, highest_v
from rig.project.models import Project

_SUSPECT = re.compile(
    r"\b(li[- ]?(?:ion|po|thium)\w*|lithium|charg(?:er|ing)|mains|adapt[eo]rs?|inverter|"
    r"flash (?:lamp|tube|capacitor)|230 ?v|120 ?v)\b",
    re.IGNORECASE,
)
_SPEAKER = re.compile(r"\b(speaker|loudspeaker|spkr?)\b", re.IGNORECASE)


def cautions(project: Project) -> list[str]:
    """Give the cautions of a set-up, one line each, the gravest first."""
    toy, rig = project.toy, project.rig
    found = []
    texts = [("name", toy.name)]
    texts += [(f"note of pad {letter}", pad.note) for letter, pad in toy.pads.items()]
    texts += [(f"note of key {name}", key.note) for name, key in toy.keys.items()]
    for where, text in texts:
        match = _SUSPECT.search(text)
        if match:
            found.append(
                f'the {where} speaks of "{match.group(0)}": never a toy with a lithium pack, '
                "charger, flash, inverter or mains lead"
            )
    if rig.current_limit_ma > ASK_ABOVE_MA:
        found.append(f"the current limit of {rig.current_limit_ma:g} mA can kill a toy's chip")
    if highest_v(toy) > MAX_SUPPLY_V:
        found.append(f"fresh cells will give {highest_v(toy):.1f} V: use part-used ones")
    rails = [letter for letter, pad in toy.pads.items() if pad.kind == "rail"]
    if not rails:
        found.append("no pad is marked `kind: rail`: mark battery plus, minus and ground if a lead "
                     "is on them")  # fmt: skip
    speakers = [
        letter for letter, pad in toy.pads.items()
        if _SPEAKER.search(pad.note) and not pad.forbidden
    ]  # fmt: skip
    if len(speakers) > 1:
        found.append(
            f"pads {', '.join(speakers)} are at the speaker: leave its wires alone, "
            "mark them `forbidden: true`"
        )
    if rig.bench == "hardware":
        found.append("no adaptor in the toy; leads' resistors at the pads' ends; nothing warm to "
                     "the touch")  # fmt: skip
        if rig.switch != "reed":
            found.append(f"a {rig.switch} must have its own supply before the toy gets one")
    if rig.bench == "by-hand":
        found.append("batteries only, no adaptor; keep the tips off battery plus, minus and ground "
                     "together; stop if anything gets warm or the sound weak")  # fmt: skip
    return found
