"""A person among their picks: which is held, over what, together with which, and what is kept of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from rig.bench import Connection
from rig.choose import Find, keeping
from rig.choose.matching import find_of, is_same, named
from rig.choose.picks import AT_LEAST_OHM, AT_MOST_OHM, Pick, load_picks
from rig.errors import AskTwice, ConfigError, Refused
from rig.pads import joints_of
from rig.touches import Target
from rig.trying.holding import Holding
from rig.trying.ladder import nearest
from rig.words import ohms, short_ohms

READ_S = 0.5
"""What says yes to a question counts once the question could be read."""


@dataclass(frozen=True)
class Tried:
    """A pick as it is tried.

    Parameters
    ----------
    pick : Pick
        As it stands in picks.yaml, or as it was named.
    target : Target
        Its pads, over the series values in force.
    key : str
        The key that is pressed with it.
    is_kept : bool
        It stands in picks.yaml.
    """

    pick: Pick
    target: Target
    key: str
    is_kept: bool


class Session:
    """Going through picks with the toy under one's hands.

    All that a person can do is `do`, with one of its words; what comes of it is given as text.

    Parameters
    ----------
    holding : Holding
    picks : sequence of Pick
        Those to go through, in their order; at least one.
    found : sequence of Find
        Of the sweep; empty where there was none.

    Attributes
    ----------
    together : list of Tried
        What is held together; the last one is that which is stepped, changed and kept.
    at : int
        Which of the picks that is.
    """

    def __init__(self, holding: Holding, picks: Sequence[Pick], found: Sequence[Find]) -> None:
        self.holding = holding
        self.project = holding.project
        self.picks = list(picks)
        self.at = 0
        self._found = list(found)
        self._kept = {one.spot for one in load_picks(self.project.folder)}
        self._asked: tuple[str, str] | None = None
        self.together = [self._tried(self.picks[0])]

    @property
    def current(self) -> Tried:
        """The one that is stepped, changed and kept."""
        return self.together[-1]

    def begin(self) -> str:
        """Supply the toy, turn it on and hold the first pick; gives what there is to say of it."""
        self.holding.start()
        try:
            told = self._close_first()
        except Refused as refused:
            told = str(refused)
        return " ".join(filter(None, [*self.holding.told(), told]))

    @property
    def asked(self) -> tuple[str, str] | None:
        """The word, and what is behind it, that is done if it comes once more; None for none."""
        return self._asked

    def seen(self) -> str:
        """Say that a person is there, who asks for nothing; gives what there is to say."""
        self._asked = None
        self.holding.seen()
        return " ".join(self.holding.told())

    def do(self, word: str, given: str = "") -> str:
        """Do what a person asks for; gives what there is to say of it, "" for nothing.

        Parameters
        ----------
        word : str
            "press" (a key, else that of the pick), "step" ("up" or "down"), "open", "close",
            "next", "previous", "add" (a sound, else the next pick), "drop" (lets go of the last
            added), "hold" (a sound, in place of all that is held), "keep", "reset".
        given : str
            What is behind the word.
        """
        sure = self._asked == (word, given)
        self._asked = None
        self.holding.seen()
        try:
            told = getattr(self, f"_{word}")(given, sure)
        except AskTwice as ask:
            self._asked = (word, given)
            told = str(ask)
        except (Refused, ConfigError) as refused:
            told = str(refused)
        return " ".join(filter(None, [*self.holding.told(), told]))

    # What can be done: each is given what is behind its word, and whether it was asked twice

    def _press(self, given: str, sure: bool) -> str:
        key = given or self.current.key
        self.holding.press(key)
        self.together[-1] = replace(self.current, key=key)
        return ""

    def _step(self, given: str, sure: bool) -> str:
        if given not in ("up", "down"):
            raise Refused("a step goes up or down")
        target = self.holding.stepped(self._targets(), 1 if given == "up" else -1)
        return self._change([*self.together[:-1], replace(self.current, target=target)], sure)

    def _open(self, given: str, sure: bool) -> str:
        self.holding.release()
        return ""

    def _close(self, given: str, sure: bool) -> str:
        self.holding.hold(self._targets(), sure=sure)
        return ""

    def _hold(self, given: str, sure: bool) -> str:
        tried = self._tried(pick_named(self.project.folder, given))
        self.holding.hold([tried.target], sure=sure)
        self.together = [tried]
        return ""

    def _next(self, given: str, sure: bool) -> str:
        return self._move(1)

    def _previous(self, given: str, sure: bool) -> str:
        return self._move(-1)

    def _add(self, given: str, sure: bool) -> str:
        pick = pick_named(self.project.folder, given) if given else self._following()
        new = [*self.together, self._tried(pick)]
        self.holding.hold([one.target for one in new], sure=sure)
        self.together = new
        self.at = self.picks.index(pick) if pick in self.picks else self.at
        return ""

    def _drop(self, given: str, sure: bool) -> str:
        if len(self.together) < 2:
            raise Refused("one is held alone: open it instead")
        return self._change(self.together[:-1], sure)

    def _keep(self, given: str, sure: bool) -> str:
        tried, folder = self.current, self.project.folder
        path = min(max(self.holding.path(tried.target), AT_LEAST_OHM), AT_MOST_OHM)
        at_ohm = float(f"{path:.3g}")
        key = tried.pick.key if tried.is_kept else tried.pick.key or tried.key
        if tried.is_kept:
            keeping.retune(folder, tried.pick, at_ohm)
        else:
            keeping.keep(folder, tried.pick.pair, at_ohm=at_ohm, key=key)
        new = replace(tried.pick, at_ohm=at_ohm, key=key)
        self._kept.add(new.spot)
        self.picks = [new if one.spot == tried.pick.spot else one for one in self.picks]
        self.together[-1] = replace(tried, pick=new, is_kept=True)
        was = tried.pick.at_ohm if tried.is_kept else None
        instead = "" if was is None or is_same(was, at_ohm) else f", in place of {ohms(was)}"
        return f"kept: {new.pair} {short_ohms(at_ohm)}{instead}"

    def _reset(self, given: str, sure: bool) -> str:
        self.holding.bring_back()
        return "the supply was cut, the toy is back; nothing is bridged"

    # And what that takes

    def tick(self, seconds: float) -> str:
        """Let time pass and listen; gives what there is to say."""
        return " ".join(self.holding.tick(seconds))

    def _move(self, steps: int) -> str:
        at = self.at + steps
        if not 0 <= at < len(self.picks):
            raise Refused("that was the last pick" if steps > 0 else "that was the first pick")
        self.at = at
        self.holding.release()
        self.together[-1] = self._tried(self.picks[at])
        return self._close_first()

    def _close_first(self) -> str:
        """Close what is shown for the first time; where that must be asked twice, "close" will do."""
        try:
            return self._close("", False)
        except AskTwice as ask:
            self._asked = ("close", "")
            return str(ask)

    def _change(self, new: list[Tried], sure: bool) -> str:
        if self.holding.is_closed:
            self.holding.hold([one.target for one in new], sure=sure)
        self.together = new
        return ""

    def _following(self) -> Pick:
        there = [one.pick.spot for one in self.together]
        later = [one for one in (*self.picks[self.at + 1 :], *self.picks) if one.spot not in there]
        if not later:
            raise Refused("all picks are held already: name another pair")
        return later[0]

    def _targets(self) -> list[Target]:
        return [one.target for one in self.together]

    def _tried(self, pick: Pick) -> Tried:
        """Give a pick over the value nearest to its resistance, or to its best sound's."""
        rig = self.project.rig
        find = find_of(pick, self._found)
        wanted = pick.at_ohm or (find.best_path_ohm if find else None)
        series_ohm = max(rig.swept_ohm)
        if wanted is not None:
            series_ohm = nearest(rig, self.holding.rungs, wanted)
        target = Target(tuple(
            Connection(pads_1, pads_2, series_ohm) for pads_1, pads_2 in joints_of(pick.pair)
        ))
        keys = self.project.toy.keys
        wished = [key for key in (pick.key, find.key if find else None) if key in keys]
        return Tried(pick, target, [*wished, *keys][0], pick.spot in self._kept)


def picks_to_try(folder: Path, names: Sequence[str]) -> list[Pick]:
    """Give the picks that a person names, or all that are kept, in their order.

    Raises
    ------
    ConfigError
        A name doesn't begin with a pair, or nothing is kept.
    """
    picks = [pick_named(folder, name) for name in names] or load_picks(folder)
    if not picks:
        raise ConfigError(
            "nothing is kept yet: name a pair, `padsweep try C-F`, or keep one with `padsweep replay`"
        )
    return list({one.spot: one for one in picks}.values())


def pick_named(folder: Path, text: str) -> Pick:
    """Give the pick that a person names, or one made of what they typed.

    Raises
    ------
    ConfigError
        It doesn't begin with a pair.
    """
    wanted = named(text)
    for one in load_picks(folder):
        if one.pair == wanted.pair and wanted.key in (None, one.key) and (
            wanted.at_ohm is None or (one.at_ohm and is_same(wanted.at_ohm, one.at_ohm))
        ):
            return one
    return Pick(wanted.pair, at_ohm=wanted.at_ohm, key=wanted.key)
