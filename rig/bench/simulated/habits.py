"""What toys do where designs differ: the habits of a board's chips, keys, sound and supply.

Habits that nobody gave are those of a toy that answers at once, each press anew.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Literal

Phrases = Literal["random", "in turn", "same"]
WhileSounding = Literal["anew", "ignored", "stops", "next", "queued"]

IN_TURN = 3
"""So many sounds a key of a keyboard or sampler has where they come in turn."""

STEP_DB = 6.0
"""Of a key that changes the volume: three steps, then the first again."""


@dataclass(frozen=True)
class Habits:
    """What one toy does where designs differ.

    Parameters
    ----------
    crash_ratio : float
        Clock over its nominal frequency at which the chips jam.
    dynamic : bool
        Whether the chips lose their state when the clock stands still.
    jam_sounds : bool
        Whether jammed chips go on sounding, or have stopped for good.
    stall_sounds : bool
        Whether the last sound goes on while a sequencer waits for its memory.
    loop_latches : bool
        Whether a loop asked for at the loop input goes on until a key is pressed.
    auto_off_s : float or None
        After so long without a key the toy turns itself off. Its `on` keys, or any key where it
        has none, turn it on again.
    bounce_ms : float
        For so long after a press or release a key's contact comes and goes.
    hiss : float
        Level of the noise that the toy makes at rest, RMS re full scale.
    answer_ms : (float, float), 0 to 1000
        A press and its release reach the chips so much later, drawn at each press between the
        least and the most. Bridges act at once all the same.
    misses : float, 0 to 0.3
        Share of the presses that go unnoticed.
    phrases : str
        Which phrase of its key a press brings: "random" as the kind does it (a talker's are
        picked at random, keyboards and samplers have one sound a key), "in turn" from power-on
        (those have `IN_TURN` then, of the keys that follow), or always the "same".
    while_sounding : str
        What a press does to a toy that sounds: begins "anew"; is "ignored"; "stops" it; begins the
        "next" phrase in turn; is "queued" until the phrase ends. Where a bridge makes a loop go on
        by itself, a press that is ignored doesn't end it.
    sleep_s : float or None
        After so long in quiet a press only wakes the toy.
    greets : bool
        Whether it speaks by itself when it comes to life.
    nag_s : float or None
        It speaks by itself each time it was left alone in quiet for so long.
    goodbye : bool
        Whether it speaks before it turns itself off.
    thump_db : float or None
        Peak of the click with which the amplifier comes up, dB re the speech's RMS.
    hiss_before_ms : float, 0 to 300
        For so long the amplifier is up and hisses before the speech begins.
    hiss_before_db : float
        RMS of that hiss, dB re the speech's.
    whine_hz : float or None, 2000 to 12000
        A tone while the toy is supplied.
    whine_db : float
        RMS of that tone, dB re the speech's.
    hum_s : float
        For so long the amplifier hums on after the speech.
    hum_db : float
        RMS of that hum, dB re the speech's.
    sag_percent_a_minute : float
        So much of their voltage the cells lose while the toy is on, at most `supply.SAGS_BY`
        in all: clock and level go with it.
    turned_db : float
        By so much somebody turns the volume up, or down where negative.
    turned_at_s : float
        When: seconds of the toy's time.
    falls_back : bool
        Whether the volume is its old one after the chips were without supply.
    motor_ma : float
        Drawn by motors and lamps while the toy sounds.
    cycles : str
        "volume": the last key plays nothing, each press of it lowers the volume by `STEP_DB`, and
        every third one raises it again; "" where all keys play.
    """

    crash_ratio: float = 2.5
    dynamic: bool = True
    jam_sounds: bool = False
    stall_sounds: bool = False
    loop_latches: bool = False
    auto_off_s: float | None = None
    bounce_ms: float = 0.0
    hiss: float = 0.0
    answer_ms: tuple[float, float] = (0.0, 0.0)
    misses: float = 0.0
    phrases: Phrases = "random"
    while_sounding: WhileSounding = "anew"
    sleep_s: float | None = None
    greets: bool = False
    nag_s: float | None = None
    goodbye: bool = False
    thump_db: float | None = None
    hiss_before_ms: float = 0.0
    hiss_before_db: float = -20.0
    whine_hz: float | None = None
    whine_db: float = -30.0
    hum_s: float = 0.0
    hum_db: float = -20.0
    sag_percent_a_minute: float = 0.0
    turned_db: float = 0.0
    turned_at_s: float = 0.0
    falls_back: bool = False
    motor_ma: float = 0.0
    cycles: Literal["", "volume"] = ""

    @property
    def plain(self) -> Habits:
        """The same toy answering at once, each press anew, and silent beside its phrases."""
        return replace(self, **{name: getattr(_NONE, name) for name in _MANNERS})

    @property
    def is_plain(self) -> bool:
        """Whether there is nothing that `plain` would take away."""
        return self == self.plain

    @property
    def latest_answer_s(self) -> float:
        """How long after a press that it notices the toy begins to speak at the latest, s."""
        # the keys are looked at every 20 ms, and the amplifier's click takes one of these
        return (self.answer_ms[1] + self.hiss_before_ms) / 1000 + 0.04


_NONE = Habits()
_OF_THE_CHIPS = frozenset((
    "crash_ratio", "dynamic", "jam_sounds", "stall_sounds", "loop_latches", "auto_off_s",
    "bounce_ms", "hiss",
))  # fmt: skip
_MANNERS = [one.name for one in fields(Habits) if one.name not in _OF_THE_CHIPS]
