"""More samples where they matter: denser about thin places, and down to the least thickness.

Three steps follow the even samples, each only near the limits. Samples that represent too much
surface are cut until no place of half a millimetre fits between them. From every sample thinner
than its neighbours the surface is followed downhill to the least wall. Where the least wall lies
between two inward corners, which no facet faces straight, a bitangent sphere measures it. What is
guaranteed is in docs/theory-walls.md, "Refinement".
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import trimesh
from scipy.spatial import cKDTree

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.walls.thickness.behind import faces_back_behind
from shrinkrule.walls.thickness.bitangent import (
    bitangent_spheres,
    nearest_across,
    nearest_on_surface,
)
from shrinkrule.walls.thickness.corners import bitangent_samples
from shrinkrule.walls.thickness.inscribed import WALL_CHORD
from shrinkrule.walls.thickness.sampling import Sampling, finer
from shrinkrule.walls.thickness.spheres import (
    Status,
    Surface,
    ThicknessSamples,
    joined,
    thickness_on,
)

PLACE_MM: Final = 0.5
"""A thin place as wide as this holds a sample, on facets however large or small."""

GROUP_REACH: Final = 0.8
"""Reach, over that width, from which on groups of small facets are cut: see the theory."""

TAPER_SHARE: Final = 1.1
"""Factor on the limit within which a cell is cut: a wall may taper by a tenth over it."""

BENT_SHARE: Final = 1.5
"""The same for small facets grouped across a bend."""

BENT_COSINE: Final = 0.98
"""A group bends where the cosine between two of its normals is less: 11 degrees."""

LEAN: Final = 0.2
"""How far aside the two contacts of a wall under a limit may lie, over the limit: 11 degrees."""

FINER: Final = 0.7
"""Spacing over that of the round before: two samples replace one."""

ROUNDS: Final = 8
"""Rounds at most: enough from 4 mm, which a part of 10 m2 would have."""

UNEVEN: Final = 3e-3
"""A sample thinner than a neighbour by this share may have a still thinner place beside it."""

MOST_SEEDS: Final = 400
"""Samples followed downhill at most, the most uneven first."""

DIRECTIONS: Final = 8
"""Directions tried from each point on the way down."""

STEPS: Final = 14
"""Steps down, or halvings of the step, at most."""

LAST_STEP: Final = 0.01
"""Share of the spacing at which the way down ends."""

OFF_EDGE: Final = 2e-4
"""Points on a facet's edge move towards its middle by this share: an edge has no one normal."""

SLACK: Final = 3e-3
"""Share of its size by which a ball may reach through the surface or fall short of it."""

BEND_CHORD: Final = float(np.sin(np.radians(35.0) / 2.0))
"""Chord over diameter of a ball at a bend of 35 degrees; blunter bends have shorter chords."""

BEND_SLACK: Final = 0.03
"""Share of its radius by which flats may reach into the ball of the smooth shape: 13 flats."""

ONWARD: Final = 1.15
"""Radius, over that of a ball at a bend, within which a ball may reach the other side instead."""

STRAIGHT: Final = 0.1
"""A bitangent sphere and a ball that nearly spans the same wall differ by less than this share."""

LEVEL: Final = 1e-4
"""A thickness counts as less when it is less by this share."""


def refined_samples(
    mesh: trimesh.Trimesh,
    surface: Surface,
    sampling: Sampling,
    limits_mm: tuple[float, ...],
    spacing_mm: float,
    most: int,
) -> ThicknessSamples:
    """Measure a part at its samples, and more closely where it is near a limit or under it.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    surface : Surface
        The same, made ready.
    sampling : Sampling
        Its first samples, evenly spaced.
    limits_mm : tuple of float
        The limits that thickness is compared with.
    spacing_mm : float
        Spacing wanted near these limits; elsewhere the samples stay as they are.
    most : int
        Samples added at most, the thinnest places first. None at all for 0.

    Returns
    -------
    ThicknessSamples
        Those of the sampling, cut finer near the limits, and those added.
    """
    if not most:
        return _measured(surface, sampling)
    limit_mm = max(limits_mm)
    samples = _finer_near_limits(mesh, surface, sampling, limits_mm, most)
    samples = _with_bitangent_spheres(surface, samples, limit_mm)
    samples = _past_bends(surface, samples, limit_mm)
    samples = _down_to_least(surface, samples, spacing_mm, limit_mm)
    return joined([samples, bitangent_samples(mesh, surface, spacing_mm, limit_mm)])


def _measured(surface: Surface, sampling: Sampling) -> ThicknessSamples:
    samples = sampling.samples
    return thickness_on(surface, samples.points, samples.facets, samples.area, sampling.reach)


def _past_bends(surface: Surface, samples: ThicknessSamples, limit_mm: float) -> ThicknessSamples:
    """Measure to the other side where a ball only touches at a shallow bend just before it.

    On the flats of something round that tapers, the ball of one flat touches the next one too
    (docs/theory-walls.md, "Refinement").
    """
    chord = np.linalg.norm(samples.contacts - samples.points, axis=1)
    bent = (samples.status == Status.EDGE) & (chord < BEND_CHORD * samples.thickness)
    bent &= samples.thickness < TAPER_SHARE * limit_mm
    index = np.flatnonzero(bent)
    if not len(index):
        return samples
    normals, half = samples.normals[index], 0.5 * samples.thickness[index]
    points = samples.points[index] - surface.middle
    centres = points - half[:, None] * normals
    found, facets = nearest_across(surface.tree, centres, ONWARD * half, normals)
    offset = points - found
    ahead = np.einsum("ij,ij->i", offset, normals)
    radius = np.einsum("ij,ij->i", offset, offset) / (2.0 * np.maximum(ahead, 1e-100))
    reached = (facets >= 0) & (ahead > 0.0) & (radius < ONWARD * half)
    reached &= np.linalg.norm(offset, axis=1) >= WALL_CHORD * 2.0 * radius
    # Beside the few flats of a pin the next one reaches far into such a ball.
    radius_free = np.where(reached, radius * (1.0 - BEND_SLACK), 0.0)
    _, inside = nearest_on_surface(
        surface.tree, points - radius[:, None] * normals, np.minimum(radius_free, ONWARD * half)
    )
    reached &= inside < 0
    index = index[reached]
    status, thickness = samples.status.copy(), samples.thickness.copy()
    contacts = samples.contacts.copy()
    status[index], thickness[index] = Status.MEASURED, 2.0 * radius[reached]
    contacts[index] = found[reached] + surface.middle
    return replace(samples, status=status, thickness=thickness, contacts=contacts)


def _finer_near_limits(
    mesh: trimesh.Trimesh,
    surface: Surface,
    sampling: Sampling,
    limits_mm: tuple[float, ...],
    most: int,
) -> ThicknessSamples:
    """Cut cells finer wherever a thin place could lie between samples."""
    spacing, left = sampling.spacing_mm, most
    samples = _measured(surface, sampling)
    done = []
    for _ in range(ROUNDS):
        coarse = _may_hide(surface, samples, sampling, limits_mm)
        # Each is replaced by two or three.
        coarse = coarse[np.argsort(samples.thickness[coarse], kind="stable")][: left // 3]
        if not len(coarse):
            break
        kept = np.ones(len(samples.thickness), dtype=np.bool_)
        kept[coarse] = False
        done.append(_chosen(samples, kept))
        spacing *= FINER
        sampling = finer(mesh, sampling, coarse, spacing)
        samples = _measured(surface, sampling)
        left -= len(samples.thickness)
    return joined([*done, samples])


def _may_hide(
    surface: Surface, samples: ThicknessSamples, sampling: Sampling, limits_mm: tuple[float, ...]
) -> Ints:
    """Samples whose cells may hide a wall under a limit that the sample itself passes.

    A thin place within the reach leaves the sample a small ball, and lies behind the cell.
    """
    grouped = np.bincount(sampling.sample_of) > 1
    bent = sampling.bend < BENT_COSINE
    slack = np.where(bent, BENT_SHARE, TAPER_SHARE)
    depth = np.zeros(len(slack))
    for limit in limits_mm:
        passes = ~samples.is_wall | (samples.thickness >= limit)
        hides = passes & (samples.thickness < slack * limit + sampling.reach**2 / limit)
        depth[hides] = np.maximum(depth[hides], TAPER_SHARE * limit)
    wide = sampling.reach > np.where(grouped, GROUP_REACH, 0.5) * PLACE_MM
    which = np.flatnonzero(wide & (depth > 0.0))
    # Cells that bend have no one direction in which to look.
    kept = bent[which]
    asked = which[~kept]
    kept[~kept] = faces_back_behind(
        surface.tree,
        samples.points[asked] - surface.middle,
        samples.normals[asked],
        depth[asked],
        sampling.reach[asked] + LEAN * depth[asked],
    )
    return which[kept]


def _is_inscribed(surface: Surface, samples: ThicknessSamples) -> Mask:
    """Whether the ball of each sample is empty and touches the other side, (n,) bool."""
    half = 0.5 * samples.thickness
    centres = samples.points - half[:, None] * samples.normals - surface.middle
    _, inside = nearest_on_surface(surface.tree, centres, half * (1.0 - SLACK))
    contacts = samples.contacts - surface.middle
    _, touched = nearest_on_surface(surface.tree, contacts, half * (2.0 * SLACK))
    return (inside < 0) & (touched >= 0)


def _with_bitangent_spheres(
    surface: Surface, samples: ThicknessSamples, limit_mm: float
) -> ThicknessSamples:
    """Measure again, near the limits, where the ball of a sample only nearly spans the wall.

    The bitangent sphere near there is taken instead; where there is none of about that size, the
    sample lies at an edge.
    """
    near = np.flatnonzero(samples.is_wall & (samples.thickness < TAPER_SHARE * limit_mm))
    inexact = near[~_is_inscribed(surface, _chosen(samples, near))]
    if not len(inexact):
        return samples
    half = 0.5 * samples.thickness[inexact]
    centres = samples.points[inexact] - half[:, None] * samples.normals[inexact]
    radius = bitangent_spheres(surface.tree, centres - surface.middle, 1.2 * half).radius
    found = np.abs(radius - half) < STRAIGHT * half
    status, thickness = samples.status.copy(), samples.thickness.copy()
    contacts = samples.contacts.copy()
    status[inexact[~found]] = Status.EDGE
    spanned = inexact[found]
    thickness[spanned] = 2.0 * radius[found]
    across = thickness[spanned, None] * samples.normals[spanned]
    contacts[spanned] = samples.points[spanned] - across
    return replace(samples, status=status, thickness=thickness, contacts=contacts)


def _chosen(samples: ThicknessSamples, which: Mask | Ints) -> ThicknessSamples:
    return ThicknessSamples(
        samples.points[which],
        samples.normals[which],
        samples.facets[which],
        samples.thickness[which],
        samples.contacts[which],
        samples.status[which],
        samples.area[which],
        samples.reach[which],
    )


def _beside(samples: ThicknessSamples, seeds: Ints, found: ThicknessSamples) -> ThicknessSamples:
    """Add the samples found from seeds; each seed shares its area with the one found from it."""
    area = samples.area.copy()
    area[seeds] *= 0.5
    return joined([replace(samples, area=area), replace(found, area=area[seeds])])


def _seeds(samples: ThicknessSamples, spacing_mm: float, limit_mm: float) -> Ints:
    """Samples no thicker than any neighbour and thinner than one of them, the most uneven first."""
    near = samples.is_wall & (samples.thickness < TAPER_SHARE * limit_mm + spacing_mm**2 / limit_mm)
    index = np.flatnonzero(near)
    if len(index) < 2:
        return index
    points, thickness = samples.points[index], samples.thickness[index]
    tree = cKDTree(points)
    distance, beside = tree.query(
        points, k=range(2, min(9, len(index)) + 1), distance_upper_bound=1.6 * spacing_mm
    )
    exists = np.isfinite(distance)
    beside = np.where(exists, beside, 0)
    facing = np.einsum("ij,ikj->ik", samples.normals[index], samples.normals[index][beside]) > 0.5
    around = np.where(exists & facing, thickness[beside], np.nan)
    alone = np.isnan(around).all(axis=1)
    around[alone] = np.inf
    lowest = thickness <= np.nanmin(around, axis=1) * (1.0 + 1e-9)
    uneven = np.nanmax(around, axis=1) / thickness - 1.0
    chosen = np.flatnonzero(lowest & (uneven > UNEVEN))
    order = np.argsort(-uneven[chosen], kind="stable")
    return index[chosen[order][:MOST_SEEDS]]


def _across(normals: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors square to each normal and to each other, (n, 3) each."""
    least = np.eye(3)[np.abs(normals).argmin(axis=1)]
    one = np.cross(normals, least)
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    return one, np.cross(normals, one)


def _down_to_least(
    surface: Surface, samples: ThicknessSamples, spacing_mm: float, limit_mm: float
) -> ThicknessSamples:
    """Follow the surface from the lowest samples down to the least wall."""
    seeds = _seeds(samples, spacing_mm, limit_mm)
    if not len(seeds):
        return samples
    best = _chosen(samples, seeds)
    turn = np.arange(DIRECTIONS) * (2.0 * np.pi / DIRECTIONS)
    step = np.full(len(seeds), 0.5 * spacing_mm)
    for _ in range(STEPS):
        moving = np.flatnonzero(step > LAST_STEP * spacing_mm)
        if not len(moving):
            break
        one, other = _across(best.normals[moving])
        directions = np.cos(turn)[:, None] * one[:, None] + np.sin(turn)[:, None] * other[:, None]
        asked = best.points[moving][:, None] + step[moving][:, None, None] * directions
        owner = np.repeat(moving, DIRECTIONS)
        tried = _measured_near(surface, asked.reshape(-1, 3), step[owner], best.normals[owner])
        tried = _past_bends(surface, tried, limit_mm)
        tried.status[~_is_inscribed(surface, tried)] = Status.EDGE
        value = np.where(tried.is_wall, tried.thickness, np.inf).reshape(-1, DIRECTIONS)
        at = value.argmin(axis=1)
        better = value[np.arange(len(at)), at] < best.thickness[moving] * (1.0 - LEVEL)
        step[moving[~better]] *= 0.5
        _copy_rows(best, moving[better], tried, (np.arange(len(at)) * DIRECTIONS + at)[better])
    return _beside(samples, seeds, best)


def _measured_near(
    surface: Surface, asked: Floats, bounds: Floats, facing: Floats
) -> ThicknessSamples:
    """Measure the surface points nearest to points, if they face the same way."""
    points, facets = nearest_on_surface(surface.tree, asked - surface.middle, bounds)
    gone = facets < 0
    facets = np.where(gone, 0, facets)
    # The very edge of a facet has no one normal.
    middles = surface.tree.corners[facets].mean(axis=1)
    points = np.where(gone[:, None], middles, points + OFF_EDGE * (middles - points))
    nothing = np.zeros(len(asked))
    found = thickness_on(surface, points + surface.middle, facets, nothing, nothing)
    gone |= np.einsum("ij,ij->i", found.normals, facing) <= 0.5
    return replace(found, status=np.where(gone, Status.OPEN, found.status).astype(np.int8))


def _copy_rows(into: ThicknessSamples, at: Ints, source: ThicknessSamples, which: Ints) -> None:
    into.points[at] = source.points[which]
    into.normals[at] = source.normals[which]
    into.facets[at] = source.facets[which]
    into.thickness[at] = source.thickness[which]
    into.contacts[at] = source.contacts[which]
