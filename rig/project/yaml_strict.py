"""Strict YAML: every value keeps its line, and nothing is guessed.

Built on PyYAML's safe reader, with its own rules for plain words: only `true` and
`false` are booleans (`on:` stays a word), `12:30` stays text, numbers are decimal.
Doubled keys, aliases, tags and second documents are errors with their line.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import ClassVar

import yaml

from rig.errors import ConfigError
from rig.project import slips

MAX_BYTES = 1_000_000
MAX_DEPTH = 40

_INT = re.compile(r"[-+]?(0|[1-9][0-9]*)")
_FLOAT = re.compile(r"[-+]?((0|[1-9][0-9]*)(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?")
_NULL = ("", "~", "null")
_UNREADABLE = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufffe\uffff]")

_PROBLEMS = (
    ("aliases", "aliases (`*name`) aren't read here: write the value out"),
    ("'\\t'", "a tab: use blanks for indenting"),
    ("mapping values are not allowed",
     "a second `:` in one line: put the text in quotes, or look at the indenting"),
    ("single document", "a second document (`---`): one file, one document"),
    ("unknown escape", "a backslash between double quotes means something else: use single quotes"),
    ("quoted scalar", "a quote that isn't closed: begin and end the text with the same quote"),
    ("flow mapping", "a `{` that isn't closed, or a comma or quote is missing in it"),
    ("flow sequence", "a `[` that isn't closed, or a comma or quote is missing in it"),
    ("cannot start any token", "a text that begins with such a sign needs quotes"),
    ("could not find expected ':'", "a line without a `:`: write `key: value`"),
)
"""Words of the reader's messages, and what is said of them."""


class _Loader(yaml.SafeLoader):
    """PyYAML's reader without its implicit types; scalars are resolved in `_plain`."""

    yaml_implicit_resolvers: ClassVar[dict] = {}  # type: ignore[misc]  # is the class's

    def compose_node(self, parent, index):
        event = self.peek_event()
        if isinstance(event, yaml.AliasEvent):
            raise yaml.composer.ComposerError(
                None,
                None,
                "aliases (`*name`) aren't read here: write the value out",
                event.start_mark,
            )
        return super().compose_node(parent, index)


@dataclass(frozen=True)
class Document:
    """The contents of one file, and where each value stands in it.

    Parameters
    ----------
    file : Path
    data : object
        dict, list, str, int, float, bool or None.
    lines : dict
        Line (from 1) of each value, by its path of keys and list indexes; () is the whole.
    text : str
        The file as it is written.
    """

    file: Path
    data: object
    lines: dict[tuple, int] = field(default_factory=dict)
    text: str = ""

    def line(self, path: tuple) -> int:
        """Give the line of a value, or of the nearest value around it."""
        path = tuple(path)
        while path not in self.lines and path:
            path = path[:-1]
        return self.lines.get(path, 1)

    def where(self, path: tuple = ()) -> str:
        """Give `file:line` of a value, as it stands in messages."""
        return f"{self.file}:{self.line(path)}"


def read_yaml(file: Path) -> Document:
    """Read a YAML file strictly.

    Raises
    ------
    ConfigError
        The file is missing, unreadable, not UTF-8, or not the YAML read here.
    """
    file = Path(file)
    try:
        raw = file.read_bytes()
    except FileNotFoundError:
        raise ConfigError(
            f"there is no {file}: make a project folder with `padsweep new FOLDER`"
        ) from None
    except OSError as error:
        raise ConfigError(f"{file} can't be read: {error.strerror}") from None
    if len(raw) > MAX_BYTES:
        raise ConfigError(f"{file} has {len(raw):,} bytes, more than {MAX_BYTES:,}: wrong file?")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise ConfigError(f"{file}:{line}: not UTF-8 text: save it as UTF-8") from None
    return parse_yaml(text, file)


def parse_yaml(text: str, file: Path) -> Document:
    """Parse YAML text; `file` only names it in messages. Raises `ConfigError`."""
    file = Path(file)
    try:
        root = compose(text)
    except yaml.reader.ReaderError as error:
        line = text.count("\n", 0, error.position) + 1
        raise ConfigError(
            f"{file}:{line}: a character that can't be read (code {_code(error.character)}): "
            "take it out"
        ) from None
    except yaml.MarkedYAMLError as error:
        raise ConfigError(_marked(error, text, file)) from None
    except RecursionError:
        raise ConfigError(f"{file}:1: nested too deep") from None
    if root is None:
        raise ConfigError(f"{file}:1: the file is empty")
    document = Document(file, None, {})
    data = _build(root, (), document)
    return Document(file, data, document.lines, text)


def compose(text: str) -> yaml.Node | None:
    """Give the nodes of YAML text, which know where they stand; None: nothing but comments.

    Raises
    ------
    yaml.YAMLError
        It can't be read; `parse_yaml` says why in words.
    """
    loader = _Loader(text)
    try:
        return loader.get_single_node()
    finally:
        loader.dispose()


def tokens(text: str) -> Iterator[yaml.Token]:
    """Give the tokens of YAML text that can be read."""
    return yaml.scan(text, Loader=_Loader)


def _build(node: yaml.Node, path: tuple, document: Document) -> object:
    line = node.start_mark.line + 1
    document.lines.setdefault(path, line)
    if len(path) > MAX_DEPTH:
        raise ConfigError(f"{document.file}:{line}: nested too deep")
    standard = {"!", "tag:yaml.org,2002:str", "tag:yaml.org,2002:seq", "tag:yaml.org,2002:map"}
    if node.tag not in standard:
        tag = node.tag.replace("tag:yaml.org,2002:", "!!")
        raise ConfigError(f"{document.file}:{line}: tags such as `{tag}` aren't read here")
    if isinstance(node, yaml.SequenceNode):
        return [_build(item, (*path, i), document) for i, item in enumerate(node.value)]
    if isinstance(node, yaml.MappingNode):
        return _build_mapping(node, path, document)
    assert isinstance(node, yaml.ScalarNode)
    text = _readable(node, document)
    return _plain(text) if node.style is None else text


def _readable(node: yaml.ScalarNode, document: Document) -> str:
    unreadable = _UNREADABLE.search(node.value)
    if unreadable:
        raise ConfigError(
            f"{document.file}:{node.start_mark.line + 1}: a character that can't be read "
            f"(code {_code(unreadable.group())}): take it out"
        )
    return node.value


def _build_mapping(node: yaml.MappingNode, path: tuple, document: Document) -> dict:
    result: dict[str, object] = {}
    for key_node, value_node in node.value:
        line = key_node.start_mark.line + 1
        if not isinstance(key_node, yaml.ScalarNode):
            raise ConfigError(f"{document.file}:{line}: a key must be a plain word")
        key = _readable(key_node, document)
        if key in result:
            first = document.lines[(*path, key)]
            raise ConfigError(
                f"{document.file}:{line}: `{key}` is there twice (first in line {first}): "
                "take one out"
            )
        document.lines[(*path, key)] = line
        result[key] = _build(value_node, (*path, key), document)
    return result


def _plain(word: str) -> object:
    if word in _NULL:
        return None
    if word in ("true", "false"):
        return word == "true"
    if _INT.fullmatch(word):
        return int(word) if len(word) < 400 else float("inf")
    if _FLOAT.fullmatch(word):
        return float(word)
    return word


def _marked(error: yaml.MarkedYAMLError, text: str, file: Path) -> str:
    marks = [mark for mark in (error.context_mark, error.problem_mark) if mark]
    lines = [mark.line + 1 for mark in marks] or [1]
    for line in lines:
        mended = _in_quotes(text, line)
        if mended:
            return f"{file}:{line}: a text with a comma, a colon or another sign needs quotes: " \
                f"write `{mended}`"  # fmt: skip
    problem = f"{error.problem} {error.context}"
    for words, said in _PROBLEMS:
        if words in problem:
            # a bracket or quote that is open is wrong where it begins
            return f"{file}:{lines[0] if 'closed' in said else lines[-1]}: {said}"
    return f"{file}:{lines[-1]}: can't be read: look at indenting, brackets and quotes in this " \
        "line and the one before"  # fmt: skip


def _in_quotes(text: str, line: int) -> str | None:
    """Give a line that quotes mend, so that the file can be read up to there at least."""
    lines = text.splitlines()
    if line > len(lines):
        return None

    def mends(mended: str) -> bool:
        loader = _Loader("\n".join([*lines[: line - 1], mended, *lines[line:]]))
        try:
            loader.get_single_node()
        except yaml.MarkedYAMLError as other:
            first = other.context_mark or other.problem_mark
            return first is not None and first.line >= line
        finally:
            loader.dispose()
        return True

    return slips.line_in_quotes(lines[line - 1], mends)


def _code(character: object) -> str:
    if isinstance(character, str):
        return f"U+{ord(character):04X}"
    return f"{character!r}"
