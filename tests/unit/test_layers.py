"""Arrows go one way: who may import whom, read from the sources themselves."""

import ast
from pathlib import Path

import pytest

import rig

ROOT = Path(rig.__file__).parent


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


@pytest.mark.parametrize("layer", ["sweep", "listen", "choose", "log", "build", "project"])
def test_the_truth_is_out_of_reach(layer):
    for name in modules(layer):
        known = {m for m in reach(name) if m.startswith("rig.bench.simulated")}
        assert not known, f"{name} reaches {sorted(known)}"


def test_only_the_truth_itself_and_tests_know_it():
    for name in GRAPH:
        assert "rig.bench.simulated.truth" not in reach(name), name


@pytest.mark.parametrize(
    ("layer", "never"),
    [
        ("project", ["bench", "sweep", "listen", "log", "choose", "build", "cli"]),
        ("bench", ["sweep", "listen", "log", "choose", "build", "cli"]),
        ("listen", ["project", "bench", "sweep", "log", "choose", "build", "cli"]),
        ("log", ["sweep", "choose", "build", "cli"]),
        ("sweep", ["choose", "build", "cli"]),
        ("choose", ["sweep", "build", "cli"]),
        ("build", ["sweep", "cli"]),
    ],
)
def test_arrows_go_one_way(layer, never):
    forbidden = {name for other in never for name in modules(other)}
    for name in modules(layer):
        assert not reach(name) & forbidden, f"{name} reaches {sorted(reach(name) & forbidden)}"


def test_sound_hardware_is_loaded_only_where_it_is_used():
    for path in ROOT.rglob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        for node in tree.body:
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            assert "sounddevice" not in names, f"{path}: imports sounddevice at the top"
