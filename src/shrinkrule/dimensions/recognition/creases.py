"""Creases between flat regions, and the chains of parallel creases that a cylinder is made of.

A cylinder on facets is a row of strips whose creases are parallel and turn the same way by
near-equal steps. Two creases of one strip and the angle between its neighbours give a radius, and
strips next to each other agree on it; a flat wall that runs into a rounding does not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.dimensions.recognition.regions import Regions
from shrinkrule.dimensions.recognition.surface import Surface, grouped, pairs_in_groups
from shrinkrule.numerics.arrays import Floats, Ints, connected_components, ranges

LARGEST_STEP: Final = np.radians(46.0)
"""Turn between strips up to which they may be of a cylinder: 8 strips around."""

MOST_CREASES: Final = 300
"""Creases of a strip, at most; a region with more of them is no strip."""

LIKE_STEP: Final = 2.6
"""Ratio of the turns at a strip's two sides, at most."""

LIKE_RADIUS: Final = 1.8
"""Ratio of the radii of neighbouring strips, at most: the last strip may turn by half a step."""

PARALLEL: Final = 1e-6
"""Sine between parallel creases beyond what noise makes."""


@dataclass(frozen=True)
class Creases:
    """Lines along which two regions meet.

    Parameters
    ----------
    regions : (c, 2) int64
        The two.
    low, high : (c, 3) float64
        Its ends, mm.
    along : (c, 3) float64
        Unit vector from low to high.
    length : (c,) float64
        mm.
    turn : (c,) float64
        Angle between the normals, radians; below zero where the surface is hollow.
    """

    regions: Ints
    low: Floats
    high: Floats
    along: Floats
    length: Floats
    turn: Floats


def creases_of(surface: Surface, regions: Regions) -> Creases:
    """Creases between the regions of a surface.

    Parameters
    ----------
    surface : Surface
        Facets and their neighbours.
    regions : Regions
        Its flat regions.

    Returns
    -------
    Creases
        One for each two regions that meet.
    """
    pair = regions.of[surface.beside]
    across = np.flatnonzero(pair[:, 0] != pair[:, 1])
    if len(across) == 0:
        none, nothing = np.zeros((0, 3)), np.zeros(0)
        return Creases(np.zeros((0, 2), dtype=np.int64), none, none, none, nothing, nothing)
    pair, facet, ends = pair[across], surface.beside[across], surface.ends[across]
    pair = np.sort(pair, axis=1)
    key, crease = np.unique(pair[:, 0] * len(regions) + pair[:, 1], return_inverse=True)
    count = len(key)
    between = np.stack(np.divmod(key, len(regions)), axis=1)
    a, b = surface.vertices[ends[:, 0]], surface.vertices[ends[:, 1]]
    side = np.linalg.norm(b - a, axis=1)
    order = np.lexsort([-side, crease])
    longest = order[np.searchsorted(crease[order], np.arange(count))]
    axis = (b - a)[longest] / side[longest, None].clip(1e-300)
    points, of = np.concatenate([a, b]), np.concatenate([crease, crease])
    place = ((points - a[longest][of]) * axis[of]).sum(axis=1)
    order = np.lexsort([place, of])
    start = np.searchsorted(of[order], np.arange(count))
    stop = np.append(start[1:], len(order)) - 1
    low, high = points[order[start]], points[order[stop]]
    length = np.linalg.norm(high - low, axis=1)
    along = (high - low) / length[:, None].clip(1e-300)
    one, other = regions.normals[between[:, 0]], regions.normals[between[:, 1]]
    angle = np.arctan2(np.linalg.norm(np.cross(one, other), axis=1), (one * other).sum(axis=1))
    centres = surface.centres
    first, second = facet[longest].T
    rise = (surface.normals[first] * (centres[second] - centres[first])).sum(axis=1)
    return Creases(between, low, high, along, length, np.where(rise > 0.0, -angle, angle))


def chains_of(creases: Creases, count: int, noise_mm: float) -> list[Ints]:
    """Find chains of parallel creases that may be cylinders.

    Parameters
    ----------
    creases : Creases
        All of a surface.
    count : int
        Number of regions.
    noise_mm : float
        Smallest step between coordinates.

    Returns
    -------
    list of (k,) int64
        Creases of each chain of at least four.
    """
    able = np.flatnonzero((np.abs(creases.turn) < LARGEST_STEP) & (creases.length > 4.0 * noise_mm))
    if len(able) == 0:
        return []
    region = creases.regions[able].ravel()
    entry = np.repeat(able, 2)
    order = np.argsort(region, kind="stable")
    size = np.bincount(region, minlength=count)
    start = np.cumsum(size) - size
    size = np.where(size > MOST_CREASES, 0, size)
    one, other = pairs_in_groups(start, size)
    one, other = entry[order[one]], entry[order[other]]
    loose = 4.0 * noise_mm * (1.0 / creases.length[one] + 1.0 / creases.length[other]) + PARALLEL
    sine = np.linalg.norm(np.cross(creases.along[one], creases.along[other]), axis=1)
    turn_one, turn_other = creases.turn[one], creases.turn[other]
    like = turn_one * turn_other > 0.0
    small, large = (f(np.abs(turn_one), np.abs(turn_other)) for f in (np.minimum, np.maximum))
    like &= (sine <= loose) & (large <= LIKE_STEP * small)
    one, other = one[like], other[like]
    way = 0.5 * (creases.low[other] + creases.high[other] - creases.low[one] - creases.high[one])
    longer = np.where(creases.length[one] >= creases.length[other], one, other)
    line = creases.along[longer]
    width = np.linalg.norm(way - (way * line).sum(axis=1, keepdims=True) * line, axis=1)
    same = width <= 4.0 * noise_mm
    # Pieces of one crease, cut by what crosses the strip, are one.
    alias = connected_components(len(creases.turn), np.stack([one[same], other[same]], axis=1))
    one, other, width = one[~same], other[~same], width[~same]
    turn = 0.5 * np.abs(creases.turn[one] + creases.turn[other])
    radius = width / (2.0 * np.sin(0.5 * turn))
    links = len(one)
    if links == 0:
        return []
    ends = np.concatenate([alias[one], alias[other]])
    link = np.concatenate([np.arange(links)] * 2)
    order = np.lexsort([radius[link], ends])
    ends, link = ends[order], link[order]
    near = (ends[1:] == ends[:-1]) & (radius[link[1:]] <= LIKE_RADIUS * radius[link[:-1]])
    label = connected_components(links, np.stack([link[:-1][near], link[1:][near]], axis=1))
    return _members(label, one, other, alias)


def _members(label: Ints, one: Ints, other: Ints, alias: Ints) -> list[Ints]:
    """Creases of each chain that has at least four different lines."""
    pieces, first = grouped(alias, int(alias.max()) + 1)
    last = np.append(first[1:], len(pieces))
    chain = np.concatenate([label, label])
    line = np.concatenate([alias[one], alias[other]])
    key = np.unique(chain * (int(alias.max()) + 1) + line)
    chain, line = np.divmod(key, int(alias.max()) + 1)
    size = np.unique(chain, return_counts=True)[1]
    start = np.cumsum(size) - size
    found = []
    for k in np.flatnonzero(size >= 4):
        lines = line[start[k] : start[k] + size[k]]
        found.append(pieces[ranges(first[lines], last[lines])[1]])
    return found
