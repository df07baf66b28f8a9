"""Verifying: does each control of the finished build do what was kept?"""

from rig.verify.decide import Tried, Verdict, decide
from rig.verify.expected import Expected, Hint, expected_of
from rig.verify.itself import Toy
from rig.verify.session import Verifying
from rig.verify.settings import Job, Setting, cords, jobs
from rig.verify.telling import Press, Told, tell

__all__ = [
    "Expected",
    "Hint",
    "Job",
    "Press",
    "Setting",
    "Told",
    "Toy",
    "Tried",
    "Verdict",
    "Verifying",
    "cords",
    "decide",
    "expected_of",
    "jobs",
    "tell",
]
