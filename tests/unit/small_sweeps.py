"""Projects that are swept in a second or two, and a bench whose sound input is altered."""

from dataclasses import replace

import numpy as np

from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.log import SweepLog
from rig.project import setup_facts, setup_hash

SEED, PADS, TAKES = 7, 8, 8
LEADS = "ABD"
"""No pair of these does anything, so that little is judged."""


def make_project(folder):
    """A toy of eight pads, swept over every path."""
    made = new_simulated_project(folder, SEED, PADS)
    sweep = made.rig.sweep.model_copy(update={"baseline_takes": TAKES})
    return replace(made, rig=made.rig.model_copy(update={"sweep": sweep}))


def few_leads(folder, leads=LEADS, **room):
    """A toy of which few pads are reached, over one path: a sweep of it takes a second or two."""
    made = new_simulated_project(folder, SEED, PADS)
    pads = {n: p.model_copy(update={"forbidden": n not in leads}) for n, p in made.toy.pads.items()}
    rig = made.rig
    simulated = rig.simulated.model_copy(
        update={"room": rig.simulated.room.model_copy(update=room)}
    )
    sweep = rig.sweep.model_copy(update={"baseline_takes": TAKES})
    rig = rig.model_copy(
        update={"simulated": simulated, "sweep": sweep, "series_ohm": [150_000.0]}
    )
    return replace(made, toy=made.toy.model_copy(update={"pads": pads}), rig=rig)


def new_log(project, name="main"):
    return SweepLog.create(
        project.folder / "sweeps" / name, setup_facts(project), setup_hash(project), {}
    )


class Altered(SimulatedBench):
    """A bench whose sound input is altered, from some bridged touch on, and clips as inputs do.

    `change` is given each piece of the sound, the marker beside it, and which piece it is.
    """

    bridged, after, bridged_only = 0, 0, False

    def __init__(self, project, change, **how):
        super().__init__(project)
        self.change = change
        vars(self).update(how)

    def begin(self, touch):
        self.is_bridged = bool(touch.connections)
        self.bridged += self.is_bridged
        super().begin(touch)

    def stream(self):
        altered = self.bridged >= self.after and (self.is_bridged or not self.bridged_only)
        for number, chunk in enumerate(super().stream()):
            if altered:
                sound, marker = self.change(chunk.sound, chunk.marker, number)
                chunk = replace(chunk, sound=np.clip(sound, -1, 1), marker=marker)
            yield chunk


def louder(db, from_piece=0):
    """Somebody turns the level; with `from_piece` 4 that of what follows the lead-in alone."""
    def change(sound, marker, number):
        return sound * np.float32(10 ** (db / 20) if number >= from_piece else 1), marker
    return change
