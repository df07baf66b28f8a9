"""Connections of the page's server: not too many, and none that dawdles."""

from __future__ import annotations

import asyncio
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

HEADERS_S = 5.0
"""A request's head must be there after this."""
REQUEST_S = 30.0
"""It must be read and answered after this."""
IDLE_S = 20
"""For so long a connection is kept that asks nothing."""
MOST = 48
"""Connections at a time; a browser opens six for all its tabs."""


class Bounded(H11Protocol):
    """A connection that is ended where it takes too long; the oldest idle one makes room."""

    def __init__(self, *args: Any, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self._late: asyncio.TimerHandle | None = None
        self._watched: object = None
        self.begun_s = self.loop.time()
        self.has_asked = False

    def connection_made(self, transport: Any) -> None:
        """Take a connection in; where there are too many, another one goes for it."""
        super().connection_made(transport)
        self._watch(None, HEADERS_S)
        # One that was cut off is forgotten only a moment later.
        there = [one for one in self.connections
                 if isinstance(one, Bounded) and not one.transport.is_closing()]  # fmt: skip
        if len(there) > MOST:
            others = [one for one in there if one is not self and one.is_idle]
            oldest = min(others, key=lambda one: (one.has_asked, one.begun_s), default=self)
            oldest.transport.abort()

    @property
    def is_idle(self) -> bool:
        """Say whether no request is under way."""
        return self.cycle is None or self.cycle.response_complete

    def data_received(self, data: bytes) -> None:
        """Read on; a request that has begun has its time from there."""
        super().data_received(data)
        if not self.is_idle:
            if self._watched is not self.cycle:
                self.has_asked = True
                self._watch(self.cycle, REQUEST_S)
        elif self._late is None:
            self._watch(None, HEADERS_S)

    def on_response_complete(self) -> None:
        """Wait for the next request."""
        self._unwatch()
        super().on_response_complete()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget it."""
        self._unwatch()
        super().connection_lost(exc)

    def _watch(self, what: object, seconds: float) -> None:
        self._unwatch()
        self._watched = what
        self._late = self.loop.call_later(seconds, self.transport.abort)

    def _unwatch(self) -> None:
        if self._late is not None:
            self._late.cancel()
        self._late, self._watched = None, None
