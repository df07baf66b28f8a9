"""Which pads are one conductor by the person's word: `nets:` in board.yaml."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from itertools import combinations
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from rig.errors import ConfigError
from rig.project.changing import change_text
from rig.project.hints import nearest, shown
from rig.project.models import Toy, _Model
from rig.project.validate import validate
from rig.project.yaml_edit import set_entry
from rig.project.yaml_strict import Document, parse_yaml, read_yaml

BOARD = "board.yaml"
NETS = "nets"
HEADING = """\
# Where pads are on the picture (`padsweep places`), and which are one net (`padsweep survey`).
# What you write here counts: A+C: one, or A+C: apart.
"""
Answer = Literal["one", "apart"]
NetName = Annotated[str, Field(pattern=r"^[A-Z]{1,2}(\+[A-Z]{1,2})+$")]


class Answers(_Model):
    """What the person has said of nets: "A+C" are one, or apart."""

    nets: dict[NetName, Answer] = Field(default_factory=dict)


def load_nets(folder: Path, toy: Toy) -> dict[str, Answer]:
    """Give what board.yaml says of nets, by their pads' names, "A+C".

    Raises
    ------
    ConfigError
        It can't be used: names file and line.
    """
    file = Path(folder) / BOARD
    return answers_of(read_yaml(file), toy) if file.exists() else {}


def answers_of(document: Document, toy: Toy) -> dict[str, Answer]:
    """Give what a document of board.yaml says of nets. Raises `ConfigError`."""
    if not isinstance(document.data, dict) or NETS not in document.data:
        return {}
    part = Document(document.file, {NETS: document.data[NETS] or {}}, document.lines, document.text)
    found: dict[str, Answer] = validate(part, Answers).nets
    for name in found:
        for pad in name.split("+"):
            if pad not in toy.pads:
                raise ConfigError(
                    f"{document.where((NETS, name))}: there is no pad {shown(pad)} in toy.yaml: "
                    f"{nearest(pad, toy.pads)}"
                )
    one = merged([name for name, said in found.items() if said == "one"], toy)
    for name, said in found.items():
        for pair in combinations(name.split("+"), 2) if said == "apart" else ():
            if any(set(pair) <= set(net) for net in one):
                raise ConfigError(
                    f"{document.where((NETS, name))}: {' and '.join(pair)} can't be apart, as other "
                    "lines make them one net: take one of the lines out"
                )
    return found


def merged(names: Iterable[str], toy: Toy) -> list[tuple[str, ...]]:
    """Give the nets that names such as "A+C" and "C+F" make together, in the pads' order."""
    pads = list(toy.pads)
    of: dict[str, set[str]] = {}
    for name in names:
        group = name.split("+")
        whole = set(group).union(*(of.get(pad, ()) for pad in group))
        for pad in whole:
            of[pad] = whole
    found = {min(map(pads.index, net)): net for net in of.values()}
    return [tuple(sorted(found[at], key=pads.index)) for at in sorted(found)]


def confirm(
    folder: Path, toy: Toy, nets: Collection[Sequence[str]], said: Answer = "one"
) -> Mapping[str, Answer]:
    """Write nets into board.yaml, leaving all else as it is; gives all that it says by then.

    Raises
    ------
    ConfigError
        The file can't be written, or not by the program as it is laid out.
    """
    file = Path(folder) / BOARD
    after: dict[str, Answer] = {}

    def changed(text: str) -> str:
        nonlocal after
        before = answers_of(parse_yaml(text, file), toy) if text.strip() else {}
        after = {**before, **{"+".join(net): said for net in nets}}
        text = text or HEADING + f"{NETS}: {{}}\n"
        for net in nets:
            text = set_entry(text, [NETS, "+".join(net)], said)
        try:
            as_meant = answers_of(parse_yaml(text, file), toy) == after
        except ConfigError:
            as_meant = False
        if not as_meant:
            raise ConfigError(
                f"{file}: can't be changed by the program as it is written: let each net be a line "
                "like `A+C: one` below `nets:`"
            )
        return text

    change_text(file, changed)
    return after
