"""A bender's second word for what became of a sound: its manner."""

from __future__ import annotations

from dataclasses import dataclass

from rig.listen.thresholds.threshold import threshold

REAL = ("recorded speech, instruments and drums changed by sox and ffmpeg, the half for tuning "
        "(tests/outside/known_manners.py)")


@dataclass(frozen=True)
class Manners:
    """Tempo, modulation, resolution, balance, order, noises, tones, what lasts."""

    # Which part is looked at, and what counts as explained.
    over_room_db: float = threshold(
        15.0, "dB", "the clean sound must be so far above the room where its gain is followed", REAL
    )
    within_db: float = threshold(
        30.0, "dB", "and no farther below its own loudest frame", REAL
    )
    least_frames: int = threshold(30, "frames", "fewer tell nothing of a gain over time", REAL)
    heard_db: float = threshold(
        6.0, "dB", "a band of a frame counts where it is so far above the floor", REAL
    )
    floor_db: float = threshold(-6.0, "dB", "the floor of a band, re the whole room", REAL)
    fitted_frames: int = threshold(
        60, "frames", "so long a stretch is enough to hold what was made of the clean sound beside", REAL
    )
    fitted_rate_hz: int = threshold(
        22_000, "Hz", "a sample rate at which the highest band is heard", REAL
    )
    least_misfit_db: float = threshold(
        1.5, "dB", "two sounds whose bands differ by less have no other manner", REAL
    )

    rate_step_hz: float = threshold(0.1, "Hz", "from one rate that is tried to the next", REAL)

    # Tempo.
    tied_cents: float = threshold(
        60.0, "cents", "pitch moved by less doesn't tell whether the tempo went along", REAL
    )
    tied_fit: float = threshold(
        0.6, "1", "the part of the difference that playing slower or faster must explain", REAL
    )
    tied_better: float = threshold(
        0.05, "1", "by so much more than a tempo or a pitch of its own explains", REAL
    )
    length_db: float = threshold(
        25.0, "dB", "how far below its loudest frame a sound is taken to end, to tell a tempo", REAL
    )
    tied_lag_frames: int = threshold(4, "frames", "how far apart the two may begin", REAL)

    # Gain over time.
    gain_least_db: float = threshold(-40.0, "dB", "no gain is taken for lower", REAL)
    gain_most_db: float = threshold(40.0, "dB", "nor for higher", REAL)
    pulse_db: float = threshold(6.0, "dB", "pulses go up and down by so much at least", REAL)
    pulse_fit: float = threshold(
        0.7, "1", "the part of the gain's course that a pulse at one rate explains", REAL
    )
    pulse_least_hz: float = threshold(2.5, "Hz", "slower ones are none", REAL)
    pulse_most_hz: float = threshold(24.0, "Hz", "nor are faster ones", REAL)
    pulse_least: float = threshold(3.0, "1", "so many must be heard", REAL)
    gate_db: float = threshold(18.0, "dB", "gating goes on and off by so much at least", REAL)
    gate_between: float = threshold(
        0.22, "1", "the part of the frames that may lie between on and off", REAL
    )
    deep_gate_db: float = threshold(25.0, "dB", "where it goes on and off by so much", REAL)
    deep_gate_between: float = threshold(0.3, "1", "so many may", REAL)
    motorboat_most_hz: float = threshold(
        20.0, "Hz", "a sagging supply pulses no faster", "common practice, no source"
    )
    slope_frames: int = threshold(15, "frames", "a slope is told from so many", REAL)
    slope_sure: float = threshold(
        0.95, "1", "where it explains less, clipping may explain the level's course better", REAL
    )
    slope_fit: float = threshold(
        0.85, "1", "the part of the gain's course that a steady rise or fall explains", REAL
    )
    dies_slope: float = threshold(-12.0, "dB/s", "a sound that falls faster dies sooner", REAL)
    sustains_slope: float = threshold(8.0, "dB/s", "one that rises faster sustains", REAL)
    slope_db: float = threshold(8.0, "dB", "over all it must come to so much", REAL)

    # The clean sound made coarse, modulated, clipped or filtered, and compared.
    crushed_fit: float = threshold(0.5, "1", "the part of the difference few bits explain", REAL)
    coarse_fit: float = threshold(0.42, "1", "that a low sample rate explains", REAL)
    ring_fit: float = threshold(0.4, "1", "that sidebands explain", REAL)
    distorted_fit: float = threshold(0.45, "1", "that clipping explains", REAL)
    balance_fit: float = threshold(0.5, "1", "that other levels of the bands explain", REAL)
    better_fit: float = threshold(0.05, "1", "one must explain more than the next by this", REAL)
    bits: tuple = threshold((1.6, 2.3, 3.4), "bits", "steps that are tried", REAL)
    clip_db: tuple = threshold(
        (15.0, 25.0), "dB", "how far a sound is driven into clipping, as is tried", REAL
    )
    peak_percentile: float = threshold(99.95, "%", "a sound's peak is reached by so much of it", REAL)
    carrier_least_hz: float = threshold(70.0, "Hz", "a lower carrier is no sideband", REAL)
    carrier_most_hz: float = threshold(9000.0, "Hz", "no higher one is looked for", REAL)
    hold_least_hz: float = threshold(1800.0, "Hz", "no lower sample rate is looked for", REAL)
    ring_most_hz: float = threshold(3000.0, "Hz", "no higher carrier of sidebands", REAL)
    carriers: int = threshold(2, "1", "so many of the likeliest carriers are tried", REAL)
    tilt_db: float = threshold(
        9.0, "dB", "by which highs or lows must be weaker than the others", REAL
    )
    kept_db: float = threshold(
        -12.0, "dB", "and how much softer the others may be: less is no matter of balance", REAL
    )
    band_frames: int = threshold(8, "frames", "a band's level needs so many", REAL)

    # Order.
    block_frames: int = threshold(9, "frames", "length of a piece that is looked for", REAL)
    block_step_frames: int = threshold(3, "frames", "from one piece to the next", REAL)
    piece_sounding: float = threshold(0.5, "1", "the part of a piece that must sound", REAL)
    same_piece_db: float = threshold(3.0, "dB", "a piece found again differs by less", REAL)
    run_pieces: int = threshold(3, "1", "so many in a row moved alike are no chance", REAL)
    other_place_db: float = threshold(
        1.2, "dB", "a phrase's own pieces must be farther away than another's by this", REAL
    )
    moved_db: float = threshold(
        0.5, "dB", "what is in a moved piece's own place must be farther from it by this", REAL
    )
    other_place_frames: int = threshold(10, "frames", "another place is so far away", REAL)
    scrambled_part: float = threshold(
        0.4, "1", "the part of the pieces that are in another place", REAL
    )
    scrambled_runs: int = threshold(2, "1", "moved by so many distances", REAL)
    same_words_db: float = threshold(
        2.5, "dB", "another phrase's pieces differ by less on average", REAL
    )
    words_part: float = threshold(
        0.6, "1", "the part of the later pieces that are another phrase's, in its order", REAL
    )
    words_pieces: int = threshold(5, "1", "so many pieces are needed", REAL)
    static_db: float = threshold(
        -27.0, "dB", "a softer noise, re the sound, is no static", REAL
    )
    static_wide: float = threshold(
        0.6, "1", "the part of the bands that noise raises throughout", REAL
    )
    stutter_s: float = threshold(0.35, "s", "a loop with a longer period is no stutter", REAL)

    # Tones, noise and clicks beside the sound.
    tone_window_s: float = threshold(0.085, "s", "in which a lasting tone is looked for", REAL)
    tone_quantile: float = threshold(0.2, "1", "a tone lasts where so few windows are below it", REAL)
    tone_band_db: float = threshold(
        4.0, "dB", "it is looked for where a band is never softer than the clean one, by this", REAL
    )
    tone_over_db: float = threshold(15.0, "dB", "a tone's peak over the bins around", REAL)
    tone_new_db: float = threshold(10.0, "dB", "and over what the clean sound usually has there", REAL)
    loud_db: float = threshold(
        20.0, "dB", "windows this far below the loudest count for the clean sound's level", REAL
    )
    usual_quantile: float = threshold(
        0.6, "1", "what the clean sound has there in so many of its windows", REAL
    )
    tone_bins: int = threshold(31, "bins", "so many are around a tone", REAL)
    high_tone_hz: float = threshold(1000.0, "Hz", "a lower tone is no squeal nor whine", REAL)
    squeal_db: float = threshold(
        -6.0, "dB", "from this level on, re the clean sound, it is a squeal; a whine lies below", REAL
    )
    low_tone_hz: float = threshold(400.0, "Hz", "a higher tone is no buzz", REAL)
    harmonics: int = threshold(4, "1", "so many multiples of a low tone make a buzz", REAL)
    click_times: float = threshold(
        8.0, "1", "a click is so many times as strong as what is around it", REAL
    )
    click_ms: int = threshold(3, "ms", "and no longer", REAL)
    click_around_ms: int = threshold(24, "ms", "what is around it", REAL)
    over_clicks: float = threshold(
        0.5, "1", "what explains so much of a change stands before its clicks", REAL
    )
    click_rate: float = threshold(5.0, "1/s", "so many more than in the clean sound crackle", REAL)
    click_high_hz: float = threshold(2000.0, "Hz", "clicks are looked for above", REAL)

    # What comes behind the phrase.
    after_s: float = threshold(1.0, "s", "a sound that runs on for less isn't told", REAL)
    after_part: float = threshold(0.5, "1", "the part of it that must sound", REAL)
    evolves_db: float = threshold(
        3.0, "dB", "by which its bands must waver on average: what doesn't only goes on", REAL
    )
