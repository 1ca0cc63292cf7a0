"""Cells: pieces of the facets of a surface, none wider or higher than a spacing.

Every facet longer than the spacing is halved at the height on its longest edge. Each half is cut
across that edge into columns, and each column into cells no higher than the spacing. A box of
twelve facets gets as many cells as a fine mesh of it, and a long thin facet gets a line of them.
The cells tile the surface, so their areas add up to the part's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import trimesh
from numpy.typing import NDArray

from shrinkrule.errors import SettingError
from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.numerics.jit import compiled, inner
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.numerics.triangles import AT_ONCE, twice_area_normal

MOST_SAMPLES: Final = 20_000_000
"""More samples than this would need more memory than a workshop machine has."""

WHOLE: Final = 2
"""Marks a cell that is a whole facet."""

SHARP_HEIGHT: Final = 1e-6
"""Height over the largest coordinate below which a facet is degenerate: a float32 file cannot hold
its normal."""

EVEN: Final = 1e-9
"""Share of the spacing by which a piece may be longer: rounding makes no piece more."""


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
    blocks : (n, 4) float64
        Interval of ``u`` and interval of ``v``.
    points : (n, 3) float64
        Middle of each cell, its sample, mm.
    area : (n,) float64
        Its area, mm2.
    reach : (n,) float64
        Distance from its middle to its furthest corner, mm.
    """

    facets: Ints
    halves: NDArray[np.int8]
    blocks: Floats
    points: Floats
    area: Floats
    reach: Floats

    @classmethod
    def of(cls, count: int) -> Cells:
        """Room for ``count`` cells."""
        return cls(
            np.empty(count, np.int64),
            np.empty(count, np.int8),
            np.empty((count, 4)),
            np.empty((count, 3)),
            np.empty(count),
            np.empty(count),
        )


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


@inner
def _apart(vertices: Floats, one: int, other: int) -> Any:
    """Distance between two vertices."""
    x = vertices[other, 0] - vertices[one, 0]
    y = vertices[other, 1] - vertices[one, 1]
    z = vertices[other, 2] - vertices[one, 2]
    return np.sqrt(x * x + y * y + z * z)


@inner
def _longest_first(vertices: Floats, faces: Ints, f: int) -> Any:
    """Vertices of a facet, those of its longest edge first, and that edge's length."""
    a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
    ab, bc, ca = _apart(vertices, a, b), _apart(vertices, b, c), _apart(vertices, c, a)
    if ab >= bc and ab >= ca:
        return a, b, c, ab
    if bc >= ca:
        return b, c, a, bc
    return c, a, b, ca


@inner
def _parts(size: float, spacing: float) -> Any:
    """Number of even pieces, none longer than the spacing."""
    return max(np.int64(np.ceil(size / spacing - EVEN)), 1)


@inner
def _foot_share(vertices: Floats, start: int, end: int, apex: int) -> Any:
    """How far along the edge from ``start`` to ``end`` the height from the apex stands, 0 to 1."""
    along, square = 0.0, 0.0
    for a in range(3):
        edge = vertices[end, a] - vertices[start, a]
        along += (vertices[apex, a] - vertices[start, a]) * edge
        square += edge * edge
    if square <= 0.0:
        return 0.0
    return min(max(along / square, 0.0), 1.0)


@compiled
def _cut(
    vertices: Floats,
    faces: Ints,
    facets: Ints,
    halves: Any,
    blocks: Floats,
    spacing: float,
    flat: float,
    kinds: Any,
    counts: Ints,
    starts: Ints,
    into_facets: Any,
    into_halves: Any,
    into_blocks: Floats,
    points: Floats,
    area: Floats,
    reach: Floats,
) -> Any:
    """Cut cells to a spacing: count their pieces or, where there is room for these, write them.

    ``kinds`` becomes 0 for a degenerate facet, 1 for one that stays whole, 2 for one that is cut,
    3 for a piece of one; ``counts`` the number of pieces. Gives about the number of pieces of all.
    """
    filling = len(points) > 0
    expected = 0.0
    for i in range(len(facets)):
        f = facets[i]
        a, b, c, base = _longest_first(vertices, faces, f)
        first, last, at = np.int64(halves[i]), np.int64(halves[i]) + 1, starts[i]
        if halves[i] == WHOLE:
            nx, ny, nz = twice_area_normal(vertices, faces, f)
            twice = np.sqrt(nx * nx + ny * ny + nz * nz)
            if not twice > flat * base:
                kinds[i], counts[i] = 0, 0
                continue
            if base <= spacing:
                kinds[i], counts[i] = 1, 1
                if filling:
                    far = 0.0
                    for k in range(3):
                        points[at, k] = (
                            vertices[faces[f, 0], k]
                            + vertices[faces[f, 1], k]
                            + vertices[faces[f, 2], k]
                        ) / 3.0
                    for j in range(3):
                        square = 0.0
                        for k in range(3):
                            square += (vertices[faces[f, j], k] - points[at, k]) ** 2
                        far = max(far, square)
                    into_facets[at], into_halves[at] = f, WHOLE
                    into_blocks[at, 0], into_blocks[at, 1] = 0.0, 1.0
                    into_blocks[at, 2], into_blocks[at, 3] = 0.0, 1.0
                    area[at], reach[at] = 0.5 * twice, np.sqrt(far)
                continue
            kinds[i] = 2
            first, last = np.int64(0), np.int64(2)
            expected += 0.5 * twice / spacing**2 + base / spacing
            if not filling and expected > MOST_SAMPLES:
                return expected
        else:
            kinds[i] = 3
        share = _foot_share(vertices, a, b, c)
        tall = 0.0
        for k in range(3):
            foot = vertices[a, k] + share * (vertices[b, k] - vertices[a, k])
            tall += (vertices[c, k] - foot) ** 2
        tall = np.sqrt(tall)
        total = np.int64(0)
        for half in range(first, last):
            end = b if half == 1 else a
            wide = 0.0
            for k in range(3):
                foot = vertices[a, k] + share * (vertices[b, k] - vertices[a, k])
                wide += (foot - vertices[end, k]) ** 2
            wide = np.sqrt(wide)
            u0, u1, v0, v1 = 0.0, 1.0, 0.0, 1.0
            if halves[i] != WHOLE:
                u0, u1, v0, v1 = blocks[i, 0], blocks[i, 1], blocks[i, 2], blocks[i, 3]
            elif wide == 0.0:
                continue
            columns = _parts((u1 - u0) * wide, spacing)
            for column in range(columns):
                low = u0 + column * ((u1 - u0) / columns)
                high = u0 + (column + 1) * ((u1 - u0) / columns)
                rows = _parts(tall * high * (v1 - v0), spacing)
                if not filling:
                    total += rows
                    continue
                for row in range(rows):
                    down = v0 + row * ((v1 - v0) / rows)
                    up = v0 + (row + 1) * ((v1 - v0) / rows)
                    middle, across = 0.5 * (low + high), 0.5 * (down + up)
                    for k in range(3):
                        foot = vertices[a, k] + share * (vertices[b, k] - vertices[a, k])
                        points[at, k] = (
                            vertices[end, k]
                            + middle * (foot - vertices[end, k])
                            + middle * across * (vertices[c, k] - foot)
                        )
                    into_facets[at], into_halves[at] = f, half
                    into_blocks[at, 0], into_blocks[at, 1] = low, high
                    into_blocks[at, 2], into_blocks[at, 3] = down, up
                    area[at] = 0.5 * (high * high - low * low) * (up - down) * wide * tall
                    rise = max(high * up - middle * across, middle * across - low * down)
                    rise = max(rise, abs(high * down - middle * across))
                    rise = max(rise, abs(low * up - middle * across))
                    reach[at] = np.hypot(0.5 * (high - low) * wide, rise * tall)
                    at += 1
        counts[i] = total
    return expected


def _pieces(
    mesh: trimesh.Trimesh, facets: Ints, halves: NDArray[np.int8], blocks: Floats, spacing_mm: float
) -> Cells:
    """Cells that tile the given ones, none wider or higher than the spacing.

    Whole facets come first, then the pieces of others, then the pieces of pieces.
    """
    vertices = np.ascontiguousarray(mesh.vertices, dtype=np.float64)
    faces = np.ascontiguousarray(mesh.faces, dtype=np.int64)
    flat = SHARP_HEIGHT * float(np.abs(mesh.bounds).max())
    count = len(facets)
    kinds, counts = np.empty(count, np.int8), np.zeros(count, np.int64)
    starts = np.zeros(count, np.int64)
    expected = []

    def cut(part: slice, room: Cells) -> None:
        about = _cut(
            vertices,
            faces,
            facets[part],
            halves[part],
            blocks[part],
            spacing_mm,
            flat,
            kinds[part],
            counts[part],
            starts[part],
            room.facets,
            room.halves,
            room.blocks,
            room.points,
            room.area,
            room.reach,
        )
        expected.append(about)

    nothing = Cells.of(0)
    in_chunks(lambda part: cut(part, nothing), count, AT_ONCE)
    if sum(expected) > MOST_SAMPLES:
        raise SettingError(
            f"a spacing of {spacing_mm:g} mm would take {sum(expected):.2g} samples",
            where="wall check",
            hint="check the unit of the model, or raise the bead width",
        )
    total = 0
    for kind in (1, 2, 3):
        which = np.flatnonzero(kinds == kind)
        ends = np.cumsum(counts[which])
        starts[which] = total + ends - counts[which]
        total += int(ends[-1]) if len(ends) else 0
    cells = Cells.of(total)
    if total:
        in_chunks(lambda part: cut(part, cells), count, AT_ONCE)
    return cells


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
    count = len(facets)
    blocks = np.tile(np.array([0.0, 1.0, 0.0, 1.0]), (count, 1))
    return _pieces(mesh, facets, np.full(count, WHOLE, np.int8), blocks, spacing_mm)


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
    return _pieces(
        mesh, cells.facets[chosen], cells.halves[chosen], cells.blocks[chosen], spacing_mm
    )
