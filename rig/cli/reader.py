"""Shows a sweep's events in a thread of its own, so that the sweep never waits for the screen."""

from __future__ import annotations

import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from typing import Self

from rig.cli.called import PROGRAM, alarm, as_called, give_output_up
from rig.cli.readable import one_line
from rig.errors import RigError, Stopped
from rig.events import Event, Progress

WAITING = 1000
"""Events that may wait; what comes beyond them is read in the log, once these are shown."""
LOOKS_EVERY_S = 0.1
PATIENCE_S = 1.0
"""An output that takes nothing for so long at the end stands still."""


class Reader:
    """Hands events to what shows them, in a `with` statement around the run.

    Its end waits until all is shown, however long that takes; Ctrl-C ends the waiting.

    Parameters
    ----------
    show : callable
        Takes an iterable of events and comes back after the last one; called in a thread.
    stored : callable
        Takes the `id` of an event and gives those behind it, as they are in the log.
    waiting : int
        How many events may wait.
    """

    def __init__(
        self,
        show: Callable[[Iterable[Event]], object],
        stored: Callable[[int], list[Event]],
        waiting: int = WAITING,
    ) -> None:
        self._show, self._stored, self._most = show, stored, waiting
        self._change = threading.Condition()
        self._events: deque[Event] = deque()
        self._given_id = 0
        self._behind_id = 0  # up to here the log is to be read; 0: it needn't be
        self._has_ended = False  # the sweep
        self._is_over = False  # the showing
        self._failure: BaseException | None = None
        self._thread: threading.Thread | None = None

    def put(self, event: Event) -> None:
        """Take an event, without ever waiting.

        Of a `Progress` only the latest waits, and it leaves where there is no room for others.

        Raises
        ------
        BaseException
            What ended the showing, once.
        """
        with self._change:
            self._raise_failure()
            if isinstance(event, Progress) or len(self._events) >= self._most:
                self._forget_progress()
            if not self._behind_id and len(self._events) < self._most:
                self._events.append(event)
                self._change.notify_all()
            elif not isinstance(event, Progress):
                self._behind_id = event.id
            if self._thread is None:
                self._thread = threading.Thread(target=self._read, name="reader", daemon=True)
                self._thread.start()

    def _forget_progress(self) -> None:
        for one in self._events:
            if isinstance(one, Progress):
                self._events.remove(one)
                return

    def _raise_failure(self) -> None:
        failure, self._failure = self._failure, None
        if failure is not None:
            raise failure

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: object, error: BaseException | None, _: object) -> None:
        with self._change:
            self._has_ended = True
            self._change.notify_all()
        try:
            if not self._is_through() and not isinstance(error, (Stopped, KeyboardInterrupt)):
                # What can't wait is told beside an output that stands still.
                for line in (str(error) if isinstance(error, RigError) else "", alarm()):
                    if line and sys.__stderr__:
                        print(f"{PROGRAM}: {one_line(as_called(line))}", file=sys.__stderr__)
                while not self._is_through():
                    pass
        except KeyboardInterrupt:
            self._is_through()
            raise
        finally:
            if self._thread and not self._is_over:
                give_output_up()
        if error is None:
            self._raise_failure()

    def _is_through(self) -> bool:
        """Wait for the thread's end while it gets on; say whether it has come."""
        with self._change:
            while self._thread and not self._is_over:
                before_id = self._given_id
                # Not `join`: where Ctrl-C ends that, Python takes the thread for ended.
                is_over = self._change.wait_for(lambda: self._is_over, PATIENCE_S)
                if not is_over and self._given_id == before_id:
                    return False
        return True

    # In the thread

    def _read(self) -> None:
        try:
            self._show(self._given())
        except BaseException as failure:
            self._failure = failure
        finally:
            with self._change:
                self._is_over = True
                self._change.notify_all()

    def _given(self) -> Iterator[Event]:
        while True:
            with self._change:
                self._change.wait_for(lambda: self._events or self._behind_id or self._has_ended)
                event = self._events.popleft() if self._events else None
                upto_id = 0 if event else self._behind_id
                if upto_id:
                    self._behind_id = 0
            if event is not None:
                self._given_id = event.id
                yield event
            elif upto_id:
                yield from self._read_on(upto_id)
            else:
                return

    def _read_on(self, upto_id: int) -> Iterator[Event]:
        """Give what didn't fit into the queue, but for progress, which is old by now."""
        while self._given_id < upto_id:
            is_all = self._has_ended  # the log is closed by then
            found = [one for one in self._stored(self._given_id) if one.id <= upto_id]
            for event in found:
                self._given_id = event.id
                if not isinstance(event, Progress):
                    yield event
            if not found and is_all:
                return
            if not found:
                time.sleep(LOOKS_EVERY_S)
