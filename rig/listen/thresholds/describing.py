"""What became of a sound, in one word."""

from __future__ import annotations

from dataclasses import dataclass

from rig.listen.thresholds.threshold import NOTES, SPEECH, threshold


@dataclass(frozen=True)
class Describing:
    """Cuts, loops, drones, pitch, level, timbre, blips."""

    sounding_db: float = threshold(12.0, "dB", "a frame this far above the room sounds")
    changed_db: float = threshold(
        3.0, "dB", "a frame whose bands differ by this much on average has changed"
    )
    change_frames: int = threshold(10, "frames", "most of so many have changed: a change has come")
    change_part: float = threshold(0.6, "1", "most of them")
    blip_frames: int = threshold(30, "frames", "a blip takes no more")
    blip_ahead_frames: int = threshold(
        15, "frames", "a blip is over so long before the sound or the connection ends"
    )
    least_level_db: float = threshold(2.0, "dB", "a change of level is more than this")
    level_part: float = threshold(
        0.5, "1", "the bands of a change of level differ among themselves by less than this part "
        "of it",
    )
    timbre_range_db: float = threshold(
        40.0, "dB", "what lies so far below the loudest band counts as silent in a timbre"
    )
    least_voice_cents: float = threshold(
        80.0, "cents", "a voice that has moved by less has no other pitch"
    )

    cut_db: float = threshold(-20.0, "dB", "at least this much quieter is gone", SPEECH)
    least_cut_db: float = threshold(
        -10.0, "dB", "a cut takes at least this much of the power while the connection is closed, "
        "however short what is left sounds", NOTES,
    )
    cut_mostly: float = threshold(
        0.7, "1", "a cut takes more of the sounding frames than this, and of the last of them"
    )
    cut_nearly: float = threshold(0.85, "1", "or this many, where the last ones are there")
    late_cut_s: float = threshold(
        0.1, "s", "silence that comes later is told by its time, not by how much quieter it is"
    )
    late_cut_frames: int = threshold(
        8, "frames", "a cut that comes late takes at least so many", SPEECH
    )
    late_cut_part: float = threshold(0.15, "1", "and such a part of what would sound", SPEECH)
    fall_frames: int = threshold(
        8, "frames", "what stood no higher above the room in so many before its end has died away",
        NOTES,
    )
    faded_db: float = threshold(18.0, "dB", "no higher than this", NOTES)
    faster_s: float = threshold(
        0.1, "s", "what is gone sooner isn't looked at for having been played faster"
    )

    steady_db: float = threshold(
        2.5, "dB", "frames of a drone differ by less, from one to the next and from their mean"
    )
    drone_s: float = threshold(0.35, "s", "a drone lasts as long at least")
    drone_longer_frames: int = threshold(
        15, "frames", "and by so many longer than the clean sound's own steady stretch"
    )
    own_tone_frames: int = threshold(
        50, "frames", "where the clean sound holds a tone for so long, another one is no drone",
        NOTES,
    )
    own_step_frames: int = threshold(5, "frames", "a step in which a held tone is looked at", NOTES)
    own_step_db: float = threshold(
        2.5, "dB", "a note that dies away is held, as long as its bands differ by less from one "
        "step to the next", NOTES,
    )
    pause_frames: int = threshold(
        8, "frames", "noise under the sound is looked for where the clean sound pauses for as long",
        SPEECH,
    )
    noise_lasting: float = threshold(
        0.8, "1", "the part of the pauses in which noise must be heard", SPEECH
    )
    noise_wide: float = threshold(
        0.3, "1", "the part of the bands that noise must raise: less is a tone", SPEECH
    )
    band_below_db: float = threshold(
        9.0, "dB", "a band's share of the room is at least so far below the whole room"
    )
    tone_frames: int = threshold(10, "frames", "a tone in a pause is looked for from here on")
    own_db: float = threshold(
        6.0, "dB", "where the clean sound is so far above the noise, it must still be there"
    )
    voice_range_db: float = threshold(
        20.0, "dB", "frames this much below the loudest don't count for the level of a voice"
    )

    loop_shortest_frames: int = threshold(6, "frames", "shorter patterns are looked for in these")
    loop_shortest_s: float = threshold(0.02, "s", "what is shorter is heard as a tone")
    loop_longest_frames: int = threshold(500, "frames", "no longer pattern is looked for")
    loop_alike: float = threshold(
        0.6, "1", "frames repeat when they differ by at most 1 - this of what any two differ by",
        SPEECH,
    )
    loop_smooth_frames: int = threshold(5, "frames", "over which likeness is smoothed", SPEECH)
    loop_least_frames: int = threshold(25, "frames", "a shorter repetition is chance", SPEECH)
    loop_passes: float = threshold(
        0.6, "1", "how much of the pattern must come again, at least", SPEECH
    )
    loop_short_passes: float = threshold(
        1.6, "1", "how much of it where the next isn't reached: by then it's no chance", SPEECH
    )
    loop_long_frames: int = threshold(60, "frames", "a repetition as long is no chance", SPEECH)
    loop_contrast_db: float = threshold(
        2.0, "dB", "the pattern must change by this within itself: what only goes on is no loop"
    )
    loop_likeness: float = threshold(0.7, "1", "its passes must be as alike", SPEECH)
    loop_sounding: float = threshold(0.3, "1", "the part of it that must sound")
    loop_better: float = threshold(
        0.05, "1", "a longer period must win by this part of the take: twice a period repeats "
        "nearly as long",
    )
    loop_usual: float = threshold(
        0.6, "1", "it's no loop where the clean sound repeats as long as this part of it"
    )
    loop_sure_passes: float = threshold(
        2.5, "1", "what is heard less often is a loop only if its very waveform comes again",
        SPEECH,
    )
    loop_same_shape: float = threshold(
        0.5, "correlation", "from where on the waveform itself repeats", SPEECH
    )
    loop_submultiple: float = threshold(
        0.93, "1", "a part of a period that repeats by this as well is the period", SPEECH
    )
    loop_own_part: float = threshold(
        0.03, "1", "a loop as near to the clean sound's own, played at its speed, is that one"
    )

    least_cents: float = threshold(
        40.0, "cents", "a re-pitching by less isn't worth a control", NOTES
    )
    least_fit: float = threshold(
        0.45, "1", "how much of the difference a re-pitching must explain", SPEECH
    )
    sure_fit: float = threshold(
        0.6, "1", "and where another word would do as well", SPEECH
    )
    per_octave: int = threshold(48, "1", "steps in which a re-pitching is looked for")
    most_octaves: int = threshold(2, "octaves", "no re-pitching beyond is looked for")
    offset_frames: int = threshold(6, "frames", "how much sooner or later the two may begin")
    seen_late_frames: int = threshold(
        25, "frames", "how late a change may be seen: it came in a pause", SPEECH
    )
    pitch_range_db: float = threshold(
        45.0, "dB", "what lies so far below the loudest is left out of a re-pitching"
    )
    least_voiced: int = threshold(10, "frames", "voiced ones that a change of pitch needs")
    still_voiced: float = threshold(
        0.6, "1", "the part of the clean sound's voiced frames that must still be voiced"
    )
    same_shift_cents: float = threshold(40.0, "cents", "frames that moved alike differ by less")
    same_shift_part: float = threshold(0.15, "1", "or by less than this part of the shift")
    voice_mostly: float = threshold(
        0.75, "1", "the part of the frames that must have moved by the same amount"
    )
    near_cents: float = threshold(
        70.0, "cents", "a fundamental's own change must be this near to the spectrum's"
    )
