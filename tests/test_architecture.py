"""The floors of the house, and the bans, as tests over the syntax tree."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Final

PACKAGE: Final = Path(__file__).parent.parent / "src" / "shrinkrule"

FLOORS: Final = {
    "": (
        "version errors defaults numerics public cells",
        "units",
        "cautions furnace printer sheet files",
        "physics",
        "mesh loads history",
        "walls calibration coupon",
        "compensation printing settings",
        "sag dimensions review",
        "job ahead",
        "report",
        "traveler",
        "cli",
    ),
    "numerics": ("arrays progress jit threads", "edges hashing triangles"),
    "physics": ("estimate beam", "interval metal_balance", "filament"),
    "files": (
        "plain",
        "checksum csv_dialect locks output stl_text templates unpack coloured",
        "stl threemf other_meshes",
        "models",
    ),
    "mesh": (
        "kept",
        "rays refine soundness size",
        "repair defects",
        "bodies closing",
        "part",
        "read",
    ),
    "report": (
        "foundation pictures",
        "words",
        "sag printer_words place_words fit verdict turning dimensions filament parts",
        "dimension_list",
        "console html many plain",
        "outputs",
    ),
    "report.fit": ("library", "plain plots console", "html", "outputs"),
    "report.pictures": (
        "camera loads",
        "colouring",
        "scene",
        "marks",
        "walls",
        "details dimensions",
    ),
    "report.sag": ("words values pictures", "ways"),
    "report.turning": ("three", "scene"),
    "walls": (
        "findings limits",
        "thickness_scale thickness layers",
        "layers_ahead regions",
        "agreement shown",
        "map",
        "check",
    ),
    "walls.thickness": (
        "tree cells",
        "nearest sampling",
        "spanning",
        "inscribed",
        "growth bitangent spheres behind",
        "corners local",
        "refinement",
    ),
    "walls.layers": (
        "loops narrow outlines",
        "shell disks widths columns",
        "stack",
        "openings",
        "places",
        "floors",
        "notes",
        "check",
    ),
    "walls.regions": ("grouping measured pins", "edges thick", "thin", "gaps"),
    "coupon": (
        "layout solid spans",
        "piece block_sizes",
        "bars block ladder views",
        "fitting worth",
        "design",
        "drawing",
        "page",
        "output",
    ),
    "compensation": ("frames offset plate tolerance", "scale", "masses", "predict"),
    "printing": ("findings", "surface", "slices", "starts slender undersides", "check"),
    "job": (
        "recipe checks",
        "sag_look",
        "result",
        "bodies filament look printing_checks room",
        "written",
        "verdict",
        "run",
        "ways",
    ),
    "calibration.fit": (
        "axis balance lengths sag",
        "beams outliers printing",
        "result zero",
        "notes to_row",
        "fit_sheets sentences",
    ),
    "calibration.table": (
        "evidence ladder",
        "columns row",
        "between read write",
        "update",
    ),
    "calibration.sheets": ("sheet", "check inches join parse", "read", "load"),
    "cli": (
        "late many_parts sag_options stopping",
        "options",
        "shrinkage",
        "history",
        "calibrate compensate coupon settings table traveler",
        "walls ways_up dimensions review",
        "main",
    ),
    "loads": ("outline", "packing"),
    "history": ("store chart", "made firings", "reviewed"),
    "review": (
        "readings",
        "scatter causes",
        "likelihood weights",
        "judge",
        "firing shrunk",
        "learn",
    ),
    "traveler": ("shape", "load", "lines pictures", "page", "output"),
    "cli.many_parts": ("processes", "loads"),
    "settings": ("key", "keys", "stated", "measured toml_files", "holding", "workshop write"),
    "calibration": ("statistics", "table sheets", "fit"),
    "sag": (
        "settings material lying",
        "voxels",
        "fem",
        "contact",
        "bodies plan",
        "preparation gaps",
        "result",
        "solve",
        "steering estimate",
        "precurve orientations",
    ),
    "dimensions": (
        "recognition dimension threads",
        "across",
        "lengths rounds",
        "find",
        "marks",
        "bending",
        "promise",
        "limits",
        "advice",
        "listing",
    ),
    "dimensions.recognition": (
        "noise surface",
        "regions",
        "creases",
        "fitting zigzag",
        "balls",
        "cylinders",
        "planes",
    ),
    "sag.voxels": (
        "corners grid scanlines",
        "intervals footprint reentrant",
        "solid",
        "brick_intervals",
        "phantom_nodes",
        "components",
        "fragments",
        "fractions",
    ),
    "sag.fem": ("hex8i", "elements", "operator rigid_modes field", "multigrid", "pcg"),
    "sag.fem.multigrid": ("coarsening smoothing", "galerkin levels", "transfers", "cycle"),
    "sag.contact": ("candidates clearance", "supports stability edges", "active_set"),
}
"""The floors of each room from the ground up: what stands on one floor does not know each other."""

TREES: Final = {
    path: ast.parse(path.read_text(encoding="utf-8"))
    for path in sorted(PACKAGE.rglob("*.py"))
    if path.name != "__main__.py"
}
MODULES: Final = {
    ".".join(["shrinkrule", *path.relative_to(PACKAGE).with_suffix("").parts]) for path in TREES
}
# A coupon is four kinds of piece, each with its sizes, and a page with its drawings.
MOST_FILES: Final[dict[str, int]] = {"coupon": 17, "cli": 18}
"""Folders that hold more than fourteen modules: the coupon has many pieces, each command a file."""
BANNED: Final = {"socket", "urllib", "http", "requests", "ssl"}


def imports_of(tree: ast.AST) -> list[str]:
    """Modules that a tree imports; a name taken from a folder may be a module in it."""
    found: list[str] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            whole = [f"{node.module}.{alias.name}" for alias in node.names]
            found += [name if name in MODULES else f"{node.module}" for name in whole]
    return found


def rooms_of(path: Path) -> list[str]:
    """Names from the outermost room to the module itself; a folder's face has none of its own."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return [part for part in parts if part != "__init__"]


def test_imports_go_to_lower_floors_in_the_house_and_inside_its_rooms() -> None:
    """Of two modules, those parts of their paths that differ first must lie on two floors."""
    wrong, strangers = [], set()
    for path, tree in TREES.items():
        mine = rooms_of(path)
        for name in imports_of(tree):
            other = name.split(".")
            if other[0] != "shrinkrule" or len(other) == 1:
                continue
            other = other[1:]
            same = next(
                (i for i, (a, b) in enumerate(zip(mine, other, strict=False)) if a != b), None
            )
            if same is None:
                continue
            room = ".".join(mine[:same])
            floors = FLOORS.get(room)
            if floors is None:
                continue
            floor = {part: n for n, parts in enumerate(floors) for part in parts.split()}
            strangers |= {f"{room}.{part}" for part in (mine[same], other[same])} - {
                f"{room}.{part}" for part in floor
            }
            if floor.get(other[same], 99) >= floor.get(mine[same], -1):
                wrong.append(f"{'.'.join(mine)} imports {name}")
    assert not strangers, "every part of a room has its floor"
    assert not wrong


def test_no_circles_in_any_room() -> None:
    """Modules can be put in an order in which each imports only earlier ones."""
    known = {".".join(["shrinkrule", *rooms_of(path)]): tree for path, tree in TREES.items()}
    left = {
        name: {other for other in imports_of(tree) if other in known and other != name}
        for name, tree in known.items()
        if name != "shrinkrule"
    }
    while ready := {name for name, needs in left.items() if not needs & set(left)}:
        left = {name: needs for name, needs in left.items() if name not in ready}
    assert not left


def test_bans_and_sizes() -> None:
    """No network, no bare except, prints and exits in cli alone, short modules with a head."""
    wrong = []
    for path, tree in TREES.items():
        where = str(path.relative_to(PACKAGE))
        wrong += [f"{where} uses {n}" for n in imports_of(tree) if n.split(".")[0] in BANNED]
        for node in ast.walk(tree):
            if isinstance(node, ast.ExceptHandler) and node.type is None:
                wrong.append(f"{where}:{node.lineno} has a bare except")
            called = node.func if isinstance(node, ast.Call) else None
            if isinstance(called, ast.Name) and called.id in {"print", "exit", "quit"}:
                wrong += [] if where.startswith("cli") else [f"{where} prints or exits"]
        if len(path.read_text(encoding="utf-8").splitlines()) > 420:
            wrong.append(f"{where} is too long")
        if not ast.get_docstring(tree):
            wrong.append(f"{where} has no opening sentence")
    crowded = [
        str(folder)
        for folder in {path.parent for path in TREES} - {PACKAGE}
        if len([path for path in TREES if path.parent == folder]) > MOST_FILES.get(folder.name, 14)
    ]
    assert not wrong
    assert not crowded
