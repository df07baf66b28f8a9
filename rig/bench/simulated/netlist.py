"""Netlists in SPICE's plain card form, and their d.c. point by modified nodal analysis.

Read are `R`, `V` and `I` cards, comments (`*` lines, and what follows `;`, `//` or a `$`),
`+` lines that go on with the card before, and `.end`. As in SPICE the first line is a title,
case doesn't matter, and node 0, also called gnd, is ground. Other dot cards that ask only
for output, and `.control` blocks, are passed over, so that one file goes to SPICE and here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from rig.errors import ConfigError

_SUFFIXES = {
    "t": 1e12, "g": 1e9, "meg": 1e6, "k": 1e3, "mil": 25.4e-6, "m": 1e-3,
    "u": 1e-6, "n": 1e-9, "p": 1e-12, "f": 1e-15,
}  # fmt: skip
_NUMBER = re.compile(
    r"([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)(meg|mil|[tgkmunpf])?[a-z]*", re.IGNORECASE
)
_PASSED_OVER = {".op", ".option", ".options", ".print", ".save", ".title", ".width"}
_GROUNDS = {"0", "gnd"}


class NetlistError(ConfigError):
    """A netlist can't be read, or its circuit has no d.c. point."""


@dataclass(frozen=True)
class Card:
    """One part: its name, the two nodes, and ohms, volts or amperes.

    A current source's current leaves its first node and comes out at its second.
    """

    name: str
    plus: str
    minus: str
    value: float


def number(text: str) -> float:
    """Read a number with one of SPICE's suffixes, such as 4.7k, 1meg or 100nF.

    Letters after the suffix are a unit and don't count; `m` is milli, `meg` mega.

    Raises
    ------
    ValueError
        It isn't one; also where digits follow the suffix (4k7), which SPICEs read differently.
    """
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} is not a number; write it like 4.7k, 1meg or 100n")
    return float(found[1]) * _SUFFIXES.get((found[2] or "").lower(), 1.0)


def read(text: str) -> list[Card]:
    """Read a netlist.

    Parameters
    ----------
    text : str
        The whole file; its first line is the title.

    Returns
    -------
    list of Card
        Names and nodes in small letters, ground as "0".

    Raises
    ------
    NetlistError
        A line can't be understood, or a name is used twice; says which line.
    """
    cards: dict[str, Card] = {}
    for line, words in _lines(text):
        card = _card(line, words)
        if card.name in cards:
            raise NetlistError(f"line {line}: there is a {card.name} already; rename one")
        cards[card.name] = card
    if not cards:
        raise NetlistError("there is no R, V or I card after the title")
    return list(cards.values())


def title_is_card(text: str) -> bool:
    """Say whether the first line, which is not read, would have been a card."""
    try:
        _card(1, text.split("\n", 1)[0].lower().split() or ["*"])
    except NetlistError:
        return False
    return True


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """Give every card's line number and words."""
    held: tuple[int, list[str]] | None = None
    control = False
    for line, raw in enumerate(text.splitlines()[1:], start=2):
        words = re.split(r";|//|(?:^|\s)\$", raw.lower())[0].split()
        if not words or words[0].startswith("*"):
            continue
        if control or words[0] == ".control":
            control = words[0] != ".endc"
            continue
        if words[0].startswith("+"):
            if held is None:
                raise NetlistError(f"line {line}: nothing comes before this + to go on with")
            held[1].extend([*words[0][1:].split(), *words[1:]])
            continue
        if held is not None:
            yield held
            held = None
        if words[0] == ".end":
            return
        if words[0] in _PASSED_OVER:
            continue
        held = (line, words)
    if held is not None:
        yield held


def _card(line: int, words: list[str]) -> Card:
    name = words[0]
    if name[0] not in "rvi":
        raise NetlistError(f"line {line}: {name!r} is not an R, V or I card; take it out")
    if len(words) > 4 and name[0] in "vi" and words[3] == "dc":
        del words[3]
    if len(words) != 4:
        raise NetlistError(
            f"line {line}: {name} needs two nodes and one value, "
            f"it has {len(words) - 1} words: {' '.join(words[1:])!r}"
        )
    try:
        value = number(words[3])
    except ValueError as error:
        raise NetlistError(f"line {line}: {name}: {error}") from None
    if name[0] == "r" and not value > 0:
        raise NetlistError(
            f"line {line}: {name} has {value:g} ohm, must be above 0; "
            "a wire is a V card of 0 volts"
        )
    plus, minus = ("0" if node in _GROUNDS else node for node in words[1:3])
    return Card(name, plus, minus, value)


def operating_point(cards: Iterable[Card]) -> dict[str, float]:
    """Solve a netlist's d.c. point by modified nodal analysis.

    The unknowns are the nodes' voltages and the voltage sources' currents; the equations are
    Kirchhoff's current law at every node and each voltage source's own (Ho, Ruehli and
    Brennan, 1975).

    Returns
    -------
    dict of node to volts
        Every node but ground, in the order of the cards.

    Raises
    ------
    NetlistError
        Nodes have no path to ground, or voltage sources form a loop; names them.
    """
    cards = list(cards)
    nodes = list(dict.fromkeys(n for c in cards for n in (c.plus, c.minus)))
    nodes = [node for node in nodes if node != "0"]
    sources = [card for card in cards if card.name[0] == "v"]
    _refuse_loops(sources)
    _refuse_floating(cards, nodes)
    place = {node: i for i, node in enumerate(nodes)}
    size = len(nodes) + len(sources)
    matrix, known = np.zeros((size, size)), np.zeros(size)
    for card in cards:
        ends = [(place[n], s) for n, s in ((card.plus, 1.0), (card.minus, -1.0)) if n != "0"]
        if card.name[0] == "r":
            for a, sign_a in ends:
                for b, sign_b in ends:
                    matrix[a, b] += sign_a * sign_b / card.value
        elif card.name[0] == "i":
            for a, sign in ends:
                known[a] -= sign * card.value
    for row, source in enumerate(sources, start=len(nodes)):
        for node, sign in ((source.plus, 1.0), (source.minus, -1.0)):
            if node != "0":
                matrix[row, place[node]] += sign
                matrix[place[node], row] += sign
        known[row] = source.value
    volts = np.linalg.solve(matrix, known)
    return {node: float(volts[i]) for node, i in place.items()}


class _Groups:
    """Nodes that are joined, each group known by one of its nodes."""

    def __init__(self) -> None:
        self._above: dict[str, str] = {}

    def of(self, node: str) -> str:
        while node in self._above:
            node = self._above[node]
        return node

    def join(self, a: str, b: str) -> bool:
        """Join two groups; False where they are one already."""
        a, b = self.of(a), self.of(b)
        if a != b:
            self._above[a] = b
        return a != b


def _refuse_loops(sources: list[Card]) -> None:
    groups = _Groups()
    for source in sources:
        if not groups.join(source.plus, source.minus):
            raise NetlistError(
                f"{source.name} closes a loop of voltage sources between nodes {source.plus} "
                f"and {source.minus}, whose currents have no answer; put a resistor in series"
            )


def _refuse_floating(cards: list[Card], nodes: list[str]) -> None:
    groups = _Groups()
    for card in cards:
        if card.name[0] != "i":
            groups.join(card.plus, card.minus)
    floating = [node for node in nodes if groups.of(node) != groups.of("0")]
    if floating:
        which = "node" if len(floating) == 1 else "nodes"
        raise NetlistError(
            f"no resistor or voltage source leads from {which} {', '.join(floating)} to ground, "
            "so there is no voltage to give; add a resistor to node 0"
        )
