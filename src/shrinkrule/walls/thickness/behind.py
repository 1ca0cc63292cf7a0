"""Whether the other side of a wall may lie near behind a place of the surface.

A cell of the surface can hide a thin wall only if something that faces the other way lies behind
it, less deep than the limit. Beside an edge of something sound, and on a wall that is thicker than
the limit, nothing does, however small the ball of the cell's sample.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.numerics.jit import compiled, wait_for_compiled
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.walls.thickness.inscribed import DEPTH
from shrinkrule.walls.thickness.nearest import nearest_on_facet, next_leaf
from shrinkrule.walls.thickness.tree import Tree

FACES_BACK: Final = float(np.cos(np.radians(135.0)))
"""Largest cosine between the normals of a wall's two sides. Faces that meet at more than 45 degrees
bound no wall, and their edge loses less than its limit; inward edges are measured by
themselves."""

CHUNK: Final = 2048
"""Cylinders that one thread looks into at a time."""


@compiled
def look_behind(
    tree: Tree, tops: Floats, normals: Floats, depths: Any, reaches: Any, found: Any
) -> None:
    """Loop of `faces_back_behind` over the cylinders; fills the last."""
    stack, flat, q = np.empty(DEPTH, np.int64), np.empty((1, 3, 3)), np.empty(3)
    alone: Any = np.int64(0)
    leaves, pieces = len(tree.boxes) // 2, len(tree.items)
    for i in range(len(tops)):
        found[i] = False
        depth, reach = depths[i], reaches[i]
        nx, ny, nz = normals[i, 0], normals[i, 1], normals[i, 2]
        px, py, pz = tops[i, 0], tops[i, 1], tops[i, 2]
        cx, cy, cz = px - 0.5 * depth * nx, py - 0.5 * depth * ny, pz - 0.5 * depth * nz
        about = np.sqrt(reach * reach + 0.25 * depth * depth)
        stack[0] = 1
        waiting: Any = np.int64(1)
        while True:
            waiting, leaf = next_leaf(tree, stack, waiting, cx, cy, cz, about)
            if leaf < 0:
                break
            for place in range(leaf * pieces // leaves, (leaf + 1) * pieces // leaves):
                f = tree.items[place]
                fx, fy, fz = tree.normals[f, 0], tree.normals[f, 1], tree.normals[f, 2]
                facing = fx * nx + fy * ny + fz * nz
                if facing > FACES_BACK:
                    continue
                # How deep its plane lies below the middle, and how much that changes to the rim.
                ax, ay, az = tree.corners[f, 0, 0], tree.corners[f, 0, 1], tree.corners[f, 0, 2]
                middle = ((px - ax) * fx + (py - ay) * fy + (pz - az) * fz) / facing
                change = np.sqrt(max(1.0 - facing * facing, 0.0)) / -facing * reach
                least, most = np.inf, -np.inf
                for k in range(3):
                    x = tree.corners[f, k, 0] - px
                    y = tree.corners[f, k, 1] - py
                    z = tree.corners[f, k, 2] - pz
                    below = -(x * nx + y * ny + z * nz)
                    least, most = min(least, below), max(most, below)
                    flat[0, k, 0] = x + below * nx
                    flat[0, k, 1] = y + below * ny
                    flat[0, k, 2] = z + below * nz
                if max(least, middle - change) >= depth or min(most, middle + change) <= 0.0:
                    continue
                if nearest_on_facet(alone, flat, 0.0, 0.0, 0.0, q) < reach * reach:
                    found[i] = True
                    waiting = 0
                    break


def faces_back_behind(
    tree: Tree, tops: Floats, normals: Floats, depths: Floats, reaches: Floats
) -> Mask:
    """Find the cylinders into which a facet that faces back may reach.

    Parameters
    ----------
    tree : Tree
        The surface.
    tops : (n, 3) float64
        Middles of the cylinders' upper ends, as the tree has them, mm.
    normals : (n, 3) float64
        Unit vectors along the axes, out of the part.
    depths, reaches : (n,) float64
        Lengths and radii of the cylinders, mm.

    Returns
    -------
    (n,) bool
        False only where no facet whose normal is 135 degrees or more away reaches into the
        cylinder. True also where a slanting facet passes close by below.
    """
    found = np.zeros(len(tops), dtype=np.bool_)

    def work(part: slice) -> None:
        look_behind(tree, tops[part], normals[part], depths[part], reaches[part], found[part])

    wait_for_compiled(look_behind)
    in_chunks(work, len(tops), CHUNK)
    return found
