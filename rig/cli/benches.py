"""Opens the bench that a project names; nothing else in the program knows them all."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rig.bench import Bench
from rig.bench.byhand import ListeningBench, Person
from rig.cli.called import raise_alarm
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


@contextmanager
def at_bench(project: Project) -> Iterator[Bench]:
    """Open the project's bench and leave it safe; a toy that is still supplied is told of last.

    Raises
    ------
    BenchError
        As for `open_bench`.
    """
    bench = open_bench(project)
    try:
        yield bench
    finally:
        try:
            raise_alarm(bench.safe())
        finally:
            raise_alarm(bench.close())


def open_hands(project: Project, person: Person) -> ListeningBench:
    """Open the bench of a project by hand.

    Raises
    ------
    BenchError
        When the sound device or a library it needs isn't there.
    """
    from rig.bench.byhand import ByHandBench

    return ByHandBench(project, person)
