"""Talks to the person at a bench by hand: what to bridge, when to press, what was heard."""

from __future__ import annotations

import re

import numpy as np
from rich.console import Console

from rig.bench.byhand import Command, Prompt
from rig.cli.keys import Keys, ask_line
from rig.cli.player import Player
from rig.cli.progress import paused_lines
from rig.cli.tables import where
from rig.errors import BenchError
from rig.events import (
    BendSeen,
    Event,
    FreezeSeen,
    Noticed,
    Progress,
    Recovered,
    SetAside,
    SweepGoesOn,
    SweepStarted,
    SweepWaits,
    TakeLost,
    Told,
)
from rig.outcomes import sound_words
from rig.pads import letters_of
from rig.project import Project
from rig.words import duration, ohms, over_path

HELP = """\
Each time: set the tips, wait for the high tone, press the key, hold both tips until the low
tone. Nothing need be typed: the program hears the press.
  a  the last one again        (or tap the microphone twice)
  f  the toy froze             (or tap three times)
  s  set this pair aside       Enter  go on: I pressed, and nothing came
  q  leave; run it again to continue"""

KEYS: dict[str, Command] = {
    "a": "again", "s": "skip", "f": "froze", "\n": "next", "\r": "next", "q": "leave",
    "\x04": "leave",
}
TONE_RATE_HZ = 48_000
TONES_HZ = {"go": 1320.0, "stop": 660.0}
TONE_S, TONE_PEAK = 0.08, 0.3
AUDIBLE_S = 0.3
"""A tone is out of the room so long after it was handed to the sound output."""


class Terminal:
    """The person, as `rig.bench.byhand.Person` wants it, at a terminal or behind a pipe.

    Parameters
    ----------
    console : rich.console.Console
    project : Project
    """

    def __init__(self, console: Console, project: Project):
        self.console = console
        self.project = project
        self._keys = Keys()
        self._place = ""
        self._player: Player | None = None
        self._tones = {name: _tone(hz) for name, hz in TONES_HZ.items()}
        self._has_tones = True

    # To and from the person

    def say(self, prompt: Prompt) -> None:
        """Show what is wanted now."""
        self._line(self._words(prompt))

    def note(self, text: str) -> None:
        """Show a line that asks for nothing."""
        self._line(f"  {text}")

    def tone(self, name: str) -> float:
        """Sound a tone through the output, where there is one."""
        if not self._has_tones:
            return 0.0
        try:
            self._player = self._player or Player()
            self._player.play(self._tones[name], TONE_RATE_HZ)
        except BenchError as trouble:
            self._has_tones = False
            self.note(f"{trouble}; so there are no tones: press a moment after each line")
            return 0.0
        return AUDIBLE_S

    def command(self) -> Command:
        """Give what was typed since the last call."""
        key = self._keys.next()
        if key and key not in KEYS:
            self._line(HELP)
        return KEYS.get(key, "")

    def which(self) -> tuple[str, str] | None:
        """Ask which two pads that was, until two letters or nothing are given."""
        while True:
            said = ask_line("which two was that? (such as C F; Enter alone: I don't know) ")
            if not said:
                return None
            pads = two_pads(said, list(self.project.toy.pads))
            if pads:
                return pads
            self.note(f"{said!r} isn't two of the pads {', '.join(self.project.toy.pads)}")

    def _words(self, prompt: Prompt) -> str:
        press = f"press {prompt.key}"
        why = f"{prompt.why}: " if prompt.why else ""
        if prompt.ask == "touch":
            one, other = prompt.pads
            via = f" with {ohms(prompt.path_ohm)}" if self._has_paths else ""
            return f"{self._place}{why}bridge {one} and {other}{via}, then {press}{self._notes(prompt)}"
        if prompt.ask == "battery":
            on = ", ".join(self.project.toy.on)
            turn_on = f"press {on} to turn it on, then " if on else ""
            return (
                "the toy doesn't answer: take the bridge and its batteries out, count to ten, put "
                f"them in, {turn_on}{press}"
            )
        held = ", the bridge still on" if prompt.pads else ""
        return {
            "room": f"{HELP}\nquiet, please: listening to the room",
            "level": f"bridge nothing and {press} once, to hear how loud it is",
            "clean": f"{self._place}{why}bridge nothing and {press}",
            "once more": f"{why}{press} once more{held}",
            "bare": f"{why}take the bridge off and {press}",
            "quieten": f"{why}take the bridge off and {press} until it is quiet "
                       "(Enter: it answers but never stops; f: it froze)",
            "explore": f"poke at will and {press}; q when you have had enough",
        }[prompt.ask]

    @property
    def _has_paths(self) -> bool:
        return len(self.project.rig.swept_ohm) > 1

    def _notes(self, prompt: Prompt) -> str:
        notes = where(self.project.toy, prompt.pads)
        return f"   {notes}" if notes else ""

    # What the sweep reports

    def tell(self, event: Event) -> None:
        """Print what a person who waits for it wants to know of an event."""
        if isinstance(event, Progress):
            self._place = f"[{event.done} of {event.planned}] "
        elif isinstance(event, SweepStarted):
            if event.done:
                self._line(f"continuing: {event.done} touches are in the log")
        elif isinstance(event, SweepWaits):
            for line in paused_lines(event, by_hand=True):
                self._line(line)
        elif isinstance(event, SweepGoesOn):
            self._line(f"going on after {duration(event.waited_s)}")
        elif isinstance(event, Told):
            pair = f"{event.name}: " if event.name else ""
            self.note(f"{pair}{sound_words(event.sound, event.amount, event.unit)}")
        elif isinstance(event, BendSeen):
            self._line(f"bend    {event.name}{over_path(event.path_ohm)}, heard again"
                       f"   {where(self.project.toy, letters_of(event.name))}".rstrip())
        elif isinstance(event, FreezeSeen):
            self._line(f"freeze  {event.name}{over_path(event.path_ohm)}"
                       f"   {where(self.project.toy, letters_of(event.name))}".rstrip())
        elif isinstance(event, Recovered):
            self.note("the toy is back")
        elif isinstance(event, Noticed):
            self._line(event.text)
        elif isinstance(event, SetAside):
            self._line(f"set aside: {event.what}: {event.why}")
        elif isinstance(event, TakeLost):
            self._line(f"touch {event.touch}: take lost ({event.why}), to be made again")

    def _line(self, text: str) -> None:
        self.console.print(text, soft_wrap=True)


def two_pads(said: str, pads: list[str]) -> tuple[str, str] | None:
    """Read two pads as people write them: "C F", "c-f", "CF"; None where it isn't two of them."""
    words = [word for word in re.split(r"[^A-Za-z]+", said.upper()) if word]
    if len(words) == 1 and len(words[0]) == 2:
        words = list(words[0])
    if len(words) != 2 or words[0] == words[1] or not set(words) <= set(pads):
        return None
    return words[0], words[1]


def _tone(hz: float) -> np.ndarray:
    t = np.arange(round(TONE_S * TONE_RATE_HZ)) / TONE_RATE_HZ
    return (TONE_PEAK * np.sin(2 * np.pi * hz * t) * np.hanning(len(t)) ** 0.5).astype(np.float32)
