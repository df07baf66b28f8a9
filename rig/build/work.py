"""The sheet's middle parts: bends that share a pad, the reset, the order of work."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

from rig.build.content import Drawn, JointRow, Runs, Step, Strong, Together, runs
from rig.build.drawings import reset_wiring
from rig.build.evidence import Evidence, Trials
from rig.build.fitting import Control
from rig.build.lugs import ends
from rig.build.pieces import Fitted, fitted, tag_of
from rig.build.power import BLEED_OHM, Power, current_words, hold_words
from rig.build.series import at_least
from rig.build.shared import Joint, clusters, crowded, far_stops, joints
from rig.build.together import Known, Try, known_of
from rig.choose.picks import Pick
from rig.pads import letter_order
from rig.project import Project
from rig.project.electrical import current_ma
from rig.words import ohms


def together(
    project: Project, picks: Sequence[Pick], controls: Sequence[Control], trials: Trials | None,
    tries: Sequence[Try],
) -> Together | None:
    """Give the part on picks that are on at once; None where nothing is fitted."""
    built = fitted(picks, controls)
    if not built:
        return None
    ended = {one.number for one in built if one.control.stops}
    tried = {
        (one.number, other.number): known for one, other in combinations(built, 2)
        if not {one.number, other.number} & ended
        and (known := known_of(one, other, tries)).verdict != "not known"
    } if tries else {}
    kept = [one.pick for one in built]
    numbers = [one.number for one in built]
    fixed_ohm = [one.ohm for one in built]
    found = joints(kept, fixed_ohm, trials)
    if not found:
        return Together(
            "No two of these share a pad: they may be on together without joining other pads."
            + ("" if tried else " How two of them sound together wasn't tried."),
            lines=(*_apart(tried), *_by_itself(ended)),
        )
    rows = tuple(
        JointRow(
            (tag_of(numbers[j.first - 1]), tag_of(numbers[j.second - 1])), j.pad,
            " \u2013 ".join(j.joins), f"{ohms(j.ohm)} or more",
            _known(project, j, tried.pop((numbers[j.first - 1], numbers[j.second - 1]), None),
                   [numbers[n - 1] for n in (j.first, j.second) if numbers[n - 1] in ended]),
        )
        for j in found
    )  # fmt: skip
    lines: list[Runs] = [*_apart(tried), *_by_itself(ended)]
    # A switch or a cord would leave a toy that one of them stops stuck.
    stay = [one for one in built if not one.control.stops]
    kept, numbers, fixed_ohm = [one.pick for one in stay], [one.number for one in stay], [one.ohm for one in stay]
    for pad, users in crowded(kept).items():
        names = ", ".join(str(numbers[u - 1]) for u in users)
        lines.append(runs(
            f"{names} all use {pad}. If only one at a time is wanted, a rotary switch with {pad} "
            f"on its common lug (one way left free as off) or patch sockets save {len(users) - 1} "
            "wires and can't join the others."
        ))
    for users, pads in clusters(kept):
        names = ", ".join(str(numbers[u - 1]) for u in users)
        far = far_stops([kept[u - 1] for u in users], [fixed_ohm[u - 1] for u in users], trials)
        stops = [
            piece for a, b, tried in far
            for piece in (" ", Strong(f"{a} \u2013 {b} will stop the toy"), f": {tried}.")
        ]
        lines.append(runs(f"All of {names} on: {', '.join(pads)} are joined. Not tried as one.", *stops))
    return Together(
        "These share a pad. With both on, two other pads are joined through it. Where the last column "
        "doesn't say what will happen, it may be a new bend or a freeze: try each once, with the reset at "
        "hand, or have the rig try them: padsweep controls --together.", rows, tuple(lines),
    )  # fmt: skip


def _by_itself(stops: Iterable[int]) -> tuple[Runs, ...]:
    """Say which controls stop the toy by themselves, by wish."""
    names = " and ".join(map(str, sorted(stops)))
    return (runs(f"{names} alone stops the toy, whatever else is on."),) if names else ()


def _apart(tried: Mapping[tuple[int, int], Known]) -> tuple[Runs, ...]:
    """Say what was tried of two controls that share no pad."""
    safe = [f"{one} and {other}" for (one, other), known in tried.items() if known.verdict == "safe"]
    lines = [runs(f"Tried together, and the toy lived: {', '.join(safe)}.")] if safe else []
    return (*lines, *(
        runs(f"{one} and {other}: ", *_stopping(known))
        for (one, other), known in tried.items() if known.verdict == "freezes"
    ))


def _stopping(known: Known) -> tuple[str, ...]:
    return Strong("will stop the toy"), f": {known.told}. {known.wiring}"


def _known(project: Project, joint: Joint, known: Known | None, stops: Sequence[int] = ()) -> Runs:
    """Say what is known of the two pads that two controls join, and of both controls as they were tried;
    `stops` of them stop the toy by wish."""
    if stops and not all(project.toy.pads[pad].kind == "rail" for pad in joint.joins):
        return runs(f"{' and '.join(map(str, stops))} stops the toy by itself")
    if known is not None and known.verdict == "freezes":
        return runs(*_stopping(known))
    if known is not None and not joint.stops:
        return runs(f"both on: {known.told}, and the toy lived")
    if joint.stops:
        return runs(Strong("will stop the toy"), f": {joint.tried}. Fit them so that only one can be on.")
    if all(project.toy.pads[pad].kind == "rail" for pad in joint.joins):
        drawn_ma = current_ma(project.toy, joint.ohm)
        return runs(f"both supply rails: up to {drawn_ma:.2g} mA from the cells while both are on. Fit "
                    "them so that only one can be on.")  # fmt: skip
    return runs(joint.tried)


def reset(
    built: Sequence[tuple[int, Evidence]], power: Power, wanted: Sequence[int] = ()
) -> Drawn:
    """Give the part on the reset button; of each pick that is fitted, its number and evidence, and of those
    that stop the toy by wish the numbers."""
    stops = [str(number) for number, seen in built if seen.stopped_ohm is not None]
    need = (
        f"The pads of {', '.join(stops)} stopped the toy in the sweep. "
        if stops else "Bends stop a toy sooner or later. "
    )  # fmt: skip
    if wanted:
        need += f"{' and '.join(map(str, wanted))} is there to stop it, and this button ends that. "
    return Drawn(
        (
            (f"{need}Fit a push-button that is closed at rest (normally closed) in the battery's plus "
             "lead: cut the lead, solder one end to each lug. Pressed, it cuts the supply."),
            current_words(power),
            hold_words(power),
        ),
        reset_wiring(), 150.0,
        (
            ("Left: the plain button; capacitors keep the chip alive for a while. Right, better: a "
             f"changeover button whose second contact empties them through {ohms(BLEED_OHM)}. "
             "Board plus goes to its common lug, never battery plus: there the cells would feed the "
             f"{ohms(BLEED_OHM)}. The button carries the whole toy."),
        ),
    )  # fmt: skip


CHECKS = ("tug", "wiggle", "clean press")

BEFORE = (
    ("Behind each wire: tug at it; cells in; a clean press with all controls off must sound as ever (if "
    "not: a lifted track or a bridge of solder); wiggle the wire while it sounds (crackle: a cold "
    "joint); cells out. Two to three seconds of heat a joint."),
    ("Test each bend after its own wires, not at the end. Of several joints on one track take the "
    "easiest: large, at a part's leg, away from fine tracks."),
)


def work(
    project: Project, picks: Sequence[Pick], controls: Sequence[Control], hears: Sequence[str],
    with_line_out: bool,
) -> tuple[Step, ...]:
    """Give the order of work.

    Parameters
    ----------
    project : Project
    picks : sequence of Pick
        One for each pair, in the order of the sheet.
    controls : sequence of Control
        The proposal for each.
    hears : sequence of str
        What is to be heard of each.
    with_line_out : bool
    """
    on = f"turn it on ({', '.join(project.toy.on)}), " if project.toy.on else ""
    built = fitted(picks, controls)
    stay = kept_leads(project, built)
    steps = [
        Step(runs("Batteries out. Screws into a cup, in their order. Photograph both sides of the board. "
                  "Meter battery plus to minus, and note it below.")),
        *_leads(project, stay),
        Step(runs(
            "Lay the shell halves open side by side. Find where each control fits behind the shell "
            "and clears the board, the speaker and the screw posts; close the shell to try; then drill."
        )),
        Step(runs(
            "Cut the wires: thin stranded, 28 to 30 AWG (0.05 to 0.08 mm\u00b2). Length: lay a thread "
            "from the pad to the control with the halves open, and add 3 cm. Tin both ends."
        )),
        Step(
            runs(f"Reset button first (above). Batteries in, {on}press a key, hear that it is well. Press "
                 f"reset, {on}hear it return. Batteries out."),
            checks=("tug", "clean press", "reset"),
        ),
    ]  # fmt: skip
    for one in built:
        made = _wires(project, one, hears[one.number - 1], stay.get(one.number, ()))
        steps += [*made[:-1], _with_reset(made[-1], on)] if one.control.stops else made
    if with_line_out:
        steps.append(Step(
            runs("Line out (above), and its check with the multimeter before anything is plugged in."),
            checks=("tug", "no connection", "clean press"),
        ))  # fmt: skip
    return (
        *steps,
        Step(runs("A drop of hot glue on each wire beside its joint; none on parts that get warm.")),
        Step(runs("Work all controls: all off, one by one on, and the same after five minutes."
                  + _reset_behind([one.number for one in built if one.control.stops])),
             checks=("off", "on", "after 5 min")),
        Step(runs("Try the combinations under \u201cTogether\u201d, but for those that will stop the toy.")),
        Step(runs("Meter battery plus to minus again: unchanged. Close the shell without pinching a wire, "
                  "try everything once more.")),
    )  # fmt: skip


def _with_reset(step: Step, on: str) -> Step:
    """Give the last step of a control that stops the toy: the reset button must end it."""
    ends = runs(f" Pressed, it stops the toy, which sounds on: press reset, {on}hear it return.")
    return replace(step, words=(*step.words, *ends), checks=(*step.checks, "reset"))


def _reset_behind(numbers: Sequence[int]) -> str:
    return f" Behind {' and '.join(map(str, numbers))} press the reset button." if numbers else ""


def kept_leads(project: Project, built: Sequence[Fitted]) -> dict[int, tuple[str, ...]]:
    """Give the pads, by the number of their control, whose leads of the rig may stay as wires.

    A lead has its own resistor, so it stays only where one control uses the pad, since two would
    share it, and where what is fitted isn't less than the leads.
    """
    uses = Counter(pad for one in built for pad in one.pick.pads)
    lead_ohm = project.rig.lead_ohm
    found = {}
    for one in built:
        pads = [pad for pad in one.pick.pads if uses[pad] == 1]
        while pads and one.ohm - len(pads) * lead_ohm < 1:
            pads.pop()
        if project.rig.bench != "by-hand" and lead_ohm > 0 and not one.control.positions and pads:
            found[one.number] = tuple(pads)
    return found


def rest_ohm(project: Project, one: Fitted, leads: int) -> float:
    """Give the resistor beside so many leads, ohms: in all no less than without them."""
    return at_least((one.ohm - leads * project.rig.lead_ohm) * (1 - 1e-9), tolerance=0.0)


def _leads(project: Project, stay: dict[int, tuple[str, ...]]) -> list[Step]:
    """Say which of the rig's leads stay; by hand there are none."""
    if project.rig.bench == "by-hand":
        return []
    pads = sorted((pad for pads in stay.values() for pad in pads), key=letter_order)
    if not pads:
        return [Step(runs("Unplug the rig. Unsolder its leads, one at a time, and press a key after each."))]
    return [Step(runs(
        "Unplug the rig. Its leads on ", Strong(", ".join(pads)), " may stay and be the wires: each has "
        f"its {ohms(project.rig.lead_ohm)} at the pad, so less is fitted then, as the steps say. Unsolder "
        "all others, one at a time, and press a key after each."
    ))]  # fmt: skip


def _wires(project: Project, one: Fitted, hear: str, leads: Sequence[str]) -> list[Step]:
    """Give the two wires of a control: the first leaves it open, the second makes it work."""
    a, b = one.pick.pads
    tag, control = tag_of(one.number), one.control
    lugs = ends(one)
    if control.positions:
        values = ", ".join(ohms(ohm) for ohm, _ in control.resistors)
        return [
            Step(runs("Wire from pad ", Strong(a), f" to the common lug of the {control.kind}."), tag, CHECKS),
            Step(runs(f"{values}, short legs, each onto a lug of the {control.kind}, one lug left free as "
                      "off; their other legs together. Meter each position (below). Wire from there to "
                      "pad ", Strong(b), "."), tag, CHECKS, hear),
        ]  # fmt: skip
    return [
        Step(runs(f"{ohms(one.ohm)} onto pad ", Strong(a), f", short leg; wire from it to the "
                  f"{control.kind}, {_lug(lugs[0][0])}.", _with_leads(project, one, leads)), tag, CHECKS),
        Step(runs(f"Wire from the {control.kind}, {_lug(lugs[1][0])}. Meter it off and on (below). Then its "
                  "other end onto pad ", Strong(b), "."), tag, CHECKS, hear),
    ]  # fmt: skip


def _lug(name: str) -> str:
    if "dome" in name:
        return name
    return name.replace(",", " lugs,") if "joined" in name else f"{name} lug"


def _with_leads(project: Project, one: Fitted, pads: Sequence[str]) -> str:
    if not pads:
        return ""
    lead = "the rig's lead" + ("s" if len(pads) > 1 else "") + f" on {' and '.join(pads)}"
    return f" With {lead} kept: {ohms(rest_ohm(project, one, len(pads)))} at the {one.control.kind} in its place."
