"""The person's project folder: its files, typed and checked, and what is refused as unsafe."""

from rig.project.electrical import path_ohm, touchable, worst_current_ma
from rig.project.facts import setup_difference, setup_facts, setup_hash
from rig.project.load import load_project
from rig.project.models import Project, Rig, Toy
from rig.project.new import new_project

__all__ = [
    "Project",
    "Rig",
    "Toy",
    "load_project",
    "new_project",
    "path_ohm",
    "setup_difference",
    "setup_facts",
    "setup_hash",
    "touchable",
    "worst_current_ma",
]
