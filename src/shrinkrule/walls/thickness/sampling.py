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
from shrinkrule.numerics.jit import compiled
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.numerics.triangles import AT_ONCE
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
    low, high = mesh.bounds
    normals = _normals(mesh, cells.facets)
    keeper = _keepers(mesh, middles, normals, spacing_mm)
    kept = np.flatnonzero(keeper == np.arange(len(keeper)))
    kept = kept[along_curve(middles.points[kept], low, float((high - low).max()))]
    rank = np.empty(len(keeper), dtype=np.int64)
    rank[kept] = np.arange(len(kept))
    sample_of = rank[keeper]
    reach, bend = np.zeros(len(kept)), np.ones(len(kept))
    turned = np.empty(len(keeper))

    def work(part: slice) -> None:
        other = keeper[part]
        size[part] += np.linalg.norm(middles.points[part] - middles.points[other], axis=1)
        turned[part] = np.einsum("ij,ij->i", normals[part], normals[other])

    in_chunks(work, len(keeper), AT_ONCE)
    np.maximum.at(reach, sample_of, size)
    np.minimum.at(bend, sample_of, turned)
    area = np.zeros(len(kept))
    np.add.at(area, sample_of, middles.area)
    chosen = SurfaceSamples(middles.points[kept], middles.facets[kept], area)
    return Sampling(chosen, cells, sample_of, reach, bend, spacing_mm)


def _keepers(
    mesh: trimesh.Trimesh, middles: SurfaceSamples, normals: Floats, spacing_mm: float
) -> Ints:
    """The cell that represents each cell's group (n,); the cell itself where it is large."""
    small = np.flatnonzero(middles.area < 0.5 * spacing_mm**2)
    keeper = np.arange(len(middles.area))
    if not len(small):
        return keeper
    low, side = mesh.bounds[0], GROUP_SHARE * spacing_mm
    counts = np.floor((box_of(middles.points[small])[1] - low) / side).astype(np.int64) + 1
    key, off_middle = np.empty(len(small), np.int64), np.empty(len(small))

    def work(part: slice) -> None:
        which = small[part]
        place = (middles.points[which] - low) / side
        cube = np.floor(place).astype(np.int64)
        number = (cube[:, 0] * counts[1] + cube[:, 1]) * counts[2] + cube[:, 2]
        key[part] = number * (6 * FACINGS**2) + _facing(normals[which])
        off_middle[part] = ((place - cube - 0.5) ** 2).sum(axis=1)

    in_chunks(work, len(small), AT_ONCE)
    # Halves of the keys, since numbering is compiled for them already.
    _, group = number_equal(key.view(np.uint32).reshape(-1, 2))
    keeper[small] = small[_least_of_group(group, off_middle)]
    return keeper


def _normals(mesh: trimesh.Trimesh, facets: Ints) -> Floats:
    """Outward unit normals (n, 3) of facets.

    They are not asked of the mesh, which would keep them, and the corners of all facets too.
    """
    vertices, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    normals = np.zeros((len(facets), 3))

    def work(part: slice) -> None:
        unit, sound = trimesh.triangles.normals(vertices[faces[facets[part]]])
        normals[part][sound] = unit

    in_chunks(work, len(facets), AT_ONCE)
    return normals


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
