"""The page's keys as it lists them; `main.js` acts on them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Key:
    """A key of the page.

    Parameters
    ----------
    shown : str
        As it stands on the keyboard.
    does : str
        What it does, in a few words.
    """

    shown: str
    does: str


KEYS = (
    Key("p", "plays plain, bent, plain"),
    Key("b", "plain alone"),
    Key("o", "bent alone"),
    Key("space", "stops, or plays"),
    Key("j", "next find"),
    Key("i", "previous find"),
    Key("f", "next family"),
    Key("1 … 8", "one of the best eight"),
    Key("<", "over less resistance"),
    Key(">", "over more"),
    Key("k", "keep"),
    Key("s", "set aside"),
    Key("m", "name"),
    Key("n", "note"),
    Key("c", "control wished"),
    Key("u", "undo"),
    Key("l", "levels: matched, or as recorded"),
    Key("g", "what you build"),
    Key("r", "order anew, by what you kept"),
    Key("/", "search"),
)
"""As in `padsweep replay` where that has them."""
