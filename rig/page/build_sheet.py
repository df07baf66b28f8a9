"""The build sheet as the page gives it: made when it's asked for, never written into the folder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rig.build.content import Face, Paper, Sheet
from rig.build.sheet import make_sheet, see
from rig.build.verified import load_build
from rig.choose import load_picks
from rig.page.night import Night
from rig.project import load_project
from rig.project.places import load_places

PAPERS: dict[str, Paper] = {"a4": "a4", "letter": "letter"}
FACES: dict[str, Face] = {"outside": "outside", "inside": "inside"}
LINE_OUT = {"0": False, "1": True}


@dataclass(frozen=True)
class Wanted:
    """How the sheet is wanted, as the command's options have it.

    Parameters
    ----------
    paper, face : str
        See `rig.build.content`.
    with_line_out : bool
    """

    paper: Paper = "a4"
    face: Face = "outside"
    with_line_out: bool = False


def wanted_of(asked: Mapping[str, str]) -> Wanted | None:
    """Read what an address asks for; None where it is nothing that there is."""
    paper, face = PAPERS.get(asked.get("paper", "a4")), FACES.get(asked.get("face", "outside"))
    line_out = LINE_OUT.get(asked.get("line_out", "0"))
    if paper is None or face is None or line_out is None:
        return None
    return Wanted(paper, face, line_out)


def sheet_of(night: Night, wanted: Wanted) -> Sheet:
    """Gather what stands on the sheet; files of the folder are read anew, as the command reads them.

    Parameters
    ----------
    night : Night
    wanted : Wanted

    Raises
    ------
    RigError
        Nothing is kept, or a file of the folder can't be used.
    """
    seen, folder = night.seen(), night.project.folder
    project, picks = load_project(folder), load_picks(folder)
    records, events = (seen.records, night.events()) if night.is_begun else (None, ())
    return make_sheet(
        project, picks, load_places(folder), see(project, picks, records, events, seen.found),
        paper=wanted.paper, face=wanted.face, with_line_out=wanted.with_line_out, build=load_build(folder),
    )  # fmt: skip


def pdf_file(night: Night, wanted: Wanted) -> tuple[bytes, str]:
    """Make the PDF; gives it and, in a line, what its fonts lack ("" where nothing). As `sheet_of` else."""
    from rig.build.paper import missing, missing_words, pdf_of

    made = sheet_of(night, wanted)
    return pdf_of(made), missing_words(missing(made))


def html_file(night: Night, wanted: Wanted) -> bytes:
    """Make the HTML. As `sheet_of` else."""
    from rig.build.page import html_of

    return html_of(sheet_of(night, wanted)).encode()
