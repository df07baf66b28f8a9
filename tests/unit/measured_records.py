"""Records of a pair that was found, and measured down and up again."""

from dataclasses import replace

from making_logs import BASELINE
from making_records import record, seen_twice

PATHS = (3_600.4, 5_200.4, 7_400.4, 10_400.4, 20_000.4, 36_600.4, 153_600.4)


def measured(told, pads="CF", key="moo", times=2):
    """Give records of a pair.

    Parameters
    ----------
    told : dict
        By path, what was heard: (sound, amount, unit), or ("none",), or ("freeze",); or for each way
        its own: {"down": ..., "up": ...}.
    """
    made = []

    def add(kind, path, what, way=""):
        sound, amount, unit = (*what, None, None)[:3]
        after = "freeze" if sound == "freeze" else "answers"
        made.append(record(0, pads, kind, path_ohm=path, key=key, after=after, amount=amount, unit=unit,
                           sound="none" if sound == "freeze" else sound, facts={"way": way} if way else {}))  # fmt: skip

    def press():
        made.append(replace(record(0, pads, "control", "none", path_ohm=None, key=key, touch=BASELINE,
                                   pads_1="", pads_2=""), facts={"itself": True}))  # fmt: skip

    for path, what in told.items():
        first = what["down"] if isinstance(what, dict) else what
        for kind in ("sweep", "confirm"):
            add(kind, path, first)
    press()
    for _ in range(times):
        for way in ("down", "up"):
            for path in sorted(told, reverse=way == "down"):
                what = told[path][way] if isinstance(told[path], dict) else told[path]
                if what[0] != "freeze":
                    add("control", path, what, way)
                    press()
    return [replace(one, number=n) for n, one in enumerate(made, 1)]


def found(pads="CF", first=1, **more):
    """A find that nobody measured."""
    return seen_twice(pads, first, **more)
