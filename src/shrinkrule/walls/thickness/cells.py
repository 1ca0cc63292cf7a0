"""Cells: pieces of the facets of a surface, none wider or higher than a spacing.

Every facet longer than the spacing is halved at the height on its longest edge. Each half is cut
across that edge into columns, and each column into cells no higher than the spacing. A box of
twelve facets gets as many cells as a fine mesh of it, and a long thin facet gets a line of them.
The cells tile the surface, so their areas add up to the part's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import trimesh
from numpy.typing import NDArray

from shrinkrule.errors import SettingError
from shrinkrule.numerics.arrays import Floats, Ints, Mask, ranges
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.numerics.triangles import AT_ONCE

MOST_SAMPLES: Final = 20_000_000
"""More samples than this would need more memory than a workshop machine has."""

WHOLE: Final = 2
"""Marks a cell that is a whole facet."""

SHARP_HEIGHT: Final = 1e-6
"""Height over the largest coordinate below which a facet is degenerate: a float32 file cannot hold
its normal."""


@dataclass(frozen=True)
class Cells:
    """Pieces of facets: whole small ones, or blocks of the halves of larger ones.

    The foot F of the height on the longest edge halves a facet with apex C into two
    right-angled ones. A point of the half at the end E is ``E + u ((F - E) + v (C - F))``:
    ``u`` runs from the end to the foot and ``v`` from the edge up, both 0 to 1.

    Parameters
    ----------
    facets : (n,) int64
        The facet each cell lies on.
    halves : (n,) int8
        0 and 1 for the half at the start and the end of the longest edge, 2 for the whole.
    along : (n, 2) float64
        Interval of ``u``.
    up : (n, 2) float64
        Interval of ``v``.
    """

    facets: Ints
    halves: NDArray[np.int8]
    along: Floats
    up: Floats


@dataclass(frozen=True)
class SurfaceSamples:
    """Points on a surface and the area that each represents.

    Parameters
    ----------
    points : (n, 3) float64
        Where, mm.
    facets : (n,) int64
        On which facet.
    area : (n,) float64
        The area that each point represents, mm2.
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


def _longest_edges(mesh: trimesh.Trimesh, facets: Ints) -> tuple[Floats, Floats]:
    """Length of the longest edge, and twice the area, of facets."""
    vertices, faces = np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces)
    longest, twice_area = np.empty(len(facets)), np.empty(len(facets))

    def work(part: slice) -> None:
        a, b, c = (vertices[corner] for corner in faces[facets[part]].T)
        edges = (b - a, c - b, a - c)
        squares = [np.einsum("ij,ij->i", edge, edge) for edge in edges]
        crossed = np.cross(edges[0], edges[1])
        longest[part] = np.sqrt(np.maximum(np.maximum(squares[0], squares[1]), squares[2]))
        twice_area[part] = np.sqrt(np.einsum("ij,ij->i", crossed, crossed))

    in_chunks(work, len(facets), AT_ONCE)
    return longest, twice_area


def cut_into_cells(mesh: trimesh.Trimesh, facets: Ints, spacing_mm: float) -> Cells:
    """Cut facets into cells no wider or higher than the spacing.

    Degenerate facets (`SHARP_HEIGHT`) are left out: they have next to no area.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The surface, mm.
    facets : (m,) int64
        Which of its facets.
    spacing_mm : float
        Largest width and height of a cell; a facet no longer than that is one cell.

    Returns
    -------
    Cells
        They tile the facets.

    Raises
    ------
    SettingError
        When the spacing is so small that the samples would not fit in memory.
    """
    base, twice_area = _longest_edges(mesh, facets)
    sound = twice_area > SHARP_HEIGHT * base * float(np.abs(mesh.bounds).max())
    small = sound & (base <= spacing_mm)
    large = np.flatnonzero(sound & ~small)
    expected = twice_area[large].sum() / 2.0 / spacing_mm**2 + base[large].sum() / spacing_mm
    if expected > MOST_SAMPLES:
        raise SettingError(
            f"a spacing of {spacing_mm:g} mm would take {expected:.2g} samples",
            where="wall check",
            hint="check the unit of the model, or raise the bead width",
        )
    large, pieces = facets[large], dict[int, Cells]()

    def work(part: slice) -> None:
        pieces[part.start] = _cut(mesh, large[part], spacing_mm)

    in_chunks(work, len(large), AT_ONCE)
    return _joined(facets[small], [pieces[start] for start in sorted(pieces)])


def _joined(whole: Ints, pieces: list[Cells]) -> Cells:
    """Cells of whole facets, and the pieces of others after them."""
    count = len(whole) + sum(len(piece.facets) for piece in pieces)
    cells = Cells(
        np.empty(count, np.int64),
        np.empty(count, np.int8),
        np.empty((count, 2)),
        np.empty((count, 2)),
    )
    end = len(whole)
    cells.facets[:end], cells.halves[:end] = whole, WHOLE
    cells.along[:end] = cells.up[:end] = 0.0, 1.0
    for piece in pieces:
        part = slice(end, end + len(piece.facets))
        cells.facets[part], cells.halves[part] = piece.facets, piece.halves
        cells.along[part], cells.up[part] = piece.along, piece.up
        end = part.stop
    return cells


def _cut(mesh: trimesh.Trimesh, large: Ints, spacing_mm: float) -> Cells:
    """Cut facets that are longer than the spacing."""
    halved = np.repeat(large, 2)
    side = np.tile(np.array([0, 1], np.int8), len(large))
    *_, wide, tall = _halves(mesh, halved, side)
    exists = wide > 0.0
    halved, side, wide, tall = halved[exists], side[exists], wide[exists], tall[exists]
    all_of = np.tile(np.array([0.0, 1.0]), (len(halved), 1))
    owner, along = _split(all_of, wide, spacing_mm)
    halved, side, tall = halved[owner], side[owner], tall[owner] * along[:, 1]
    owner, up = _split(all_of[owner], tall, spacing_mm)
    return Cells(halved[owner], side[owner], along[owner], up)


def _split(intervals: Floats, size: Floats, spacing_mm: float) -> tuple[Ints, Floats]:
    """Cut intervals evenly into pieces no larger than the spacing; gives owners and pieces."""
    parts = np.maximum(np.ceil(size / spacing_mm - 1e-9), 1.0).astype(np.int64)
    owner, number = ranges(np.zeros_like(parts), parts)
    low, step = intervals[owner, 0], ((intervals[:, 1] - intervals[:, 0]) / parts)[owner]
    return owner, np.stack([low + number * step, low + (number + 1) * step], axis=1)


class _Halves(NamedTuple):
    """Halves of facets: end, vector to the foot and vector of the height (n, 3), their lengths."""

    end: Floats
    offset: Floats
    height: Floats
    wide: Floats
    tall: Floats


def _halves(mesh: trimesh.Trimesh, facets: Ints, halves: NDArray[np.int8]) -> _Halves:
    """Halves of facets, as asked for; rows of one half that follow each other cost little."""
    fresh = np.ones(len(facets), dtype=np.bool_)
    fresh[1:] = (facets[1:] != facets[:-1]) | (halves[1:] != halves[:-1])
    corners = _triangles_on_longest_edge(mesh, facets[fresh])
    edge = corners[:, 1] - corners[:, 0]
    square = np.maximum(np.einsum("ij,ij->i", edge, edge), np.finfo(np.float64).tiny)
    share = np.einsum("ij,ij->i", corners[:, 2] - corners[:, 0], edge) / square
    foot = corners[:, 0] + np.clip(share, 0.0, 1.0)[:, None] * edge
    end = np.where((halves[fresh] == 1)[:, None], corners[:, 1], corners[:, 0])
    offset, height = foot - end, corners[:, 2] - foot
    which = np.cumsum(fresh) - 1
    wide, tall = np.linalg.norm(offset, axis=1), np.linalg.norm(height, axis=1)
    return _Halves(end[which], offset[which], height[which], wide[which], tall[which])


def cell_samples(mesh: trimesh.Trimesh, cells: Cells) -> tuple[SurfaceSamples, Floats]:
    """Take the middle of each cell as its sample.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The surface the cells were cut from, mm.
    cells : Cells
        The cells.

    Returns
    -------
    SurfaceSamples, (n,) float64
        Middles with the cells' areas, and the distance to the furthest corner, mm.
    """
    count = len(cells.facets)
    points, area, reach = np.empty((count, 3)), np.empty(count), np.empty(count)

    def work(part: slice) -> None:
        some = Cells(cells.facets[part], cells.halves[part], cells.along[part], cells.up[part])
        points[part], area[part], reach[part] = _middles(mesh, some)

    in_chunks(work, count, AT_ONCE)
    return SurfaceSamples(points, cells.facets, area), reach


def _middles(mesh: trimesh.Trimesh, cells: Cells) -> tuple[Floats, Floats, Floats]:
    """Middles of cells, their areas, and the distances to their furthest corners."""
    whole = cells.halves == WHOLE
    points, area = np.empty((len(whole), 3)), np.empty(len(whole))
    reach = np.empty(len(whole))
    points[whole], area[whole], reach[whole] = _whole_facets(mesh, cells.facets[whole])
    part = ~whole
    along, up = cells.along[part], cells.up[part]
    end, offset, height, wide, tall = _halves(mesh, cells.facets[part], cells.halves[part])
    middle, across = along.mean(axis=1), up.mean(axis=1)
    points[part] = end + middle[:, None] * offset + (middle * across)[:, None] * height
    grows = along[:, 1] ** 2 - along[:, 0] ** 2
    area[part] = 0.5 * grows * (up[:, 1] - up[:, 0]) * wide * tall
    far, near = along[:, 1:] * up, along[:, :1] * up
    rise = np.abs(np.hstack([far, near]) - (middle * across)[:, None]).max(axis=1) * tall
    reach[part] = np.hypot(0.5 * (along[:, 1] - along[:, 0]) * wide, rise)
    return points, area, reach


def _whole_facets(mesh: trimesh.Trimesh, facets: Ints) -> tuple[Floats, Floats, Floats]:
    """Middle, area and reach from the middle to the furthest corner of facets."""
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    a, b, c = (vertices[corner] for corner in np.asarray(mesh.faces)[facets].T)
    middle = (a + b + c) / 3.0
    crossed = np.cross(b - a, c - a)
    area = 0.5 * np.sqrt(np.einsum("ij,ij->i", crossed, crossed))
    square = np.zeros(len(facets))
    for corner in (a, b, c):
        offset = corner - middle
        square = np.maximum(square, np.einsum("ij,ij->i", offset, offset))
    return middle, area, np.sqrt(square)


def cut_finer(mesh: trimesh.Trimesh, cells: Cells, chosen: Mask, spacing_mm: float) -> Cells:
    """Cut some cells again, to a smaller spacing.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The surface they were cut from, mm.
    cells : Cells
        All its cells.
    chosen : (n,) bool
        Which of them are cut.
    spacing_mm : float
        Largest height and width of a new cell.

    Returns
    -------
    Cells
        Those that replace the chosen ones.
    """
    whole = chosen & (cells.halves == WHOLE)
    chosen = chosen & ~whole
    again_cut = cut_into_cells(mesh, cells.facets[whole], spacing_mm)
    facets, halves, along = cells.facets[chosen], cells.halves[chosen], cells.along[chosen]
    *_, wide, tall = _halves(mesh, facets, halves)
    owner, along = _split(along, (along[:, 1] - along[:, 0]) * wide, spacing_mm)
    facets, halves, up = facets[owner], halves[owner], cells.up[chosen][owner]
    tall = tall[owner] * along[:, 1] * (up[:, 1] - up[:, 0])
    owner, up = _split(up, tall, spacing_mm)
    return Cells(
        np.concatenate([again_cut.facets, facets[owner]]),
        np.concatenate([again_cut.halves, halves[owner]]),
        np.concatenate([again_cut.along, along[owner]]),
        np.concatenate([again_cut.up, up]),
    )
