"""Changes to lists and mappings in YAML text that leave all else as it is written, byte for byte.

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
        return _replaced(text, there[-1], value)
    if item.flow_style:
        end = item.value[-1][1].end_mark.index
        return f"{text[:end]}, {names[0]}: {value}{text[end:]}"
    line = " " * item.start_mark.column + f"{names[0]}: {value}"
    return _with_line(text, _line_end(text, _content_end(text, item)), line)


def set_entry(text: str, path: Sequence[str], value: str) -> str:
    """Change one value of mappings within mappings; what isn't there is added behind the others.

    Parameters
    ----------
    text : str
        Holds a mapping; all that stands at the beginnings of `path` must be one, too.
    path : sequence of str
        The names on the way to the value.
    value : str
    """
    node, column, in_braces = compose(text), 0, True
    for depth, name in enumerate(path):
        assert isinstance(node, yaml.MappingNode)
        found = next(((key, one) for key, one in node.value if key.value == name), None)
        if found is None:
            return _with_entry(text, node, path[depth:], value, None if in_braces else column)
        key, inner = found
        column, in_braces = key.start_mark.column + 2, bool(node.flow_style)
        node = inner
    assert node is not None
    return _replaced(text, node, value)


def remove_entry(text: str, path: Sequence[str]) -> str:
    """Take one value out of mappings within mappings; a mapping that is left empty becomes braces.

    Parameters
    ----------
    text : str
    path : sequence of str
        The names on the way to the value, each of which is there.
    """
    node, above = compose(text), None
    for name in path[:-1]:
        assert isinstance(node, yaml.MappingNode)
        above, node = next((key, one) for key, one in node.value if key.value == name)
    assert isinstance(node, yaml.MappingNode)
    index = next(at for at, (key, _) in enumerate(node.value) if key.value == path[-1])
    key, value = node.value[index]
    start, end = key.start_mark.index, value.end_mark.index
    if node.flow_style:
        if index:
            start = node.value[index - 1][1].end_mark.index
        elif len(node.value) > 1:
            end = node.value[1][0].start_mark.index
        return text[:start] + text[end:]
    start -= key.start_mark.column
    end = _line_end(text, _content_end(text, value))
    if len(node.value) == 1 and above is not None:
        colon = text.index(":", above.end_mark.index) + 1
        return text[:colon] + " {}" + text[colon:start] + text[end:]
    return text[:start] + text[end:]


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


def _replaced(text: str, node: yaml.Node, value: str) -> str:
    """Write a value in the place of another; what stands beside it stays."""
    start, end = node.start_mark.index, node.end_mark.index
    raw = text[start:end]
    if not raw:
        return f"{text[:start]} {value}{text[start:]}"
    is_block = isinstance(node, yaml.ScalarNode) and node.style in ("|", ">")
    beside = _BLOCK_COMMENT.match(raw) if is_block else None
    behind = raw[len(raw.rstrip()) :]
    return text[:start] + value + (beside[1] if beside else "") + behind + text[end:]


def _with_entry(
    text: str, mapping: yaml.MappingNode, names: Sequence[str], value: str, column: int | None
) -> str:
    """Add a value under names within names; empty braces open into lines at a column, if any."""
    lines = [f"{'  ' * depth}{name}:" for depth, name in enumerate(names)]
    lines[-1] += f" {value}"
    if mapping.flow_style:
        start, end = mapping.start_mark.index, mapping.end_mark.index
        if not mapping.value and column is not None:
            before = text[:start].rstrip(" ")
            text = before + text[end:]
            return _with_line(text, _line_end(text, len(before)), *_indented(lines, column))
        for name in reversed(names[1:]):
            value = f"{{{name}: {value}}}"
        entry = f"{names[0]}: {value}"
        if not mapping.value:
            return f"{text[:start]}{{{entry}}}{text[end:]}"
        end = mapping.value[-1][1].end_mark.index
        return f"{text[:end]}, {entry}{text[end:]}"
    at = _line_end(text, _content_end(text, mapping))
    return _with_line(text, at, *_indented(lines, mapping.start_mark.column))


def _content_end(text: str, item: yaml.Node) -> int:
    """Give where the last thing that an item says ends."""
    while isinstance(item, yaml.MappingNode) and not item.flow_style:
        item = item.value[-1][1]
    return len(text[: item.end_mark.index].rstrip())


def _line_end(text: str, at: int) -> int:
    """Give where the line after that place begins."""
    end = text.find("\n", at)
    return len(text) if end < 0 else end + 1


def _indented(lines: Sequence[str], column: int) -> list[str]:
    return [" " * column + line for line in lines]


def _with_line(text: str, at: int, *lines: str) -> str:
    newline = "\r\n" if "\r\n" in text else "\n"
    before = text[:at]
    if before and not before.endswith("\n"):
        before += newline
    return before + "".join(line + newline for line in lines) + text[at:]
