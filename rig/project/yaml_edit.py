"""Changes to a list of mappings in YAML text that leave all else as it is written, byte for byte.

Values are given as they are to be written. Each function gives the whole new text; where an unusual
layout takes a change amiss, the caller sees it by reading the new text again.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import yaml

from rig.project.yaml_strict import compose, tokens

_BLOCK_COMMENT = re.compile(r"[|>][-+0-9]*([ \t]+#[^\r\n]*)")


def is_list(text: str) -> bool:
    """Say if the text is a list written with dashes, or nothing but comments."""
    root = compose(text)
    return root is None or (isinstance(root, yaml.SequenceNode) and not root.flow_style)


def set_value(text: str, index: int, names: Sequence[str], value: str) -> str:
    """Change one value of an item; one that isn't there is added behind the item's others.

    Parameters
    ----------
    text : str
    index : int
        Which item.
    names : sequence of str
        What the value may be called; the first is written where it isn't there.
    value : str
    """
    root = compose(text)
    assert isinstance(root, yaml.SequenceNode)
    item = root.value[index]
    there = [node for key, node in item.value if key.value in names]
    if there:
        start, end = there[-1].start_mark.index, there[-1].end_mark.index
        raw = text[start:end]
        if not raw:
            return f"{text[:start]} {value}{text[start:]}"
        beside = _BLOCK_COMMENT.match(raw) if there[-1].style in ("|", ">") else None
        behind = raw[len(raw.rstrip()) :]
        return text[:start] + value + (beside[1] if beside else "") + behind + text[end:]
    if item.flow_style:
        end = item.value[-1][1].end_mark.index
        return f"{text[:end]}, {names[0]}: {value}{text[end:]}"
    line = " " * item.start_mark.column + f"{names[0]}: {value}"
    return _with_line(text, _line_end(text, _content_end(text, item)), line)


def append_item(text: str, values: Mapping[str, str]) -> str:
    """Add an item behind the last, and behind what is said below it."""
    root = compose(text)
    indent = " " * (root.start_mark.column if root is not None else 0)
    for at, (name, value) in enumerate(values.items()):
        line = f"{indent}{'  ' if at else '- '}{name}: {value}"
        text = _with_line(text, len(text), line)
    return text


def remove_item(text: str, index: int) -> str:
    """Take an item out with what stands beside and within it; comments above and below it stay."""
    root = compose(text)
    assert root is not None
    column = root.start_mark.column
    dashes = [
        one.start_mark.index
        for one in tokens(text)
        if isinstance(one, yaml.BlockEntryToken) and one.start_mark.column == column
    ]
    end = _line_end(text, _content_end(text, root.value[index]))
    within = re.compile(rf" {{{column + 1},}}#[^\n]*(\n|$)")
    while found := within.match(text, end):
        end = found.end()
    return text[: dashes[index] - column] + text[end:]


def _content_end(text: str, item: yaml.MappingNode) -> int:
    """Give where the last thing that an item says ends."""
    last = item.end_mark.index if item.flow_style else item.value[-1][1].end_mark.index
    return len(text[:last].rstrip())


def _line_end(text: str, at: int) -> int:
    """Give where the line after that place begins."""
    end = text.find("\n", at)
    return len(text) if end < 0 else end + 1


def _with_line(text: str, at: int, line: str) -> str:
    newline = "\r\n" if "\r\n" in text else "\n"
    before = text[:at]
    if before and not before.endswith("\n"):
        before += newline
    return before + line + newline + text[at:]
