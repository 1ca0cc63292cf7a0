"""Flat regions of a surface: facets side by side whose vertices lie in one plane.

Two facets are of one plane where the vertices of the one lie in the plane of the other, no farther
off than rounding can put them: each of four points may be off by the noise, and the errors of the
plane's three points are weighted with the barycentric coordinates of the fourth.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from shrinkrule.dimensions.recognition.surface import Surface, grouped
from shrinkrule.numerics.arrays import Floats, Ints, Mask, connected_components
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.numerics.triangles import AT_ONCE

IN_PLANE: Final = 2.5
"""Distance of a vertex from its region's plane, in steps of noise, that rounding may make."""

MOST_LEANING: Final = 60.0
"""Sum of barycentric coordinates beyond which a facet says nothing about its neighbour."""

SAME_SIDE: Final = 0.5
"""Cosine between two facets of a plane, at least; slivers are that unsure."""

SEEDS: Final = 12
"""Planes looked for, at most, in a region that bends."""

BENT_REGIONS: Final = 400
"""Regions that bend which are looked into, the largest first."""


@dataclass(frozen=True)
class Regions:
    """Flat regions.

    Parameters
    ----------
    of : (m,) int64
        Region of each facet.
    normals : (r, 3) float64
        Unit, outward.
    levels : (r,) float64
        Distance of the plane from the origin along the normal, mm.
    areas : (r,) float64
        mm2.
    flat : (r,) bool
        Whether all vertices lie in the plane.
    corner, start : (k,), (r,) int64
        Vertices of the regions end to end, each once, and where each region's begin.
    """

    of: Ints
    normals: Floats
    levels: Floats
    areas: Floats
    flat: Mask
    corner: Ints
    start: Ints

    def __len__(self) -> int:
        return len(self.areas)

    @cached_property
    def sizes(self) -> Ints:
        """Number of vertices of each region."""
        return np.diff(np.append(self.start, len(self.corner)))


def flat_regions(surface: Surface) -> Regions:
    """Find the flat regions of a surface.

    Parameters
    ----------
    surface : Surface
        Facets and their neighbours.

    Returns
    -------
    Regions
        Each facet is of one region; a facet of a curved surface is often a region alone.
    """
    joined = surface.beside[_coplanar(surface)]
    labels = connected_components(len(surface.facets), joined)
    regions = _regions(surface, labels)
    bent = np.flatnonzero(~regions.flat)
    if len(bent) == 0:
        return regions
    labels = labels.copy()
    free = len(regions)
    order, start = grouped(labels, len(regions))
    stop = np.append(start[1:], len(order))
    for region in bent[np.argsort(-regions.areas[bent])][:BENT_REGIONS]:
        members = order[start[region] : stop[region]]
        free = _taken_apart(surface, members, labels, free)
    labels = np.unique(labels, return_inverse=True)[1].astype(np.int64)
    return _regions(surface, labels)


def _coplanar(surface: Surface) -> Mask:
    """Whether the facets of each pair lie in one plane."""
    joined = np.empty(len(surface.beside), dtype=np.bool_)
    # Two that share all of an edge differ by one corner; of others all three are looked at.
    joined[: surface.whole] = _joined(surface, slice(0, surface.whole), whole=True)
    joined[surface.whole :] = _joined(surface, slice(surface.whole, None), whole=False)
    return joined


def _joined(surface: Surface, some: slice, *, whole: bool) -> Mask:
    """As :func:`_coplanar`, of some pairs: those that share all of an edge, or the others."""
    first, second = surface.beside[some].T
    shared = surface.ends[some].T
    same = np.empty(len(first), dtype=np.bool_)

    def work(part: slice) -> None:
        one, other = first[part], second[part]
        ends = shared[0][part] + shared[1][part]
        mine, theirs = (
            [sum(corners) - ends] if whole else corners
            for corners in (list(surface.facets[of].T) for of in (one, other))
        )
        near, lean = _within(surface, one, theirs)
        back, lean_back = _within(surface, other, mine)
        side = _dot(surface.normals[one].T, surface.normals[other].T) > SAME_SIDE
        same[part] = side & np.where(lean <= lean_back, near, back)

    in_chunks(work, len(first), AT_ONCE)
    return same


def _within(surface: Surface, plane: Ints, corners: list[Ints]) -> tuple[Mask, Floats]:
    """Whether corners of facets lie in the planes of others, and how far they lean on these."""
    # A coordinate at a time: steps over rows of three take several times as long.
    a, b, c = (surface.vertices[corner].T for corner in surface.facets[plane].T)
    normal = surface.normals[plane].T
    double = 2.0 * surface.areas[plane]
    inside, leaning = np.ones(len(double), dtype=np.bool_), np.zeros(len(double))
    ab, ac = b - a, c - a
    for corner in corners:
        way = surface.vertices[corner].T - a
        u = _dot(normal, _cross(ab, way)) / double
        v = _dot(normal, _cross(way, ac)) / double
        lean = np.abs(u) + np.abs(v) + np.abs(1.0 - u - v)
        inside &= np.abs(_dot(normal, way)) <= surface.noise_mm * (1.0 + lean)
        np.maximum(leaning, lean, out=leaning)
    return inside & (leaning < MOST_LEANING), leaning


def _dot(one: Floats, other: Floats | tuple[Floats, Floats, Floats]) -> Floats:
    """Products (k,) of vectors whose coordinates are rows, (3, k)."""
    product: Floats = one[0] * other[0] + one[1] * other[1] + one[2] * other[2]
    return product


def _cross(one: Floats, other: Floats) -> tuple[Floats, Floats, Floats]:
    """Vectors across both, of vectors whose coordinates are rows, (3, k)."""
    (x, y, z), (u, v, w) = one, other
    return y * w - z * v, z * u - x * w, x * v - y * u


def _regions(surface: Surface, labels: Ints) -> Regions:
    """Planes through the vertices of labelled facets."""
    count = int(labels.max(initial=-1)) + 1
    areas: Floats = np.bincount(labels, surface.areas, count).astype(np.float64)
    summed = np.stack(
        [np.bincount(labels, surface.areas * surface.normals[:, k], count) for k in range(3)],
        axis=1,
    )
    normals = summed / np.linalg.norm(summed, axis=1, keepdims=True).clip(1e-300)
    # Sorted and told apart by hand: numpy's way through a table of hashes takes far longer.
    key = np.sort(np.repeat(labels, 3) * len(surface.vertices) + surface.facets.ravel())
    key = key[np.append(True, key[1:] != key[:-1])] if len(key) else key
    region, corner = np.divmod(key, len(surface.vertices))
    start = np.searchsorted(region, np.arange(count))
    sizes = np.diff(np.append(start, len(region)))
    points = surface.vertices[corner]
    level = np.add.reduceat((points * normals[region]).sum(axis=1), start) / sizes
    many = np.flatnonzero(sizes > 3)
    if len(many):
        middle = np.stack([np.add.reduceat(points[:, k], start) for k in range(3)], axis=1)
        middle /= sizes[:, None]
        normals[many] = _fitted(points - middle[region], start, normals)[many]
        level = (middle * normals).sum(axis=1)
    off = np.abs((points * normals[region]).sum(axis=1) - level[region])
    farthest = np.maximum.reduceat(off, start)
    flat = farthest <= IN_PLANE * surface.noise_mm
    return Regions(labels, normals, level, areas, flat, corner, start)


def _fitted(centred: Floats, start: Ints, normals: Floats) -> Floats:
    """Normals of least squares through centred points, on the side of the given ones."""
    products = centred[:, :, None] * centred[:, None, :]
    spread = np.add.reduceat(products.reshape(-1, 9), start).reshape(-1, 3, 3)
    found: Floats = np.linalg.eigh(spread)[1][:, :, 0]
    side = np.sign((found * normals).sum(axis=1))
    return found * np.where(side == 0.0, 1.0, side)[:, None]


def _taken_apart(surface: Surface, members: Ints, labels: Ints, free: int) -> int:
    """Label the planes in a region that bends, from ``free`` on; what is left stands alone."""
    reach = IN_PLANE * surface.noise_mm
    left = members
    for _ in range(SEEDS):
        if len(left) == 0:
            return free
        seed = left[np.argmax(surface.areas[left])]
        normal = surface.normals[seed]
        middle = surface.vertices[surface.facets[seed]].mean(axis=0)
        inside = np.zeros(len(left), dtype=np.bool_)
        for _ in range(3):
            off = np.abs((surface.vertices[surface.facets[left]] - middle) @ normal).max(axis=1)
            inside = (off <= reach) & (surface.normals[left] @ normal > SAME_SIDE)
            inside |= left == seed
            points = surface.vertices[np.unique(surface.facets[left[inside]])]
            middle = points.mean(axis=0)
            found = np.linalg.svd(points - middle, full_matrices=False)[2][2]
            normal = found * np.sign(found @ surface.normals[seed])
        labels[left[inside]] = free
        free += 1
        left = left[~inside]
    labels[left] = free + np.arange(len(left))
    return free + len(left)
