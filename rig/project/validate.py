"""Checking a document against a model: what is wrong is said in our words, with its line."""

from __future__ import annotations

import re
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError

from rig.errors import ConfigError
from rig.project import hints, slips
from rig.project.models import Toy
from rig.project.yaml_strict import Document

_EXAMPLES = {"pads": "A:", "keys": "red:"}
"""Lines of mappings whose names are the person's own."""

OBSOLETE = {"settle_ms": "isn't used any more: take this line out"}
"""Options of earlier versions."""


def validate(document: Document, model: type[BaseModel]) -> Any:
    """Give the model of a document, or raise `ConfigError` for its first wrong line."""
    data = _without_empty_notes(document.data)
    if not isinstance(data, dict):
        raise ConfigError(f"{document.where()}: expected `key: value` lines, such as `name: ...`")
    if model is Toy:
        # `A:` with nothing behind it is a pad about which there is nothing to say.
        for part in ("pads", "keys"):
            if isinstance(data.get(part), dict):
                data[part] = {k: {} if v is None else v for k, v in data[part].items()}
    try:
        return model.model_validate(data)
    except ValidationError as error:
        problems = error.errors(include_url=False, include_context=True)
        # A mistyped key is also a missing one: its own line says more.
        problems.sort(key=lambda p: (p["type"] == "missing", document.line(_path(p))))
        first = problems[0]
        # The pieces of one text that commas parted are one mistake.
        others = [p for p in problems[1:] if _place(p) != _place(first)]
        more = f" (and {len(others)} more)" if others else ""
        raise ConfigError(
            f"{document.where(_path(first))}: {_explain(first, model, document)}{more}"
        ) from None


def _without_empty_notes(value: Any) -> Any:
    """Give a value without notes behind which nothing stands."""
    if not isinstance(value, dict):
        return value
    return {
        name: _without_empty_notes(inner)
        for name, inner in value.items()
        if name != "note" or inner is not None
    }


def _path(problem: Any) -> tuple:
    return tuple(part for part in problem["loc"] if part != "[key]")


def _place(problem: Any) -> tuple:
    path = _path(problem)
    return path[:-1] if problem["type"] == "extra_forbidden" and problem["input"] is None else path


def _explain(problem: Any, model: type[BaseModel], document: Document) -> str:
    """Turn one of pydantic's errors into a line that says what to write."""
    path, kind, value = _path(problem), problem["type"], problem["input"]
    context = problem.get("ctx", {})
    name = str(path[-1]) if path else "file"
    field = next((str(p) for p in reversed(path) if isinstance(p, str)), name)
    label = f"{field}[{path[-1]}]" if path and isinstance(path[-1], int) else name
    shown = hints.shown(value)
    if kind == "missing":
        inside = ".".join(map(str, path[:-1]))
        return f"`{name}` is missing{' in ' + inside if inside else ''}"
    if kind == "extra_forbidden" and name in OBSOLETE:
        return f"`{name}` {OBSOLETE[name]}"
    if kind == "extra_forbidden":
        mended = slips.parted_text(document, path)
        if mended:
            return f"a text with a comma needs quotes: write `{mended}`"
        fields = _fields(model, path[:-1])
        told = f"unknown `{name}`: {hints.nearest(name, fields)}"
        is_note = "note" in fields and hints.closest(name, fields) is None
        return told + ("; a note with a comma needs quotes" if is_note else "")
    if problem["loc"] and problem["loc"][-1] == "[key]":
        return f"`{hints.shown(name)}` can't be a name: letters and digits, no commas, at most 32"
    if kind == "literal_error":
        allowed = _literals(model, path)
        return f"{label} can't be {shown}: {hints.nearest(value, allowed)}"
    if kind in ("float_type", "int_type", "int_from_float"):
        whole = "a whole number" if kind != "float_type" else "a number"
        if label != name:
            parted = _parted_number(document, path, field)
            if parted:
                return parted
        return f"{label} must be {whole}, is {shown}: {_number_hint(field, value)}"
    if kind == "bool_type":
        plain = {"yes": "true", "on": "true", "no": "false", "off": "false"}
        hint = plain.get(str(value).lower(), "")
        return f"{label} must be true or false, is {shown}" + (f": write {hint}" if hint else "")
    if kind == "string_type":
        example = f'`{name}: "{shown}"`' if label == name else f'"{shown}"'
        if value is None or isinstance(value, dict | list):
            return f"{label} must be text, is {shown}"
        return f"{label} must be text, is {shown}: write it in quotes, {example}"
    if kind == "list_type":
        inside = "" if value is None or str(value).lower() in ("none", "no", "nothing") else shown
        return f"{label} must be a list, is {shown}: write [{inside}]"
    if kind in ("dict_type", "model_type", "model_attributes_type"):
        fields = _fields(model, path)
        if isinstance(value, str) and "note" in fields:
            return f"{label} can't be a bare text: write `{name}: {{note: {slips.quoted(shown)}}}`"
        such = f"{fields[0]}: ..." if fields else _EXAMPLES.get(name, "key: value")
        return f"{label} must hold `key: value` lines, such as `{such}`, is {shown}"
    limits = {"greater_than": ("gt", "above"), "greater_than_equal": ("ge", "at least"),
              "less_than": ("lt", "below"), "less_than_equal": ("le", "at most")}  # fmt: skip
    if kind in limits:
        key, word = limits[kind]
        told = f"{label} must be {word} {context[key]:.10g}, is {shown}"
        if name == "false_discovery" and 1 <= value <= 50:
            return f"{told}; for {value:g} % write {value / 100:g}"
        if name.endswith("_s") == (key in ("lt", "le")):
            told += hints.another_unit(name, value)
        return told
    if kind == "finite_number":
        return f"{label} must be a number in range, is {shown}"
    if kind in ("too_short", "too_long"):
        bound = context.get("min_length", context.get("max_length"))
        word = "at least" if kind == "too_short" else "at most"
        return f"{label} must have {word} {bound}, has {context.get('actual_length')}"
    if kind in ("string_too_short", "string_too_long"):
        return f"{label} is too {'short' if kind == 'string_too_short' else 'long'}: {shown}"
    if kind == "multiple_of":
        return f"{label} must be a multiple of {context['multiple_of']}, is {shown}"
    if kind == "string_pattern_mismatch" and name == "board":
        return f"{label} must be a file in the project folder itself, is {shown}"
    if kind == "string_pattern_mismatch":
        return f"{label} must be one line"
    return f"{label} can't be {shown}"


def _number_hint(field: str, value: Any) -> str:
    """Say how a number is written, from what stands in its place."""
    if isinstance(value, str):
        return hints.number_hint(field, value)
    if not isinstance(value, float):
        return hints.number_hint(field, "")
    if value.is_integer():
        return hints.number_hint(field, f"{value:.0f}")
    return hints.number_hint(field, "") + hints.another_unit(field, value)


def _parted_number(document: Document, path: tuple, field: str) -> str | None:
    """Say which values a list should hold where commas within numbers part them."""
    values: Any = document.data
    for part in path[:-1]:
        values = values[part]
    value, before = str(values[path[-1]]), values[path[-1] - 1]
    if re.fullmatch(r"0\d\d", value) and path[-1] > 0 and isinstance(before, int):
        return f"a comma parts two values: write {before}{value}, not {before},{value}"
    meant = slips.parted_numbers(document, path[:-1])
    numbers = [hints.quantity(one, field) for one in meant or []]
    if meant and None not in numbers:
        told = ", ".join(f"{one:.10g}" for one in numbers)
        return f"a decimal comma makes two values of one: write {field}: [{told}]"
    return None


def _fields(model: type[BaseModel], path: tuple) -> list[str]:
    """Give the field names of the model that stands at `path` inside `model`."""
    found = _annotation(model, path)
    is_model = isinstance(found, type) and issubclass(found, BaseModel)
    return list(found.model_fields) if is_model else []


def _literals(model: type[BaseModel], path: tuple) -> list[str]:
    return [str(arg) for arg in get_args(_annotation(model, path))]


def _annotation(model: Any, path: tuple) -> Any:
    current: Any = model
    for part in path:
        current = _bare(current)
        if isinstance(current, type) and issubclass(current, BaseModel):
            current = current.model_fields[str(part)].annotation
        elif get_origin(current) in (dict, list):
            current = get_args(current)[-1]
    return _bare(current)


def _bare(annotation: Any) -> Any:
    """Strip `| None` and annotations off a type."""
    args = [arg for arg in get_args(annotation) if arg is not type(None)]
    if type(None) in get_args(annotation) and len(args) == 1:
        return _bare(args[0])
    if hasattr(annotation, "__metadata__"):
        return _bare(get_args(annotation)[0])
    return annotation
