"""Approved: the wall check of green parts, sound and unsound."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import trimesh

from approved.small import FINE, PRINTER, crossed, mesh, opened, part
from shrinkrule import Printer, WallLimits, check_walls, thickness_at
from shrinkrule.printing import look_at_print
from shrinkrule.walls import layer_findings

LIMITS: Final = WallLimits(1.0, 2.0, 3.0, 1.0, 4.5)


def _walls(made: trimesh.Trimesh, printer: Printer = PRINTER) -> dict[str, Any]:
    report = check_walls(made, printer, LIMITS)
    print_look = look_at_print(made, printer)
    return {
        "walls": report,
        "layers alone": layer_findings(made, printer, LIMITS),
        "print": print_look,
    }


def _at(name: str) -> Any:
    """Thickness at facets' middles and beside their corners."""
    made = mesh(name)
    corners = np.asarray(made.triangles)
    facets = np.arange(0, len(corners), 3)
    shares = np.array([[1 / 3, 1 / 3, 1 / 3], [0.9, 0.06, 0.04], [0.02, 0.5, 0.48]])
    points = np.einsum("sj,fjk->sfk", shares, corners[facets]).reshape(-1, 3)
    return thickness_at(made, points, np.tile(facets, len(shares)))


def _open() -> dict[str, Any]:
    return _walls(opened("tilted", 23))


JOBS: Final[dict[str, Callable[[], Any]]] = {
    "walls bracket": lambda: _walls(mesh("bracket")),
    "walls tilted": lambda: _walls(mesh("tilted")),
    "walls wedge": lambda: _walls(mesh("wedge"), FINE),
    "walls two": lambda: _walls(mesh("two")),
    "walls open": _open,
    "walls crossed": lambda: _walls(crossed()),
    **{f"walls made{n}": lambda n=n: _walls(mesh(f"made{n}")) for n in range(5)},  # type: ignore[misc]
    "thickness": lambda: {name: _at(name) for name in ("shaft", "wedge", "made4")},
    "soundness": lambda: [part(name).soundness for name in ("bracket", "two")],
}
