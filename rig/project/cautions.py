"""What isn't refused but should be known before a sweep."""

from __future__ import annotations

import re

from rig.project import ladder
from rig.project.electrical import ASK_ABOVE_MA, MAX_SUPPLY_V, highest_v
from rig.project.models import BAUD, Project

_SUSPECT = re.compile(
    r"\b(li[- ]?(?:ion|po|thium)\w*|lithium|charg(?:er|ing)|mains|adapt[eo]rs?|inverter|"
    r"flash (?:lamp|tube|capacitor)|230 ?v|120 ?v)\b",
    re.IGNORECASE,
)
_KINDS = {
    "rail": re.compile(
        r"\b(batter\w+ (spring|contact|wire|terminal)?,? ?(plus|minus|positive|negative)|"
        r"(plus|minus) of the batter\w+|ground|gnd|vcc|vdd|vss|supply)\b", re.IGNORECASE
    ),
    "clock": re.compile(r"\b(clock|crystal|oscillator|resonator)\b", re.IGNORECASE),
}  # fmt: skip
_PARTS = {"hardware": "controller", "simulated": "simulated", "by-hand": "by_hand"}
"""The part of rig.yaml that is each bench's own."""

REED_OHM = 5.0
"""A contact of a reed relay has far less, also when it is worn."""

SHORT_PRESS_MS, SHORT_DWELL_MS = 30, 300
"""Toys look at their keys every 20 ms or so; what a change is takes longer to hear."""

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
    found += ladder.cautions(rig)
    found += _unmarked(project) + _unlikely(project)
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


def _unmarked(project: Project) -> list[str]:
    """Name the pads whose notes say what their kinds don't."""
    found = []
    for kind, words in _KINDS.items():
        letters = [
            letter for letter, pad in project.toy.pads.items()
            if pad.kind == "signal" and not pad.forbidden and words.search(pad.note)
        ]  # fmt: skip
        if letters:
            found.append(
                f"by {'its note' if len(letters) == 1 else 'their notes'} {', '.join(letters)} "
                f"may be a {kind}: mark what is one `kind: {kind}`"
            )
    return found


def _unlikely(project: Project) -> list[str]:
    """Name values that are likely slips, and parts of rig.yaml that this bench doesn't read."""
    toy, rig = project.toy, project.rig
    found = []
    for key in project.sweep_keys:
        press_ms = toy.keys[key].press_ms
        if rig.bench != "by-hand" and press_ms < SHORT_PRESS_MS:
            found.append(f"key {key} is pressed for {press_ms} ms: many toys don't notice that")
    if rig.timings.dwell_ms < SHORT_DWELL_MS:
        found.append(
            f"in a dwell_ms of {rig.timings.dwell_ms} it can hardly be told what a change is: "
            "1200 is usual"
        )
    if rig.guard.average_ma >= rig.guard.peak_ma:
        found.append(
            f"guard: average_ma of {rig.guard.average_ma} never acts, as peak_ma is "
            f"{rig.guard.peak_ma}"
        )
    if rig.switch == "reed" and rig.switch_ohm > REED_OHM:
        found.append(f"switch_ohm of {rig.switch_ohm:g} is much for a reed contact: 0.2 is usual")
    if rig.bench == "hardware" and rig.controller and rig.controller.baud != BAUD:
        found.append(f"the controller speaks at {BAUD} baud, rig.yaml says {rig.controller.baud}")
    found += [
        f"`bench: {rig.bench}` doesn't read the part `{part}:` of rig.yaml"
        for bench, part in _PARTS.items()
        if bench != rig.bench and getattr(rig, part) is not None
    ]
    return found
