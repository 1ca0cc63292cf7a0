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
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.hashing import number_equal
from shrinkrule.numerics.jit import compiled
from shrinkrule.walls.thickness.cells import (
    Cells,
    SurfaceSamples,
    cell_samples,
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


def _facing(normals: Floats) -> Ints:
    """Number of the patch of the cube of directions that each normal goes through."""
    most = np.abs(normals).argmax(axis=1)
    size = np.take_along_axis(normals, most[:, None], axis=1)[:, 0]
    rest = np.take_along_axis(normals, (most[:, None] + [1, 2]) % 3, axis=1) / np.abs(size)[:, None]
    patch = np.clip(((rest + 1.0) * (0.5 * FACINGS)).astype(np.int64), 0, FACINGS - 1)
    side = 2 * most + (size > 0)
    return np.asarray((side * FACINGS + patch[:, 0]) * FACINGS + patch[:, 1], dtype=np.int64)


@compiled
def _least_of_group(group: Ints, values: Floats) -> Any:
    """For each entry (n,), the first one of its group with the least value."""
    least = np.full(len(group), -1, np.int64)
    for i in range(len(group)):
        j = least[group[i]]
        if j < 0 or values[i] < values[j]:
            least[group[i]] = i
    return least[group]


def _grouped(mesh: trimesh.Trimesh, cells: Cells, spacing_mm: float) -> Sampling:
    """Choose one sample for each place and facing, with the area of all that it represents.

    Cells of half a spacing squared or more are samples of their own. The others are grouped by
    the cube they lie in and the way they face, so that two sides of a thin wall never share a
    group; the one nearest to its cube's middle represents the group.
    """
    middles, size = cell_samples(mesh, cells)
    normals = np.asarray(mesh.face_normals)[cells.facets]
    small = np.flatnonzero(middles.area < 0.5 * spacing_mm**2)
    place = (middles.points[small] - mesh.bounds[0]) / (GROUP_SHARE * spacing_mm)
    cube = np.floor(place).astype(np.int64)
    counts = cube.max(axis=0, initial=0) + 1
    key = (cube[:, 0] * counts[1] + cube[:, 1]) * counts[2] + cube[:, 2]
    key = key * (6 * FACINGS**2) + _facing(normals[small])
    off_middle = ((place - cube - 0.5) ** 2).sum(axis=1)
    # Halves of the keys, since numbering is compiled for them already.
    _, group = number_equal(key.view(np.uint32).reshape(-1, 2))
    keeper = np.arange(len(middles.area))
    keeper[small] = small[_least_of_group(group, off_middle)]
    kept = np.flatnonzero(keeper == np.arange(len(keeper)))
    low, high = mesh.bounds
    kept = kept[along_curve(middles.points[kept], low, float((high - low).max()))]
    rank = np.empty(len(keeper), dtype=np.int64)
    rank[kept] = np.arange(len(kept))
    sample_of = rank[keeper]
    reach, bend = np.zeros(len(kept)), np.ones(len(kept))
    apart = np.linalg.norm(middles.points - middles.points[keeper], axis=1)
    np.maximum.at(reach, sample_of, apart + size)
    np.minimum.at(bend, sample_of, np.einsum("ij,ij->i", normals, normals[keeper]))
    area = np.zeros(len(kept))
    np.add.at(area, sample_of, middles.area)
    chosen = SurfaceSamples(middles.points[kept], middles.facets[kept], area)
    return Sampling(chosen, cells, sample_of, reach, bend, spacing_mm)


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
