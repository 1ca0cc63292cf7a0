"""Right cylinders on facets: axis, radius through the facets' corners, and how far they reach.

The corners of the strips lie on the cylinder, whether the facets are inscribed in the round that
was drawn or stand about it; so the cylinder is fitted to the ends of the creases alone (`fitting`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from shrinkrule.dimensions.recognition.creases import Creases, chains_of
from shrinkrule.dimensions.recognition.fitting import (
    Fit,
    corners_of,
    fit_cylinders,
    fit_each,
    largest_circle,
    two_across,
)
from shrinkrule.dimensions.recognition.regions import Regions
from shrinkrule.dimensions.recognition.surface import Surface, grouped
from shrinkrule.dimensions.recognition.zigzag import FEWEST, zigzags
from shrinkrule.numerics.arrays import Floats, Ints, connected_components, ranges

ON_CYLINDER: Final = 2.0
"""Distance of a corner from its cylinder, in steps of noise, that rounding may make."""

SAGITTA: Final = 3.0
"""Least sagitta of a facet, in steps of noise: below it, a round is not told from its like."""

OPEN_STEP: Final = np.radians(31.0)
"""Largest step of a cylinder that does not close: 12 facets around."""

HALF: Final = np.radians(179.0)
"""Coverage from which a diameter can be measured."""

LIKE_STEP_ROUND: Final = 1.9
"""Largest gap over the usual step, up to which a cylinder closes: one crease may be missing."""

LEAST_OF_CHAIN: Final = 0.12
"""Share of a chain's creases on one circle, at least; a free form has short arcs everywhere."""

MOST_CYLINDERS: Final = 4000
"""Cylinders up to which pieces of one are looked for among all pairs."""

IN_CHAIN: Final = 4
"""Cylinders that run into each other in one chain, at most."""

LEAST_CREASES: Final = 4
"""Creases of a cylinder, at least."""

STRAYS: Final = 8
"""Times that corners off the round are left out."""

WHOLE: Final = 0.8
"""Share of the facets of a patch that must lie on its cylinder."""

LIKE_AREA: Final = 0.4
"""Area over a strip's from which a facet beyond its end is more of the same."""


@dataclass(frozen=True)
class Cylinder:
    """A right cylinder, or a part of one.

    Parameters
    ----------
    axis : (3,) float64
        Unit vector along it.
    centre : (3,) float64
        Point on the axis, halfway between the ends, mm.
    radius_mm : float
        Of the circle through the facets' corners.
    flat_radius_mm : float
        From the axis to the middle of the facets.
    is_boss : bool
        Whether metal is inside; a bore otherwise.
    length_mm : float
        Between the farthest ends of its creases.
    pieces : tuple of (float, float, bool)
        Where each piece begins and ends along the axis, from the centre, mm; and whether most of
        its creases end there, so that it has a depth.
    coverage : float
        Angle that its facets take up, radians.
    facets_round : int
        Creases around.
    creases : (k,) int64
        Its creases.
    regions : (r,) int64
        Its strips.
    angles : (k,) float64
        Angles of the creases about the axis, radians.
    """

    axis: Floats
    centre: Floats
    radius_mm: float
    flat_radius_mm: float
    is_boss: bool
    length_mm: float
    pieces: tuple[tuple[float, float, bool], ...]
    coverage: float
    facets_round: int
    creases: Ints
    regions: Ints
    angles: Floats

    @property
    def measurable(self) -> bool:
        """Whether enough of it is there for its diameter to be measured."""
        return bool(self.coverage >= HALF)


def cylinders_of(surface: Surface, regions: Regions, creases: Creases) -> list[Cylinder]:
    """Find the cylinders of a surface, short arcs included.

    Parameters
    ----------
    surface : Surface
        Facets and their neighbours.
    regions : Regions
        Its flat regions.
    creases : Creases
        Where these meet.

    Returns
    -------
    list of Cylinder
        Pieces with one axis and radius as one.
    """
    found = _fitted(surface, regions, creases, chains_of(creases, len(regions), surface.noise_mm))
    taken = np.zeros(len(regions), dtype=np.bool_)
    for one in found:
        taken[one.regions] = True
    found += _to_and_fro(surface, regions, creases, zigzags(regions, creases, taken))
    found = _without_tori(found, regions, creases)
    return _joined(surface, regions, creases, found)


def _fitted(
    surface: Surface, regions: Regions, creases: Creases, chains: list[Ints]
) -> list[Cylinder]:
    """Cylinders in each chain: one as a rule, none, or several that run into each other."""
    reach = ON_CYLINDER * surface.noise_mm
    found: list[list[Cylinder]] = [[] for _ in chains]
    left: dict[int, Ints] = {}
    for number, whole in enumerate(fit_cylinders(creases, chains)):
        if whole is not None and whole.off <= reach:
            one = _cylinder(surface, regions, creases, chains[number], whole)
            found[number] += [] if one is None else [one]
        else:
            left[number] = chains[number]
    for _ in range(IN_CHAIN):
        inside = {
            number: largest_circle(creases, chain, reach)
            for number, chain in left.items()
            if len(chain) >= LEAST_CREASES
        }
        inside = {
            number: some
            for number, some in inside.items()
            if len(some) >= max(LEAST_CREASES, LEAST_OF_CHAIN * len(chains[number]))
        }
        fits = fit_cylinders(creases, list(inside.values()))
        again: dict[int, Ints] = {}
        for (number, some), fit in zip(inside.items(), fits, strict=True):
            if fit is not None and fit.off <= reach:
                one = _cylinder(surface, regions, creases, some, fit)
                found[number] += [] if one is None else [one]
                again[number] = np.setdiff1d(left[number], some)
        left = again
    return [one for some in found for one in some]


def _to_and_fro(
    surface: Surface, regions: Regions, creases: Creases, chains: list[tuple[Ints, Floats]]
) -> list[Cylinder]:
    """Cylinders of facets that run to and fro between two rings."""
    reach = ON_CYLINDER * surface.noise_mm
    found: dict[int, Cylinder] = {}
    number = np.arange(len(chains))
    points, start = corners_of(creases, [one for one, _ in chains])
    axes = np.array([axis for _, axis in chains]).reshape(-1, 3)
    for _ in range(STRAYS + 1):
        if len(number) == 0:
            break
        fits = fit_each(points, start, axes)
        ends = np.append(start[1:], len(points))
        again: list[tuple[int, Floats, Floats]] = []
        for k, fit in enumerate(fits):
            if fit is None:
                continue
            mine = points[start[k] : ends[k]]
            if fit.off > reach:
                # Corners in the middle of another facet's side lie inside the round of the others.
                inside = fit.radius - np.linalg.norm(np.cross(mine - fit.centre, fit.axis), axis=1)
                again.append((int(number[k]), mine[inside < 0.5 * fit.off], fit.axis))
            elif len(mine) >= FEWEST:
                # Two rings of corners, as a rule.
                around = max(len(mine) // 2, 3)
                chain = chains[number[k]][0]
                one = _cylinder(surface, regions, creases, chain, fit, 2.0 * np.pi / around)
                if one is not None and len(one.regions) >= WHOLE * len(
                    np.unique(creases.regions[chain])
                ):
                    found[int(number[k])] = replace(one, facets_round=around)
        again = [one for one in again if len(one[1]) >= FEWEST]
        number = np.array([which for which, _, _ in again], dtype=np.int64)
        if len(again):
            points = np.concatenate([mine for _, mine, _ in again])
            axes = np.stack([axis for _, _, axis in again])
            start = np.cumsum([0, *(len(mine) for _, mine, _ in again)])[:-1]
    return [found[k] for k in sorted(found)]


def _cylinder(
    surface: Surface,
    regions: Regions,
    creases: Creases,
    chain: Ints,
    fit: Fit,
    widest: float = 0.0,
) -> Cylinder | None:
    """Cylinder of a fitted chain; None where it is too coarse, too fine or no cylinder.

    Its facets may be as wide as its usual step, or as an angle that is given.
    """
    axis, centre, radius, _ = fit
    noise = surface.noise_mm
    u, v = two_across(axis)
    middles = 0.5 * (creases.low[chain] + creases.high[chain]) - centre
    angles = np.arctan2(middles @ v, middles @ u)
    lines = _apart(angles, 4.0 * noise / radius)
    if len(lines) < 4:
        return None
    gaps = np.diff(np.append(lines, lines[0] + 2.0 * np.pi))
    step = float(np.median(gaps))
    closed = bool(gaps.max() <= LIKE_STEP_ROUND * step)
    if step > (np.radians(46.0) if closed else OPEN_STEP):
        return None
    if radius * (1.0 - np.cos(0.5 * step)) < SAGITTA * noise:
        return None
    coverage = 2.0 * np.pi if closed else 2.0 * np.pi - float(gaps.max())
    if not closed and coverage + step >= HALF > coverage:
        # The first and the last facet lie in the walls that run into the round.
        coverage += step
    wide = max(step, widest)
    mine = _strips(surface, regions, creases, chain, axis, centre, radius, wide)
    if len(mine) < 3:
        return None
    if axis[np.argmax(np.abs(axis))] < 0.0:
        axis = -axis
    ends = np.stack([(creases.low[chain] - centre) @ axis, (creases.high[chain] - centre) @ axis])
    low, high = ends.min(axis=0), ends.max(axis=0)
    bottom, top = float(low.min()), float(high.max())
    half = 0.5 * (bottom + top)
    pieces = _pieces(low - half, high - half, angles, len(lines), 4.0 * noise)
    flats = np.abs((regions.normals[mine] * centre).sum(axis=1) - regions.levels[mine])
    turns = creases.turn[chain]
    return Cylinder(
        axis,
        centre + half * axis,
        radius,
        float(np.median(flats)),
        bool((turns * creases.length[chain]).sum() > 0.0),
        top - bottom,
        pieces,
        coverage,
        len(lines),
        chain,
        mine,
        angles,
    )


def _pieces(
    low: Floats, high: Floats, angles: Floats, around: int, near: float
) -> tuple[tuple[float, float, bool], ...]:
    """Stretches along the axis that creases cover, and whether most begin and end with them."""
    order = np.argsort(low)
    low, high, angles = low[order], high[order], angles[order]
    reached = np.maximum.accumulate(high)
    first = np.flatnonzero(np.append(True, low[1:] > reached[:-1] + near))
    found = []
    for start, stop in zip(first, np.append(first[1:], len(low)), strict=True):
        bottom, top = float(low[start]), float(high[start:stop].max())
        cell = np.round(angles[start:stop], 3)
        begins = len(np.unique(cell[low[start:stop] <= bottom + near]))
        ends = len(np.unique(cell[high[start:stop] >= top - near]))
        lines = max(len(np.unique(cell)), 0.5 * around)
        found.append((bottom, top, bool(min(begins, ends) > 0.5 * lines)))
    return tuple(found)


def _apart(angles: Floats, least: float) -> Floats:
    """Sorted angles (radians), those nearer than ``least`` to the one before left out."""
    ordered = np.sort(angles)
    keep = np.ones(len(ordered), dtype=np.bool_)
    keep[1:] = np.diff(ordered) > least
    if len(ordered) > 1 and ordered[0] + 2.0 * np.pi - ordered[-1] <= least:
        keep[0] = False
    kept: Floats = ordered[keep]
    return kept


def _strips(
    surface: Surface,
    regions: Regions,
    creases: Creases,
    chain: Ints,
    axis: Floats,
    centre: Floats,
    radius: float,
    step: float,
) -> Ints:
    """Regions at the creases of a cylinder whose vertices all lie on its facets."""
    near = np.unique(creases.regions[chain])
    owner, place = ranges(regions.start[near], regions.start[near] + regions.sizes[near])
    way = surface.vertices[regions.corner[place]] - centre
    far = np.linalg.norm(way - np.outer(way @ axis, axis), axis=1)
    slack = ON_CYLINDER * surface.noise_mm + 0.5 * surface.noise_mm
    inner = radius * np.cos(min(step, np.pi / 4))
    fits = (far <= radius + slack) & (far >= inner - slack)
    inside = np.bincount(owner, ~fits, len(near)) == 0
    upright = np.abs(regions.normals[near] @ axis) < 0.05
    strips: Ints = near[inside & upright]
    return strips


def _without_tori(found: list[Cylinder], regions: Regions, creases: Creases) -> list[Cylinder]:
    """Cylinders without those that run on smoothly into facets like theirs at both ends.

    A pin with rounded edges runs on into facets much smaller than its own; a ring or a ball in
    bands runs on into more of the same.
    """
    if not found:
        return found
    owner = np.full(len(regions), -1, dtype=np.int64)
    for number, one in enumerate(found):
        owner[one.regions] = number
    pair = np.concatenate([creases.regions, creases.regions[:, ::-1]])
    turn = np.concatenate([creases.turn, creases.turn])
    middle = np.tile(0.5 * (creases.low + creases.high), (2, 1))
    along = np.tile(creases.along, (2, 1))
    mine = owner[pair[:, 0]]
    some = np.flatnonzero((mine >= 0) & (mine != owner[pair[:, 1]]))
    mine, pair, turn = mine[some], pair[some], turn[some]
    axis = np.stack([one.axis for one in found])[mine]
    centre = np.stack([one.centre for one in found])[mine]
    at_end = np.abs((along[some] * axis).sum(axis=1)) < 0.7
    end = (((middle[some] - centre) * axis).sum(axis=1) > 0.0).astype(np.int64)
    like = regions.areas[pair[:, 1]] > LIKE_AREA * regions.areas[pair[:, 0]]
    smooth = (np.abs(turn) < OPEN_STEP) & like
    slot = 2 * mine + end
    whole = np.bincount(slot[at_end], minlength=2 * len(found))
    runs_on = np.bincount(slot[at_end & smooth], minlength=2 * len(found))
    ends = ((runs_on > 0.5 * whole) & (whole > 0)).reshape(-1, 2)
    return [one for one, gone in zip(found, ends.tolist(), strict=True) if not all(gone)]


def _joined(
    surface: Surface, regions: Regions, creases: Creases, found: list[Cylinder]
) -> list[Cylinder]:
    """Cylinders with pieces of one axis, radius and side made one."""
    if not 1 < len(found) <= MOST_CYLINDERS:
        return found
    done: list[Cylinder] = []
    reach = 2.0 * ON_CYLINDER * surface.noise_mm
    home = connected_components(len(found), _coaxial(found, 4.0 * surface.noise_mm))
    order, start = grouped(home, int(home.max()) + 1)
    groups = [[found[k] for k in members] for members in np.split(order, start[1:])]
    chains = [np.unique(np.concatenate([one.creases for one in pieces])) for pieces in groups]
    several = [k for k, pieces in enumerate(groups) if len(pieces) > 1]
    fits = dict(zip(several, fit_cylinders(creases, [chains[k] for k in several]), strict=True))
    for number, pieces in enumerate(groups):
        both, fit = None, fits.get(number)
        if fit is not None and fit.off <= reach:
            both = _cylinder(surface, regions, creases, chains[number], fit)
        if both is None:
            done += pieces
        else:
            strips = np.unique(np.concatenate([both.regions, *(one.regions for one in pieces)]))
            done.append(replace(both, regions=strips))
    return done


def _coaxial(found: list[Cylinder], reach: float) -> Ints:
    """Pairs (k, 2) of cylinders that are pieces of one."""
    radius = np.array([one.radius_mm for one in found])
    length = np.array([one.length_mm for one in found])
    boss = np.array([one.is_boss for one in found])
    axis = np.stack([one.axis for one in found])
    centre = np.stack([one.centre for one in found])
    one, other = np.triu_indices(len(found), 1)
    like = (np.abs(radius[one] - radius[other]) <= reach) & (boss[one] == boss[other])
    like &= np.abs((axis[one] * axis[other]).sum(axis=1)) > 0.99
    one, other = one[like], other[like]
    longer = np.where(length[one] >= length[other], one, other)
    way = centre[other] - centre[one]
    along = (way * axis[longer]).sum(axis=1)
    off = np.linalg.norm(way - along[:, None] * axis[longer], axis=1)
    sine = np.linalg.norm(np.cross(axis[one], axis[other]), axis=1)
    loose = reach * (1.0 / length[one] + 1.0 / length[other])
    same = (sine <= loose) & (off <= reach + loose * np.abs(along))
    return np.stack([one[same], other[same]], axis=1)
