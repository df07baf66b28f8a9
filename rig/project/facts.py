"""The electrical facts of a set-up: what a sweep's touches depend on, and its hash."""

from __future__ import annotations

import hashlib
import json

from rig.project.low_pads import lead_ohm
from rig.project.models import Project

NO_LONGER_FACTS = ("settle_ms",)
"""Timings in older sweeps' facts on which nothing hung."""

GROWING = ("pads", "keys")
"""Facts that may grow in mid-job: new leads and keys are added at the end."""


def setup_facts(project: Project) -> dict:
    """Give the electrical facts of a set-up, without notes, names, ports and places.

    Which pads are forbidden is no fact of that kind either: it only takes touches away.

    Returns
    -------
    dict
        JSON-ready. `pads` and `keys` are lists in channel order, the rest may not change
        during a sweep.
    """
    toy, rig = project.toy, project.rig
    timings = rig.timings.model_dump()
    timings.pop("rail_off_wait_s")
    changed: dict = {}  # where nothing is low the facts are as they were before anything could be
    if rig.limiter and rig.limiter.fitted:
        changed["limiter"] = rig.limiter.model_dump()
    if toy.low_pads:
        changed["low_pads"] = {pad: lead_ohm(toy, rig, pad) for pad in toy.low_pads}
    return changed | {
        "bench": rig.bench,
        "simulated": (
            rig.simulated.model_dump(exclude_none=True) if rig.bench == "simulated" else None
        ),
        "supply": toy.supply.model_dump(),
        "lead_ohm": rig.lead_ohm,
        "switch": rig.switch,
        "switch_ohm": rig.switch_ohm,
        "series_ohm": list(rig.series_ohm),
        "current_limit_ma": rig.current_limit_ma,
        "rate_hz": rig.sound.rate_hz if rig.bench != "simulated" and rig.sound else 48_000,
        "timings": timings,
        "on": list(toy.on),
        "pads": [[letter, pad.kind] for letter, pad in toy.pads.items()],
        "keys": [[name, key.press_ms] for name, key in toy.keys.items()],
    }


def setup_hash(project: Project) -> str:
    """Give the hash of the facts that may not change during a sweep (64 hex digits).

    Pads and keys are left out, as they may be added; `setup_difference` compares them.
    """
    fixed = {name: value for name, value in setup_facts(project).items() if name not in GROWING}
    text = json.dumps(fixed, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def setup_difference(before: dict, now: dict) -> str | None:
    """Say what keeps a sweep from going on with the set-up of now, or None where it may.

    Parameters
    ----------
    before, now : dict
        `setup_facts` of the sweep's start and of now (either may have been through JSON).

    Returns
    -------
    str or None
        The first difference in a few words. Pads and keys added at the end are no difference.
    """
    before, now = json.loads(json.dumps(before)), json.loads(json.dumps(now))
    for name in NO_LONGER_FACTS:
        before.get("timings", {}).pop(name, None)
    for name in sorted(before.keys() | now.keys()):
        if name in GROWING:
            continue
        if before.get(name) != now.get(name):
            return f"{name} was {json.dumps(before.get(name))}, is {json.dumps(now.get(name))}"
    for name in GROWING:
        old, new = before.get(name, []), now.get(name, [])
        if new[: len(old)] != old:
            changed = next((a for a, b in zip(old, new, strict=False) if a != b), None)
            return f"{name}: {(changed or old[len(new)])[0]} was changed or taken away"
    return None
