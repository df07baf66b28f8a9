"""A line out for the built toy: the same way out of it as the controller's board has.

The values stand here alone; the hardware guide takes them from here.
"""

from __future__ import annotations

from rig.words import ohms

SERIES_F = 1e-6
"""Capacitor in series, film: keeps the amplifier's d.c. out."""
SERIES_V = 63
UPPER_OHM, LOWER_OHM = 5.6e3, 620.0
"""The divider by ten."""
LOW_PASS_F = 10e-9
"""Across the divider's lower resistor: takes off what a switching amplifier leaves above the sound."""
TRANSFORMER = "audio transformer 600 Ω : 600 Ω, 1:1, primary at least 1 H"


def divider() -> float:
    """Give by what the divider divides."""
    return (UPPER_OHM + LOWER_OHM) / LOWER_OHM


def farads(value: float) -> str:
    """Say a capacitance: 1 µF, 10 nF."""
    for size, unit in ((1e-6, "µF"), (1e-9, "nF")):
        if value >= size * 0.9995:
            return f"{value / size:.3g} {unit}"
    return f"{value / 1e-12:.3g} pF"


LINES = (
    (
        f"From the amplifier's two loudspeaker wires: {farads(SERIES_F)} film in series with the one, "
        f"then {ohms(UPPER_OHM)} and {ohms(LOWER_OHM)} as a divider by ten down to the other, "
        f"{farads(LOW_PASS_F)} film across the {ohms(LOWER_OHM)}, and across these the first winding of "
        "an audio transformer, 600 Ω : 600 Ω, 1:1."
    ),
    (
        "The second winding goes to the jack's tip and sleeve and to nothing else: neither loudspeaker "
        "wire is ground, so no wire of the toy, not battery minus either, may reach the jack. Mount it "
        "insulated where the shell is metal or painted with metal."
    ),
    (
        "To silence the loudspeaker while a plug is in, take a mono jack with a switch that is a pair "
        "of contacts of its own, and put that pair in the loudspeaker wire you cut. A jack whose "
        "switch rests on its tip can't do that: leave its third lug free."
    ),
)
CHECK = (
    "Check with a multimeter, cells out: no connection between either of the jack's lugs and "
    "battery minus, battery plus and both loudspeaker wires. Begin with the level down. Never "
    "straight to a mixer, never past the transformer."
)
LUGS = (
    ("tip", "one end of the transformer's second winding"),
    ("sleeve", "its other end, and nothing else"),
    ("switch", "a pair of its own: in the cut loudspeaker wire; resting on the tip: free"),
)
