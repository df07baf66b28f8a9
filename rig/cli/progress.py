"""Shows a sweep's events: a moving line on a terminal, plain lines in a pipe."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from rig.cli.tables import where
from rig.events import (
    BendSeen,
    Event,
    FreezeSeen,
    HabitsLearnt,
    Noticed,
    Recovered,
    SetAside,
    SweepGoesOn,
    SweepStarted,
    SweepWaits,
    TakeLost,
)
from rig.events import Progress as Made
from rig.outcomes import sound_words
from rig.pads import letters_of
from rig.project import Toy
from rig.sweep.habits import paragraph
from rig.words import clock_words, duration, over_path

PIPE_LINE_EVERY_S = 10.0

Item = TypeVar("Item")


def track(
    console: Console, what: str, total: int, items: Iterable[Item],
    clock: Callable[[], float] = time.monotonic,
) -> Iterator[Item]:
    """Pass items on and show how far it is and the time left: a bar, or a line now and then.

    Parameters
    ----------
    console : rich.console.Console
    what : str
        What is being done.
    total : int
        How many items there will be.
    items : iterable
        As they are done.
    clock : callable
        Gives the time of now, s.
    """
    bar = Progress(
        TextColumn("{task.description}"), BarColumn(bar_width=24), MofNCompleteColumn(),
        TextColumn("{task.fields[left]}"), console=console, transient=True,
        disable=not console.is_terminal,
    )
    left = TimeLeft(total)
    last_line = clock()
    with bar:
        task = bar.add_task(what, total=total, left="")
        for done, item in enumerate(items, 1):
            now_s = clock()
            told = left.words(done, now_s)
            bar.update(task, completed=done, left=told)
            if not console.is_terminal and now_s - last_line >= PIPE_LINE_EVERY_S:
                last_line = now_s
                console.print(f"{what}: {done} of {total}" + (f", {told}" if told else ""))
            yield item


class TimeLeft:
    """Works out how long the rest takes, of what several do at once.

    They start at different times and bring what they have done in bursts. So the time counts from
    the first burst on, and is looked at where one begins: all that came before it took so long.

    Parameters
    ----------
    total : int
        How many items there will be.
    """

    LOOKS_EVERY_S = 1.0
    LEAST_LOOKS, MOST_LOOKS = 4, 30
    """With fewer nothing is said; of more the latest count, since the pace may change."""

    def __init__(self, total: int):
        self.total = total
        self._looks: deque[tuple[float, int]] = deque(maxlen=self.MOST_LOOKS)
        self._ends_s: float | None = None

    def words(self, done: int, now_s: float) -> str:
        """Take in that one more item is done, and say the time left.

        Parameters
        ----------
        done : int
            How many are done, the last one at this moment.
        now_s : float
            The time of now, s.

        Returns
        -------
        str
            Empty where too little is known.
        """
        if not self._looks or now_s - self._looks[-1][0] >= self.LOOKS_EVERY_S:
            self._looks.append((now_s, done - 1))
            since_s, earlier = self._looks[0]
            if len(self._looks) >= self.LEAST_LOOKS:
                each_s = (now_s - since_s) / (done - 1 - earlier)
                self._ends_s = now_s + each_s * (self.total - done + 1)
        if self._ends_s is None:
            return ""
        return f"{duration(max(0.0, self._ends_s - now_s))} left"


class SweepView:
    """Prints what a person wants to see of a running sweep.

    Parameters
    ----------
    console : rich.console.Console
    toy : Toy
        Its pads' notes are shown.
    quiet : bool
        Only the progress, no line for each bend and freeze.
    """

    def __init__(self, console: Console, toy: Toy, quiet: bool = False):
        self.console = console
        self.toy = toy
        self.quiet = quiet
        self._begun = time.monotonic()
        self._last_line = self._begun
        self._first_done = 0

    def show(self, events: Iterable[Event]) -> None:
        """Consume the events to their end."""
        bar = Progress(
            TextColumn("{task.description}"), BarColumn(bar_width=24), MofNCompleteColumn(),
            TextColumn("{task.fields[left]}"), console=self.console, transient=True,
            disable=not self.console.is_terminal,
        )
        with bar:
            task = bar.add_task("starting", total=None, left="")
            for event in events:
                if isinstance(event, Made):
                    left = self._left(event)
                    bar.update(
                        task, description=event.what, completed=event.done,
                        total=event.planned, left=left,
                    )
                    self._pipe_line(event, left)
                else:
                    if isinstance(event, SweepWaits):
                        bar.update(task, description="paused", left="")
                    self._tell(event)

    def _left(self, event: Made) -> str:
        made = event.done - self._first_done
        if made < 5:
            return ""
        each_s = (time.monotonic() - self._begun) / made
        return f"{duration(each_s * (event.planned - event.done))} left"

    def _pipe_line(self, event: Made, left: str) -> None:
        now = time.monotonic()
        if self.console.is_terminal or now - self._last_line < PIPE_LINE_EVERY_S:
            return
        self._last_line = now
        self.console.print(f"{event.done} of {event.planned} touches, {left}")

    def _tell(self, event: Event) -> None:
        say = self.console.print
        if isinstance(event, SweepStarted):
            self._first_done = event.done
            if event.done:
                say(f"continuing: {event.done} touches are in the log")
        elif isinstance(event, SweepWaits):
            for line in paused_lines(event):
                say(line)
        elif isinstance(event, SweepGoesOn):
            self._begun += event.waited_s
            say(f"going on after {duration(event.waited_s)}")
        elif isinstance(event, Noticed):
            say(event.text)
        elif isinstance(event, SetAside):
            say(f"set aside: {event.what}: {event.why}")
        elif isinstance(event, TakeLost):
            say(f"touch {event.touch}: take lost ({event.why}), making it again")
        elif self.quiet:
            return
        elif isinstance(event, HabitsLearnt):
            say(f"habits: {paragraph(event)}")
        elif isinstance(event, BendSeen):
            told = sound_words(event.sound, event.amount, event.unit)
            say(f"bend    {event.name}{over_path(event.path_ohm)}{_pressed(event, self.toy)}: {told}"
                f"   {where(self.toy, letters_of(event.name))}".rstrip())
        elif isinstance(event, FreezeSeen):
            say(f"freeze  {event.name}{over_path(event.path_ohm)}{_pressed(event, self.toy)}"
                f"   {where(self.toy, letters_of(event.name))}".rstrip())
        elif isinstance(event, Recovered) and event.tries > 1:
            say(f"the toy came back after {event.tries} power cycles")


def paused_lines(event: SweepWaits, by_hand: bool = False) -> list[str]:
    """Say that a sweep waits, who asked for that and since when, and what ends it."""
    asked = f"asked for {event.asked} at {clock_words(event.asked_at)}"
    off = "take the bridge off" if by_hand else "the toy is off, all pads are open"
    if event.is_old:
        asked = f"{asked}, before this start"
    if event.alarm:
        off = event.alarm
    ends = "Enter or `padsweep pause --go-on` goes on" if by_hand else "`padsweep pause --go-on` goes on"
    return [f"paused, {asked}: {off}", ends]


def _pressed(event: BendSeen | FreezeSeen, toy: Toy) -> str:
    """Say what was pressed where it wasn't one key."""
    if event.key in toy.keys:
        return ""
    return f" with {event.key}" if event.key else " with nothing pressed"
