"""Lengths between flat faces: overall sizes, walls, outside and inside lengths, steps."""

from __future__ import annotations

from typing import Final

import numpy as np

from shrinkrule.dimensions.across import Opposite
from shrinkrule.dimensions.dimension import Dimension, Kind, distinct
from shrinkrule.dimensions.recognition.planes import Faces
from shrinkrule.numerics.arrays import Floats, Ints, Mask, box_of

LEAST_METAL: Final = 0.2
"""Share of the way across two faces that must be metal for a wall; else it is an outside length."""

MOST_LEVELS: Final = 400
"""Faces of one direction and side between which steps are listed, the largest first."""


def overall_sizes(vertices: Floats, facets: Ints) -> list[Dimension]:
    """Sides of the box around the part, from all its vertices.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        The part's facets, mm.

    Returns
    -------
    list of Dimension
        Along X, Y and Z of the model.
    """
    used = np.zeros(len(vertices), dtype=np.bool_)
    used[facets] = True
    low, high = box_of(vertices[used])
    sides, middle = high - low, np.tile(0.5 * (low + high), (3, 1))
    found = []
    for k in range(3):
        others = float(np.prod(np.delete(sides, k)))
        found += distinct(
            Kind.OVERALL,
            sides[k : k + 1],
            np.eye(3)[k : k + 1],
            middle[:1],
            np.array([others]),
            0.0,
            levels=low[k : k + 1],
        )
    return found


def lengths_between(faces: Faces, opposite: Opposite, apart_mm: float) -> list[Dimension]:
    """Lengths between flat faces that lie across from each other, and steps.

    Parameters
    ----------
    faces : Faces
        The faces.
    opposite : Opposite
        Which lie across from which.
    apart_mm : float
        Difference from which two lengths are two.

    Returns
    -------
    list of Dimension
        Walls, outside and inside lengths, steps.
    """
    found: list[Dimension] = []
    walls = _walls(opposite)
    for kind, pairs, at in (
        (Kind.WALL, opposite.solid[walls], opposite.solid_at[walls]),
        (Kind.OUTSIDE, opposite.broken, opposite.broken_at),
        (Kind.INSIDE, opposite.hollow, opposite.hollow_at),
    ):
        flat = (pairs < len(faces)).all(axis=1)
        pairs, at = pairs[flat], at[flat]
        one, other = pairs.T
        parallel = faces.direction[one] == faces.direction[other]
        parallel &= faces.sign[one] == -faces.sign[other]
        found += _listed(kind, faces, one[parallel], other[parallel], at[parallel], apart_mm)
    lower, upper = _steps(faces, opposite, apart_mm)
    found += _listed(Kind.STEP, faces, lower, upper, opposite.at[lower], apart_mm)
    return found


def _walls(opposite: Opposite) -> Mask:
    """Whether enough is metal between the pairs that have metal all the way somewhere."""
    keys, broken = (
        pairs @ [len(opposite.at) + 1, 1] for pairs in (opposite.solid, opposite.broken)
    )
    order = np.argsort(broken)
    place = np.searchsorted(broken[order], keys).clip(max=max(len(order) - 1, 0))
    gaps = np.zeros(len(keys))
    if len(order):
        same = broken[order][place] == keys
        gaps = np.where(same, opposite.broken_share[order][place], 0.0)
    walls: Mask = opposite.solid_share >= LEAST_METAL * (opposite.solid_share + gaps)
    return walls


def _listed(
    kind: Kind, faces: Faces, one: Ints, other: Ints, at: Floats, apart_mm: float
) -> list[Dimension]:
    sizes = np.abs(faces.levels[one] - faces.levels[other])
    keep = sizes > apart_mm
    one, other, at = one[keep], other[keep], at[keep]
    weights = np.minimum(faces.areas[one], faces.areas[other])
    directions = faces.directions[faces.direction[one]] if len(one) else np.zeros((0, 3))
    levels = np.minimum(faces.levels[one], faces.levels[other])
    return distinct(kind, sizes[keep], directions, at, weights, apart_mm, levels=levels)


def _steps(faces: Faces, opposite: Opposite, apart_mm: float) -> tuple[Ints, Ints]:
    """Lower and upper of faces that look the same way, with air to beyond the upper one."""
    lower: list[Ints] = []
    upper: list[Ints] = []
    for direction in range(len(faces.directions)):
        for sign in (-1, 1):
            some = np.flatnonzero((faces.direction == direction) & (faces.sign == sign))
            some = some[np.argsort(-faces.areas[some])][:MOST_LEVELS]
            height = sign * faces.levels[some]
            rise = height[None] - height[:, None]
            below = (rise > apart_mm) & (rise < opposite.air_mm[some][:, None])
            a, b = np.nonzero(below)
            lower.append(some[a])
            upper.append(some[b])
    if not lower:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    return np.concatenate(lower), np.concatenate(upper)
