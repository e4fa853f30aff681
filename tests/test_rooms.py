"""Imports run downhill, and files stay small."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1] / "src" / "dustcap"
TESTS = Path(__file__).parent
MAX_LINES = 500

BASE = {"errors", "quantities", "compiled"}
# room -> rooms it may import; its own room is always allowed
MAY_IMPORT = {
    "errors": set(),
    "quantities": {"errors"},
    "compiled": set(),
    "circuit": BASE,
    "sound": BASE,
    "parts": BASE,
    "records": {"errors"},
    "board": BASE | {"circuit", "parts"},
    "faults": BASE | {"circuit", "board", "parts"},
    "predict": BASE | {"circuit", "board", "faults"},
    "hunt": BASE | {"circuit", "board", "faults", "predict"},
    "proof": BASE | {"sound"},
    "shop": BASE | {"faults"},
}
MAY_IMPORT["job"] = set(MAY_IMPORT)
MAY_IMPORT["bench"] = BASE
MAY_IMPORT["report"] = BASE | {"job"}
MAY_IMPORT["demo"] = BASE | {"job", "board", "sound"}
MAY_IMPORT["web"] = BASE | {"job", "report", "demo", "bench"}
MAY_IMPORT["cli"] = BASE | {"job", "report", "demo", "web", "bench"}

FILES = sorted(ROOT.rglob("*.py"))


def room_of(path):
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def rooms_imported(tree):
    """Rooms named anywhere in a file, inside functions too."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            if node.level:
                raise AssertionError(f"line {node.lineno}: use absolute imports")
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return {name.split(".")[1] for name in names if name.startswith("dustcap.")}


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_run_downhill(path):
    """A room imports itself and the rooms below it, nothing else."""
    room = room_of(path)
    imported = rooms_imported(ast.parse(path.read_text())) - {"__version__"}
    if room == "__init__":
        assert not imported
        return

    uphill = imported - MAY_IMPORT[room] - {room}

    assert not uphill, f"{room} may not import {sorted(uphill)}"


@pytest.mark.parametrize("path", FILES + sorted(TESTS.rglob("*.py")), ids=lambda p: p.name)
def test_files_stay_small(path):
    """A file is split before it passes the limit."""
    assert len(path.read_text().splitlines()) <= MAX_LINES


def test_the_table_itself_has_no_loop():
    """Rooms can be put in one order in which every import points down."""
    left = {room: set(below) for room, below in MAY_IMPORT.items()}
    while left:
        ground = {room for room, below in left.items() if not below & left.keys()}
        assert ground, f"loop among {sorted(left)}"
        for room in ground:
            del left[room]
