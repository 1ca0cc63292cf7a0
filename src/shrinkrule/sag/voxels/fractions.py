"""How full each brick is: vertical columns through the part, integrated exactly along their length.

The part's volume over a column is the sum over its crossings of (height, counted up
where the column leaves the part and down where it enters): the divergence theorem in
one direction. Columns stand on scan lines; along the line and along the height the
integration is exact for flat facets, across the lines it is the midpoint rule.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import trimesh

from shrinkrule.errors import MeshError, Option
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.sag.voxels.components import Components, find_components
from shrinkrule.sag.voxels.footprint import Underside, find_underside
from shrinkrule.sag.voxels.fragments import without_isolated_fragments
from shrinkrule.sag.voxels.grid import Grid
from shrinkrule.sag.voxels.intervals import find_solid_intervals
from shrinkrule.sag.voxels.reentrant import stiffness_factors
from shrinkrule.sag.voxels.scanlines import cut_along_lines
from shrinkrule.sag.voxels.solid import solid_of

_ROUNDING: Final = 1e-9  # a half brick this nearly full is full


@dataclass(frozen=True)
class Filling:
    """The bricks that hold material.

    Parameters
    ----------
    components : Components
        The connected components of the material in the bricks.
    underside : Underside
        What the part stands on.
    """

    components: Components
    underside: Underside


def fill_bricks(
    corners: Floats, size: Floats, counts: Ints, least: float, slab_bytes: int
) -> Filling:
    """Fill a grid of bricks with a closed part.

    Parameters
    ----------
    corners : (m, 3, 3) float
        The facets' corners in the grid's frame, mm; the grid's low corner is the origin.
    size : (3,) float
        Sides of a brick, mm.
    counts : (3,) int
        Bricks along each axis.
    least : float
        Bricks and components filled less than this fraction are left out.
    slab_bytes : int
        Memory for one slab of the dense grid, bytes.

    Returns
    -------
    Filling
        The bricks that hold material.
    """
    step, halves = size / 2.0, 2 * counts
    pieces = cut_along_lines(corners, step, halves)
    # Of the smallest type, for which numpy counts instead of comparing.
    order = np.argsort(pieces.column[:, 0].astype(np.min_scalar_type(halves[0])), kind="stable")
    column, height, share = pieces.column[order], pieces.height[order], pieces.share[order]
    plane_bytes = 2 * 16 * int(halves[1]) * int(halves[2])
    planes = max(1, slab_bytes // plane_bytes)
    cells, octants = [], []
    for start in range(0, int(counts[0]), planes):
        stop = min(start + planes, int(counts[0]))
        a, b = np.searchsorted(column[:, 0], [2 * start, 2 * stop])
        shape = (2 * (stop - start), int(halves[1]), int(halves[2]))
        fill = _integrate(
            column[a:b] - np.array([2 * start, 0]), height[a:b] / step[2], share[a:b], shape
        )
        split = fill.reshape(stop - start, 2, int(counts[1]), 2, int(counts[2]), 2)
        eighths = split.transpose(0, 2, 4, 1, 3, 5).reshape(-1, 8)
        eighths[eighths > 1.0 - _ROUNDING] = 1.0
        kept = np.flatnonzero(eighths.mean(axis=1) > _ROUNDING)
        place = np.unravel_index(kept, (stop - start, int(counts[1]), int(counts[2])))
        cells.append(np.stack(place, axis=1) + np.array([start, 0, 0]))
        octants.append(eighths[kept])
    bricks, filled = np.concatenate(cells), np.concatenate(octants)
    cut = filled.min(axis=1) < 1.0
    wanted = np.zeros(tuple(counts[:2]), dtype=bool)
    wanted[tuple(bricks[cut, :2].T)] = True
    intervals = find_solid_intervals(corners, size, counts, wanted)
    components = find_components(bricks, filled, intervals, counts, least)
    return Filling(components, find_underside(pieces, size, counts))


def _integrate(column: Ints, level: Floats, share: Floats, shape: tuple[int, int, int]) -> Floats:
    """Filled fraction of each half brick of a slab, from the crossings of its columns."""
    layer = np.clip(np.floor(level).astype(np.int64), 0, shape[2] - 1)
    flat = (column[:, 0] * shape[1] + column[:, 1]) * shape[2] + layer
    total = int(np.prod(shape))
    whole = np.bincount(flat, weights=share, minlength=total).reshape(shape)
    part = np.bincount(flat, weights=share * (level - layer), minlength=total).reshape(shape)
    below = np.cumsum(whole[:, :, ::-1], axis=2)[:, :, ::-1] - whole
    return np.clip(below + part, 0.0, 1.0)


LEAST_FILLED: Final = 0.02
"""Bricks filled less than this are left out; their weight is lost, their stiffness is nothing."""


_SLAB_BYTES: Final = 200_000_000


def fill_grid(mesh: trimesh.Trimesh, grid: Grid, *, least: float = LEAST_FILLED) -> Filling:
    """Fill a grid with a part.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        A watertight part with its facets outward.
    grid : Grid
        The grid around it.
    least : float
        Bricks filled less than this fraction are left out.

    Returns
    -------
    Filling
        The bricks that hold material, corrected at re-entrant edges.

    Raises
    ------
    MeshError
        If the mesh is open, inside out, or so fine that the grid misses it.
    """
    faces = np.asarray(mesh.faces, dtype=np.int64)
    solid = solid_of(mesh)
    if not solid.closed:
        raise MeshError("the mesh has open edges, so it has no weight", hint="close it first")
    volume = solid.volume
    if not volume > 0.0:
        raise MeshError("the mesh is inside out or flat", hint="turn its facets outward")
    local = grid.local(np.asarray(mesh.vertices, dtype=np.float64))
    filling = fill_bricks(local.take(faces, axis=0), grid.size, grid.counts, least, _SLAB_BYTES)
    found = filling.components.octants.mean(axis=1).sum() * np.prod(grid.size)
    if not abs(found / volume - 1.0) < 0.05:
        raise MeshError(
            f"the solver's bricks hold {found:.0f} mm3 of the part's {volume:.0f} mm3",
            hint="make one solid of bodies that share space, or leave the sag out",
            options=(Option.UNITE, Option.NO_SAG),
        )
    components = filling.components
    if components.phantom.any():
        components = without_isolated_fragments(components, solid.bodies)
    bricks = grid.in_bricks(local)
    factors = stiffness_factors(components.cells, bricks.take(solid.ends, axis=0), solid.turn)
    return replace(filling, components=replace(components, stiffness=factors))
