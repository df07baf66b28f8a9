"""What is measured of any sound, and when it is too loud or only steady."""

from __future__ import annotations

from dataclasses import dataclass

from rig.listen.thresholds.threshold import threshold

YIN = "as the paper has it, or near (A. de Cheveigné and H. Kawahara, 2002)"


@dataclass(frozen=True)
class Measuring:
    """Bands, pitch, levels."""

    hop_s: float = threshold(0.010, "s", "from one frame to the next")
    window_s: float = threshold(
        0.0213, "s", "about a frame's length; it is the nearest power of two in samples"
    )
    bands: int = threshold(26, "1", "mel bands in a frame", "usual for speech at 16 kHz")
    band_low_hz: float = threshold(90.0, "Hz", "where the lowest band begins: above hum")
    band_high_hz: float = threshold(9000.0, "Hz", "where the highest band ends")
    silence_db: float = threshold(-120.0, "dB re full scale", "what is added to each band's power")
    lag_frames: int = threshold(
        3, "frames", "how far takes that begin like none known are shifted, either way"
    )
    loud_percentile: float = threshold(90.0, "%", "the level that the louder frames reach")

    clip_level: float = threshold(0.999, "full scale", "from where on a sample is cut off")
    clip_samples: int = threshold(24, "samples", "a sound with more of these is clipped")

    yin_dip: float = threshold(0.15, "1", "the first dip below this is the period", YIN)
    yin_voiced: float = threshold(0.3, "1", "a frame with a dip below this is voiced", YIN)
    voice_rate_hz: int = threshold(12_000, "Hz", "the rate at which a toy's voice is followed")
    voice_band_hz: int = threshold(2_500, "Hz", "what is above is no fundamental")
    repeats_better: float = threshold(
        0.25, "1", "a multiple of a period is the true one where it leaves only this part of a "
        "difference",
    )
    repeats_least: float = threshold(0.03, "1", "a difference below this is rounding")

    steady_window_s: float = threshold(
        0.2, "s", "whole periods of both mains, and bins 5 Hz wide"
    )
    quiet_quantile: float = threshold(
        0.25, "1", "what is steady is there in this quietest part of the windows as well"
    )
    tone_over_floor: float = threshold(20.0, "1", "a tone's power over that of the bins around")
    floor_bins: int = threshold(41, "bins", "so many are around a tone")
    skirt_bins: int = threshold(2, "bins", "a tone's width to either side under the window")
    steady_mostly: float = threshold(
        0.75, "1", "from this share of what the ear hears on it is a tone; noise counts about a "
        "third of its power in the quietest quarter, a tone all of it",
    )
