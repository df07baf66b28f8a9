"""Opens the bench that a project names; nothing else in the program knows them all."""

from __future__ import annotations

from rig.bench import Bench
from rig.bench.byhand import ListeningBench, Person
from rig.project import Project


def open_bench(project: Project) -> Bench:
    """Open the project's bench.

    Raises
    ------
    BenchError
        When the port, the sound device or a library they need isn't there.
    """
    if project.rig.bench == "simulated":
        from rig.bench.simulated.bench import SimulatedBench

        return SimulatedBench(project)
    from rig.bench.hardware import HardwareBench

    return HardwareBench(project)


def open_hands(project: Project, person: Person) -> ListeningBench:
    """Open the bench of a project by hand.

    Raises
    ------
    BenchError
        When the sound device or a library it needs isn't there.
    """
    from rig.bench.byhand import ByHandBench

    return ByHandBench(project, person)
