"""Building: from picks to controls with their values, and the sheet for the soldering bench."""

from rig.build.controls import propose
from rig.build.evidence import Trial, trials_by_pair
from rig.build.fitting import Control
from rig.build.series import E12, E24, at_least, bands, nearest
from rig.build.sheet import make_sheet

__all__ = [
    "E12",
    "E24",
    "Control",
    "Trial",
    "at_least",
    "bands",
    "make_sheet",
    "nearest",
    "propose",
    "trials_by_pair",
]
