"""Arrows go one way: who may import whom, read from the sources themselves."""

import ast
import subprocess
import sys
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import rig

ROOT = Path(rig.__file__).parent
# What each package or module of `rig` may import of the others; nothing else.
ALLOWED = {
    "words": set(),
    "errors": set(),
    "files": set(),
    "events": set(),
    "outcomes": {"words"},
    "pads": set(),
    "pcm": set(),
    "touches": {"bench", "pads"},
    "project": {"words", "errors", "files", "pads"},
    "bench": {"errors", "files", "project"},
    "listen": {"outcomes", "pcm"},
    "log": {"errors", "events", "files", "outcomes", "pcm", "touches", "project", "bench", "listen"},
    "sweep": {"errors", "events", "outcomes", "touches", "project", "bench", "listen", "log"},
    "choose": {"words", "errors", "events", "files", "outcomes", "pads", "pcm", "touches", "project", "listen",
               "log"},
    "build": {"words", "errors", "events", "files", "outcomes", "pads", "project", "log", "choose"},
    "survey": {"words", "files", "errors", "project", "bench"},
    "trying": {"words", "errors", "pads", "touches", "project", "bench", "sweep", "choose"},
    "page": {"words", "errors", "events", "outcomes", "pads", "pcm", "project", "bench", "log", "choose", "build",
             "trying"},
    "verify": {"words", "errors", "outcomes", "project", "bench", "listen", "log", "sweep", "choose", "build"},
    "cli": {"words", "errors", "events", "files", "outcomes", "pads", "pcm", "project", "bench", "listen", "log",
            "survey", "sweep", "choose", "build", "trying", "page", "verify"},
}

# The same of the rooms of `listen`: its packages, and the modules that stand in none.
ROOMS = {
    "judgement": set(),
    "statistics": set(),
    "thresholds": set(),
    "measures": {"thresholds"},
    "watch": {"thresholds", "measures"},
    "describing": {"thresholds", "measures"},
    "judging": {"judgement", "thresholds", "measures", "describing", "watch"},
    "recordings": {"judgement", "thresholds", "measures", "describing", "judging"},
}


def imports() -> dict[str, set[str]]:
    """Give each module's imports within the package, lazy ones included."""
    files = {}
    for path in ROOT.rglob("*.py"):
        parts = path.relative_to(ROOT.parent).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        files[name] = path
    graph = {}
    for name, path in files.items():
        found = set()
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name for alias in node.names}
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{name}: relative import"
                found.add(node.module)
                found |= {f"{node.module}.{alias.name}" for alias in node.names}
        # Importing a.b.c runs a and a.b too.
        found |= {".".join(f.split(".")[:n]) for f in found for n in range(1, f.count(".") + 1)}
        graph[name] = {f for f in found if f in files} - {name}
    return graph


GRAPH = imports()


def reach(start: str) -> set[str]:
    seen, todo = set(), [start]
    while todo:
        for module in GRAPH[todo.pop()] - seen:
            seen.add(module)
            todo.append(module)
    return seen


def modules(layer: str) -> list[str]:
    found = [name for name in GRAPH if name == f"rig.{layer}" or name.startswith(f"rig.{layer}.")]
    assert found, layer
    return found


@pytest.mark.parametrize("layer", ["sweep", "listen", "choose", "log", "build", "page", "project", "trying", "verify"])
def test_the_truth_is_out_of_reach(layer):
    for name in modules(layer):
        known = {m for m in reach(name) if m.startswith("rig.bench.simulated")}
        assert not known, f"{name} reaches {sorted(known)}"


def test_only_the_truth_itself_and_tests_know_it():
    for name in GRAPH:
        assert "rig.bench.simulated.truth" not in reach(name), name


def part(module: str) -> str:
    """Give the package of a module, or itself where it stands in none: `log`, `files`."""
    return module.split(".")[1] if "." in module else "rig"


def test_every_part_is_listed():
    assert not GRAPH["rig"]
    assert {part(name) for name in GRAPH} - {"rig"} == set(ALLOWED)


@pytest.mark.parametrize("name", ALLOWED)
def test_a_part_imports_only_what_it_may(name):
    for module in modules(name):
        others = {part(other) for other in GRAPH[module]} - {name, "rig"}
        assert others <= ALLOWED[name], f"{module} imports {sorted(others - ALLOWED[name])}"


def room(module: str) -> str:
    """Give the room of a module of `listen`."""
    return module.split(".")[2]


def test_every_room_is_listed():
    assert {room(name) for name in modules("listen") if name != "rig.listen"} == set(ROOMS)


@pytest.mark.parametrize("name", ROOMS)
def test_a_room_imports_only_what_it_may(name):
    for module in modules(f"listen.{name}"):
        others = {room(other) for other in GRAPH[module] if other.startswith("rig.listen.")} - {name}
        assert others <= ROOMS[name], f"{module} imports {sorted(others - ROOMS[name])}"


@pytest.mark.parametrize("allowed", [ALLOWED, ROOMS])
def test_nothing_is_allowed_in_a_circle(allowed):
    TopologicalSorter(allowed).prepare()


def test_sound_hardware_is_loaded_only_where_it_is_used():
    for path in ROOT.rglob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        for node in tree.body:
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert "sounddevice" not in names, f"{path}: imports sounddevice at the top"


def test_what_is_slow_to_load_is_loaded_only_where_it_is_used():
    look = "import sys, rig.cli.main; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    slow = {"scipy.signal", "scipy.stats", "scipy.cluster", "typst", "jinja2", "fontTools", "starlette"}
    assert slow & set(loaded.stdout.split()) == set()


def test_no_test_module_imports_another():
    for path in Path(__file__).parents[1].rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            named = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            named += [a.name for a in node.names] if isinstance(node, ast.Import) else []
            assert not [name for name in named if name.startswith("test_")], path
