"""Knife edges: where two faces meet so sharply that the print loses more than a bead of depth.

Opening an edge of angle a by a disk of diameter b takes ``b (1 / sin(a/2) - 1) / 2`` off it: 0.2 b
at a right angle, b at 39 degrees, 2.4 b at 20. The depth reported is measured: it is what the balls
that grew from the edge do not reach. So it is right for blunt, round and curved edges too.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.mesh import Rays
from shrinkrule.numerics.arrays import Floats, Ints, Mask, connected_components
from shrinkrule.walls.limits import MARGIN_MM
from shrinkrule.walls.regions.grouping import groups_of, links_between
from shrinkrule.walls.thickness.local import LocalWalls
from shrinkrule.walls.thickness.spheres import ThicknessSamples

SHARP_CHORD: Final = float(np.cos(np.radians(60.0) / 2.0))
"""Chord over diameter of a ball between faces that meet at 60 degrees; more at sharper edges."""

BEND_CHORD: Final = float(np.cos(np.radians(130.0) / 2.0))
"""The same at 130 degrees: blunter edges are bends, as between the flats of a cone."""

EDGE_AREA: Final = 0.1
"""Least area of a knife edge, in square beads; the corner of a block loses less."""

RIM_SHARE: Final = 0.8
"""A sample that loses more than this share of the largest depth lost lies at the very rim."""

RIM_QUANTILE: Final = 0.75
"""Share of those samples that lose less than is reported: the second row behind the rim loses
less, its corners lose more."""

RIM_SAMPLES: Final = 12
"""Samples at the rim of an edge; with fewer it is a tip."""

TIP_SIZE: Final = 2.0
"""Size of an edge, in depths lost, under which it is a tip."""

FOOT_COSINE: Final = float(np.cos(np.radians(5.0)))
"""Cosine between a level face and the layers, at least."""

BLUNT_IN_PLAN: Final = 0.75
"""A tip of which layers lose less than this, in beads, is the corner of a foot: 47 degrees."""

POINTED: Final = 0.25
"""Beside a thin wall, an edge must thin out to this share of its limit to be a knife edge."""


class SharpEdge(NamedTuple):
    """An edge that loses more depth than its limit.

    Parameters
    ----------
    place : (k,) int64
        Its samples.
    thinnest : int
        The one with the smallest ball.
    limit_mm : float
        Depth that it may lose, mm.
    loss_mm : float
        Depth that it loses along most of its length, mm.
    """

    place: Ints
    thinnest: int
    limit_mm: float
    loss_mm: float


def sharp_edges(
    rays: Rays,
    samples: ThicknessSamples,
    walls: LocalWalls,
    taken: Mask,
    spacing_mm: float,
    bead_mm: float,
) -> list[SharpEdge]:
    """Find edges so sharp that more than their limit of depth is lost.

    Parameters
    ----------
    rays : Rays
        Of the green part, print frame.
    samples : ThicknessSamples
        Its measured samples.
    walls : LocalWalls
        The wall that each belongs to.
    taken : (n,) bool
        Samples that belong to another finding already.
    spacing_mm, bead_mm : float
        Spacing of the samples, and bead width.

    Returns
    -------
    list of SharpEdge
        In no particular order.
    """
    limit, loss = walls.edge_limit, walls.edge_loss
    beside = ~walls.own & (samples.thickness < limit - MARGIN_MM)
    # Beside a blunt edge a ball may grow slowly too, as along the end of a thin web.
    apart = np.linalg.norm(samples.contacts - samples.points, axis=1)
    # Where rounding leaves no thickness, nothing is said of the ball either.
    chord = np.divide(
        apart, samples.thickness, out=np.ones_like(apart), where=samples.thickness > 0
    )
    beside &= (chord > SHARP_CHORD) | (chord < BEND_CHORD)
    index = np.flatnonzero(beside & ((loss > limit) | (walls.edge_whole > limit)))
    if not len(index):
        return []
    found = []
    links = np.column_stack(_links(rays, samples, index, spacing_mm, bead_mm))
    for group in groups_of(connected_components(len(index), links)):
        place = index[group]
        worst = int(place[np.argmax(loss[place])])
        if loss[worst] <= limit[worst] or samples.area[place].sum() < EDGE_AREA * bead_mm**2:
            continue
        thinnest = int(place[np.argmin(samples.thickness[place])])
        if taken[place].mean() > 0.5 and samples.thickness[thinnest] > POINTED * limit[worst]:
            # A bevel on a thin wall.
            continue
        size = float(np.linalg.norm(np.ptp(samples.points[place], axis=0)))
        has_foot = bool((np.abs(samples.normals[place, 2]) > FOOT_COSINE).any())
        is_tip = size < TIP_SIZE * loss[worst]
        if is_tip and has_foot and _is_blunt_in_plan(rays, samples, walls, worst):
            continue
        found.append(SharpEdge(place, thinnest, float(limit[worst]), _loss_along(loss[place])))
    return found


def _links(
    rays: Rays, samples: ThicknessSamples, index: Ints, spacing_mm: float, bead_mm: float
) -> tuple[Ints, Ints]:
    """Pairs of samples of one edge: linked as in a wall, or no more than a bead apart."""
    ends = np.stack([samples.points[index], samples.contacts[index]], axis=1)
    one, other = links_between(rays, samples, index, ends, spacing_mm)
    near = cKDTree(samples.points[index]).query_pairs(bead_mm, output_type="ndarray")
    return np.concatenate([one, near[:, 0]]), np.concatenate([other, near[:, 1]])


def _is_blunt_in_plan(rays: Rays, samples: ThicknessSamples, walls: LocalWalls, tip: int) -> bool:
    """Whether layers print a tip that a ball does not reach, as the corner of a pyramid's foot.

    A layer prints by the angle of the tip's outline in plan, of which a disk loses less.
    """
    centre = walls.edge_centres[tip]
    inward = centre[:2] - samples.points[tip, :2]
    deep = float(np.linalg.norm(inward))
    rise = abs(float(centre[2] - samples.points[tip, 2]))
    if deep <= rise:
        return False
    along, across = inward / deep, np.array([-inward[1], inward[0]]) / deep
    headings = np.zeros((3, 3))
    headings[:, :2] = -along, across, -across
    back, left, right = rays.cast(np.tile(centre - rays.middle, (3, 1)), headings)[0]
    half_sine = np.sin(np.arctan2(0.5 * float(left + right), float(back)))
    return bool(0.5 * (1.0 / half_sine - 1.0) < BLUNT_IN_PLAN)


def _loss_along(losses: Floats) -> float:
    """Depth that an edge loses along most of its length; its ends are corners and lose more."""
    at_rim = losses[losses > RIM_SHARE * losses.max()]
    return float(np.quantile(at_rim, RIM_QUANTILE) if len(at_rim) >= RIM_SAMPLES else losses.max())
