"""Pads have no meaning: named or ordered otherwise, the same finds come under other names."""

import dataclasses

import numpy as np
import pytest

from rig.bench.simulated.board import KINDS, Board, make_board
from rig.bench.simulated.folder import new_simulated_project
from rig.bench.simulated.truth import truth
from rig.project import Project


def renamed(board: Board, project: Project, new: dict[str, str]) -> tuple[Board, Project]:
    """Give board and project with every pad's lead on another channel."""
    pads = sorted(
        (dataclasses.replace(pad, letter=new[pad.letter]) for pad in board.pads),
        key=lambda pad: (len(pad.letter), pad.letter),
    )
    other = dataclasses.replace(
        board, pads=tuple(pads), rails=tuple(pad.letter for pad in pads if pad.rail)
    )
    toy_pads = {pad.letter: None for pad in pads}
    toy_pads |= {new[letter]: pad for letter, pad in project.toy.pads.items()}
    toy = project.toy.model_copy(update={"pads": toy_pads})
    return other, dataclasses.replace(project, toy=toy)


def named(found: dict, new: dict[str, str]) -> dict:
    """Give the truth's answer under other names, and in an order that hangs on nothing."""

    def pair(pads):
        return tuple(sorted(new[pad] for pad in pads))

    return {
        "bends": sorted(pair(p) for p in found["bends"]),
        "freezes": sorted(pair(p) for p in found["freezes"]),
        "sometimes": {w: sorted(pair(p) for p in ps) for w, ps in found["sometimes"].items()},
        "pairs": sorted((pair(p["pads"]), {**p, "pads": None}) for p in found["pairs"]),
    }


@pytest.mark.parametrize("kind", KINDS)
def test_pads_in_another_order_show_the_same_under_their_new_names(kind, tmp_path):
    seed = 3
    project = new_simulated_project(tmp_path / "toy", seed, 9, kind)
    board = make_board(seed, 9, kind)
    own = truth(project, board)
    assert own["bends"]
    same = {letter: letter for letter in board.letters}
    order = np.random.Generator(np.random.PCG64(seed)).permutation(board.letters)
    new = dict(zip(board.letters, map(str, order), strict=True))
    other = truth(*renamed(board, project, new)[::-1])
    assert named(other, same) == named(own, new)
