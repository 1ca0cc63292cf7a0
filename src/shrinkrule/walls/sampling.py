"""Points on a surface by area, whatever its facets look like.

Every facet is cut into cells no larger than the spacing: rows parallel to its
longest edge, each row cut across. A box of twelve facets gets as many cells as a
fine mesh of it, a sliver gets a line of them. Cells much smaller than the spacing
(fine meshes) are grouped by place and facing, and one of each group stands for
all. The cells tile the surface, so their areas add up to the part's, and no point
of the surface is further than about one spacing from a sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import trimesh
from numpy.typing import NDArray

from shrinkrule.errors import MeshError, SettingError

MOST_SAMPLES: Final = 20_000_000
"""More samples than this would need more memory than a workshop machine has."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Cells:
    """Pieces of facets, each an interval of rows and a share of the row's width.

    A point of a facet is ``A + y (C - A) + f (1 - y) (B - A)`` with AB its longest
    edge: ``y`` runs from that edge to the apex, ``f`` along the row, both 0 to 1.

    Parameters
    ----------
    facets : (n,) int64
        The facet each cell lies on.
    rows : (n, 2) float64
        Interval of ``y``.
    shares : (n, 2) float64
        Interval of ``f``.
    """

    facets: Ints
    rows: Floats
    shares: Floats


@dataclass(frozen=True)
class SurfaceSamples:
    """Points on a surface and the area each stands for.

    Parameters
    ----------
    points : (n, 3) float64
        Where, mm.
    facets : (n,) int64
        On which facet.
    area : (n,) float64
        The area each point stands for, mm2.
    """

    points: Floats
    facets: Ints
    area: Floats


def _triangles_on_longest_edge(mesh: trimesh.Trimesh, facets: Ints) -> Floats:
    corners = np.asarray(mesh.vertices, dtype=np.float64)[np.asarray(mesh.faces)[facets]]
    edges = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    first = edges.argmax(axis=1)
    turn = (first[:, None] + np.arange(3)) % 3
    return np.take_along_axis(corners, turn[:, :, None], axis=1)


def _counting(counts: Ints) -> tuple[Ints, Ints]:
    """Owner and running number of each of ``counts[i]`` children of every ``i``."""
    owner = np.repeat(np.arange(len(counts)), counts)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    return owner, number


def cut_into_cells(mesh: trimesh.Trimesh, facets: Ints, spacing_mm: float) -> Cells:
    """Cut facets into cells no larger than the spacing.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The surface, mm.
    facets : (m,) int64
        Which of its facets.
    spacing_mm : float
        Largest height and width of a cell.

    Raises
    ------
    SettingError
        When the spacing is so small that the samples would not fit in memory.
    """
    corners = _triangles_on_longest_edge(mesh, facets)
    base = np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1)
    twice_area = np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    sound = twice_area > 0.0
    facets, base, twice_area = facets[sound], base[sound], twice_area[sound]
    expected = twice_area.sum() / 2.0 / spacing_mm**2 + base.sum() / spacing_mm
    if expected > MOST_SAMPLES:
        raise SettingError(
            f"a spacing of {spacing_mm:g} mm would take {expected:.2g} samples",
            where="wall check",
            mend="check the unit of the model, or raise the bead width",
        )
    rows = np.maximum(np.ceil(twice_area / base / spacing_mm), 1.0).astype(np.int64)
    owner, number = _counting(rows)
    low = number / rows[owner]
    high = (number + 1) / rows[owner]
    width = base[owner] * (1.0 - (low + high) / 2.0)
    across = np.maximum(np.ceil(width / spacing_mm), 1.0).astype(np.int64)
    row, place = _counting(across)
    return Cells(
        facets[owner[row]],
        np.stack([low[row], high[row]], axis=1),
        np.stack([place / across[row], (place + 1) / across[row]], axis=1),
    )


def cell_samples(mesh: trimesh.Trimesh, cells: Cells) -> SurfaceSamples:
    """Take the middle of each cell, with the cell's area.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The surface the cells were cut from, mm.
    cells : Cells
        The cells.
    """
    corners = _triangles_on_longest_edge(mesh, cells.facets)
    along = corners[:, 1] - corners[:, 0]
    up = corners[:, 2] - corners[:, 0]
    row = cells.rows.mean(axis=1)
    share = cells.shares.mean(axis=1)
    points = corners[:, 0] + row[:, None] * up + (share * (1.0 - row))[:, None] * along
    height = cells.rows[:, 1] - cells.rows[:, 0]
    width = cells.shares[:, 1] - cells.shares[:, 0]
    area = np.linalg.norm(np.cross(along, up), axis=1) * height * (1.0 - row) * width
    return SurfaceSamples(points, cells.facets, area)


def group_small(
    mesh: trimesh.Trimesh, samples: SurfaceSamples, spacing_mm: float
) -> tuple[Ints, Floats]:
    """One sample for each place and facing, with the area of all it stands for.

    Samples that stand for half a spacing squared or more stay; the others are grouped
    by the cube of one spacing they lie in and the axis direction they face most, so
    that two sides of a thin wall never share a group. The sample nearest to its cube's
    middle is kept.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The surface, mm.
    samples : SurfaceSamples
        Points to thin out.
    spacing_mm : float
        Side of the cubes.
    """
    small = np.flatnonzero(samples.area < 0.5 * spacing_mm**2)
    if len(small) == 0:
        return np.arange(len(samples.area)), samples.area
    place = (samples.points[small] - mesh.bounds[0]) / spacing_mm
    cube = np.floor(place).astype(np.int64)
    normals = np.asarray(mesh.face_normals)[samples.facets[small]]
    most = np.abs(normals).argmax(axis=1)
    facing = 2 * most + (np.take_along_axis(normals, most[:, None], axis=1)[:, 0] > 0)
    counts = cube.max(axis=0) + 1
    key = ((cube[:, 0] * counts[1] + cube[:, 1]) * counts[2] + cube[:, 2]) * 6 + facing
    off_middle = ((place - cube - 0.5) ** 2).sum(axis=1)
    order = np.lexsort((off_middle, key))
    starts = np.flatnonzero(np.diff(key[order], prepend=-1))
    kept = small[order[starts]]
    area = np.add.reduceat(samples.area[small][order], starts)
    large = np.flatnonzero(samples.area >= 0.5 * spacing_mm**2)
    chosen = np.concatenate([large, kept])
    areas = np.concatenate([samples.area[large], area])
    back = np.argsort(chosen, kind="stable")
    return chosen[back], areas[back]


def spatial_order(points: Floats) -> Ints:
    """Order in which neighbours in space are neighbours in the list (Morton's curve).

    Parameters
    ----------
    points : (n, 3) float64
        The points.
    """
    low = points.min(axis=0)
    span = max(float(np.ptp(points, axis=0).max()), np.finfo(np.float64).tiny)
    grid = ((points - low) / span * 1023.0).astype(np.int64)
    key = np.zeros(len(points), dtype=np.int64)
    for bit in range(10):
        for axis in range(3):
            key |= ((grid[:, axis] >> bit) & 1) << (3 * bit + axis)
    return np.argsort(key, kind="stable").astype(np.int64)


def sample_surface(mesh: trimesh.Trimesh, spacing_mm: float) -> SurfaceSamples:
    """Sample a surface by area, for facets of any size and shape; the same every time.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The surface, mm.
    spacing_mm : float
        Largest distance wanted between neighbouring samples.

    Raises
    ------
    MeshError
        For a mesh without a facet of any area.
    SettingError
        For a spacing that is not positive or takes more samples than fit in memory.
    """
    if not spacing_mm > 0.0:
        raise SettingError(f"{spacing_mm:g} mm is no spacing", mend="give a length above zero")
    cells = cut_into_cells(mesh, np.arange(len(mesh.faces), dtype=np.int64), spacing_mm)
    if len(cells.facets) == 0:
        raise MeshError("the mesh has no facet with an area", mend="export the model again")
    samples = cell_samples(mesh, cells)
    chosen, area = group_small(mesh, samples, spacing_mm)
    points = samples.points[chosen]
    order = spatial_order(points)
    return SurfaceSamples(points[order], samples.facets[chosen][order], area[order])
