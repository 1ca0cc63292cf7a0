"""Compiles the loops of the layer check in a process of its own (first run that needs them)."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from shrinkrule.numerics.jit import compile_elsewhere, only_compile
from shrinkrule.walls.layers.disks import narrow_outline_points
from shrinkrule.walls.layers.outlines import boxes_with_points, distance_to_edges

LOOPS: Final = (boxes_with_points, distance_to_edges, narrow_outline_points)
"""In this order: who waits for the last has all. About as long as the rest of the layer check."""


def compile_ahead() -> None:
    """Start compiling beside this process what is not on disk yet; returns at once."""
    compile_elsewhere(__name__, (LOOPS,))


def compile_here() -> None:
    """Compile the loops by calling each for one point or none."""
    points, one = np.zeros((1, 2)), np.zeros((0, 2))
    arguments: dict[Any, tuple[Any, ...]] = {
        boxes_with_points: (np.empty((0, 4)), one, 0.0),
        distance_to_edges: (one, one, one),
        narrow_outline_points: (points, np.array([0, 1]), 1.0, 0.0, 1.0),
    }
    for loop in LOOPS:
        loop(*arguments[loop])


if __name__ == "__main__":
    only_compile()
    compile_here()
