"""Samples where they matter: denser about thin places, and down to their thinnest spot.

Three steps after the even samples, each only near the limits. Samples that stand for too
much surface are cut until no place of half a millimetre fits between them; from every
sample thinner than its neighbours the surface is followed downhill to the least wall; and
where the least wall lies between two inward corners, which no facet faces straight, the
ball that is pinched between them is found. What is guaranteed is in docs/theory-walls.md.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import trimesh
from scipy.spatial import cKDTree

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.walls.thickness.bitangent import nearest_across, nearest_on_surface, pinched_balls
from shrinkrule.walls.thickness.corners import pinched_samples
from shrinkrule.walls.thickness.inscribed import HELD_SHARE
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
"""The same as a share of that width for what small facets are grouped to; see the theory."""

TAPER_SHARE: Final = 1.1
"""A wall that tapers by up to a tenth over a cell is looked into as well."""

BENT_SHARE: Final = 1.5
"""The same for small facets grouped across a bend."""

BENT_COSINE: Final = 0.98
"""Normals of a group further apart than this bend."""

FINER: Final = 0.7
"""Spacing over that of the round before: about two samples for one."""

ROUNDS: Final = 8
"""Rounds at most: enough from 4 mm, which a part of 10 m2 would have."""

UNEVEN: Final = 3e-3
"""A sample thinner than a neighbour by this share has a thinner spot beside it, maybe."""

MOST_SEEDS: Final = 400
"""Samples followed downhill at most, the most uneven first."""

DIRECTIONS: Final = 8
"""Ways looked at from each spot on its way down."""

STEPS: Final = 14
"""Steps down, or halvings of the step, at most."""

LAST_STEP: Final = 0.01
"""Share of the spacing at which the way down ends."""

OFF_EDGE: Final = 2e-4
"""Share of the way to the facet's middle that a spot is moved off its edge."""

LOOSE: Final = 3e-3
"""Share of the wall that a ball may reach beyond the surface or fall short of it."""

SHALLOW: Final = float(np.sin(np.radians(35.0) / 2.0))
"""Chord over diameter of a ball caught by a bend, no edge: contacts up to 35 degrees apart."""

ONWARD: Final = 1.15
"""How much larger a ball caught by a bend may be that reaches the other side."""

STRAIGHT: Final = 0.1
"""A pinched ball differs from one that about spans the same wall by less than this share."""

LEVEL: Final = 1e-4
"""A thickness is less if it is so by this share."""


def refined_samples(
    mesh: trimesh.Trimesh,
    surface: Surface,
    sampling: Sampling,
    limits_mm: tuple[float, ...],
    spacing_mm: float,
    most: int,
) -> ThicknessSamples:
    """Measure a part at its samples, and closely where it is not much thicker than a limit.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    surface : Surface
        The same, made ready.
    sampling : Sampling
        Its samples, even where nothing is thin.
    limits_mm : tuple of float
        The limits that thin places are held against.
    spacing_mm : float
        Spacing wanted near these limits; elsewhere the samples stay as they are.
    most : int
        Samples added at most; the thinnest places are looked into first. None at all for 0.
    """
    if not most:
        return _measured(surface, sampling)
    limit_mm = max(limits_mm)
    samples = _covered(mesh, surface, sampling, limits_mm, most)
    samples = _straightened(surface, samples, limit_mm)
    samples = _unbent(surface, samples, limit_mm)
    samples = _descended(surface, samples, spacing_mm, limit_mm)
    return joined([samples, pinched_samples(mesh, surface, spacing_mm, limit_mm)])


def _measured(surface: Surface, sampling: Sampling) -> ThicknessSamples:
    spots = sampling.samples
    return thickness_on(surface, spots.points, spots.facets, spots.area)


def _unbent(surface: Surface, samples: ThicknessSamples, limit_mm: float) -> ThicknessSamples:
    """Balls caught at a shallow bend just before they reach the other side go on to it.

    On the flats of something round that tapers, the next flat catches the ball of one.
    """
    chord = np.linalg.norm(samples.contacts - samples.points, axis=1)
    bent = (samples.status == Status.EDGE) & (chord < SHALLOW * samples.thickness)
    bent &= samples.thickness < TAPER_SHARE * limit_mm
    index = np.flatnonzero(bent)
    if not len(index):
        return samples
    normals, half = samples.normals[index], 0.5 * samples.thickness[index]
    points = samples.points[index] - surface.middle
    centres = points - half[:, None] * normals
    spots, facets = nearest_across(surface.tree, centres, ONWARD * half, normals)
    way = points - spots
    ahead = np.einsum("ij,ij->i", way, normals)
    radius = np.einsum("ij,ij->i", way, way) / (2.0 * np.maximum(ahead, 1e-100))
    reached = (facets >= 0) & (ahead > 0.0) & (radius < ONWARD * half)
    reached &= np.linalg.norm(way, axis=1) >= HELD_SHARE * 2.0 * radius
    index = index[reached]
    status, thickness = samples.status.copy(), samples.thickness.copy()
    contacts = samples.contacts.copy()
    status[index], thickness[index] = Status.MEASURED, 2.0 * radius[reached]
    contacts[index] = spots[reached] + surface.middle
    return replace(samples, status=status, thickness=thickness, contacts=contacts)


def _covered(
    mesh: trimesh.Trimesh,
    surface: Surface,
    sampling: Sampling,
    limits_mm: tuple[float, ...],
    most: int,
) -> ThicknessSamples:
    """Cut cells larger than half a place wherever a thin place could hide in them."""
    spacing, left = sampling.spacing_mm, most
    samples = _measured(surface, sampling)
    done = []
    for _ in range(ROUNDS):
        grouped = np.bincount(sampling.stands_for) > 1
        allowed = np.where(grouped, GROUP_REACH, 0.5) * PLACE_MM
        coarse = np.flatnonzero(
            _may_hide(samples, sampling, limits_mm) & (sampling.reach > allowed)
        )
        # Each becomes two or three.
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


def _may_hide(samples: ThicknessSamples, sampling: Sampling, limits_mm: tuple[float, ...]) -> Mask:
    """Whether a wall under a limit that the sample itself passes may lie within its reach."""
    slack = np.where(sampling.bend < BENT_COSINE, BENT_SHARE, TAPER_SHARE)
    hides = np.zeros(len(slack), dtype=np.bool_)
    for limit in limits_mm:
        passes = ~samples.is_wall | (samples.thickness >= limit)
        hides |= passes & (samples.thickness < slack * limit + sampling.reach**2 / limit)
    return hides


def _is_held(surface: Surface, samples: ThicknessSamples) -> Mask:
    """Whether the ball of each sample touches the other side and nothing reaches into it."""
    half = 0.5 * samples.thickness
    centres = samples.points - half[:, None] * samples.normals - surface.middle
    _, inside = nearest_on_surface(surface.tree, centres, half * (1.0 - LOOSE))
    contacts = samples.contacts - surface.middle
    _, touched = nearest_on_surface(surface.tree, contacts, half * (2.0 * LOOSE))
    return (inside < 0) & (touched >= 0)


def _straightened(surface: Surface, samples: ThicknessSamples, limit_mm: float) -> ThicknessSamples:
    """Measure again, near the limits, where a ball that only about spans the wall was taken.

    The ball that both sides of the wall hold near there is taken instead; where there is
    no such ball of about that size, the sample lies at an edge.
    """
    near = np.flatnonzero(samples.is_wall & (samples.thickness < TAPER_SHARE * limit_mm))
    loose = near[~_is_held(surface, _chosen(samples, near))]
    if not len(loose):
        return samples
    half = 0.5 * samples.thickness[loose]
    centres = samples.points[loose] - half[:, None] * samples.normals[loose]
    radius = pinched_balls(surface.tree, centres - surface.middle, 1.2 * half).radius
    held = np.abs(radius - half) < STRAIGHT * half
    status, thickness = samples.status.copy(), samples.thickness.copy()
    contacts = samples.contacts.copy()
    status[loose[~held]] = Status.EDGE
    thickness[loose[held]] = 2.0 * radius[held]
    across = thickness[loose[held], None] * samples.normals[loose[held]]
    contacts[loose[held]] = samples.points[loose[held]] - across
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
    )


def _beside(samples: ThicknessSamples, seeds: Ints, found: ThicknessSamples) -> ThicknessSamples:
    """Add what was found from seeds; a seed shares its area with it."""
    area = samples.area.copy()
    area[seeds] *= 0.5
    return joined([replace(samples, area=area), replace(found, area=area[seeds])])


def _lowest_about(samples: ThicknessSamples, spacing_mm: float, limit_mm: float) -> Ints:
    """Samples no thicker than their neighbours and thinner than one, the most uneven first."""
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
    """Two unit vectors across each normal."""
    least = np.eye(3)[np.abs(normals).argmin(axis=1)]
    one = np.cross(normals, least)
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    return one, np.cross(normals, one)


def _descended(
    surface: Surface, samples: ThicknessSamples, spacing_mm: float, limit_mm: float
) -> ThicknessSamples:
    """Follow the surface from the lowest samples down to the least wall."""
    seeds = _lowest_about(samples, spacing_mm, limit_mm)
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
        ways = np.cos(turn)[:, None] * one[:, None] + np.sin(turn)[:, None] * other[:, None]
        asked = best.points[moving][:, None] + step[moving][:, None, None] * ways
        owner = np.repeat(moving, DIRECTIONS)
        tried = _measured_near(surface, asked.reshape(-1, 3), step[owner], best.normals[owner])
        tried = _unbent(surface, tried, limit_mm)
        tried.status[~_is_held(surface, tried)] = Status.EDGE
        value = np.where(tried.is_wall, tried.thickness, np.inf).reshape(-1, DIRECTIONS)
        at = value.argmin(axis=1)
        better = value[np.arange(len(at)), at] < best.thickness[moving] * (1.0 - LEVEL)
        step[moving[~better]] *= 0.5
        _put(best, moving[better], tried, (np.arange(len(at)) * DIRECTIONS + at)[better])
    return _beside(samples, seeds, best)


def _measured_near(
    surface: Surface, asked: Floats, bounds: Floats, facing: Floats
) -> ThicknessSamples:
    """Measure the surface points nearest to points, if they face the same way."""
    spots, facets = nearest_on_surface(surface.tree, asked - surface.middle, bounds)
    gone = facets < 0
    facets = np.where(gone, 0, facets)
    # On the very edge of a facet there is no telling which way it faces.
    middles = surface.tree.corners[facets].mean(axis=1)
    spots = np.where(gone[:, None], middles, spots + OFF_EDGE * (middles - spots))
    found = thickness_on(surface, spots + surface.middle, facets, np.zeros(len(asked)))
    gone |= np.einsum("ij,ij->i", found.normals, facing) <= 0.5
    return replace(found, status=np.where(gone, Status.OPEN, found.status).astype(np.int8))


def _put(into: ThicknessSamples, at: Ints, source: ThicknessSamples, which: Ints) -> None:
    into.points[at] = source.points[which]
    into.normals[at] = source.normals[which]
    into.facets[at] = source.facets[which]
    into.thickness[at] = source.thickness[which]
    into.contacts[at] = source.contacts[which]
