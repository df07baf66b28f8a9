"""Whatever stands in a field, what is said of it is in our words, in one line."""

import copy
import itertools
import types
from pathlib import Path
from typing import Annotated, Union, get_args, get_origin

import pytest
from pydantic import BaseModel

from rig.bench.simulated import boardfile
from rig.errors import ConfigError
from rig.project.models import Rig, Toy
from rig.project.places import Places
from rig.project.validate import validate
from rig.project.yaml_strict import Document

TOY = {"name": "t", "supply": {"volts": 3, "source": "cells"}, "pads": {"A": {}, "B": {}},
       "keys": {"red": {}}}  # fmt: skip
RIG = {"lead_ohm": 1500, "switch_ohm": 0.2, "series_ohm": [0, 33_000]}
DOCUMENTS = {
    "toy": (Toy, TOY),
    "rig, hardware": (Rig, RIG | {"bench": "hardware"}),
    "rig, simulated": (Rig, RIG | {"bench": "simulated", "simulated": {"seed": 1, "pads": 8}}),
    "rig, by hand": (Rig, {"bench": "by-hand", "sound": {"device": "x"}}),
    "places": (Places, {"picture": "b.png", "width": 4, "height": 3}),
    "board": (boardfile._File, {"kind": "talker", "name": "t", "volts": 3, "parts": {},
                                "pads": {"A": {"node": "plus"}, "B": {"node": "minus"}},
                                "keys": {"red": {"between": ["row0", "col0"]}}}),
}  # fmt: skip
WRONG = (
    None, True, False, "", "x", "4.5 V", "x" * 100, "a\nb", "../x", -1, 0, 3, 5_000_000, 10**30,
    -0.5, 2.5, 1e300, float("inf"), [], [None], ["x", "x"], [-1], [[]], [1] * 99, {}, {"x": 1},
    {"A": None}, {"A": {"x": {}}}, {"bad, name": {}},
)  # fmt: skip
LIBRARY_S = ("Input should", "valid ", "should have", "should match", "Value error", "Extra inputs",
             "Field required", "characters", "[type=", "None", "True", "{'")  # fmt: skip


def bare(annotation):
    """Give a type without `| None` and limits."""
    args = [arg for arg in get_args(annotation) if arg is not type(None)]
    origin = get_origin(annotation)
    if origin is Annotated or (origin in (Union, types.UnionType) and len(args) == 1):
        return bare(args[0])
    return annotation


def paths(annotation, path=()):
    """Give the way to every field, through the first of each list and one of each mapping."""
    annotation = bare(annotation)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        inner = [(name, field.annotation) for name, field in annotation.model_fields.items()]
    elif get_origin(annotation) is list:
        inner = [(0, get_args(annotation)[0])]
    elif get_origin(annotation) is dict:
        inner = [("A", get_args(annotation)[1])]
    else:
        return
    for name, kind in inner:
        yield (*path, name)
        yield from paths(kind, (*path, name))


def put(data, path, value):
    """Give a copy of a document with a value at `path`, and what is needed on the way there."""
    data = copy.deepcopy(data)
    at = data
    for name, following in itertools.pairwise(path):
        empty = [] if isinstance(following, int) else {}
        if isinstance(at, list):
            at[:] = [at[0] if at and isinstance(at[0], type(empty)) else empty]
        elif not isinstance(at.get(name), type(empty)):
            at[name] = empty
        at = at[name]
    if isinstance(at, list):
        at[:] = [value]
    else:
        at[path[-1]] = value
    return data


def test_the_walk_reaches_every_kind_of_field():
    found = set(paths(Rig)) | set(paths(Toy)) | set(paths(Places)) | set(paths(boardfile._File))
    for path in (("supply", "volts"), ("keys", "A", "press_ms"), ("series_ohm", 0), ("guard", "peak_ma"),
                 ("simulated", "room", "hum_hz"), ("by_hand", "path_ohm", 0), ("pads", "A", "x"),
                 ("habits", "auto_off_s"), ("parts", "A", "between", 0)):  # fmt: skip
        assert path in found


@pytest.mark.parametrize("name", DOCUMENTS)
def test_no_phrase_of_the_library_reaches_a_person(name):
    model, data = DOCUMENTS[name]
    validate(Document(Path("file.yaml"), data), model)
    refused = 0
    for path in paths(model):
        for value in WRONG:
            wrong = put(data, path, value)
            try:
                validate(Document(Path("file.yaml"), wrong), model)
            except ConfigError as error:
                refused += 1
                message = str(error)
                assert message.startswith("file.yaml:1: "), (path, value, message)
                assert "\n" not in message and len(message) < 300, (path, value, message)
                assert not [one for one in LIBRARY_S if one in message], (path, value, message)
    assert refused > 5 * len(list(paths(model)))
