"""Dimensions of bores and bosses: diameters, depths, walls between them, and where they stand.

An axis across a flat face takes that face's direction where the noise cannot tell the two apart:
a short bore knows its own direction badly, and its distance to the next bore would suffer.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from shrinkrule.dimensions.across import Opposite
from shrinkrule.dimensions.dimension import Dimension, Kind, distinct
from shrinkrule.dimensions.recognition.balls import Ball
from shrinkrule.dimensions.recognition.creases import Creases
from shrinkrule.dimensions.recognition.cylinders import ON_CYLINDER, Cylinder
from shrinkrule.dimensions.recognition.fitting import Fit, fit_cylinders
from shrinkrule.dimensions.recognition.planes import Faces, across
from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.physics.interval import Feature

LEAST_SHARE: Final = 0.1
"""Share of the rays where two cylinders lie side by side that must meet: spokes are no wall."""

LESS_OFTEN: Final = 0.1
"""Factor on the weight of a distance that is measured less often: to a face inside the part's box,
or from the axis of a boss (common practice, no source)."""

LOOSE: Final = 6.0
"""Steps of noise over a cylinder's length by which its axis may lean."""


def straightened(
    cylinders: list[Cylinder], creases: Creases, faces: Faces, noise_mm: float
) -> list[Cylinder]:
    """Cylinders with the direction of the faces or of the longer cylinders they belong with.

    Parameters
    ----------
    cylinders : list of Cylinder
        As fitted, each by itself.
    creases : Creases
        What they were fitted to.
    faces : Faces
        Flat faces, whose directions are known best.
    noise_mm : float
        Smallest step between coordinates.

    Returns
    -------
    list of Cylinder
        In the same order; parallel ones have equal axes.
    """
    order = sorted(range(len(cylinders)), key=lambda k: -cylinders[k].length_mm)
    fits: dict[tuple[int, bytes], Fit | None] = {}
    while True:
        # As if all fitted that are not known yet; where one does not, those after it again.
        homes = _homes(cylinders, order, faces, fits, noise_mm)
        new = {k: axis for k, axis in homes.items() if (k, axis.tobytes()) not in fits}
        if not new:
            break
        chains = [cylinders[k].creases for k in new]
        found = fit_cylinders(creases, chains, np.stack(list(new.values())))
        fits |= {(k, new[k].tobytes()): fit for k, fit in zip(new, found, strict=True)}
    done = list(cylinders)
    for k, axis in homes.items():
        fit, one = fits[k, axis.tobytes()], cylinders[k]
        if fit is not None:
            done[k] = replace(
                one,
                axis=axis,
                centre=fit.centre + ((one.centre - fit.centre) @ axis) * axis,
                radius_mm=fit.radius,
                flat_radius_mm=one.flat_radius_mm + fit.radius - one.radius_mm,
            )
    return done


def _homes(
    cylinders: list[Cylinder],
    order: list[int],
    faces: Faces,
    fits: dict[tuple[int, bytes], Fit | None],
    noise_mm: float,
) -> dict[int, Floats]:
    """The known axis that each cylinder takes: of a face, or of one before it in ``order``.

    Without those that are far from any, or that are known not to fit with it.
    """
    known = np.empty((len(faces.directions) + len(order), 3))
    known[: len(faces.directions)] = faces.directions
    count = len(faces.directions)
    homes: dict[int, Floats] = {}
    for k in order:
        one = cylinders[k]
        sine = np.linalg.norm(np.cross(known[:count], one.axis), axis=1)
        home = int(np.argmin(sine)) if count else -1
        if home >= 0 and sine[home] <= LOOSE * noise_mm / one.length_mm:
            axis = known[home] * np.sign(known[home] @ one.axis)
            key = (k, axis.tobytes())
            if key not in fits or _serves(fits[key], noise_mm):
                homes[k] = axis
                continue
        known[count] = one.axis
        count += 1
    return homes


def _serves(fit: Fit | None, noise_mm: float) -> bool:
    """Whether a cylinder still goes through its corners."""
    return fit is not None and fit.off <= 1.5 * ON_CYLINDER * noise_mm


def diameters(cylinders: list[Cylinder], apart_mm: float) -> list[Dimension]:
    """Diameters and depths.

    Parameters
    ----------
    cylinders : list of Cylinder
        All of them; short arcs are passed over.
    apart_mm : float
        Difference from which two lengths are two.

    Returns
    -------
    list of Dimension
        Bores, bosses, depths.
    """
    found: list[Dimension] = []
    whole = [one for one in cylinders if one.measurable]
    for is_boss, kind in ((False, Kind.BORE), (True, Kind.BOSS)):
        some = [one for one in whole if one.is_boss == is_boss]
        if not some:
            continue
        found += distinct(
            kind,
            np.array([2.0 * one.radius_mm for one in some]),
            np.stack([one.axis for one in some]),
            np.stack([one.centre for one in some]),
            np.array([one.radius_mm * one.coverage * one.length_mm for one in some]),
            apart_mm,
            is_round=True,
            flats=np.array([2.0 * one.flat_radius_mm for one in some]),
            facets_round=np.array([one.facets_round for one in some]),
        )
        deep = [
            (one, bottom, top)
            for one in some
            for bottom, top, square in one.pieces
            if square and top - bottom > apart_mm
        ]
        if deep:
            bottoms = np.array([bottom for _, bottom, _ in deep])
            tops = np.array([top for _, _, top in deep])
            axes = np.stack([one.axis for one, _, _ in deep])
            centres = np.stack([one.centre for one, _, _ in deep])
            found += distinct(
                Kind.DEPTH,
                tops - bottoms,
                axes,
                centres + (0.5 * (bottoms + tops))[:, None] * axes,
                (tops - bottoms) * np.array([one.radius_mm for one, _, _ in deep]),
                apart_mm,
                levels=(centres * axes).sum(axis=1) + bottoms,
            )
    return found


def ball_diameters(balls: list[Ball], apart_mm: float) -> list[Dimension]:
    """Diameters of balls and round hollows.

    Parameters
    ----------
    balls : list of Ball
        All of them.
    apart_mm : float
        Difference from which two lengths are two.

    Returns
    -------
    list of Dimension
        The diameters, along Z of the model for want of an axis.
    """
    found: list[Dimension] = []
    for is_solid, feature in ((True, Feature.OUTSIDE), (False, Feature.SLOT)):
        some = [one for one in balls if one.is_solid == is_solid]
        if some:
            found += distinct(
                Kind.BALL,
                np.array([2.0 * one.radius_mm for one in some]),
                np.tile([0.0, 0.0, 1.0], (len(some), 1)),
                np.stack([one.centre for one in some]),
                np.array([one.area_mm2 for one in some]),
                apart_mm,
                is_round=True,
                feature=feature,
            )
    return found


def round_walls(
    faces: Faces, cylinders: list[Cylinder], opposite: Opposite, apart_mm: float
) -> list[Dimension]:
    """Walls and gaps between two cylinders about one axis.

    Parameters
    ----------
    faces : Faces
        Flat faces, which come first in the numbers of ``opposite``.
    cylinders : list of Cylinder
        All of them.
    opposite : Opposite
        Which lie across from which.
    apart_mm : float
        Difference from which two lengths are two.

    Returns
    -------
    list of Dimension
        The walls, and the gaps as inside lengths.
    """
    found: list[Dimension] = []
    for kind, pairs, share in (
        (Kind.WALL, opposite.solid, opposite.solid_share),
        (Kind.INSIDE, opposite.hollow, opposite.hollow_share),
    ):
        some = np.flatnonzero((pairs >= len(faces)).all(axis=1))
        rows = []
        for k in some:
            one, other = (cylinders[number - len(faces)] for number in pairs[k])
            way = other.centre - one.centre
            off = np.linalg.norm(way - (way @ one.axis) * one.axis)
            if one.is_boss == other.is_boss or abs(one.axis @ other.axis) < 1.0 - 1e-9:
                continue
            if off > apart_mm or abs(one.radius_mm - other.radius_mm) <= apart_mm:
                continue
            shorter = min(one, other, key=lambda c: c.length_mm)
            beside = 0.5 * (one.length_mm + other.length_mm) - abs(way @ one.axis)
            beside = min(beside, shorter.length_mm)
            if share[k] < LEAST_SHARE * beside * (1.0 / one.length_mm + 1.0 / other.length_mm):
                continue
            area = shorter.radius_mm * shorter.length_mm
            inner, outer = sorted((one.radius_mm, other.radius_mm))
            rows.append((outer - inner, one.axis, shorter.centre, area, inner))
        if rows:
            found += distinct(
                kind,
                np.array([row[0] for row in rows]),
                np.stack([row[1] for row in rows]),
                np.stack([row[2] for row in rows]),
                np.array([row[3] for row in rows]),
                apart_mm,
                is_round=True,
                levels=np.array([row[4] for row in rows]),
            )
    return found


def axis_distances(
    faces: Faces, cylinders: list[Cylinder], opposite: Opposite, apart_mm: float
) -> list[Dimension]:
    """Distances between parallel axes, from axes to faces along them, and over keyways.

    Parameters
    ----------
    faces : Faces
        Flat faces.
    cylinders : list of Cylinder
        All of them; short arcs are passed over.
    opposite : Opposite
        Which faces are open.
    apart_mm : float
        Difference from which two lengths are two.

    Returns
    -------
    list of Dimension
        The distances.
    """
    whole = [one for one in cylinders if one.measurable]
    if not whole:
        return []
    axes = np.stack([one.axis for one in whole])
    centres = np.stack([one.centre for one in whole])
    area = np.array([one.radius_mm * one.length_mm for one in whole])
    # Two lengths are apart by two steps of noise at least.
    loose = 0.5 * LOOSE * apart_mm / np.array([one.length_mm for one in whole])
    return [
        *_between_axes(axes, centres, area, apart_mm),
        *_to_faces(faces, whole, axes, centres, area, loose, apart_mm),
        *_over_keyways(faces, opposite, whole, axes, centres, loose, apart_mm),
    ]


def _between_axes(axes: Floats, centres: Floats, area: Floats, apart: float) -> list[Dimension]:
    one, other = np.triu_indices(len(axes), 1)
    parallel = np.abs((axes[one] * axes[other]).sum(axis=1)) > 1.0 - 1e-12
    one, other = one[parallel], other[parallel]
    way = centres[other] - centres[one]
    way -= (way * axes[one]).sum(axis=1, keepdims=True) * axes[one]
    sizes = np.linalg.norm(way, axis=1)
    keep = sizes > max(apart, 1e-3)
    one, other, way, sizes = one[keep], other[keep], way[keep], sizes[keep]
    return distinct(
        Kind.AXES,
        sizes,
        way / sizes[:, None],
        0.5 * (centres[one] + centres[other]),
        np.minimum(area[one], area[other]),
        apart,
    )


def _along(faces: Faces, axes: Floats, loose: Floats) -> tuple[Ints, Ints]:
    """Pairs of a cylinder and a face along its axis, as far as each axis (n,) is known."""
    if len(faces) == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    lean = np.abs(axes @ faces.directions.T)[:, faces.direction]
    cylinder, face = np.nonzero(lean < loose[:, None])
    return cylinder, face


def _to_faces(
    faces: Faces,
    whole: list[Cylinder],
    axes: Floats,
    centres: Floats,
    area: Floats,
    loose: Floats,
    apart: float,
) -> list[Dimension]:
    """Distances of axes to faces; without weight where the face cuts the round."""
    cylinder, face = _along(faces, axes, loose)
    if len(cylinder) == 0:
        return []
    way = faces.directions[faces.direction[face]]
    levels = (centres[cylinder] * way).sum(axis=1)
    sizes = np.abs(levels - faces.levels[face])
    keep = sizes > max(apart, 1e-3)
    cylinder, face = cylinder[keep], face[keep]
    boss = np.array([one.is_boss for one in whole])[cylinder]
    reached = sizes[keep] > np.array([one.radius_mm for one in whole])[cylinder]
    weights = np.minimum(area[cylinder], faces.areas[face]) * reached
    weights *= np.where(_outermost(faces)[face], 1.0, LESS_OFTEN) * np.where(boss, LESS_OFTEN, 1.0)
    return distinct(
        Kind.TO_FACE,
        sizes[keep],
        way[keep],
        centres[cylinder],
        weights,
        apart,
        levels=np.minimum(levels[keep], faces.levels[face]),
    )


def _outermost(faces: Faces) -> Mask:
    """Whether each face is the outermost of its direction and side."""
    height = faces.sign * faces.levels
    slot = 2 * faces.direction + (faces.sign > 0)
    highest = np.full(2 * len(faces.directions), -np.inf)
    np.maximum.at(highest, slot, height)
    outermost: Mask = height >= highest[slot]
    return outermost


def _over_keyways(
    faces: Faces,
    opposite: Opposite,
    whole: list[Cylinder],
    axes: Floats,
    centres: Floats,
    loose: Floats,
    apart: float,
) -> list[Dimension]:
    """Lengths from a round to a flat floor cut into it, beyond the axis."""
    cylinder, face = _along(faces, axes, loose)
    if len(cylinder) == 0:
        return []
    radius = np.array([one.radius_mm for one in whole])[cylinder]
    boss = np.array([one.is_boss for one in whole])[cylinder]
    way = faces.directions[faces.direction[face]] * faces.sign[face][:, None]
    # How far the floor lies beyond the axis, along the way it looks.
    rise = faces.sign[face] * faces.levels[face] - (centres[cylinder] * way).sum(axis=1)
    on_boss = boss & (rise > 0.0) & (rise < radius - apart) & np.isinf(opposite.air_mm[face])
    in_bore = ~boss & (rise < -radius - apart) & (rise > -1.6 * radius)
    some = np.flatnonzero(on_boss | in_bore)
    keep = []
    for k in some:
        one = whole[cylinder[k]]
        sides = across(faces.directions[faces.direction[face[k]]])
        place = sides @ one.centre
        reach = np.sqrt(max(radius[k] ** 2 - rise[k] ** 2, 0.0)) if boss[k] else radius[k]
        limit = reach * np.linalg.norm(sides - np.outer(sides @ one.axis, one.axis), axis=1)
        limit = limit + np.abs(sides @ one.axis) * 0.5 * one.length_mm + 1e-3
        inside = (faces.low[face[k]] >= place - limit) & (faces.high[face[k]] <= place + limit)
        if inside.all():
            keep.append(k)
    kept = np.array(keep, dtype=np.int64)
    levels = (centres[cylinder] * way).sum(axis=1) + np.where(boss, -radius, rise)
    found: list[Dimension] = []
    for is_boss, feature in ((True, Feature.OUTSIDE), (False, Feature.SLOT)):
        rows = kept[boss[kept] == is_boss]
        found += distinct(
            Kind.OVER_KEYWAY,
            np.abs(rise[rows]) + radius[rows],
            way[rows],
            centres[cylinder[rows]],
            faces.areas[face[rows]],
            apart,
            feature=feature,
            levels=levels[rows],
        )
    return found
