"""The sixty invented toys of the golden logs. The first `IN_TESTS` are swept by every test run."""

from __future__ import annotations

from golden_sweeps import Golden

IN_TESTS = 6
SIX = "ABCDEF"
LOW_GUARD = {"guard": {"peak_ma": 200, "average_ma": 100}}
"""Trips where a direct voltage gets to the speaker."""
FINDS = {"keep": "finds"}


def each(kind: str, first: int, last: int, trouble: str) -> dict:
    """Give the same trouble at each of some touches."""
    return dict.fromkeys(((kind, n) for n in range(first, last + 1)), trouble)


BOARDS = {
    # freezes, a trip, more clean takes, a clean press that is doubted
    "talker-21-trip": Golden("talker", 21, 8, (0,), SIX, rig=LOW_GUARD),
    # loops, drones, toys that run on, freezes
    "sampler-3-loops": Golden("sampler", 3, 8, (6_800,), SIX),
    # turned on by a key, at the start and as a rung of the ladder; takes dropped
    "keyboard-12-finds": Golden("keyboard", 12, 8, (6_800,), SIX, rig=FINDS),
    "talker-9-hand-left": Golden(
        "talker", 9, 8, (10_000,), "ABCF", by_hand=True,
        runs=({("touch", 2): "again", ("touch", 4): "leave"}, {("touch", 1): "taps"}),
    ),
    "talker-3-stopped": Golden(
        "talker", 3, 8, (6_800,), SIX,
        runs=({("press", 4): "stop"}, {("pair", 7): "stop"}, {("pair", 9): "stop"}, {}),
    ),
    "talker-5-troubles": Golden(
        "talker", 5, 8, (6_800,), SIX, on=True, reset_line=True,
        runs=(
            {("press", 4): "lost", ("pair", 3): "deaf", ("pair", 5): "dead", ("pair", 8): "late",
             ("pair", 9): "restart", ("pair", 14): "broken"},
            {("pair", 2): "broken"},
            {("press", 2): "dead", ("pair", 6): "lost"},
        ),
    ),

    # At the bench, nothing going wrong
    "talker-1": Golden("talker", 1, 8, (6_800,)),
    "talker-2": Golden("talker", 2, 8, (150_000, 6_800), SIX),
    "talker-6": Golden("talker", 6, 9, (33_000,)),
    "talker-7": Golden("talker", 7, 10, (33_000,)),
    "talker-8": Golden("talker", 8, 8, (33_000, 0), SIX),
    "talker-10": Golden("talker", 10, 8, (6_800,), SIX),
    "talker-14": Golden("talker", 14, 8, (33_000,)),
    "talker-16": Golden("talker", 16, 8, (6_800,), SIX),
    "talker-22": Golden("talker", 22, 8, (6_800,), SIX),
    "keyboard-1": Golden("keyboard", 1, 8, (6_800,), SIX),
    "keyboard-2": Golden("keyboard", 2, 8, (33_000,)),
    "keyboard-4": Golden("keyboard", 4, 8, (6_800,), SIX),
    "keyboard-5": Golden("keyboard", 5, 8, (150_000, 6_800), SIX),
    "keyboard-9": Golden("keyboard", 9, 8, (6_800,), SIX),
    "keyboard-11": Golden("keyboard", 11, 8, (6_800,), SIX),
    "keyboard-16": Golden("keyboard", 16, 9, (33_000,)),
    "keyboard-18": Golden("keyboard", 18, 8, (33_000,), "ABCDEFG"),
    "sampler-1": Golden("sampler", 1, 8, (6_800,), SIX),
    "sampler-4": Golden("sampler", 4, 8, (33_000,), "ABCDEFG"),
    "sampler-5": Golden("sampler", 5, 8, (6_800,), SIX),
    "sampler-7": Golden("sampler", 7, 8, (33_000, 6_800), SIX),
    "sampler-11": Golden("sampler", 11, 10, (33_000,)),
    "sampler-14": Golden("sampler", 14, 8, (6_800,), SIX),
    "sampler-15": Golden("sampler", 15, 9, (33_000,)),

    # Other ways to sweep
    "talker-7-two-keys": Golden(
        "talker", 7, 8, (6_800,), "ABCDEG", rig={"sweep": {"keys": ["boat", "fish"]}},
    ),
    "talker-13-finds": Golden("talker", 13, 8, (150_000, 33_000), SIX, rig=FINDS),
    "sampler-12-finds": Golden("sampler", 12, 8, (33_000,), "ABCDEFG", rig=FINDS),
    "talker-23-noise": Golden("talker", 23, 8, (6_800,), SIX, rig={"simulated": {"room_db": 25}}),
    "talker-19-microphone": Golden(
        "talker", 19, 8, (6_800,), SIX,
        rig={"simulated": {"room": {"path": "microphone", "hum_db": 40, "drift_ppm": 60}}},
    ),
    "keyboard-14-clicks": Golden(
        "keyboard", 14, 8, (6_800,), SIX,
        rig={"simulated": {"room": {"click_db": 20, "gain_db": -6}}},
    ),
    "sampler-2-trips": Golden("sampler", 2, 8, (0,), SIX, rig=LOW_GUARD),
    "sampler-21-trips": Golden("sampler", 21, 8, (0,), SIX, rig=LOW_GUARD),
    "keyboard-19-guard": Golden("keyboard", 19, 8, (0,), SIX, rig=LOW_GUARD),

    # Stopped and continued
    "keyboard-3-stopped": Golden(
        "keyboard", 3, 8, (6_800,), SIX, runs=({("pair", 1): "stop"}, {("pair", 9): "stop"}, {}),
    ),
    "sampler-6-stopped": Golden(
        "sampler", 6, 8, (6_800,), SIX,
        runs=({("press", 8): "stop"}, {("pair", 6): "stop"}, {("press", 3): "stop"}, {}),
    ),
    "talker-12-killed": Golden(
        "talker", 12, 8, (6_800,), SIX,
        runs=({("pair", 4): "broken"}, {("pair", 2): "broken"}, {("press", 2): "broken"}, {}),
    ),
    "talker-18-finds-stopped": Golden(
        "talker", 18, 8, (33_000, 6_800), SIX, rig=FINDS, runs=({("pair", 17): "stop"}, {}),
    ),

    # Troubles
    "talker-7-drift": Golden(
        "talker", 7, 10, (150_000, 33_000), runs=(each("press", 9, 99, "softer"), {}),
    ),
    "talker-11-loud": Golden(
        "talker", 11, 8, (6_800,), SIX, runs=(each("pair", 4, 9, "louder"),),
    ),
    "talker-4-too-loud": Golden(
        "talker", 4, 8, (6_800,), SIX, runs=(each("press", 4, 6, "louder"), {}),
    ),
    "talker-17-restarts": Golden(
        "talker", 17, 8, (6_800,), SIX,
        runs=(
            {("press", 5): "restart", ("pair", 3): "restart", **each("pair", 8, 20, "restart")}, {},
        ),
    ),
    "talker-15-deaf": Golden(
        "talker", 15, 8, (6_800,), SIX,
        runs=({("press", 9): "deaf", ("pair", 1): "lost", ("pair", 9): "deaf"},),
    ),
    "keyboard-6-lost": Golden(
        "keyboard", 6, 8, (33_000,), SIX, runs=(each("pair", 6, 20, "lost"), {}),
    ),
    "talker-24-late": Golden(
        "talker", 24, 8, (33_000,), SIX,
        runs=({("pair", 2): "late", ("pair", 9): "dead", ("pair", 13): "late"},),
    ),
    "sampler-9-reset-line": Golden(
        "sampler", 9, 8, (6_800,), SIX, on=True, reset_line=True,
        runs=({("press", 7): "dead", ("pair", 5): "dead"},),
    ),

    # By hand
    "talker-9-hand": Golden("talker", 9, 8, (10_000,), "ABCF", by_hand=True),
    "talker-9-hand-skips": Golden(
        "talker", 9, 8, (10_000,), "ABCF", by_hand=True,
        runs=({("touch", 1): "nothing", ("touch", 3): "skip"}, {}),
    ),
    "talker-9-hand-froze": Golden(
        "talker", 9, 8, (10_000,), "ABCF", by_hand=True,
        runs=({("clean", 4): "nothing", ("touch", 2): "froze", ("touch", 4): "taps"},),
    ),
    "talker-9-hand-lost": Golden(
        "talker", 9, 8, (10_000,), "ABCF", by_hand=True,
        runs=({("touch", 2): "nothing", "once more": "nothing", "bare": "nothing",
               "battery": "nothing"}, {}),
    ),
    "talker-9-hand-cut": Golden(
        "talker", 9, 8, (10_000,), "ABCF", by_hand=True,
        runs=({("touch", 1): "nothing", ("once more", 1): "nothing"},),
    ),
    "talker-5-hand": Golden("talker", 5, 8, (10_000,), "ABCD", by_hand=True),
    "keyboard-1-hand": Golden("keyboard", 1, 8, (10_000,), "ABCD", by_hand=True),
    "sampler-6-hand": Golden("sampler", 6, 8, (300_000, 10_000), "ABC", by_hand=True),
    "sampler-3-hand-left": Golden(
        "sampler", 3, 8, (10_000,), "ABCD", by_hand=True,
        runs=({("clean", 5): "leave"}, {("touch", 3): "leave"}, {}),
    ),
}
