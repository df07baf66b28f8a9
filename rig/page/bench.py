"""The bench on the page: which tab has it, and what a tab may ask of it."""

from __future__ import annotations

import asyncio
import hmac
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

from rig.build.evidence import stopped_ohm, trials_by_pair
from rig.errors import ConfigError, RigError
from rig.page.held import WORDS, Benches, Hold, Told
from rig.page.night import Night
from rig.project import path_ohm
from rig.trying import BY_HAND
from rig.trying.ladder import rungs
from rig.words import ohms

TEXT_MOST = 100
DONE_S = 20.0
"""A tab is answered after this, done or not: the rest it learns when it says next that it is there."""
ENDS_S = 20.0
"""The end of the page waits so long for the bench."""


class Elsewhere(RigError):
    """Another tab has the bench, or this one no longer has it."""


class Desk:
    """The bench of a project, had by one tab at a time.

    Parameters
    ----------
    night : Night
    benches : Benches
    unforeseen : callable
        See `rig.page.app.Unforeseen`.
    """

    def __init__(
        self, night: Night, benches: Benches, unforeseen: Callable[[BaseException], str]
    ) -> None:
        self._night, self._benches, self._unforeseen = night, benches, unforeseen
        self._lock = threading.Lock()
        self._hold: Hold | None = None

    @property
    def is_had(self) -> bool:
        """Say whether some tab has the bench."""
        return self._hold is not None and self._hold.is_alive()

    def facts(self) -> Told:
        """Give what a tab may choose from: pads, resistances and keys; and why not, where it can't."""
        project = self._night.project
        by_hand = project.rig.bench == "by-hand"
        return {
            "refused": BY_HAND if by_hand else "", "had": self.is_had,
            "rungs": [] if by_hand else [
                {"ohm": round(path), "text": ohms(path)}
                for path in (path_ohm(project.rig, one) for one in rungs(project.rig))],
            "pads": [{"pad": pad, "note": facts.note} for pad, facts in project.toy.pads.items()
                     if not facts.forbidden],
        }  # fmt: skip

    def open(self, asked: Any) -> Told:
        """Have the bench opened for a tab, and a sound held.

        Parameters
        ----------
        asked : object
            From the tab: `sound`, such as "C-F 3.6k".

        Returns
        -------
        dict
            `hold`: what the tab says from now on; and how it stands, see `Hold.state`.

        Raises
        ------
        Elsewhere
            Another tab has it.
        ConfigError
            A person's hands hold nothing, or that is no sound.
        """
        sound = _text(_fields(asked, "sound")["sound"])
        project = self._night.project
        if project.rig.bench == "by-hand":
            raise ConfigError(BY_HAND)
        seen = self._night.seen()
        stops = {pair: stopped_ohm(trials) for pair, trials in trials_by_pair(seen.records).items()}
        with self._lock:
            if self.is_had:
                raise Elsewhere("another tab has the bench: let go there, or close it")
            self._hold = Hold(
                project, self._benches, sound, found=list(seen.found), unforeseen=self._unforeseen,
                stops={pair: ohm for pair, ohm in stops.items() if ohm is not None},
            )
            self._hold.start()
            return {"hold": self._hold.token} | self._hold.state

    def stay(self, asked: Any) -> Told:
        """Take in that the tab is there; gives how it stands. Raises as `do`."""
        fields = _fields(asked, "hold", "active", "hidden")
        active, hidden = fields["active"], fields["hidden"]
        if not isinstance(active, bool) or not isinstance(hidden, bool):
            raise ConfigError("active and hidden are true or false")
        hold = self._of(fields["hold"])
        hold.stay(active, hidden)
        return hold.state

    async def do(self, asked: Any) -> Told:
        """Have something done on the bench; gives how it stands then.

        Raises
        ------
        Elsewhere
            The tab has no bench.
        ConfigError
            There is no such thing to do.
        """
        fields = _fields(asked, "hold", "word", "given")
        word, given = fields["word"], _text(fields["given"])
        if word not in WORDS:
            raise ConfigError(f"on the bench there is {', '.join(WORDS)}")
        hold = self._of(fields["hold"])
        if not hold.is_alive():
            return hold.state
        answer: Future[Told] = hold.do(word, given)
        try:
            return await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(answer)), DONE_S)
        except TimeoutError:
            return hold.state | {"told": "it is still being done"}

    def leave(self, asked: Any) -> Told:
        """Have everything opened; gives how it stands. Raises as `do`."""
        hold = self._of(_fields(asked, "hold")["hold"])
        hold.leave()
        return hold.state

    def sound(self, number: int) -> bytes | None:
        """Give what an invented toy sounded like last."""
        return self._hold.sound(number) if self._hold is not None else None

    def close(self) -> None:
        """Open everything and wait until it is."""
        if self._hold is not None:
            self._hold.leave()
            self._hold.join(ENDS_S)

    def _of(self, token: Any) -> Hold:
        if self._hold is None or not hmac.compare_digest(_text(token).encode(), self._hold.token.encode()):
            raise Elsewhere("this tab doesn't have the bench any more")
        return self._hold


def _fields(asked: Any, *names: str) -> dict[str, Any]:
    if not isinstance(asked, dict) or set(asked) != set(names):
        raise ConfigError(f"asked for without one of {', '.join(names)}, or with more")
    return asked


def _text(value: Any) -> str:
    if not isinstance(value, str) or len(value) > TEXT_MOST or not value.isprintable():
        raise ConfigError(f"it must be a text of at most {TEXT_MOST} characters")
    return value
