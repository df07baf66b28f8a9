"""Records of touches, made up one by one, for the tests of what reads a log."""

from dataclasses import replace

from making_logs import BASELINE, LINE, bridge

from rig.bench import Stimulus
from rig.log import Record


def record(number, pads="AB", kind="sweep", sound="pitch", after="answers", path_ohm=12_000.0,
           key="moo", **more):
    """A usable record of one pad to one pad."""
    one, other = pads
    touch = replace(bridge(one, other, path_ohm), stimulus=Stimulus((key,)))
    known = Record(
        number=number, plan_key="", kind=kind, touch=touch, pads_1=one, pads_2=other,
        path_ohm=path_ohm, key=key, started_at="", timeline=LINE, rate_hz=48_000,
        take=f"takes/{number:06d}.flac", take_samples=1, offsets={}, fault=None, facts={},
        complete=after is not None, after=after, sound=sound,
        amount=300.0 if sound == "pitch" else None, unit="cents" if sound == "pitch" else None,
        score=2.0, p_value=1e-4, judge="test",
    )
    return replace(known, **more)


def baseline(number, **more):
    """A baseline's record."""
    return record(number, kind="baseline", sound="none", touch=BASELINE, pads_1="", pads_2="",
                  path_ohm=None, **more)


def seen_twice(pads="AB", first=1, **more):
    """The least that makes a find."""
    return [record(first, pads, **more), record(first + 1, pads, "confirm", **more)]
