"""Board files as people may leave them: parts taken out, values changed, nodes renamed.

    python tests/unit/board_edits.py 5000     makes so many edits, and prints those that fail
"""

from __future__ import annotations

import copy
import itertools
import random
import sys
import tempfile
import warnings
from pathlib import Path

import numpy as np
import yaml

from rig.bench.base import Connection, Stimulus, Touch
from rig.bench.simulated.bench import SimulatedBench
from rig.bench.simulated.folder import new_simulated_project
from rig.bench.simulated.kinds import KINDS
from rig.errors import ConfigError
from rig.project.yaml_strict import parse_yaml

BOARDS = sorted((Path(__file__).parents[2] / "configs" / "boards").glob("*.yaml"))
WRONG_KINDS = (
    None, True, "", "x", "4k7", "a: b", "[", "on", "12", " ", "\t", "é Ω", "x" * 100, 0, -1, 1.5,
    10**400, float("nan"), [], [1, 2, 3], ["plus"], {}, {"ohm": 1}, {"a": {"b": []}},
)  # fmt: skip
FACTORS = (0, -1, 1e-9, 1e-3, 0.1, 0.3, 0.5, 0.8, 0.99, 1.3, 2, 3, 10, 1e3, 1e6, 1e12)


def edited(chance: random.Random, text: str) -> str:
    """Give a board file after a few edits."""
    if chance.random() < 0.15:
        return _typed(chance, text)
    board = parse_yaml(text, BOARDS[0]).data
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        # an edit may meet what an earlier one has spoilt
        try:
            chance.choice(_EDITS)(chance, board)
        except (KeyError, TypeError, AttributeError, IndexError, ValueError):
            continue
    return yaml.safe_dump(board, sort_keys=False, allow_unicode=True)


def _typed(chance: random.Random, text: str) -> str:
    """Change characters or lines, as a slip of the hand does."""
    for _ in range(chance.randint(1, 3)):
        lines = text.splitlines(keepends=True) or [""]
        at, place = chance.randrange(len(lines)), chance.randrange(len(text) or 1)
        how = chance.randrange(4)
        if how == 0:
            del lines[at]
        elif how == 1:
            lines.insert(at, chance.choice(lines))
        if how < 2:
            text = "".join(lines)
        elif how == 2:
            text = text[:place] + text[place + 1 :]
        else:
            text = text[:place] + chance.choice("{}[]:,#\"'-x07.e\n \t&*!Ω") + text[place + 1 :]
    return text


def _places(value, path=()):
    """Give the path of every value in a document."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for name, inner in items:
        yield (*path, name)
        if isinstance(inner, dict | list):
            yield from _places(inner, (*path, name))


def _holder(board, path):
    for name in path[:-1]:
        board = board[name]
    return board


def _node(chance, board):
    """Give a node of the board, most often."""
    pins = [net.role for net in KINDS[board["kind"]].pins(board.get("bits", 6))]
    others = sorted({end for part in board["parts"].values() for end in part["between"]})
    return chance.choice([*pins[2:], *others, *others, "spare 9", "nowhere"])


def _any(chance, board, wanted=lambda value: True):
    found = [path for path in _places(board) if wanted(_holder(board, path)[path[-1]])]
    path = chance.choice(found)
    return _holder(board, path), path[-1]


def _take_out(chance, board):
    holder, name = _any(chance, board)
    del holder[name]


def _take_out_part(chance, board):
    section = board[chance.choice(["parts", "parts", "parts", "pads", "keys", "pins"])]
    del section[chance.choice(list(section))]


def _change_value(chance, board):
    holder, name = _any(chance, board, lambda value: type(value) in (int, float))
    value = holder[name] * chance.choice(FACTORS)
    holder[name] = int(value) if isinstance(holder[name], int) and value.is_integer() else value


def _wrong_kind(chance, board):
    holder, name = _any(chance, board)
    holder[name] = copy.deepcopy(chance.choice(WRONG_KINDS))


def _empty(chance, board):
    holder, name = _any(chance, board, lambda value: isinstance(value, dict | list))
    holder[name] = type(holder[name])()


def _rename_node(chance, board):
    old, new = _node(chance, board), _node(chance, board)
    everywhere = chance.random() < 0.5
    for section in ("parts", "keys"):
        for item in board[section].values():
            if everywhere or chance.random() < 0.3:
                item["between"] = [new if end == old else end for end in item["between"]]
    for pad in board["pads"].values():
        if everywhere and pad["node"] == old:
            pad["node"] = new


def _move_pad(chance, board):
    board["pads"][chance.choice(list(board["pads"]))]["node"] = _node(chance, board)


def _move_key(chance, board):
    key = board["keys"][chance.choice(list(board["keys"]))]
    key["between"] = [_node(chance, board), _node(chance, board)]


def _add_part(chance, board):
    unit = {"ohm": 10 ** chance.uniform(-2, 9)}
    if chance.random() < 0.1:
        unit = {"farad": 10 ** chance.uniform(-15, 0)}
    board["parts"][f"X{chance.randrange(99)}"] = {
        "between": [_node(chance, board), _node(chance, board)]} | unit  # fmt: skip


def _set_pin(chance, board):
    value = chance.choice([{"drive_ohm": 10 ** chance.uniform(-2, 9)}, {"threshold": chance.random()},
                           {"node": _node(chance, board)}, {"node": "N1"}])  # fmt: skip
    board.setdefault("pins", {})[_node(chance, board)] = value


def _other_kind(chance, board):
    board["kind"] = chance.choice(["talker", "keyboard", "sampler"])


def _rename_key(chance, board):
    old = chance.choice(list(board["keys"]))
    new = chance.choice(["on", "true", "12", "1.5", "null", "a b", "a: b", "x#", "~", "drum", "Ω"])
    board["keys"] = {new if name == old else name: key for name, key in board["keys"].items()}
    if chance.random() < 0.5:
        board["on"] = [new]


def _setting(chance, board):
    name, value = chance.choice([
        ("bits", chance.randint(3, 9)), ("seed", chance.randrange(2**31)), ("boot_ms", 10_000),
        ("amplifier_gain", 10 ** chance.uniform(-3, 3)), ("volts", chance.uniform(0.1, 12)),
        ("lead_farad", 10 ** chance.uniform(-15, -9)), ("on", list(board["keys"])[:1]),
        ("name", chance.choice(["x: y", "# x", "'", '"', "a\nb", "[x", "\x7f", "é", "12", "true"])),
        ("habits", {"crash_ratio": 1 + 10 ** chance.uniform(-6, 3)}),
        ("habits", {"bounce_ms": 100, "hiss": 0.1, "auto_off_s": 1}),
        ("habits", {"jam_sounds": True, "stall_sounds": True, "dynamic": False}),
        ("habits", {"answer_ms": [0, 1000], "misses": 0.3, "while_sounding": "queued", "nag_s": 1}),
        ("habits", {"hiss_before_ms": 300, "sleep_s": 1, "hum_s": 60, "cycles": "volume"}),
        ("supply", {"source_ohm": 100, "direct": True}), ("supply", {"runs_above": 0.9}),
        ("supply", {"rail_farad": 0.01, "resets": True}), ("supply", {"rail_farad": 1e-6}),
    ])  # fmt: skip
    board[name] = value


_EDITS = (
    _take_out, _wrong_kind, _empty, _other_kind, _move_key, _rename_key,
    *(2 * (_take_out_part, _rename_node)), *(3 * (_change_value, _set_pin)),
    *(4 * (_move_pad, _add_part, _setting)),
)  # fmt: skip


def outcome(folder: Path, text: str, pairs: int | None = None, seed: int = 0) -> str | None:
    """Make a project of a board file and touch its pairs.

    Parameters
    ----------
    pairs : int, optional
        Touch only so many of them, drawn by `seed`.

    Returns
    -------
    str or None
        Why the file is refused, in one line; None where all went well.
    """
    file = folder / "edited.yaml"
    file.write_text(text, "utf-8")
    try:
        project = new_simulated_project(folder / "toy", board=file)
    except ConfigError as error:
        assert "\n" not in str(error), str(error)
        assert not (folder / "toy").exists(), f"a folder is left behind: {error}"
        assert str(error).startswith(f"{file}:"), f"speaks of another file: {error}"
        return str(error)
    bench = SimulatedBench(project)
    bench.supply(True)
    bench.wait(project.toy.boot_ms / 1000 + 0.2)
    for key in project.toy.on:
        touch(bench, Touch((), Stimulus((key,), 120), dwell_ms=200))
    chosen = list(itertools.combinations(project.toy.pads, 2))
    if pairs is not None:
        chosen = random.Random(seed).sample(chosen, min(pairs, len(chosen)))
    series = project.rig.series_ohm
    for number, (one, other) in enumerate(chosen):
        key = project.sweep_keys[0]
        touch(bench, Touch(
            (Connection((one,), (other,), series[number % len(series)]),),
            Stimulus((key,), project.toy.keys[key].press_ms), dwell_ms=400, tail_ms=200,
        ))  # fmt: skip
    bench.close()
    return None


def touch(bench: SimulatedBench, made: Touch) -> None:
    """Make one touch to its end; what is heard is always a number."""
    bench.begin(made)
    for chunk in bench.stream():
        assert np.isfinite(chunk.sound).all()


def main(count: int, first: int = 0) -> int:
    """Make edits and print those that neither give one line nor can be swept."""
    warnings.simplefilter("error")
    failed = refused = 0
    for number in range(first, first + count):
        chance = random.Random(number)
        text = edited(chance, chance.choice(BOARDS).read_text("utf-8"))
        with tempfile.TemporaryDirectory() as folder:
            try:
                refused += outcome(Path(folder), text, pairs=12, seed=number) is not None
            except Exception as error:
                failed += 1
                print(f"edit {number}: {type(error).__name__}: {error}"[:300], flush=True)
    print(f"{count} edits: {refused} refused in one line, {count - refused - failed} swept, "
          f"{failed} failed")  # fmt: skip
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
