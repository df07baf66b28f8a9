"""When the toy begins to sound in a stream, and what is a tap on the microphone."""

from __future__ import annotations

from dataclasses import dataclass

from rig.listen.thresholds.threshold import HANDS, threshold


@dataclass(frozen=True)
class Watching:
    """Onsets and taps."""

    over_room_db: float = threshold(
        12.0, "dB", "the toy must stand so far above the room to be heard beginning", HANDS
    )
    below_toy_db: float = threshold(
        15.0, "dB", "so far below the toy's loud frames its sound begins: rustle of handling lies "
        "20 dB and more below (our measure of what is still fair)", HANDS,
    )
    bridged_frames: int = threshold(5, "frames", "a gap as long doesn't end a sound", HANDS)
    lasting_frames: int = threshold(10, "frames", "from here on a sound is the toy's", HANDS)
    click_frames: int = threshold(
        5, "frames", "a click of some ms is seen in two or three overlapping windows; a room adds "
        "one or two", HANDS,
    )
    tap_over_db: float = threshold(
        8.0, "dB", "a tap on the microphone stands so far above that level: it is about as loud as "
        "the toy, far above what hands do nearby", HANDS,
    )
    tap_bands: float = threshold(0.8, "1", "the share of the bands that a tap fills", HANDS)
    tap_band_db: float = threshold(10.0, "dB", "each so far above the room", HANDS)
    tap_apart_frames: tuple[int, int] = threshold(
        (8, 60), "frames", "within which taps of one pattern follow each other", HANDS
    )
    taps_most: int = threshold(
        3, "1", "more short sounds in a row are a ticking toy, not a person", HANDS
    )
    quiet_frames: int = threshold(50, "frames", "by the last of them quiet is told")
    quiet_percentile: float = threshold(80.0, "%", "of whose levels this one must be low")
    tone_frames: int = threshold(
        25, "frames", "the program's own tone, with its echo, is over within these"
    )
    apart_frames: int = threshold(15, "frames", "what follows a sound sooner belongs to it")
