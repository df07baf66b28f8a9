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

LEAST_CENTS = 30.0
"""A pitch that moves by less is no find that anybody looks for (common practice, no source)."""

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
    set_worth : float
        Where the resistance sets its amount, over `set_least` and one way; 0: no more than else.
    set_least : float
        In the amount's unit.
    crash_worth : float
        Where the toy stops with it and goes on sounding; 0: as any stop.
    is_last : callable
        Says of an amount whether it comes behind what is heard else: nobody looks for it.
    """

    plain: str
    phrase: Phrase | None = None
    worth: float = 0.3
    control: Rule | None = None
    is_change: bool = True
    is_bend: bool = True
    set_worth: float = 0.0
    set_least: float = 0.0
    crash_worth: float = 0.0
    is_last: Callable[[float | None], bool] = lambda _: False


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


@dataclass(frozen=True)
class Manner:
    """A bender's second word for a change, beside what it did to the sound.

    Parameters
    ----------
    plain : str
        How it is said without an amount, and before a pitch, whose own amount says as much.
    phrase : callable or None
        How it is said with one; None: as without.
    worth : float
        To a bender, 0 to 1, in place of that of the sound.
    says_all : tuple of str
        Words for the sound that needn't be said beside it.
    """

    plain: str
    phrase: Phrase | None = None
    worth: float = 0.65
    says_all: tuple[str, ...] = ()


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
        is_last=lambda _: True,
    ),
    "pitch": Sound(
        "pitch", _pitch, 0.8, set_worth=0.9, set_least=400.0,
        is_last=lambda cents: cents is not None and abs(cents) < LEAST_CENTS,
    ),
    "level": Sound(
        "level", lambda db, _: f"{'louder' if db > 0 else 'quieter'} by {abs(db):.0f} dB", 0.35,
        is_last=lambda db: db is not None and db < 0,
    ),
    "timbre": Sound("timbre", lambda db, _: f"other timbre, by {abs(db):.0f} dB", 0.65),
    "cut": Sound(
        "cut", _cut, 0.45,
        ("push-button", "It takes the sound away while held: a button plays the gaps."),
        is_bend=False, is_last=lambda _: True,
    ),
    "drone": Sound("drones without a pitch", _drone, 0.72, crash_worth=0.81),
    "loop": Sound(
        "loop", lambda s, _: f"loops every {s:.2f} s", 0.92,
        ("toggle", "A loop lasts while it is held: a toggle holds it."),
        set_worth=0.97, set_least=UNITS["s"].moves, crash_worth=0.82,
    ),
    "lost": Sound("lost", is_change=False),
}  # fmt: skip
"""What a touch did. `lost` takes can't be judged and are never ranked."""

def _hz(amount: float, _: str | None) -> str:
    return f"{amount / 1000:.3g} kHz" if amount >= 1000 else f"{amount:.3g} Hz"


MANNERS: dict[str, Manner] = {
    "slowed": Manner("slowed", lambda part, _: f"slowed to {part:.0f} %", 0.8),
    "sped": Manner("sped up", lambda part, _: f"sped up to {part:.0f} %", 0.8),
    "stutter": Manner("stutters", lambda hz, _: f"stutters at {_hz(hz, _)}", 0.92, ("loop",)),
    "chopped": Manner("chopped", lambda hz, _: f"chopped at {_hz(hz, _)}", 0.72, ("level", "loop")),
    "motorboating": Manner(
        "motorboats", lambda hz, _: f"motorboats at {_hz(hz, _)}", 0.6, ("level", "loop")),
    "scrambled": Manner("scrambled", None, 0.86, ("level", "pitch")),
    "other words": Manner("goes on as another phrase", None, 0.8, ("level", "pitch")),
    "unpredictable": Manner("different each time", None, 0.83),
    "runs and evolves": Manner(
        "evolves", lambda s, _: f"evolves for {s:.1f} s more", 1.0, ("level", "drone")),
    "crushed": Manner("crushed", lambda bits, _: f"crushed to {bits:.2g} bits", 0.72, ("drone",)),
    "coarse": Manner("coarse", lambda hz, _: f"coarse, held at {_hz(hz, _)}", 0.7, ("drone",)),
    "metallic": Manner(
        "metallic", lambda hz, _: f"metallic, ring of {_hz(hz, _)}", 0.72, ("pitch", "drone")),
    "distorted": Manner("distorted", None, 0.66),
    "sustains": Manner("sustains", None, 0.5),
    "buzz": Manner("buzzes", lambda hz, _: f"buzzes at {_hz(hz, _)}", 0.5, ("drone", "level")),
    "muffled": Manner("muffled", None, 0.45),
    "thin": Manner("thin", None, 0.45),
    "stops early": Manner("stops early", lambda s, _: f"stops early, after {s:.2f} s", 0.4, ("cut",)),
    "dies sooner": Manner("dies sooner", None, 0.4),
    "static": Manner("static", lambda db, _: f"static under the sound, {db:+.0f} dB", 0.4, ("drone",)),
    "crackle": Manner("crackles", lambda rate, _: f"crackles, {rate:.0f} a second", 0.4),
    "squeal": Manner("squeals", lambda hz, _: f"squeals at {_hz(hz, _)}", 0.35, ("drone", "level")),
    "whine": Manner(
        "whines", lambda hz, _: f"whines at {_hz(hz, _)}", 0.35, ("drone", "level", "pitch")),
}  # fmt: skip
"""A bender's second words, those worth most not first; what the trade calls them (common practice, no
source). All but "unpredictable", which is of several touches, are measured by `rig.listen`."""

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


def is_crash(sound: str | None, after: str | None) -> bool:
    """Say whether a touch stopped the toy and let it sound on: a freeze that drones or loops."""
    return after == "freeze" and sound is not None and SOUNDS[sound].crash_worth > 0


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


def manner_words(manner: str | None, amount: float | None, unit: str | None) -> str:
    """Say a manner with its amount; "" where there is none."""
    if manner is None:
        return ""
    row = MANNERS[manner]
    return row.plain if amount is None or row.phrase is None else row.phrase(amount, unit)


def told_words(
    sound: str | None, amount: float | None, unit: str | None, *,
    manner: str | None = None, manner_amount: float | None = None, manner_unit: str | None = None,
) -> str:
    """Say what a touch did by its manner, where it has one, and by what that leaves unsaid.

    Parameters
    ----------
    sound, amount, unit
        As of `sound_words`.
    manner : str or None
        One of `MANNERS`.
    manner_amount : float or None
        In `manner_unit`.
    manner_unit : str or None
    """
    said = sound_words(sound, amount, unit)
    if manner is None or sound is None:
        return said
    row = MANNERS[manner]
    if sound == "pitch" and sound not in row.says_all:
        return f"{row.plain}, {said}"
    told = manner_words(manner, manner_amount, manner_unit)
    if sound in row.says_all or not is_change(sound):
        return told
    if sound == "timbre" and amount is not None:
        return f"{told}, by {abs(amount):.0f} dB"
    return f"{told}, {said}"


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
