"""Recordings that no rig made: where they begin, and how they are laid over each other."""

from __future__ import annotations

from dataclasses import dataclass

from rig.listen.thresholds.threshold import SPEECH, threshold


@dataclass(frozen=True)
class OfRecordings:
    """Beginning, laying, which phrase it was."""

    room_frames: int = threshold(
        10, "frames", "the room is measured over the quietest stretch of so many", SPEECH
    )
    excess_db: float = threshold(
        3.0, "dB", "a frame sounds when its bands stand above the room's by this on average, those "
        "below counted as 0; noise alone gives about 1 dB, whatever its level and colour", SPEECH,
    )
    begins_frames: int = threshold(
        5, "frames", "so many of the next must sound: a click doesn't last as long", SPEECH
    )
    begins_among_frames: int = threshold(7, "frames", "of so many", SPEECH)
    dead_margin_db: float = threshold(
        0.5, "dB", "frames no more than this above digital silence hold only zeros: a sound card "
        "that hadn't started yet, or an edit",
    )
    well_below_db: float = threshold(
        25.0, "dB", "where nothing but zeros is this far below the loudest frames, the zeros are "
        "the room",
    )
    skirt_frames: int = threshold(
        3, "frames", "before the beginning that may hold some of it: the window reaches ahead"
    )
    least_rate_hz: int = threshold(8_000, "Hz", "no recording of a lower rate is judged")
    most_rate_hz: int = threshold(
        24_000, "Hz", "the bands end at 9 kHz; a higher rate would tell nothing more"
    )
    ahead_frames: int = threshold(36, "frames", "kept ahead of a recording's beginning")
    quiet_end_frames: int = threshold(
        10, "frames", "a recording that ends with so many quiet ones would have stayed quiet"
    )
    louder_room_db: float = threshold(
        15.0, "dB", "no room is this much louder than those of all clean recordings, if nothing of "
        "it was heard before the sound begins: it's the sound itself, which never pauses", SPEECH,
    )
    most_shift_s: float = threshold(
        0.3, "s", "where a room is loud, a soft beginning is heard up to this much later", SPEECH
    )
    piece_s: float = threshold(0.25, "s", "the length of what is looked for in another", SPEECH)
    pieces: int = threshold(5, "1", "how many are tried", SPEECH)
    same_piece: float = threshold(
        0.5, "correlation", "from where on a piece is the same in two recordings", SPEECH
    )
    usual_times: float = threshold(
        3.0, "1", "clean ones no farther apart than so many times the usual are one phrase", SPEECH
    )
    most_alike_db: float = threshold(
        4.5, "dB", "clean recordings farther apart aren't one phrase, however unsteady", SPEECH
    )
    other_phrase_fit: float = threshold(
        0.5, "1", "how well another phrase, played at another rate, must fit", SPEECH
    )
    tried: int = threshold(
        6, "1", "clean recordings that an altogether different one is described against, at most"
    )
