"""Sample points on a surface by area, whatever its facets look like.

The surface is cut into cells (`cells`). Cells much smaller than the spacing (fine meshes) are
grouped by place and facing, and one cell represents its group. Each sample has a reach: the
distance to the furthest point that it represents.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import trimesh

from shrinkrule.errors import MeshError, SettingError
from shrinkrule.numerics.arrays import Floats, Ints, box_of
from shrinkrule.numerics.hashing import number_equal
from shrinkrule.numerics.jit import compiled, inner
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.numerics.triangles import AT_ONCE, twice_area_normal
from shrinkrule.walls.thickness.cells import (
    Cells,
    SurfaceSamples,
    cut_finer,
    cut_into_cells,
)
from shrinkrule.walls.thickness.tree import along_curve

GROUP_SHARE: Final = 0.85
"""Side of the cubes that group small cells, in spacings: so a group reaches as far as a cell."""

FACINGS: Final = 3
"""Parts of each side of the cube of normals: two walls of a pocket are not one group."""


@dataclass(frozen=True)
class Sampling:
    """Samples with the cells that they represent, so that some can be cut finer.

    Parameters
    ----------
    samples : SurfaceSamples
        The samples.
    cells : Cells
        All cells.
    sample_of : (n_cells,) int64
        The sample that represents each cell.
    reach : (n,) float64
        Upper bound of the distance to the furthest point that each sample represents, mm.
    bend : (n,) float64
        Least cosine between its normal and those of its cells.
    spacing_mm : float
        Largest height and width of a cell.
    """

    samples: SurfaceSamples
    cells: Cells
    sample_of: Ints
    reach: Floats
    bend: Floats
    spacing_mm: float


@inner
def _patch(value: float, size: float) -> Any:
    """Part of a side of the cube of directions that a component of a normal points to."""
    return min(max(np.int64((value / size + 1.0) * (0.5 * FACINGS)), 0), FACINGS - 1)


@inner
def _facing(x: float, y: float, z: float) -> Any:
    """Number of the patch of the cube of directions that a normal goes through."""
    if abs(x) >= abs(y) and abs(x) >= abs(z):
        side, size, one, other = 0, x, y, z
    elif abs(y) >= abs(z):
        side, size, one, other = 1, y, z, x
    else:
        side, size, one, other = 2, z, x, y
    side = 2 * side + (size > 0.0)
    return (side * FACINGS + _patch(one, abs(size))) * FACINGS + _patch(other, abs(size))


@compiled
def _groups(
    vertices: Floats,
    faces: Ints,
    facets: Any,
    points: Floats,
    small: Ints,
    low: Floats,
    side: float,
    counts: Ints,
    keys: Ints,
    off_middle: Floats,
) -> None:
    """Key of the group of each small cell, and how far it is off the middle of its cube."""
    for place in range(len(small)):
        cell = small[place]
        number, off = np.int64(0), 0.0
        for a in range(3):
            along = (points[cell, a] - low[a]) / side
            cube = np.floor(along)
            number = number * counts[a] + np.int64(cube)
            off += (along - cube - 0.5) ** 2
        x, y, z = twice_area_normal(vertices, faces, facets[cell])
        keys[place] = number * (6 * FACINGS**2) + _facing(x, y, z)
        off_middle[place] = off


@compiled
def _least_of_group(group: Ints, values: Floats) -> Any:
    """For each entry (n,), the first one of its group with the least value."""
    least = np.full(len(group), -1, np.int64)
    for i in range(len(group)):
        j = least[group[i]]
        if j < 0 or values[i] < values[j]:
            least[group[i]] = i
    return least[group]


@compiled
def _represented(
    vertices: Floats,
    faces: Ints,
    facets: Any,
    points: Floats,
    own_area: Floats,
    own_reach: Floats,
    keeper: Ints,
    sample_of: Ints,
    reach: Floats,
    bend: Floats,
    area: Floats,
) -> None:
    """Gather what each sample represents: its reach, least cosine, and area."""
    for cell in range(len(keeper)):
        sample, kept = sample_of[cell], keeper[cell]
        area[sample] += own_area[cell]
        if kept == cell:
            reach[sample] = max(reach[sample], own_reach[cell])
            continue
        away = 0.0
        for a in range(3):
            away += (points[cell, a] - points[kept, a]) ** 2
        reach[sample] = max(reach[sample], own_reach[cell] + np.sqrt(away))
        x, y, z = twice_area_normal(vertices, faces, facets[cell])
        u, v, w = twice_area_normal(vertices, faces, facets[kept])
        lengths = np.sqrt((x * x + y * y + z * z) * (u * u + v * v + w * w))
        bend[sample] = min(bend[sample], (x * u + y * v + z * w) / lengths)


def _grouped(mesh: trimesh.Trimesh, cells: Cells, spacing_mm: float) -> Sampling:
    """Choose one sample for each place and facing, with the area of all that it represents.

    Cells of half a spacing squared or more are samples of their own. The others are grouped by
    the cube they lie in and the way they face, so that two sides of a thin wall never share a
    group; the one nearest to its cube's middle represents the group.
    """
    low, high = mesh.bounds
    vertices = np.ascontiguousarray(mesh.vertices, dtype=np.float64)
    faces = np.ascontiguousarray(mesh.faces, dtype=np.int64)
    keeper = _keepers(vertices, faces, cells, low, spacing_mm)
    kept = np.flatnonzero(keeper == np.arange(len(keeper)))
    kept = kept[along_curve(cells.points[kept], low, float((high - low).max()))]
    rank = np.empty(len(keeper), dtype=np.int64)
    rank[kept] = np.arange(len(kept))
    sample_of = rank[keeper]
    reach, bend, area = np.zeros(len(kept)), np.ones(len(kept)), np.zeros(len(kept))
    own = (cells.facets, cells.points, cells.area, cells.reach)
    _represented(vertices, faces, *own, keeper, sample_of, reach, bend, area)
    chosen = SurfaceSamples(cells.points[kept], cells.facets[kept], area)
    return Sampling(chosen, cells, sample_of, reach, bend, spacing_mm)


def _keepers(vertices: Floats, faces: Ints, cells: Cells, low: Floats, spacing_mm: float) -> Ints:
    """The cell that represents each cell's group (n,); the cell itself where it is large."""
    small = np.flatnonzero(cells.area < 0.5 * spacing_mm**2)
    keeper = np.arange(len(cells.area))
    if not len(small):
        return keeper
    low, side = np.array(low), GROUP_SHARE * spacing_mm
    counts = np.floor((box_of(cells.points[small])[1] - low) / side).astype(np.int64) + 1
    keys, off_middle = np.empty(len(small), np.int64), np.empty(len(small))

    def work(part: slice) -> None:
        into = (keys[part], off_middle[part])
        _groups(vertices, faces, cells.facets, cells.points, small[part], low, side, counts, *into)

    in_chunks(work, len(small), AT_ONCE)
    # Halves of the keys, since numbering is compiled for them already.
    _, group = number_equal(keys.view(np.uint32).reshape(-1, 2))
    keeper[small] = small[_least_of_group(group, off_middle)]
    return keeper


def sample_surface(mesh: trimesh.Trimesh, spacing_mm: float) -> SurfaceSamples:
    """Sample a surface by area, for facets of any size and shape; the result never varies.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The surface, mm.
    spacing_mm : float
        Largest distance wanted between neighbouring samples.

    Returns
    -------
    SurfaceSamples
        Their areas add up to the surface's.

    Raises
    ------
    MeshError
        For a mesh without a facet of any area.
    SettingError
        For a spacing that is not positive or takes more samples than fit in memory.
    """
    return sample_cells(mesh, spacing_mm).samples


def sample_cells(mesh: trimesh.Trimesh, spacing_mm: float) -> Sampling:
    """Sample a surface by area and keep what each sample represents.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The surface, mm.
    spacing_mm : float
        Largest height and width of a cell.

    Returns
    -------
    Sampling
        Samples and cells.

    Raises
    ------
    MeshError
        For a mesh without a facet of any area.
    SettingError
        For a spacing that is not positive or takes more samples than fit in memory.
    """
    if not spacing_mm > 0.0:
        raise SettingError(f"{spacing_mm:g} mm is no spacing", hint="give a length above zero")
    cells = cut_into_cells(mesh, np.arange(len(mesh.faces), dtype=np.int64), spacing_mm)
    if len(cells.facets) == 0:
        raise MeshError("the mesh has no facet with an area", hint="export the model again")
    return _grouped(mesh, cells, spacing_mm)


def finer(mesh: trimesh.Trimesh, sampling: Sampling, which: Ints, spacing_mm: float) -> Sampling:
    """Sample again, more closely, only what some samples represent.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The surface the samples lie on, mm.
    sampling : Sampling
        The samples so far.
    which : (k,) int64
        The samples to be replaced.
    spacing_mm : float
        Largest height and width of a cell.

    Returns
    -------
    Sampling
        The samples that replace them.
    """
    again = np.zeros(len(sampling.samples.area), dtype=np.bool_)
    again[which] = True
    fresh = cut_finer(mesh, sampling.cells, again[sampling.sample_of], spacing_mm)
    return _grouped(mesh, fresh, spacing_mm)
