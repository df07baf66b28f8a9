"""What a touch can do, one row for each word: everything that hangs on a word is read from here.

A touch has two words, apart from each other: what it did to the sound, and how the toy was
once it was open. Where a word's worth or control comes from is the trade (common practice, no
source).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rig.words import interval

Phrase = Callable[[float, str | None], str]
"""Says an amount in its unit."""


@dataclass(frozen=True)
class Unit:
    """What an amount is counted in.

    Parameters
    ----------
    alike : float
        Amounts within so much are taken for the same where no fingerprint tells more.
    moves : float
        Least spread over the paths that counts as changing with the resistance (our choice).
    """

    alike: float
    moves: float


UNITS = {
    "cents": Unit(100.0, 80.0),
    "dB": Unit(6.0, 3.0),
    "s": Unit(0.1, 0.03),
    "Hz": Unit(50.0, 15.0),
}
UNITLESS = Unit(1.0, 0.0)

Rule = tuple[str, str]
"""A control that fits by the word alone, and why; without one, how its amount moves decides."""


@dataclass(frozen=True)
class Sound:
    """What a touch did to the sound.

    Parameters
    ----------
    plain : str
        How it is said without an amount.
    phrase : callable or None
        How it is said with one; None: the word, the amount and its unit.
    worth : float
        To a bender, 0 to 1.
    control : Rule or None
    is_change : bool
        It differs from the baseline.
    is_bend : bool
        There is something to hear: it doesn't only silence the toy.
    """

    plain: str
    phrase: Phrase | None = None
    worth: float = 0.3
    control: Rule | None = None
    is_change: bool = True
    is_bend: bool = True


@dataclass(frozen=True)
class After:
    """How the toy was once the touch was open.

    Parameters
    ----------
    told : str
        In a table.
    phrase : str
        As the end of a sentence.
    stop : int
        How hard it stopped the toy: 0 not at all; the higher is told of where there are both.
    worth : float
        At least so much is the touch worth, whatever the sound.
    is_heard : bool
        It is something to hear in itself.
    control : Rule or None
        Fits whatever the sound.
    unfitted : str
        Why a pair that does nothing else gets no control, where there is more to say than that
        it stops the toy.
    """

    told: str
    phrase: str
    stop: int = 0
    worth: float = 0.0
    is_heard: bool = False
    control: Rule | None = None
    unfitted: str = ""


def _pitch(cents: float, _: str | None) -> str:
    return f"pitch {'up' if cents > 0 else 'down'} {interval(abs(cents))}"


def _drone(amount: float, unit: str | None) -> str:
    if unit == "dB":
        return f"noise under the sound, {amount:+.0f} dB"
    return f"drones at {amount:.0f} {unit}"


def _cut(amount: float, unit: str | None) -> str:
    if unit == "s":
        return f"goes silent after {amount:.2f} s" if amount >= 0.01 else "stays silent"
    return f"cuts the sound by {abs(amount):.0f} dB"


SOUNDS: dict[str, Sound] = {
    "none": Sound(
        "no change of the sound", lambda *_: "no change of the sound",
        is_change=False, is_bend=False,
    ),
    "blip": Sound(
        "blip", lambda db, _: f"a blip of {abs(db):.0f} dB", 0.45,
        ("push-button", "It ends by itself: a button gives it again and again."),
    ),
    "pitch": Sound("pitch", _pitch, 0.8),
    "level": Sound(
        "level", lambda db, _: f"{'louder' if db > 0 else 'quieter'} by {abs(db):.0f} dB", 0.35
    ),
    "timbre": Sound("timbre", lambda db, _: f"other timbre, by {abs(db):.0f} dB", 0.65),
    "cut": Sound(
        "cut", _cut, 0.45,
        ("push-button", "It takes the sound away while held: a button plays the gaps."),
        is_bend=False,
    ),
    "drone": Sound("drones without a pitch", _drone, 0.75),
    "loop": Sound(
        "loop", lambda s, _: f"loops every {s:.2f} s", 1.0,
        ("toggle", "A loop lasts while it is held: a toggle holds it."),
    ),
    "lost": Sound("lost", is_change=False),
}  # fmt: skip
"""What a touch did. `lost` takes can't be judged and are never ranked."""

AFTERS: dict[str, After] = {
    "answers": After("", ""),
    "runs on": After(
        "runs on", "then runs on", worth=0.95, is_heard=True,
        control=("toggle", (
            "It goes on by itself while held: a toggle holds it, and other bends can be tried "
            "over it without pressing keys."
        )),
    ),
    "freeze": After("freezes", "then stops until reset", stop=2),
    "guarded": After(
        "trips the guard", "trips the current guard", stop=1,
        unfitted="The rig's guard opened everything: too much current for a part that stays in the "
                 "toy.",
    ),
}  # fmt: skip
"""How the toy was once the touch was open: after what stops it, it needs a reset."""


def unit_of(unit: str | None) -> Unit:
    """Give what is known of an amount's unit."""
    return UNITS.get(unit or "", UNITLESS)


def is_change(sound: str | None) -> bool:
    """Say whether a word for the sound, or None before any, is a change that was heard."""
    return sound is not None and SOUNDS[sound].is_change


def is_stop(after: str | None) -> bool:
    """Say whether the toy needed a reset; seen even where the take is lost."""
    return after is not None and AFTERS[after].stop > 0


def is_heard(sound: str | None, after: str | None) -> bool:
    """Say whether a touch gave something that is heard, in it or after it."""
    return is_change(sound) or (after is not None and AFTERS[after].is_heard)


def sound_words(sound: str | None, amount: float | None, unit: str | None) -> str:
    """Say what a touch did, in a bender's words.

    Parameters
    ----------
    sound : str or None
        One of `SOUNDS`.
    amount : float or None
        In `unit`: cents, dB, s or Hz.
    unit : str or None
    """
    if sound is None:
        return "not measured"
    row = SOUNDS[sound]
    if amount is None:
        return row.plain
    if row.phrase is None:
        return f"{sound} {amount:g} {unit or ''}".rstrip()
    return row.phrase(amount, unit)


def after_words(after: str | None) -> str:
    """Say how the toy is afterwards, as the end of a sentence; "" where it answers."""
    return "" if after is None else AFTERS[after].phrase


def like_key_words(key: str | None) -> str:
    """Say that a find does what another key does; "" where it doesn't."""
    return f"like pressing {key}" if key else ""


def left_words(presses: int) -> str:
    """Say in how many clean presses in a row the toy was still changed; "" for fewer than two.

    One odd press may be the toy's own doing.
    """
    return f"still changed after {presses} presses" if presses > 1 else ""
