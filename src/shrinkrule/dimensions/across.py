"""What lies across from each face: metal all the way, air all the way, or both in turn.

Rays from points spread over every face, and every cylinder, go straight into the metal and out
into the air. What a ray meets first through metal is a wall; first through air, an inside length;
later, an outside length with a gap in it. A face with air before it can be a step's floor.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import trimesh

from shrinkrule.dimensions.dimension import STEADY
from shrinkrule.dimensions.recognition.cylinders import Cylinder
from shrinkrule.dimensions.recognition.planes import Faces
from shrinkrule.dimensions.recognition.regions import Regions
from shrinkrule.dimensions.recognition.surface import Surface
from shrinkrule.mesh import MovedRays, Rays, rays_of
from shrinkrule.mesh.rays import SKIN
from shrinkrule.numerics.arrays import Floats, Ints, ranges

SAMPLES: Final = 60_000
"""Rays in all, each way."""

MOST_SAMPLES: Final = 250
FEWEST_SAMPLES: Final = 24
"""Rays of one face, each way."""

MOST_HITS: Final = 16
"""Surfaces that a ray goes through."""

LEAST_RAYS: Final = 3
LEAST_SHARE: Final = 0.01
"""Rays that must meet a face for it to lie across, and their share of the face's own."""


@dataclass(frozen=True)
class Opposite:
    """Pairs of surfaces that lie across from each other, and open faces.

    Surfaces are the faces, and after them the cylinders.

    Parameters
    ----------
    solid, hollow, broken : (k, 2) int64
        Pairs with metal between, with air between, with both.
    solid_at, hollow_at, broken_at : (k, 3) float64
        A point on one of each pair, mm.
    solid_share, hollow_share, broken_share : (k,) float64
        Rays that found the pair, as a share of those of the surface that most of them left.
    air_mm : (s,) float64
        How much air is before each surface, at some of it, mm; infinite where it is open.
    at : (s, 3) float64
        A point on each surface, mm.
    """

    solid: Ints
    solid_at: Floats
    solid_share: Floats
    hollow: Ints
    hollow_at: Floats
    hollow_share: Floats
    broken: Ints
    broken_at: Floats
    broken_share: Floats
    air_mm: Floats
    at: Floats


def look_across(
    mesh: trimesh.Trimesh,
    surface: Surface,
    regions: Regions,
    faces: Faces,
    cylinders: list[Cylinder],
    rays: Rays | MovedRays | None = None,
) -> Opposite:
    """Find which faces and cylinders lie across from each other.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    surface : Surface
        Its facets.
    regions : Regions
        Their flat regions.
    faces : Faces
        Flat faces among these.
    cylinders : list of Cylinder
        Cylinders among these.
    rays : Rays or MovedRays, optional
        Rays against the part, where they are ready.

    Returns
    -------
    Opposite
        The pairs.
    """
    of_region = faces.of_region.copy()
    for number, one in enumerate(cylinders):
        of_region[one.regions] = len(faces) + number
    count = len(faces) + len(cylinders)
    of_facet = of_region[regions.of]
    in_mesh = np.full(len(mesh.faces), -1, dtype=np.int64)
    in_mesh[surface.number] = of_facet
    outward = np.zeros((len(mesh.faces), 3))
    outward[surface.number] = surface.normals
    owner, points, normals = _samples(surface, of_facet, count)
    at = np.zeros((count, 3))
    middle = _middlemost(owner, points)
    at[owner[middle]] = points[middle]
    rays = rays or rays_of(mesh)
    skin = SKIN * rays.span
    axes = np.concatenate(
        [faces.sign[:, None] * faces.directions[faces.direction], np.zeros((len(cylinders), 3))]
    )
    flat = owner < len(faces)
    normals = np.where(flat[:, None], axes[owner], normals)
    starts = points - rays.middle
    first = np.full(len(owner), -1, dtype=np.int64)
    broken: list[Ints] = []
    going, origin = np.arange(len(owner)), starts - skin * normals
    for hit in range(MOST_HITS):
        if len(going) == 0:
            break
        way, facet = rays.cast(origin, -normals[going])
        met = facet >= 0
        going, origin, way, facet = going[met], origin[met], way[met], facet[met]
        target = in_mesh[facet]
        leaving = (outward[facet] * normals[going]).sum(axis=1) < -0.5
        if hit == 0:
            first[going[leaving]] = target[leaving]
            on = leaving & flat[going]
            going, origin, way = going[on], origin[on], way[on]
        else:
            seen = leaving & (target >= 0) & flat[going]
            broken.append(np.stack([going[seen], target[seen]], axis=1))
        origin = origin - (way + skin)[:, None] * normals[going]
    before, facet = rays.cast(starts + skin * normals, normals)
    total = np.bincount(owner, minlength=count)
    facing = (facet >= 0) & ((outward[facet] * normals).sum(axis=1) < -0.5)
    ahead = np.where(facing, in_mesh[facet], -1)
    rows = np.arange(len(owner))
    later = np.concatenate(broken) if broken else np.zeros((0, 2), dtype=np.int64)
    solid, solid_at, solid_share = _pairs(owner, points, rows, first, total)
    hollow, hollow_at, hollow_share = _pairs(owner, points, rows, ahead, total)
    gaps, gaps_at, gaps_share = _pairs(owner, points, later[:, 0], later[:, 1], total)
    # Rays of a surface are end to end: that with the least air which enough others do not undercut.
    longest = np.lexsort([-before, owner])
    enough = np.maximum(LEAST_RAYS, np.ceil(LEAST_SHARE * total)).astype(np.int64)
    place = np.cumsum(total) - total + np.minimum(enough, total) - 1
    air = before[longest[place]]
    return Opposite(
        *(solid, solid_at, solid_share),
        *(hollow, hollow_at, hollow_share),
        *(gaps, gaps_at, gaps_share),
        air,
        at,
    )


def _samples(surface: Surface, of_facet: Ints, count: int) -> tuple[Ints, Floats, Floats]:
    """Points spread evenly by area over each surface: whose they are, where, and the normal."""
    facets = np.flatnonzero(of_facet >= 0)
    if len(facets) == 0:
        return np.zeros(0, dtype=np.int64), np.zeros((0, 3)), np.zeros((0, 3))
    # How the file lists the facets, and from which corner on, decides nothing.
    rank = np.empty(len(surface.vertices), dtype=np.int64)
    rank[np.lexsort(surface.vertices.T)] = np.arange(len(rank))
    corners = surface.facets[facets]
    corners = np.take_along_axis(corners, np.argsort(rank[corners], axis=1), axis=1)
    order = np.lexsort([*rank[corners].T, of_facet[facets]])
    facets, corners = facets[order], corners[order]
    start = np.searchsorted(of_facet[facets], np.arange(count))
    each = int(np.clip(SAMPLES // count, FEWEST_SAMPLES, MOST_SAMPLES))
    summed = np.cumsum(surface.areas[facets])
    before = summed[start] - surface.areas[facets[start]]
    whole = np.append(before[1:], summed[-1]) - before
    owner, number = ranges(np.zeros(count, dtype=np.int64), np.full(count, each))
    wanted = before[owner] + (number + 0.5) / each * whole[owner]
    place = np.minimum(np.searchsorted(summed, wanted), len(facets) - 1)
    facet = facets[place]
    # A sequence with the two plastic ratios: M. Roberts, 2018; even in any stretch of it. Its first
    # point would lie on the facet's edge, where a ray may meet either neighbour, or pass between.
    r, s = (
        np.modf(0.5 + 0.7548776662466927 * (number + 1))[0],
        np.modf(0.5 + 0.5698402909980532 * (number + 1))[0],
    )
    fold = r + s > 1.0
    r, s = np.where(fold, 1.0 - r, r), np.where(fold, 1.0 - s, s)
    a, b, c = (surface.vertices[corners[place, k]] for k in range(3))
    points = a + r[:, None] * (b - a) + s[:, None] * (c - a)
    return owner, points, surface.normals[facet]


def _middlemost(group: Ints, points: Floats) -> Ints:
    """The point (k,) of each group, in order, that is nearest to the middle of all of it."""
    if len(group) == 0:
        return np.zeros(0, dtype=np.int64)
    counts = np.maximum(np.bincount(group), 1)
    middles = np.stack([np.bincount(group, along) for along in points.T], axis=1) / counts[:, None]
    away = np.linalg.norm(points - middles[group], axis=1)
    # Of those alike, the first in place: rounding in the last digit decides nothing.
    order = np.lexsort([*np.round(points, STEADY).T[::-1], np.round(away, STEADY), group])
    ahead = np.ones(len(group), dtype=np.bool_)
    ahead[1:] = np.diff(group[order]) != 0
    return order[ahead]


def _pairs(
    owner: Ints, points: Floats, rows: Ints, target: Ints, total: Ints
) -> tuple[Ints, Floats, Floats]:
    """Pairs that enough rays found, lower number first; the middle ray of each; their share."""
    met = target >= 0
    rows, target = rows[met], target[met]
    pair = np.sort(np.stack([owner[rows], target], axis=1), axis=1)
    keys = pair[:, 0] * (len(total) + 1) + pair[:, 1]
    key, group, counts = np.unique(keys, return_inverse=True, return_counts=True)
    # Where rays of both surfaces found the pair, a ray of the first one is its middle.
    from_first = owner[rows] == pair[:, 0]
    served = np.bincount(group, from_first, len(key)) > 0
    kept = np.flatnonzero(from_first | ~served[group])
    first = kept[_middlemost(group[kept], points[rows[kept]])]
    both = np.stack(np.divmod(key, len(total) + 1), axis=1)
    fewer = np.minimum(total[both[:, 0]], total[both[:, 1]]) if len(both) else np.zeros(0)
    enough = (counts >= np.maximum(LEAST_RAYS, LEAST_SHARE * fewer)) & (both[:, 0] != both[:, 1])
    share = counts / np.maximum(fewer, 1.0)
    return both[enough], points[rows[first[enough]]], share[enough]
