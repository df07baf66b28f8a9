"""The steps of a sweep: one touch each, and all those of a board in their order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from rig.bench import Connection, Touch
from rig.project import Project, path_ohm, touchable
from rig.project.asked import asked
from rig.project.closing import refusal
from rig.touches import Target


@dataclass(frozen=True, slots=True)
class Step:
    """One touch of the plan.

    Parameters
    ----------
    kind : str
        One of `rig.log.records.KINDS`. The baseline of a toy with a lead on has that lead.
    target : Target
    way : str
        "down" or "up" through the resistances, where a pair is measured; else "".
    """

    kind: str
    target: Target
    way: str = ""

    @property
    def key(self) -> str:
        """Name the keys that are pressed, as the ear and the log know them."""
        return self.target.key

    @property
    def pads(self) -> tuple[str, ...]:
        """Give all pads that are closed; none for clean presses."""
        return self.target.pads

    @property
    def is_clean(self) -> bool:
        """Say whether nothing is bridged."""
        return self.target.is_clean

    @property
    def is_lone(self) -> bool:
        """Say whether it is one pad's lead alone."""
        return self.target.is_lone

    @property
    def series_ohm(self) -> float:
        """Give the value of the series bank, ohms."""
        return self.target.series_ohm

    @property
    def plan_key(self) -> str:
        """Name the step so that the log can count its attempts over several runs."""
        if self.is_clean:
            return f"{self.kind} {self.key}"
        return f"{self.kind} {self.key} {self.target.name} {self.series_ohm:g} {self.way}".rstrip()

    def again(self, kind: str) -> Step:
        """Give the same touch, made for another reason."""
        return self if kind == self.kind else replace(self, kind=kind)

    def path_ohm(self, project: Project) -> float | None:
        """Give the whole resistance between two of its pads, ohms; None with nothing bridged."""
        bridges = not (self.is_clean or self.is_lone)
        return path_ohm(project.rig, self.series_ohm) if bridges else None

    def touch(self, project: Project) -> Touch:
        """Build the touch with the set-up's timings; of a chord the longest press counts."""
        timings = project.rig.timings
        press_ms = [project.toy.keys[key].press_ms for key in self.target.keys]
        return Touch(
            self.target.connections,
            self.target.stimulus(max(press_ms, default=timings.lead_in_ms)),
            before_ms=timings.before_ms, lead_in_ms=timings.lead_in_ms,
            dwell_ms=timings.dwell_ms, tail_ms=timings.tail_ms,
        )


def clean(kind: str, *keys: str) -> Step:
    """Give a press with nothing bridged: a "baseline" or a "check"."""
    return Step(kind, Target.clean(*keys))


def lone_steps(project: Project) -> Iterator[Step]:
    """Give the touches of each pad's lead alone that safety allows, all pads with one key first.

    The bank's least value lies between the buses, so that a lead carries both as it does in a pair.
    By hand there are no leads.
    """
    series_ohm = min(project.rig.swept_ohm)
    for key in project.sweep_keys:
        for pad in project.sweep_pads:
            if touchable(project, (pad,), (), series_ohm) is None:
                yield Step("sweep", Target.lone(pad, series_ohm, key))


def pair_steps(project: Project) -> Iterator[Step]:
    """Give every pair's touch that safety allows, the highest series value first.

    All pairs are touched with one value before any is touched with the next lower one, so
    that how the toy was after a touch is known long before the same pair is touched harder.
    Pads marked as a clock, which crash a toy most easily, come last.
    """
    pads = project.toy.pads
    pairs = sorted(
        combinations(project.sweep_pads, 2), key=lambda pair: any(pads[p].kind == "clock" for p in pair)
    )
    for series_ohm in sorted(set(project.rig.swept_ohm), reverse=True):
        for key in project.sweep_keys:
            for pair in pairs:
                if touchable(project, (pair[0],), (pair[1],), series_ohm) is None:
                    yield Step("sweep", Target.pair(*pair, series_ohm, key))


def asked_steps(project: Project) -> Iterator[Step]:
    """Give the touches that rig.yaml asks for beside all pairs, the highest value first."""
    for series_ohm in sorted(set(project.rig.swept_ohm), reverse=True):
        for joints, keys in asked(project):
            connections = tuple(Connection(one, other, series_ohm) for one, other in joints)
            if refusal(project, connections) is None:
                yield Step("sweep", Target(connections, keys))


def step_words(step: Step, project: Project) -> str:
    """Name a step in words for a person: "C-F over 13.0 kΩ", "C, its lead alone"."""
    alone = "" if step.target.keys else ", unpressed"
    if step.is_lone:
        return f"{step.target.name}, its lead alone{alone}"
    path = step.path_ohm(project)
    if path is None:
        pressed = step.key or "the toy unpressed"
        return f"{'baseline' if step.kind == 'baseline' else 'clean press'} of {pressed}"
    return f"{step.target.name} over {path / 1000:.3g} kΩ{alone}"
