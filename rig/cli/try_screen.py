"""What stands on the screen while pads are held, and what each key asks for."""

from __future__ import annotations

from rich.text import Text

from rig.cli.readable import holdable
from rig.cli.tables import where
from rig.project import Toy
from rig.trying import Session, Tried
from rig.words import ohms

KEYS = """\
space or digit  press the key       o    open and close: plain against bent
<  >  less, more resistance         n p  next, previous pick
+  add the next pick to it          -    drop the last added
k  keep this resistance             r    cut the supply, bring the toy back
q  quit; after a minute without a key everything opens"""

WORDS = {
    " ": ("press", ""), "<": ("step", "down"), ",": ("step", "down"), ">": ("step", "up"),
    ".": ("step", "up"), "n": ("next", ""), "p": ("previous", ""), "+": ("add", ""),
    "=": ("add", ""), "-": ("drop", ""), "k": ("keep", ""), "r": ("reset", ""),
}  # fmt: skip
"""What a key asks for, in the session's words; "<" and ">" without shift too."""

QUIT = ("q", "\x04")
TURN = "o"


def asked_by(key: str, session: Session) -> tuple[str, str] | None:
    """Give the word of a key and what is behind it; None for a key without meaning."""
    names = session.project.wired_keys
    if key.isdecimal() and 1 <= int(key) <= len(names):
        return "press", names[int(key) - 1]
    if key == TURN:
        return ("open" if session.holding.is_closed else "close"), ""
    return WORDS.get(key)


def status(session: Session) -> str:
    """Say in a line what is held, over what, and whether it is closed."""
    held = " with ".join(
        f"{one.pick.pair} over {ohms(session.holding.path(one.target))}" for one in session.together
    )
    state = "closed" if session.holding.is_closed else "open"
    return f"{held}: {'the toy is off' if session.holding.is_off else state}"


def screen(session: Session, told: str, encoding: str) -> Text:
    """Lay the whole screen out: what is held, the keys of the toy, what was told, what keys do."""
    holding, toy = session.holding, session.project.toy
    name = f', "{session.current.pick.name}"' if session.current.pick.name else ""
    state = "the toy is OFF" if holding.is_off else "CLOSED" if holding.is_closed else "open"
    lines = [
        f"pick {session.at + 1} of {len(session.picks)}: {session.current.pick.label}{name}   {state}"
    ]
    for tried in reversed(session.together):
        lines += _held(session, tried, toy)
    keys = [f"{n} {key}" for n, key in enumerate(session.project.wired_keys[:9], 1)]
    lines += [f"toy's keys: {'   '.join(keys)}   space {session.current.key}", told, "", KEYS]
    return Text(holdable("\n".join(lines), encoding))


def _held(session: Session, tried: Tried, toy: Toy) -> list[str]:
    holding = session.holding
    path = holding.path(tried.target)
    at = sum(one <= tried.target.series_ohm for one in holding.rungs)
    line = f"{tried.pick.pair} over {ohms(path)} ({at} of {len(holding.rungs)} from the least up)"
    stops = holding.stopped_ohm.get(tried.target.in_order().name)
    if stops is not None:
        line += f"; stopped the toy over {ohms(stops)}"
    notes = where(toy, tried.pick.pads)
    return [line, f"  {notes}"] if notes else [line]
