"""Opens the bench that a project names; nothing else in the program knows them all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from rig.bench import Bench
from rig.bench.byhand import ListeningBench, Person
from rig.bench.turn import Turn
from rig.cli.called import raise_alarm, running
from rig.project import Project
from rig.verify import Job


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
def at_bench(project: Project, *, gives_way: bool = False) -> Iterator[Bench]:
    """Open the project's bench and leave it safe; a toy that is still supplied is told of last.

    Parameters
    ----------
    project : Project
    gives_way : bool
        See `Turn`.

    Raises
    ------
    BenchError
        As for `open_bench`; or another has it.
    """
    with Turn(project.folder, running(), gives_way=gives_way):
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


def open_build(project: Project, person: Person, made: Sequence[Job]) -> ListeningBench:
    """Open what a finished build is heard with: the project's sound input, whatever its bench.

    An invented toy is taken to be built as the sheet says.

    Raises
    ------
    BenchError
        When the sound device or a library it needs isn't there.
    """
    if project.rig.bench != "simulated":
        return open_hands(project, person)
    from rig.bench.simulated.built import Build, BuiltBench, wired
    from rig.bench.simulated.folder import project_board, simulated_part

    controls = {job.number: wired(job.pads, {one.name: one.ohm for one in job.settings}) for job in made}
    simulated = simulated_part(project)
    build = Build(project_board(project), controls)
    return BuiltBench(build, simulated.seed, person, room_db=simulated.room_db)
