"""What a log tells whoever listens, for tests; and an end that a listener puts to a sweep."""

from collections.abc import Callable

from rig.events import Event
from rig.log import SweepLog


class Enough(Exception):
    """A listener has seen what it wanted: the sweep ends here."""


def told_during(log: SweepLog, work: Callable) -> list[Event]:
    """Do something, such as a sweep's `run`; gives all that the log told meanwhile."""
    events: list[Event] = []
    log.listen(events.append)
    work()
    return events
