"""The floors of the house, and the bans, as tests over the syntax tree."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "src" / "shrinkrule"
FLOORS = {
    "version": 0,
    "errors": 0,
    "numerics": 0,
    "files": 1,
    "defaults": 0,
    "units": 1,
    "cautions": 1,
    "furnace": 1,
    "printer": 1,
    "sheet": 1,
    "mesh": 2,
    "walls": 3,
    "calibration": 3,
    "coupon": 3,
    "compensation": 4,
    "sag": 5,
    "job": 6,
    "report": 7,
    "cli": 8,
}
MODULES = sorted(p for p in PACKAGE.rglob("*.py") if p.name != "__main__.py")


def room_of(path: Path) -> str:
    part = path.relative_to(PACKAGE).parts[0]
    return part.removesuffix(".py")


def imports_of(tree: ast.AST) -> list[str]:
    found: list[str] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            found.append(node.module or "")
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_room_imports_only_from_lower_floors(path: Path) -> None:
    room = room_of(path)
    if room == "__init__":
        return
    for name in imports_of(ast.parse(path.read_text(encoding="utf-8"))):
        parts = name.split(".")
        if parts[0] != "shrinkrule" or len(parts) == 1:
            continue
        other = parts[1]
        assert other == room or FLOORS[other] < FLOORS[room], f"{path}: {room} imports {other}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_bans(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    banned = {"socket", "urllib", "http", "requests", "ssl"}
    for name in imports_of(tree):
        assert name.split(".")[0] not in banned, f"{path} reaches for the network: {name}"
    for node in ast.walk(tree):
        if isinstance(node, ast.ExceptHandler):
            assert node.type is not None, f"{path}:{node.lineno} has a bare except"
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            prints = node.func.id in {"print", "exit", "quit"}
            assert not prints or room_of(path) == "cli", f"{path}:{node.lineno} prints or exits"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_modules_are_short_and_open_with_their_reason(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 450
    assert ast.get_docstring(ast.parse(text)), f"{path} has no opening sentence"
