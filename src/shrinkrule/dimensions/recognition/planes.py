"""Flat faces by direction and level, from the flat regions that are no part of a curved surface.

Faces of one direction share one normal, fitted to the vertices of all of them: a short face would
know its own direction too badly for a length across the part. Faces at one level are one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.dimensions.recognition.creases import Creases
from shrinkrule.dimensions.recognition.cylinders import Cylinder
from shrinkrule.dimensions.recognition.fitting import each_across, two_across
from shrinkrule.dimensions.recognition.regions import Regions
from shrinkrule.dimensions.recognition.surface import Surface
from shrinkrule.numerics.arrays import Floats, Ints, Mask, ranges

LEAST_AREA_MM2: Final = 0.05
LEAST_WIDTH_MM: Final = 0.1
"""Smallest face that is measured (common practice, no source)."""

SMOOTH: Final = np.radians(31.0)
"""Turn up to which two regions may be facets of one curved surface."""

LARGER: Final = 4.0
"""Times the area of its neighbours from which a region amid a curved surface is a face."""

TWIN: Final = 1.3
"""Ratio of areas up to which two facets that run on into each other are twins, as on a cone."""

IN_SHELL: Final = 2.5
"""Distance from a cylinder's shell, in steps of noise, that rounding may make."""

ACROSS_AXIS: Final = 0.05
"""Cosine between a strip's normal and its axis, at most; pieces are small and unsure."""

PIECES_BEYOND: Final = 4
"""Pieces of strips, one beside the other, that are looked for beyond the strips found."""

ONE_LEVEL: Final = 3.0
"""Spread of a face along its direction, in steps of noise, that rounding may make."""

MOST_DIRECTIONS: Final = 400
"""Directions that faces are sorted by, those with the largest faces first."""


@dataclass(frozen=True)
class Faces:
    """Flat faces.

    Parameters
    ----------
    directions : (d, 3) float64
        Unit vectors; faces of both signs are of one direction.
    direction : (p,) int64
        Direction of each face.
    sign : (p,) int64
        +1 where the face looks along its direction, -1 against it.
    levels : (p,) float64
        Place along the direction, mm.
    areas : (p,) float64
        mm2.
    low, high : (p, 2) float64
        Box around the face, across the direction, mm.
    of_region : (r,) int64
        Face of each region, -1 for none.
    """

    directions: Floats
    direction: Ints
    sign: Ints
    levels: Floats
    areas: Floats
    low: Floats
    high: Floats
    of_region: Ints

    def __len__(self) -> int:
        return len(self.levels)


def faces_of(
    surface: Surface, regions: Regions, creases: Creases, cylinders: list[Cylinder]
) -> Faces:
    """Find the flat faces of a surface.

    Parameters
    ----------
    surface : Surface
        Facets and their neighbours.
    regions : Regions
        Its flat regions.
    creases : Creases
        Where these meet.
    cylinders : list of Cylinder
        Its cylinders; their strips are no faces.

    Returns
    -------
    Faces
        The faces, the directions with the most area first.
    """
    strip = _on_cylinders(surface, regions, creases, cylinders)
    able = regions.flat & ~strip & ~_of_smooth_surfaces(regions, creases, strip)
    able &= (regions.areas >= LEAST_AREA_MM2) & (_widths(surface, regions) >= LEAST_WIDTH_MM)
    left = np.flatnonzero(able)
    left = left[np.argsort(-regions.areas[left], kind="stable")]
    directions: list[Floats] = []
    members: list[Ints] = []
    while len(left) and len(directions) < MOST_DIRECTIONS:
        inside = _alike(surface, regions, left, regions.normals[left[0]])
        inside[0] = True
        fitted = _common(surface, regions, left[inside])
        again = _alike(surface, regions, left, fitted)
        again[0] = True
        directions.append(_turned(_common(surface, regions, left[again])))
        members.append(left[again])
        left = left[~again]
    return _levelled(surface, regions, directions, members)


def _on_cylinders(
    surface: Surface, regions: Regions, creases: Creases, cylinders: list[Cylinder]
) -> Mask:
    """Whether a region is a strip of a cylinder, or a piece of one that a crossing bore cut off."""
    owner = np.full(len(regions), -1, dtype=np.int64)
    for number, one in enumerate(cylinders):
        owner[one.regions] = number
    if not cylinders:
        return owner >= 0
    axis = np.stack([one.axis for one in cylinders])
    centre = np.stack([one.centre for one in cylinders])
    outer = np.array([one.radius_mm for one in cylinders])
    step = 2.0 * np.pi / np.array([max(one.facets_round, 8) for one in cylinders])
    inner = outer * np.cos(step)
    # A keyway's floor may lie in the shell, but deeper than any strip.
    depth = np.full(len(cylinders), np.inf)
    mine = np.flatnonzero(owner >= 0)
    np.minimum.at(depth, owner[mine], _from_axis(regions, mine, centre[owner[mine]]))
    width = _widths(surface, regions).clip(1e-300)
    pair = np.concatenate([creases.regions, creases.regions[:, ::-1]])
    slack = IN_SHELL * surface.noise_mm
    for _ in range(PIECES_BEYOND):
        some = np.flatnonzero((owner[pair[:, 0]] >= 0) & (owner[pair[:, 1]] < 0))
        if len(some) == 0:
            break
        # Where two bores cross, a piece lies beside both of them and is of one.
        both = np.unique(pair[some, 1] * len(cylinders) + owner[pair[some, 0]])
        region, whose = np.divmod(both, len(cylinders))
        upright = np.abs((regions.normals[region] * axis[whose]).sum(axis=1)) < ACROSS_AXIS
        region, whose = region[upright], whose[upright]
        if len(region) == 0:
            break
        place, vertex, start = _expanded(regions, region)
        mine = whose[place]
        way = surface.vertices[vertex] - centre[mine]
        way -= (way * axis[mine]).sum(axis=1, keepdims=True) * axis[mine]
        far = np.linalg.norm(way, axis=1)
        off = (far > outer[mine] + slack) | (far < inner[mine] - slack)
        on = ~np.logical_or.reduceat(off, start)
        unsure = slack * (1.0 + outer[whose] * step[whose] / width[region])
        on &= _from_axis(regions, region, centre[whose]) >= depth[whose] - unsure
        owner[region[on]] = whose[on]
    return owner >= 0


def _from_axis(regions: Regions, some: Ints, centres: Floats) -> Floats:
    """Distances of regions' planes from points of axes that they are parallel to, mm."""
    far: Floats = np.abs((regions.normals[some] * centres).sum(axis=1) - regions.levels[some])
    return far


def _of_smooth_surfaces(regions: Regions, creases: Creases, strip: Mask) -> Mask:
    """Whether a region is a facet of a curved surface: alike to what it runs on into.

    A region that runs on into a cylinder and is no strip of it is a face tangent to that one, if it
    is larger than a strip.
    """
    count = len(regions)
    both = creases.regions.ravel()
    other = creases.regions[:, ::-1].ravel()
    length = np.repeat(creases.length, 2)
    beside = strip[other] & (regions.areas[both] >= regions.areas[other])
    smooth = np.repeat(np.abs(creases.turn) <= SMOOTH, 2) & ~beside
    around = np.bincount(both, length, count)
    gently = np.bincount(both[smooth], length[smooth], count)
    weight = (length * regions.areas[other])[smooth]
    mean = np.bincount(both[smooth], weight, count) / gently.clip(1e-300)
    alike: Mask = (gently > 0.45 * around) & (regions.areas < LARGER * mean)
    # A facet of a narrow cone, as of a countersink, is bounded by flats more than by its like.
    ratio = regions.areas[both] / regions.areas[other]
    twin = smooth & (ratio < TWIN) & (ratio > 1.0 / TWIN)
    return alike | (np.bincount(both, twin, count) >= 2)


def _expanded(regions: Regions, some: Ints) -> tuple[Ints, Ints, Ints]:
    """Owner (place in ``some``) and vertex of every corner of some regions, and their starts."""
    sizes = regions.sizes[some]
    owner, place = ranges(regions.start[some], regions.start[some] + sizes)
    return owner, regions.corner[place], np.cumsum(sizes) - sizes


def _widths(surface: Surface, regions: Regions) -> Floats:
    """Width of each region, to tell slivers: its area over the diagonal of its box, mm."""
    points = surface.vertices[regions.corner]
    low = np.minimum.reduceat(points, regions.start)
    high = np.maximum.reduceat(points, regions.start)
    widths: Floats = regions.areas / np.linalg.norm(high - low, axis=1).clip(1e-300)
    return widths


def _alike(surface: Surface, regions: Regions, some: Ints, direction: Floats) -> Mask:
    """Whether regions lie across a direction, as far as the noise lets them tell."""
    near = np.abs(regions.normals[some] @ direction) > 0.999
    inside = np.zeros(len(some), dtype=np.bool_)
    if near.any():
        _, vertex, start = _expanded(regions, some[near])
        along = surface.vertices[vertex] @ direction
        spread = np.maximum.reduceat(along, start) - np.minimum.reduceat(along, start)
        inside[near] = spread <= ONE_LEVEL * surface.noise_mm
    return inside


def _common(surface: Surface, regions: Regions, some: Ints) -> Floats:
    """Common normal of parallel regions, by least squares over all their vertices."""
    owner, vertex, start = _expanded(regions, some)
    points = surface.vertices[vertex]
    middle = np.add.reduceat(points, start) / regions.sizes[some][:, None]
    centred = points - middle[owner]
    found: Floats = np.linalg.eigh(centred.T @ centred)[1][:, 0]
    return found


def _turned(direction: Floats) -> Floats:
    """Direction with its largest component above zero, and clean where it is an axis."""
    direction = direction * np.sign(direction[np.argmax(np.abs(direction))])
    axis = np.eye(3)[np.argmax(direction)]
    return axis if np.linalg.norm(direction - axis) < 1e-9 else direction


def across(direction: Floats) -> Floats:
    """Two unit vectors (2, 3) across a direction and each other.

    Parameters
    ----------
    direction : (3,) float64
        Unit vector.

    Returns
    -------
    (2, 3) float64
        The two.
    """
    return np.stack(two_across(direction))


def _levelled(
    surface: Surface, regions: Regions, directions: list[Floats], members: list[Ints]
) -> Faces:
    """Faces of regions sorted by direction: those at one level are one."""
    of_region = np.full(len(regions), -1, dtype=np.int64)
    if not members:
        nothing, empty = np.zeros(0, dtype=np.int64), np.zeros((0, 2))
        return Faces(np.zeros((0, 3)), nothing, nothing, np.zeros(0), np.zeros(0), empty, empty,
                     of_region)  # fmt: skip
    ways, some = np.stack(directions), np.concatenate(members)
    number = np.repeat(np.arange(len(members)), [len(one) for one in members])
    owner, vertex, start = _expanded(regions, some)
    points = surface.vertices[vertex]
    level = np.add.reduceat((points * ways[number[owner]]).sum(axis=1), start) / regions.sizes[some]
    # Across each direction two more, by which a face has its box.
    sides = np.stack(each_across(ways), axis=1)[number[owner]]
    flat = (sides * points[:, None, :]).sum(axis=2)
    low, high = np.minimum.reduceat(flat, start), np.maximum.reduceat(flat, start)
    side = np.sign((regions.normals[some] * ways[number]).sum(axis=1)).astype(np.int64)
    order = np.lexsort([level, side, number])
    number, side, level = number[order], side[order], level[order]
    new = np.ones(len(some), dtype=np.bool_)
    new[1:] = np.diff(level) > ONE_LEVEL * surface.noise_mm
    new[1:] |= (np.diff(side) != 0) | (np.diff(number) != 0)
    first = np.flatnonzero(new)
    of_region[some[order]] = np.cumsum(new) - 1
    area = regions.areas[some[order]]
    total = np.add.reduceat(area, first)
    return Faces(
        ways,
        number[first],
        side[first],
        np.add.reduceat(area * level, first) / total,
        total,
        np.minimum.reduceat(low[order], first),
        np.maximum.reduceat(high[order], first),
        of_region,
    )
