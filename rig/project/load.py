"""Loading a project folder: read, check each value, refuse what is unsafe.

Every message is one line and begins with the file and line of the value it is about.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError

from rig.errors import ConfigError, SafetyRefusal
from rig.project import hints
from rig.project.electrical import CONTAINS_REFUSED, MAX_SUPPLY_V, refusals, too_high
from rig.project.models import BY_HAND_LEAVES_OUT, MAX_PADS, Project, Rig, Toy, letters
from rig.project.yaml_strict import Document, read_yaml

HARDWARE_KEYS = 8
"""Key channels of the controller."""

_ADAPTOR = "mains adaptors and USB supplies are refused: battery toys only, run on `cells` or " \
    "from an isolated `bench` supply"  # fmt: skip
UNSAFE_SOURCES = {
    **dict.fromkeys(
        ("adaptor", "adapter", "wall", "wallwart", "plug", "psu", "ac", "usb", "grid",
         "charger", "mainsadaptor", "acadapter", "walladapter"), _ADAPTOR),
    **dict.fromkeys(
        ("lithium", "liion", "lipo", "lithiumion", "18650", "powerbank", "lifepo4"),
        CONTAINS_REFUSED["lithium"]),
}  # fmt: skip
"""Supplies that people might write, and why they are refused."""


OBSOLETE = {"settle_ms": "isn't used any more: take this line out"}
"""Options of earlier versions."""


def load_project(folder: str | Path) -> Project:
    """Load toy.yaml and rig.yaml of a project folder and refuse what can't be used.

    Raises
    ------
    ConfigError
        A file is missing or something in it is wrong: names file, line and a valid word.
    SafetyRefusal
        The set-up could hurt toy or person.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise ConfigError(f"there is no folder {folder}: make it with `padsweep new {folder}`")
    toy_file, rig_file = read_yaml(folder / "toy.yaml"), read_yaml(folder / "rig.yaml")
    _refuse_unsafe_words(toy_file)
    toy = validate(toy_file, Toy)
    rig = validate(rig_file, Rig)
    for document, path, message in _cross_checks(toy_file, rig_file, toy, rig):
        raise ConfigError(f"{document.where(path)}: {message}")
    for which, path, message in refusals(toy, rig):
        document = toy_file if which == "toy" else rig_file
        raise SafetyRefusal(f"{document.where(path)}: {message}")
    return Project(folder, toy, rig)


def _refuse_unsafe_words(document: Document) -> None:
    """Refuse adaptors, lithium and chargers by whatever name they were written."""
    supply = document.data.get("supply") if isinstance(document.data, dict) else None
    if not isinstance(supply, dict):
        return
    for key, value in supply.items():
        for word, is_set in ((key, value not in (None, False)), (value, isinstance(value, str))):
            if not is_set:
                continue
            plain = str(word).lower().replace("-", "").replace("_", "").strip()
            reason = CONTAINS_REFUSED.get(plain) or UNSAFE_SOURCES.get(plain.replace(" ", ""))
            if reason is not None:
                raise SafetyRefusal(f"{document.where(('supply', key))}: {reason}")
    volts = supply.get("volts")
    written = hints.quantity(volts, "volts") if isinstance(volts, str) else None
    if written is not None and written > MAX_SUPPLY_V:
        raise SafetyRefusal(f"{document.where(('supply', 'volts'))}: {too_high(written)}")


def validate(document: Document, model: type[BaseModel]) -> Any:
    """Give the model of a document, or raise `ConfigError` for its first wrong line."""
    data = document.data
    if not isinstance(data, dict):
        raise ConfigError(f"{document.where()}: expected `key: value` lines, such as `name: ...`")
    if model is Toy:
        # `A:` with nothing behind it is a pad about which there is nothing to say.
        data = dict(data)
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
        more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
        raise ConfigError(
            f"{document.where(_path(first))}: {_explain(first, model)}{more}"
        ) from None


def _path(problem: Any) -> tuple:
    return tuple(part for part in problem["loc"] if part != "[key]")


def _explain(problem: Any, model: type[BaseModel]) -> str:
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
        return f"unknown `{name}`: {hints.nearest(name, _fields(model, path[:-1]))}"
    if problem["loc"] and problem["loc"][-1] == "[key]":
        return f"`{hints.shown(name)}` can't be a name: letters and digits, no commas, at most 32"
    if kind == "literal_error":
        allowed = _literals(model, path)
        return f"{label} can't be {shown}: {hints.nearest(value, allowed)}"
    if kind in ("float_type", "int_type", "int_from_float"):
        whole = "a whole number" if kind != "float_type" else "a number"
        if isinstance(value, str):
            hint = hints.number_hint(field, value)
        elif isinstance(value, float):
            hint = hints.number_hint(field, f"{value:.0f}" if value.is_integer() else "")
        else:
            hint = hints.number_hint(field, "")
        return f"{label} must be {whole}, is {shown}: {hint}"
    if kind == "bool_type":
        return f"{label} must be true or false, is {shown}"
    if kind == "string_type":
        example = f'`{name}: "{value}"`' if not isinstance(path[-1], int) else f'"{value}"'
        if value is None or isinstance(value, dict | list):
            return f"{label} must be text"
        return f"{label} must be text, is {shown}: write it in quotes, {example}"
    if kind == "list_type":
        return f"{label} must be a list, is {shown}: write [{'' if value is None else shown}]"
    if kind in ("dict_type", "model_type", "model_attributes_type"):
        return f"{label} must hold `key: value` lines, is {shown}"
    limits = {"greater_than": ("gt", "above"), "greater_than_equal": ("ge", "at least"),
              "less_than": ("lt", "below"), "less_than_equal": ("le", "at most")}  # fmt: skip
    if kind in limits:
        key, word = limits[kind]
        return f"{label} must be {word} {context[key]:g}, is {shown}"
    if kind == "finite_number":
        return f"{label} must be a number in range, is {shown}"
    if kind in ("too_short", "too_long"):
        bound = context.get("min_length", context.get("max_length"))
        word = "at least" if kind == "too_short" else "at most"
        return f"{label} must have {word} {bound}, has {context.get('actual_length')}"
    if kind in ("string_too_short", "string_too_long"):
        return f"{label} is too {'short' if kind == 'string_too_short' else 'long'}: {shown}"
    return f"{label}: {' '.join(str(problem['msg']).split())}"


def _fields(model: type[BaseModel], path: tuple) -> list[str]:
    """Give the field names of the model that stands at `path` inside `model`."""
    found = _annotation(model, path)
    return list(found.model_fields) if isinstance(found, type) else []


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


def _cross_checks(
    toy_file: Document, rig_file: Document, toy: Toy, rig: Rig
) -> Iterator[tuple[Document, tuple, str]]:
    """Give what is wrong between fields, in the order of the files."""
    for given, expected in zip(toy.pads, letters(len(toy.pads)), strict=True):
        if given != expected:
            hint = (
                f"write {expected}" if given.upper() == expected else
                f"letters go A, B, C ... in the order of the leads; keep an unused lead as "
                f"`{expected}: {{forbidden: true}}`"
            )  # fmt: skip
            yield toy_file, ("pads", given), (f"pad {hints.shown(given)} stands where {expected} is "\
                f"expected: {hint}")  # fmt: skip
    for index, key in enumerate(toy.on):
        if key not in toy.keys:
            hint = hints.nearest(key, toy.keys)
            yield toy_file, ("on", index), f"on: there is no key {hints.shown(key)}: {hint}"
    for index, key in enumerate(rig.sweep.keys or []):
        path = ("sweep", "keys", index)
        if key not in toy.keys:
            hint = hints.nearest(key, toy.keys)
            yield rig_file, path, f"there is no key {hints.shown(key)} in toy.yaml: {hint}"
        elif (rig.sweep.keys or []).index(key) < index:
            yield rig_file, path, f"key {hints.shown(key)} is there twice: take one out"
    for index, value in enumerate(rig.series_ohm):
        if value in rig.series_ohm[:index]:
            path = ("by_hand", "path_ohm") if rig.bench == "by-hand" else ("series_ohm",)
            yield rig_file, (*path, index), f"{value:g} ohm is there twice: take one out"
    if rig.switch_rail_v is not None and rig.switch == "reed":
        yield rig_file, ("switch_rail_v",), "a reed relay has no supply rails: take this line out"
    if rig.bench == "simulated":
        yield from _simulated_checks(toy_file, rig_file, toy, rig)
    elif rig.bench == "by-hand":
        yield from _by_hand_checks(rig_file, rig)
    else:
        yield from _hardware_checks(toy_file, rig_file, toy, rig)


def _simulated_checks(toy_file, rig_file, toy, rig):
    if rig.simulated is None:
        yield (
            rig_file,
            ("bench",),
            "`bench: simulated` needs a part `simulated:` with seed and pads",
        )
    elif len(toy.pads) > rig.simulated.pads:
        pad = list(toy.pads)[rig.simulated.pads]
        yield (
            toy_file,
            ("pads", pad),
            (f"pad {pad} isn't on the board: simulated.pads in rig.yaml is {rig.simulated.pads}"),
        )


def _by_hand_checks(rig_file, rig):
    for part in BY_HAND_LEAVES_OUT:
        if part in rig_file.data:
            yield rig_file, (part,), f"`{part}` belongs to a bench with switches: take it out"
    if rig.sound is None:
        yield rig_file, ("bench",), "`bench: by-hand` needs a part `sound:` with its device"


def _hardware_checks(toy_file, rig_file, toy, rig):
    if rig.controller is None:
        yield rig_file, ("bench",), "`bench: hardware` needs a part `controller:` with its port"
    if rig.sound is None:
        yield rig_file, ("bench",), "`bench: hardware` needs a part `sound:` with its device"
    elif rig.sound.sound_channel == rig.sound.marker_channel:
        yield (
            rig_file,
            ("sound",),
            (f"sound and marker are both on channel {rig.sound.sound_channel}: they need one each"),
        )
    channels = rig.controller.pads if rig.controller else MAX_PADS
    for part, names, most, hint in (
        ("pads", list(toy.pads), channels, "; controller.pads in rig.yaml says how many are fitted"),
        ("keys", list(toy.keys), HARDWARE_KEYS, ""),
    ):
        if len(names) > most:
            yield (
                toy_file,
                (part, names[most]),
                (
                    f"the controller has {most} channels for {part}, {names[most]} would be one "
                    f"more{hint}"
                ),
            )
