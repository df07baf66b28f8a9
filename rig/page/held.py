"""Pads held on the bench for one tab: a thread of its own does all that touches the bench.

Everything opens and the toy is off where the tab has gone, is hidden for a minute or says nothing for
10 s, and where a sweep wants the bench; a minute in which nobody does anything opens the pads, as in
`padsweep try`. Where this program dies, the controller's dead-man does it.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any

import numpy as np

from rig.bench import Bench
from rig.bench.turn import wanted
from rig.choose import Find
from rig.choose.sounds import as_wav
from rig.errors import RigError
from rig.page.token import new_token
from rig.project import Project
from rig.trying import READ_S, Holding, Session
from rig.trying.session import pick_named
from rig.words import ohms

SILENT_S = 10.0
"""A tab that says nothing for so long has gone."""
HIDDEN_S = 60.0
TICK_S, LATE_TICK_S = 0.05, 1.0
PIECE_S, PRESS_MOST_S, STEP_MOST_S, QUIET_S = 0.1, 6.0, 2.0, 0.5
"""An invented toy is heard in pieces until it was quiet for so long: up to so long behind a press, and
behind anything else."""
OVER_ROOM, LOUD_RMS = 3.0, 0.02
"""A piece is loud whose RMS is so many times the room's, or so much of full scale."""
WORDS = ("press", "step", "open", "close", "hold", "add", "drop", "keep", "reset")
OPEN_AND_OFF = "all pads are open and the toy is off"
Told = dict[str, Any]


@dataclass(frozen=True)
class Benches:
    """How a bench is had.

    Parameters
    ----------
    at_bench : callable
        Gives the bench in a `with` statement, which leaves it safe; raises BenchError where another
        has it.
    cautions : str
        Shown beside it; "" for an invented toy.
    """

    at_bench: Callable[[], AbstractContextManager[Bench]]
    cautions: str = ""


class Hold(threading.Thread):
    """One tab's time at the bench, from the first sound that is held to the end.

    Parameters
    ----------
    project : Project
    benches : Benches
    sound : str
        What is held first: "C-F 3.6k".
    found : sequence of Find
    stops : mapping
        As for `Holding`.
    unforeseen : callable
        See `rig.page.app.Unforeseen`.

    Attributes
    ----------
    token : str
        Known to its tab alone.
    state : dict
        How it stands; made anew each time, so that it may be read at any moment.
    """

    def __init__(
        self, project: Project, benches: Benches, sound: str, *, found: list[Find],
        stops: Mapping[str, float], unforeseen: Callable[[BaseException], str],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__(name="bench", daemon=True)
        self.token = new_token()
        self._project, self._benches, self._found, self._stops = project, benches, found, stops
        self._unforeseen, self._clock = unforeseen, clock
        self._pick = pick_named(project.folder, sound)
        self._is_simulated = project.rig.bench == "simulated"
        self._asked: queue.SimpleQueue[tuple[str, str, Future[Told]]] = queue.SimpleQueue()
        self._pieces: list[np.ndarray] = []
        self._room_rms = np.inf
        self._sound: tuple[int, bytes] = (0, b"")
        self._told, self._telling = "", 0
        self._is_leaving = self._is_active = False
        self._heard_s = self._shown_s = clock()
        self.state: Told = self._stands("opening", None)

    # From the tab

    def stay(self, active: bool, hidden: bool) -> None:
        """Take in that the tab is there, whether somebody did something, and whether it is hidden."""
        self._heard_s = self._clock()
        if not hidden:
            self._shown_s = self._heard_s
        self._is_active = self._is_active or (active and not hidden)

    def do(self, word: str, given: str) -> Future[Told]:
        """Have something done that `Session.do` knows; gives how it stands then."""
        self.stay(False, False)
        answer: Future[Told] = Future()
        self._asked.put((word, given, answer))
        return answer

    def leave(self) -> None:
        """Have everything opened and the toy switched off."""
        self._is_leaving = True

    def sound(self, number: int) -> bytes | None:
        """Give what was heard last as WAV; None where that isn't this number."""
        at, sound = self._sound
        return sound if at == number and sound else None

    # In the thread

    def run(self) -> None:
        """Hold pads until it is over, whatever ends it."""
        why, left = "", ""
        try:
            with self._benches.at_bench() as bench:
                try:
                    why = self._hold(bench)
                finally:
                    self.state = self.state | {"state": "leaving", "closed": False}
                    left = bench.safe() or OPEN_AND_OFF
        except RigError as trouble:
            why = str(trouble)
        except BaseException as error:
            why = self._unforeseen(error)
        self._tell(": ".join(filter(None, [why, left])))
        self.state = self._stands("over", None)
        while not self._asked.empty():
            self._asked.get()[2].set_result(self.state)

    def _hold(self, bench: Bench) -> str:
        """Do what the tab asks for until it is over; gives why it is."""
        rate_hz = bench.rate_hz
        holding = Holding(self._project, bench, self._heard, self._stops)
        session = Session(holding, [self._pick], self._found)
        self._tell(session.begin())
        if self._is_simulated:
            session.tick(3 * PIECE_S)
            self._measure_room()
        asked_s = passed_s = self._clock()
        while not (why := self._over(session)):
            self.state = self._stands("held", session)
            try:
                word, given, answer = self._asked.get(timeout=TICK_S if self._is_simulated else 0)
            except queue.Empty:
                pass
            else:
                now_s = self._clock()
                if (word, given) != session.asked or now_s - asked_s >= READ_S:
                    self._told = ""
                    self._tell(session.do(word, given))
                    self._hear(session, word, rate_hz)
                asked_s = now_s
                self.state = self._stands("held", session)
                answer.set_result(self.state)
            if self._is_active:
                self._is_active = False
                holding.seen()
            now_s = self._clock()
            span_s = min(now_s - passed_s, LATE_TICK_S) if self._is_simulated else TICK_S
            passed_s = now_s
            self._tell(session.tick(max(span_s, TICK_S / 2)))
            self._measure_room()
        return why

    def _over(self, session: Session) -> str:
        """Say why it is over; "" while it isn't."""
        now_s = self._clock()
        if who := wanted(self._project.folder):
            return f"{who} wants the bench"
        if self._is_leaving:
            return "let go"
        if now_s - self._heard_s >= SILENT_S:
            return f"the tab said nothing for {SILENT_S:g} s"
        if now_s - self._shown_s >= HIDDEN_S:
            return "the tab was hidden for a minute"
        return "nobody was there" if session.holding.is_over else ""

    def _heard(self, sound: np.ndarray) -> None:
        if self._is_simulated:
            self._pieces.append(sound)

    def _measure_room(self) -> None:
        self._room_rms = min([self._room_rms, *map(_rms, self._pieces)])
        self._pieces.clear()

    def _hear(self, session: Session, word: str, rate_hz: int) -> None:
        """Let an invented toy sound on, and keep what is heard of it for the tab."""
        if not self._is_simulated or word in ("keep", "reset") or session.holding.is_off:
            return
        most_s = PRESS_MOST_S if word == "press" else STEP_MOST_S
        limit = min(OVER_ROOM * self._room_rms, LOUD_RMS)
        quiet_s = heard_s = 0.0
        while heard_s < most_s and quiet_s < QUIET_S:
            before = len(self._pieces)
            self._tell(session.tick(PIECE_S))
            loud = any(_rms(one) > limit for one in self._pieces[before:])
            quiet_s = 0.0 if loud else quiet_s + PIECE_S
            heard_s += PIECE_S
        if any(_rms(one) > limit for one in self._pieces):
            self._sound = self._sound[0] + 1, as_wav(np.concatenate(self._pieces), rate_hz)
            if quiet_s < QUIET_S:
                self._tell("it sounds on")

    def _tell(self, *lines: str) -> None:
        line = " ".join(filter(None, lines))
        if line:
            self._told = f"{self._told} {line}".strip()[-1000:]
            self._telling += 1

    def _stands(self, state: str, session: Session | None) -> Told:
        told: Told = {
            "state": state, "told": self._told, "telling": self._telling, "closed": False,
            "off": False, "asked": None, "held": [], "key": "", "sound": self._sound[0],
            "keys": list(self._project.wired_keys), "cautions": self._benches.cautions,
            "simulated": self._is_simulated,
        }  # fmt: skip
        if session is None:
            return told
        holding = session.holding
        return told | {
            "closed": holding.is_closed, "off": holding.is_off, "key": session.current.key,
            "asked": list(session.asked) if session.asked else None,
            "held": [_shown(session, one) for one in session.together],
        }  # fmt: skip


def _shown(session: Session, tried: Any) -> Told:
    """Give how one of the held pairs stands."""
    holding, toy = session.holding, session.project.toy
    path = holding.path(tried.target)
    stops = holding.stopped_ohm.get(tried.target.in_order().name)
    return {
        "pair": tried.pick.pair, "label": tried.pick.label, "kept": tried.is_kept, "path": ohms(path),
        "at": sum(one <= tried.target.series_ohm for one in holding.rungs), "of": len(holding.rungs),
        "stopped": "" if stops is None else ohms(stops),
        "pads": [{"pad": pad, "note": toy.pads[pad].note if pad in toy.pads else ""}
                 for pad in tried.pick.pads],
    }  # fmt: skip


def _rms(sound: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(sound, dtype=np.float64)))) if len(sound) else 0.0
