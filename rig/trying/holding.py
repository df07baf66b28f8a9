"""Holds pads on a bench while a person listens, and sees to it that nothing stays held without one.

What a person does is said by `seen`. A minute without it and everything opens: told by the host's
clock here, by the controller's own in `Bench.hold`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager

import numpy as np

from rig.bench import Bench
from rig.bench.base import HELD_S
from rig.errors import AskTwice, GuardTripped, HeldTooLong, Refused, ToyLost
from rig.project import Project, path_ohm
from rig.project.closing import refusal
from rig.sweep.recovery import Recovery
from rig.touches import Target
from rig.trying import ladder
from rig.words import ohms

AWAY_S = HELD_S
"""Nobody has done anything for so long: everything opens."""
LEAVE_S = 600.0
"""And for so long: the toy is switched off and the trying over."""
OPENED = "nothing was pressed for a minute: everything is open"
LEFT = "nothing was pressed for ten minutes: the toy is off"
TRIPPED = "the toy drew too much: the guard has opened everything and cut its supply"
OFF = "the toy is off: bring it back first"
SAME_PATH = 1.01
"""A path that stopped the toy is met again at this ratio, however it was rounded."""


class Holding:
    """Pads held on a bench.

    Parameters
    ----------
    project : Project
    bench : Bench
        With a controller, or simulated.
    heard : callable
        Takes the sound as it is heard, float32, full scale 1.0, at `bench.rate_hz`.
    stopped_ohm : mapping
        The highest path over which a pair is known to stop the toy, ohms, by its name.

    Attributes
    ----------
    held : tuple of Target
        What is closed now.
    is_off : bool
        The guard has cut the supply.
    is_over : bool
        Nobody has been there for `LEAVE_S`.
    """

    def __init__(
        self, project: Project, bench: Bench, heard: Callable[[np.ndarray], object],
        stopped_ohm: Mapping[str, float],
    ) -> None:
        self.project = project
        self.rungs = ladder.rungs(project.rig)
        self.stopped_ohm = dict(stopped_ohm)
        self.held: tuple[Target, ...] = ()
        self.is_off = self.is_over = False
        self._bench = bench
        self._heard = heard
        self._recovery = Recovery(project, bench, lambda event: None)
        self._latest: tuple[Target, ...] = ()
        self._sure_ohm: dict[str, float] = {}
        self._told: list[str] = []
        self._seen_s = bench.now_s()

    @property
    def is_closed(self) -> bool:
        """Whether anything is bridged."""
        return bool(self.held)

    def start(self) -> None:
        """Supply the toy, wait until it has started, and turn it on."""
        self._recovery.start()
        self.seen()

    def seen(self) -> None:
        """Say that a person is there: what is held may stay so for another minute."""
        self._seen_s = self._bench.now_s()
        with self._opened_told():
            if self.held:
                self._bench.stay()

    def hold(self, targets: Sequence[Target], *, sure: bool = False) -> None:
        """Close targets and keep them closed, in place of what is held.

        Parameters
        ----------
        targets : sequence of Target
            Each over its own series values; their keys don't count here.
        sure : bool
            The person has asked twice for what stopped the toy.

        Raises
        ------
        AskTwice
            One would be closed over a path that stopped the toy, or a lower one.
        Refused
            They are unsafe, more than the bench can close at once, or the toy is off.
        """
        if self.is_off:
            raise Refused(OFF)
        if reason := self._refusal(targets):
            raise Refused(f"{_names(targets)}: {reason}")
        for target in targets:
            self._ask_twice(target, sure)
        with self._opened_told():
            self._bench.hold(_connections(targets))
            self.held = self._latest = tuple(targets)
        self._seen_s = self._bench.now_s()

    def release(self) -> None:
        """Open every pad and let every key up."""
        self.held = ()
        with self._opened_told():
            self._bench.let_go()

    def press(self, key: str) -> None:
        """Press a key of the toy for as long as toy.yaml says.

        Raises
        ------
        Refused
            There is no such key, it has no socket, or the toy is off.
        """
        keys = self.project.toy.keys
        if key not in keys:
            raise Refused(f"the toy has no key {key}: it has {', '.join(keys)}")
        if key not in self.project.wired_keys:
            raise Refused(f"key {key} has no socket: press it on the toy itself")
        if self.is_off:
            raise Refused(OFF)
        with self._opened_told():
            self._bench.press_keys((key,))
        self._listen(keys[key].press_ms / 1000)
        with self._opened_told():
            if not self.is_off:
                self._bench.press_keys(())

    def stepped(self, targets: Sequence[Target], steps: int) -> Target:
        """Give the last of some targets over the next resistance, past such as are unsafe.

        Parameters
        ----------
        targets : sequence of Target
            What is to be held together.
        steps : int
            1 for more, -1 for less.

        Raises
        ------
        Refused
            There is none.
        """
        *others, target = targets
        at = self.rungs.index(ladder.nearest(self.project.rig, self.rungs, self.path(target)))
        left = self.rungs[at + 1 :] if steps > 0 else self.rungs[:at][::-1]
        if not left:
            way = "more" if steps > 0 else "less"
            raise Refused(f"the bank makes no {way} than {ohms(self.path(target))}")
        new = [target.over(series_ohm) for series_ohm in left]
        fits = next((one for one in new if not self._refusal([*others, one])), None)
        if fits is None:
            raise Refused(f"{target.name}: {self._refusal([*others, new[0]])}")
        return fits

    def bring_back(self) -> None:
        """Open everything, cut the supply until the rail is down, restore it, turn the toy on.

        What was held last counts as what stopped the toy.

        Raises
        ------
        ToyLost
            The rail doesn't fall.
        """
        self._stopped()
        self.release()
        try:
            self._recovery.power_cycle()
        except ToyLost as lost:
            raise ToyLost(str(lost).partition(", then run")[0]) from None  # there is no sweep here
        self.is_off = False
        self.seen()

    def tick(self, seconds: float) -> list[str]:
        """Let time pass and listen; gives what there is to tell, each in a line.

        Parameters
        ----------
        seconds : float
            0.02 to 1 s: so late may the minute be noticed.
        """
        if self.is_off:
            self._bench.wait(seconds)
        else:
            self._listen(seconds)
        away_s = self._bench.now_s() - self._seen_s
        if self.held and away_s >= AWAY_S:
            self.release()
            if OPENED not in self._told:  # by the controller's clock it may be a minute just now too
                self._told.append(OPENED)
        if away_s >= LEAVE_S and not self.is_over:
            self.is_over = True
            self._told.append(LEFT)
        return self.told()

    def told(self) -> list[str]:
        """Give what there is to tell since the last call."""
        told, self._told = self._told, []
        return told

    def path(self, target: Target) -> float:
        """Give the whole resistance between a target's pads, ohms."""
        return path_ohm(self.project.rig, target.series_ohm)

    def _listen(self, seconds: float) -> None:
        with self._opened_told():
            self._heard(self._bench.listen(seconds).sound)

    def _refusal(self, targets: Sequence[Target]) -> str | None:
        return refusal(self.project, _connections(targets))

    def _ask_twice(self, target: Target, sure: bool) -> None:
        name, path = target.in_order().name, self.path(target)
        stops = self.stopped_ohm.get(name, 0.0)
        if path > stops * SAME_PATH or path >= self._sure_ohm.get(name, float("inf")):
            return
        if not sure:
            over = "there" if path * SAME_PATH >= stops else f"down to {ohms(path)}"
            raise AskTwice(f"{name} stopped the toy over {ohms(stops)}: once more to go {over}")
        self._sure_ohm[name] = path

    def _stopped(self) -> None:
        """Note that what was held last has stopped the toy: nobody is sure any more."""
        for target in self._latest:
            name = target.in_order().name
            self.stopped_ohm[name] = max(self.stopped_ohm.get(name, 0.0), self.path(target))
            self._sure_ohm.pop(name, None)
        self._latest = ()

    @contextmanager
    def _opened_told(self) -> Iterator[None]:
        """Take note where the bench has opened everything by itself, to be told."""
        try:
            yield
        except HeldTooLong:
            self.held = ()
            self._told.append(OPENED)
        except GuardTripped:
            self._stopped()
            self.held = ()
            self.is_off = True
            self._told.append(TRIPPED)


def _connections(targets: Sequence[Target]) -> tuple:
    return tuple(one for target in targets for one in target.connections)


def _names(targets: Sequence[Target]) -> str:
    return " and ".join(target.name for target in targets)
