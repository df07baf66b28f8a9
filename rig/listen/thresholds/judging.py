"""Whether a take is different from what the toy does anyway."""

from __future__ import annotations

from dataclasses import dataclass

from rig.listen.thresholds.threshold import NOTES, threshold

FAMILIES = "finer and coarser ones put one cause no closer: seeds 2500 to 2517"
LEAD_INS = (
    "seeds 7100 to 7107: with 0.21 s ahead of the closing two boards of 8 were given up, "
    "with 0.24 s two freezes of 42 missed"
)


@dataclass(frozen=True)
class Judging:
    """Aligning, baseline, distance, p value, decision."""

    align_rate_hz: int = threshold(8000, "Hz", "the rate at which shifts are looked for")
    most_shift_s: float = threshold(0.025, "s", "the largest shift that is looked for")
    same_beginning: float = threshold(
        0.5, "correlation", "from where on two beginnings are the same phrase"
    )
    aligned_lag_frames: int = threshold(
        1, "frames", "how far takes that were laid over each other are shifted, either way"
    )
    skip_frames: int = threshold(
        3, "frames", "left out after the press: a loop that ran on from the touch before ends "
        "within these",
    )
    local_frames: int = threshold(15, "frames", "the window that finds short changes")
    mean_weight: float = threshold(
        2.0, "1", "how often the mean over the take counts beside its worst window"
    )
    floor_over_noise_db: float = threshold(
        9.0, "dB", "bands are compared only as far as they stand above the room's noise by this"
    )

    least_takes: int = threshold(3, "takes", "a baseline of fewer says nothing")
    kept_takes: int = threshold(
        64, "takes", "so many of a key's are kept: four times a baseline's usual 16, as many as a "
        "sweep makes of a toy that is never the same",
    )
    first_takes: int = threshold(
        24, "takes", "the first ones stay; with each of them the room is measured anew"
    )
    latest_takes: int = threshold(
        16, "takes", "the latest ones stay: those of about a thousand touches"
    )
    noise_moved_db: float = threshold(
        1.0, "dB", "later on the floor follows the room once a band has moved by more"
    )
    same_phrase_db: float = threshold(
        3.0, "dB", "two takes closer than this in their worst window are one phrase"
    )
    same_phrase_times: float = threshold(
        3.0, "1", "so are those closer than so many times the usual distance"
    )
    one_beyond_takes: int = threshold(
        20, "takes", "a take is odd beyond all clean ones but one in so many: a few may be so by "
        "themselves",
    )
    least_excess_db: float = threshold(
        0.1, "dB", "few takes can look more alike than they are: the tail is at least this long "
        "on average",
    )
    ends_quiet_frames: int = threshold(
        15, "frames", "the last of a clean take that hold only the room where the toy is done"
    )

    answer_frames: int = threshold(
        12, "frames", "from where a take is compared on, by which it's told whether the toy answers; "
        "before a touch closes as many and more have passed", LEAD_INS
    )
    prompt_frames: int = threshold(
        6, "frames", "a toy that sounds so soon after its press sounds with it"
    )
    late_step_frames: int = threshold(
        5, "frames", "steps in which a later one is compared later"
    )
    steady_frames: int = threshold(
        4, "frames", "beginnings so close to each other are as soon as the toy's keys are scanned"
    )
    unsteady_frames: int = threshold(
        10, "frames", "from here on they differ more than the beginnings of phrases do"
    )
    nothing_alike: float = threshold(
        0.75, "1", "where more than this share begin like no other, alikeness tells nothing of when"
    )
    over_frames: int = threshold(
        20, "frames", "quiet for so long after a short sound: nothing more is coming"
    )
    later_part: float = threshold(
        0.25, "1", "of the time between soonest and latest: so much later than the latest it may be"
    )
    later_frames: int = threshold(3, "frames", "and so much on top")
    starts_frames: int = threshold(
        3, "frames", "a sound above the room for so many begins: a drum is over soon"
    )
    lead_in_db: float = threshold(2.0, "dB", "a lead-in no farther from a clean one is known")
    lead_in_times: float = threshold(
        2.5, "1", "nor one that is no farther than so many times the clean ones' farthest"
    )
    silence_part: float = threshold(
        0.7, "1", "never one beyond this part of the distance from a clean one to silence"
    )

    moved_db: float = threshold(
        1.5, "dB", "a phrase that is louder or softer by less is at its own level"
    )
    moved_part: float = threshold(
        0.2, "1", "of a lead-in's bands and frames so many must be heard to tell its level"
    )

    audible_db: float = threshold(
        2.4, "dB", "a change below this, averaged over the bands in the worst window, isn't worth "
        "a control", "a root mean square of 3 dB where the bands' differences are normal",
    )
    pitch_audible_db: float = threshold(
        0.8, "dB", "for a re-pitching this is enough: a tone a few per cent lower is clearly heard, "
        "but hardly moves the bands", NOTES,
    )

    heard_part: float = threshold(
        0.1, "1", "of a frame's bands must stand above the room where a key still sounds"
    )
    like_key_frames: int = threshold(
        30, "frames", "less of a sound than this isn't told as another key's"
    )
    like_key_late_frames: int = threshold(
        10, "frames", "so much later than after a press another key's sound may begin"
    )
    like_key_db: float = threshold(
        3.0, "dB", "a sound no farther from a key's own, averaged over all of it, is this key's"
    )
    other_key_times: float = threshold(
        2.0, "1", "and the key that was pressed must be so many times as far"
    )

    dwell_parts: int = threshold(
        3, "1", "a fingerprint's parts of the time while the connection is closed", FAMILIES
    )
    band_groups: int = threshold(8, "1", "a fingerprint's groups of bands", FAMILIES)
