"""Writes tour.md: the heads of all modules in reading order, which tell the whole program.

Rooms follow the data, from what all share to the command line. Inside a room a module comes
after those it imports, so that nothing is spoken of before it has been introduced.
"""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path
from typing import Final

DOCS: Final = Path(__file__).parent
PACKAGE: Final = DOCS.parent / "src" / "shrinkrule"

ROOMS: Final = (
    (
        "What all rooms share",
        ("errors", "version", "public", "defaults", "units", "cautions", "cells"),
    ),
    ("Arrays, edges and triangles", ("numerics",)),
    ("The machines", ("printer", "furnace")),
    ("Files", ("files",)),
    ("The part", ("mesh",)),
    ("Its walls", ("walls",)),
    ("The coupon", ("sheet", "coupon")),
    ("What several rooms state of physics", ("physics",)),
    ("From measured coupons to a row", ("calibration",)),
    ("From the wanted part to the green part", ("compensation", "printing")),
    ("The part's own dimensions", ("dimensions",)),
    ("What a workshop states once", ("settings",)),
    ("Sag", ("sag",)),
    ("Parts that share a crucible", ("loads",)),
    ("The job", ("job", "ahead")),
    ("What was made", ("history",)),
    ("What came out, and why", ("review",)),
    ("Reports", ("report",)),
    ("The page that goes with the part", ("traveler",)),
    ("The command line", ("cli",)),
)
"""Chapters of the tour, each with the modules and rooms it goes through."""

OPENING: Final = """# A tour of the house

What each module answers, in its own words and in reading order: along the data, from what all
rooms share to the command line, and inside a room from what is used to what uses it.
[DEVELOPERS.md](../DEVELOPERS.md) shows the house in one picture.

This page is made by `docs/make_tour.py` out of the first lines of the modules; edit them there.
"""


def tour() -> str:
    """Text of the page."""
    parts = [OPENING]
    for title, names in ROOMS:
        parts.append(f"## {title}\n")
        for name in names:
            room = PACKAGE / name
            parts += _room(room, depth=3) if room.is_dir() else [_entry(room.with_suffix(".py"))]
    return "\n".join(parts)


def _room(folder: Path, depth: int) -> list[str]:
    """Entries of a room: its own head, then its modules and rooms in order of use."""
    name = ".".join(folder.relative_to(PACKAGE).parts)
    entries = [f"{'#' * depth} `{name}/`\n\n{_head(folder / '__init__.py')}\n"]
    for path in _in_order(folder):
        entries += _room(path, depth + 1) if path.is_dir() else [_entry(path)]
    return entries


def _entry(path: Path) -> str:
    name = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
    return f"**`{name}`** {_head(path)}\n"


def _head(path: Path) -> str:
    head = ast.get_docstring(_tree(path))
    if not head:
        raise ValueError(f"{path} has no opening sentence")
    return head


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def _names(module: Path) -> frozenset[str]:
    """What a module imports, each with a dot at its end."""
    return frozenset(
        f"{node.module}.{alias.name}."
        for node in ast.walk(_tree(module))
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    )


def _in_order(folder: Path) -> list[Path]:
    """Modules and rooms in a folder, each after those it imports, else by name."""
    found = sorted(
        path
        for path in folder.iterdir()
        if (path.suffix == ".py" and path.stem != "__init__") or (path / "__init__.py").is_file()
    )
    left = {path: _imported(path, found) for path in found}
    order: list[Path] = []
    while left:
        ready = next((path for path, needs in left.items() if needs <= set(order)), None)
        if ready is None:
            raise ValueError(f"modules of {folder} import each other in a circle")
        order.append(ready)
        del left[ready]
    return order


def _imported(path: Path, others: list[Path]) -> set[Path]:
    """Which of the others a module or room imports anything from."""
    modules = sorted(path.rglob("*.py")) if path.is_dir() else [path]
    names = {name for module in modules for name in _names(module)}
    prefix = {
        other: ".".join(("shrinkrule", *other.relative_to(PACKAGE).with_suffix("").parts)) + "."
        for other in others
        if other != path
    }
    return {other for other, start in prefix.items() if any(n.startswith(start) for n in names)}


if __name__ == "__main__":
    (DOCS / "tour.md").write_text(tour(), encoding="utf-8")
