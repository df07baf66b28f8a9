"""What a survey has read, and survey.yaml, which holds the latest of it."""

from __future__ import annotations

import math
from pathlib import Path

from pydantic import Field

from rig.files import replace_text
from rig.project.models import _Model
from rig.project.validate import validate
from rig.project.yaml_strict import read_yaml

SURVEY = "survey.yaml"
HEADING = """\
# What `padsweep survey` read last, in volts and ohms; leads are included. It is written anew by each.
# What you know better goes below `nets:` in board.yaml.
"""


class Pulled(_Model):
    """A pad's voltage while a rail pulls at it, volts, through a value of the bank, ohms."""

    rail: str
    series_ohm: float
    volts: float


class PadReadings(_Model):
    """What was read of one pad, volts: at rest, while the toy sounds, with each key down, pulled at.

    With keys down as if the rail were what it is at rest: tired cells give way to a toy that sounds.
    """

    idle_v: list[float] = Field(min_length=1)
    sounding_v: list[float] = Field(default_factory=list)
    keys_v: dict[str, float] = Field(default_factory=dict)
    pulled: list[Pulled] = Field(default_factory=list)


class Beside(_Model):
    """Two pads and both at once, read in turn while the toy sounds, volts."""

    one_v: list[float]
    other_v: list[float]
    both_v: list[float]


class Fitted(_Model):
    """A value of the bank as rig.yaml has it, and as it reads, ohms."""

    fitted_ohm: float
    reads_ohm: float


class Readings(_Model):
    """All that a survey has read.

    `ohm` holds pairs that don't read as open, named "A-B"; `beside` those that may be one net and
    that the toy's sound moves. The rail is measured at the toy's supply itself.
    """

    at: str
    rail_v: float
    idle_ma: float
    bank: list[Fitted] = Field(default_factory=list)
    ohm: dict[str, float] = Field(default_factory=dict)
    pads: dict[str, PadReadings]
    beside: dict[str, Beside] = Field(default_factory=dict)

    def ohm_of(self, one: str, other: str) -> float:
        """Give what was read between two pads, ohms; infinite where it's open."""
        found = self.ohm.get(f"{one}-{other}", self.ohm.get(f"{other}-{one}"))
        return math.inf if found is None else found


def load_readings(folder: Path) -> Readings | None:
    """Give what the latest survey of a project has read; None where there was none.

    Raises
    ------
    ConfigError
        survey.yaml can't be used: names file and line.
    """
    file = Path(folder) / SURVEY
    return validate(read_yaml(file), Readings) if file.exists() else None


def save_readings(folder: Path, readings: Readings) -> None:
    """Write survey.yaml, whole or not at all."""
    replace_text(Path(folder) / SURVEY, readings_text(readings))


def readings_text(readings: Readings) -> str:
    """Give the text of survey.yaml."""
    lines = [
        f'at: "{readings.at}"', f"rail_v: {_v(readings.rail_v)}", f"idle_ma: {readings.idle_ma:.1f}",
        "bank:" if readings.bank else "bank: []",
    ]  # fmt: skip
    lines += [f"  - {{fitted_ohm: {one.fitted_ohm:.10g}, reads_ohm: {one.reads_ohm:.0f}}}"
              for one in readings.bank]  # fmt: skip
    lines.append("ohm:" if readings.ohm else "ohm: {}")
    lines += [f"  {pair}: {ohm:.0f}" for pair, ohm in readings.ohm.items()]
    lines.append("pads:")
    for pad, one in readings.pads.items():
        lines += [f"  {pad}:", f"    idle_v: {_list(one.idle_v)}"]
        if one.sounding_v:
            lines.append(f"    sounding_v: {_list(one.sounding_v)}")
        if one.keys_v:
            lines.append("    keys_v:")
            lines += [f"      {_quoted(key)}: {_v(volts)}" for key, volts in one.keys_v.items()]
        if one.pulled:
            lines.append("    pulled:")
            lines += [f"      - {{rail: {p.rail}, series_ohm: {p.series_ohm:.10g}, "
                      f"volts: {_v(p.volts)}}}" for p in one.pulled]  # fmt: skip
    if readings.beside:
        lines.append("beside:")
    for pair, both in readings.beside.items():
        lines += [f"  {pair}:", f"    one_v: {_list(both.one_v)}",
                  f"    other_v: {_list(both.other_v)}", f"    both_v: {_list(both.both_v)}"]  # fmt: skip
    return HEADING + "\n".join(lines) + "\n"


def _v(volts: float) -> str:
    return f"{volts:.3f}"


def _list(volts: list[float]) -> str:
    return f"[{', '.join(map(_v, volts))}]"


def _quoted(key: str) -> str:
    return f'"{key}"'
