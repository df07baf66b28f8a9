"""Pause and go on: what the page says of a running sweep's pause, and what it asks for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rig.errors import ConfigError
from rig.events import Event
from rig.log.pausing import ask_to_pause, let_go_on, pause_wished
from rig.log.stream import is_under_way, waits
from rig.page.night import Night
from rig.words import clock_words

ASKED = "on the page"


def pause_told(night: Night, events: Sequence[Event]) -> dict[str, Any]:
    """Give how it stands with a pause.

    Returns
    -------
    dict
        `may` (is a sweep under way that could), `wished` (who asked and since when; "" for nobody) and
        `waits` (the sweep has told that it pauses).
    """
    wish = pause_wished(night.folder)
    return {
        "may": is_under_way(events), "waits": waits(events) is not None,
        "wished": f"asked for {wish.asked} at {clock_words(wish.at)}" if wish else "",
    }  # fmt: skip


def ask_pause(night: Night, asked: Any) -> dict[str, Any]:
    """Ask the sweep to pause (`wished`: true), or take that back; gives how it stands then.

    Raises
    ------
    ConfigError
        That isn't what is asked for here, or no sweep is under way.
    LogError
        The wish can't be written, or removed.
    """
    if not isinstance(asked, dict) or set(asked) != {"wished"} or not isinstance(asked["wished"], bool):
        raise ConfigError("a pause is wished, true or false")
    events = night.events()
    if not asked["wished"]:
        let_go_on(night.folder)
    elif not is_under_way(events):
        raise ConfigError("no sweep is running: there is nothing to pause")
    else:
        ask_to_pause(night.folder, ASKED)
    return pause_told(night, events)
