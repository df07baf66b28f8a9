"""The steps of a sweep: one touch each, and all those of a board in their order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from rig.bench import Connection, Stimulus, Touch
from rig.project import Project, path_ohm, touchable


@dataclass(frozen=True)
class Step:
    """One touch of the plan.

    Parameters
    ----------
    kind : str
        baseline, sweep, confirm or check.
    key : str
        Key of the toy that is pressed.
    pads : tuple of (str, str) or None
        The pair; None for clean presses.
    series_ohm : float or None
        Value of the series bank, ohms.
    """

    kind: str
    key: str
    pads: tuple[str, str] | None = None
    series_ohm: float | None = None

    @property
    def plan_key(self) -> str:
        """Name the step so that the log can count its attempts over several runs."""
        if self.pads is None:
            return f"{self.kind} {self.key}"
        return f"{self.kind} {self.key} {self.pads[0]}-{self.pads[1]} {self.series_ohm:g}"

    def touch(self, project: Project) -> Touch:
        """Build the touch with the set-up's timings."""
        timings = project.rig.timings
        connections: tuple[Connection, ...] = ()
        if self.pads is not None:
            connections = (Connection((self.pads[0],), (self.pads[1],), self.series_ohm),)
        return Touch(
            connections,
            Stimulus((self.key,), project.toy.keys[self.key].press_ms),
            timings.before_ms, timings.lead_in_ms, timings.dwell_ms, timings.tail_ms,
        )


def pair_steps(project: Project) -> Iterator[Step]:
    """Give every pair's touch that safety allows, the highest series value first.

    All pairs are touched with one value before any is touched with the next lower one, so
    that how the toy was after a touch is known long before the same pair is touched harder.
    Pads marked as a clock, which crash a toy most easily, come last.
    """
    pads = project.toy.pads
    pairs = sorted(
        combinations(pads, 2), key=lambda pair: any(pads[p].kind == "clock" for p in pair)
    )
    for series_ohm in sorted(set(project.rig.series_ohm), reverse=True):
        for key in project.sweep_keys:
            for pair in pairs:
                if touchable(project, (pair[0],), (pair[1],), series_ohm) is None:
                    yield Step("sweep", key, pair, series_ohm)


def step_words(step: Step, project: Project) -> str:
    """Name a step in words for a person: "C-F over 13.0 kΩ"."""
    if step.pads is None:
        return {"baseline": f"baseline of {step.key}", "check": f"clean press of {step.key}"}[
            step.kind
        ]
    path = path_ohm(project.rig, step.series_ohm)
    return f"{step.pads[0]}-{step.pads[1]} over {path / 1000:.3g} kΩ"
