"""The wall that each sample belongs to, and the depth that an edge loses there.

Where the two contacts of a sample's ball lie nearly opposite, the ball measures the wall. Elsewhere
(on rims, beside edges, on bevels, round tips and the sides of a square pin) the ball grows until
its contacts are nearly opposite: that ball measures the wall that the sample belongs to. Where it
reaches the largest limit, the sample lies on something sound. Only a sharp edge loses depth: the
distance of its rim from the balls of one bead that grew from it (docs/theory-walls.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.printer import Printer
from shrinkrule.walls.findings import FLAT_COSINE
from shrinkrule.walls.limits import MARGIN_MM, WallLimits
from shrinkrule.walls.thickness.growth import OPPOSITE_DEGREES, OPPOSITE_RATE, grown_balls
from shrinkrule.walls.thickness.spheres import Status, Surface, ThicknessSamples

OPPOSITE_SHARE: Final = float(np.cos(np.radians(OPPOSITE_DEGREES) / 2.0))
"""Least chord over diameter of a ball with nearly opposite contacts."""

STRAIGHT_COSINE: Final = float(np.cos(np.radians(174.0)))
"""Contacts further apart than this lie straight opposite: their distance is the thickness."""

BALLS_ABOUT: Final = 8
"""Balls that grew from near a point and are compared; the one that comes nearest to it counts."""

BLUNT: Final = 0.6
"""An edge whose formula gives less depth lost than this, over the diameter of the ball, is not
measured: it loses less than its limit."""

RIM_REACH: Final = 0.75
"""A sample measures the loss at edges of its facet that are nearer than this, in spacings."""


@dataclass(frozen=True)
class LocalWalls:
    """The wall at each sample.

    Parameters
    ----------
    thickness : (n,) float64
        Of the wall that the sample belongs to, mm: exact where it is under the largest limit,
        else the diameter of its own ball; inf where it lies beside an edge of something sound;
        nan where nothing was measured.
    diameter : (n,) float64
        Of the ball that measures it, mm: where both sides just touch, the thickness; a ball that
        stopped a little off the middle is smaller.
    centres : (n, 3) float64
        Its centre.
    ends : (n, 2, 3) float64
        Where the wall's two sides touch that ball.
    own : (n,) bool
        Whether it is the sample's own ball, with nearly opposite contacts.
    edge_limit : (n,) float64
        Depth that an edge there may lose, mm: a bead, or a floor where it lies nearly level.
    edge_centres : (n, 3) float64
        Centre of the ball of that size that grew from there.
    edge_whole : (n,) float64
        Depth that a ball of that size would not reach if the edge were sharp to its end, mm.
    edge_loss : (n,) float64
        Depth of the edge beside the sample that it does not reach, mm.
    """

    thickness: Floats
    diameter: Floats
    centres: Floats
    ends: Floats
    own: Mask
    edge_limit: Floats
    edge_centres: Floats
    edge_whole: Floats
    edge_loss: Floats

    @property
    def directions(self) -> Floats:
        """Unit vectors across the wall, (n, 3)."""
        between = self.ends[:, 0] - self.ends[:, 1]
        length = np.linalg.norm(between, axis=1, keepdims=True)
        unit: Floats = np.divide(between, length, out=np.zeros_like(between), where=length > 0.0)
        return unit


def local_walls(
    surface: Surface,
    samples: ThicknessSamples,
    printer: Printer,
    limits: WallLimits,
    spacing_mm: float,
    *,
    grow: bool = True,
) -> LocalWalls:
    """Find the wall that each sample belongs to.

    Parameters
    ----------
    surface : Surface
        The green part, print frame.
    samples : ThicknessSamples
        Its measured samples.
    printer, limits : Printer, WallLimits
        Which thickness walls need.
    spacing_mm : float
        Spacing of the samples.
    grow : bool
        Whether balls grow; in a heap of loose facets nothing stops them.

    Returns
    -------
    LocalWalls
        One row for each sample.
    """
    exist, floor = limits.exist_mm(printer), limits.floor_mm(printer)
    largest = max(limits.sound_mm(printer), floor)
    half = 0.5 * samples.thickness
    centres = samples.points - half[:, None] * samples.normals
    ends = np.stack([samples.points, samples.contacts], axis=1)
    chord = np.linalg.norm(samples.contacts - samples.points, axis=1)
    measured = (samples.status == Status.MEASURED) | (samples.status == Status.EDGE)
    thickness = np.where(measured, samples.thickness, np.nan)
    diameter = thickness.copy()
    own = samples.is_wall & (chord >= OPPOSITE_SHARE * samples.thickness)
    count = len(thickness)
    level = np.abs(ends[:, 0, 2] - ends[:, 1, 2]) >= FLAT_COSINE * chord
    edge_limit = np.where(level, floor, exist)
    edge_centres, edge_whole, edge_loss = centres.copy(), np.zeros(count), np.zeros(count)
    # A ball at an edge measures no wall until it has grown.
    thickness[measured & ~own] = np.inf
    grows = np.flatnonzero(measured & ~own & (samples.thickness < largest - MARGIN_MM))
    if not (grow and len(grows)):
        return LocalWalls(
            thickness, diameter, centres, ends, own, edge_limit, edge_centres, edge_whole, edge_loss
        )
    goals = np.unique((np.array([exist, floor, largest]) - MARGIN_MM) / 2.0)
    goals = goals[goals > 0.0]
    starts = centres[grows] - surface.middle
    grown = grown_balls(surface.tree, starts, half[grows], goals)
    stopped = np.isnan(grown.passed[:, -1, 0])
    stays = grows[stopped]
    diameter[stays] = 2.0 * grown.radius[stopped]
    thickness[stays] = _across(grown.centres[stopped], grown.ends[stopped], grown.radius[stopped])
    centres[stays] = grown.centres[stopped] + surface.middle
    ends[stays] = grown.ends[stopped] + surface.middle
    goal = np.searchsorted(goals, (edge_limit[grows] - MARGIN_MM) / 2.0)
    goal = np.minimum(goal, len(goals) - 1)
    reached = grown.passed[np.arange(len(grows)), goal]
    size = goals[goal]
    # The rim of a thin wall is compared with the wall's own ball.
    short = np.isnan(reached[:, 0])
    reached = np.where(short[:, None], grown.centres, reached)
    size = np.where(short, grown.radius, size)
    edge_centres[grows] = reached + surface.middle
    edge_whole[grows] = 2.0 * size * _loss_share(starts, half[grows], reached, size)
    sharp = short | (edge_whole[grows] > BLUNT * 2.0 * size)
    edge_loss[grows[sharp]] = _beyond(
        surface, samples, grows[sharp], reached[sharp], size[sharp], spacing_mm
    )
    return LocalWalls(
        thickness, diameter, centres, ends, own, edge_limit, edge_centres, edge_whole, edge_loss
    )


def _loss_share(starts: Floats, radius: Floats, ends: Floats, size: Floats) -> Floats:
    """Depth that an opening takes off a sharp edge, over the diameter of the opening ball, (n,).

    Where faces, or the sides of a cone, meet at the angle a, the radius of a ball that moves away
    from the edge grows by ``sin(a/2)`` per distance, and the depth is ``(1 / sin(a/2) - 1) / 2``
    of the diameter.
    """
    between = np.linalg.norm(ends - starts, axis=1)
    half_sine = np.divide(size - radius, between, out=np.ones_like(between), where=between > 0.0)
    half_sine = np.clip(half_sine, OPPOSITE_RATE / 2.0, 1.0)
    share: Floats = 0.5 * (1.0 / half_sine - 1.0)
    return share


def _across(centres: Floats, ends: Floats, radius: Floats) -> Floats:
    """Distance between contacts that lie straight opposite, else the ball's diameter, (n,) mm."""
    one, other = ends[:, 0] - centres, ends[:, 1] - centres
    lengths = np.linalg.norm(one, axis=1) * np.linalg.norm(other, axis=1)
    cosine = np.einsum("ij,ij->i", one, other) / np.maximum(lengths, np.finfo(np.float64).tiny)
    chord = np.linalg.norm(one - other, axis=1)
    return np.where(cosine <= STRAIGHT_COSINE, np.maximum(chord, 2.0 * radius), 2.0 * radius)


def _beyond(
    surface: Surface,
    samples: ThicknessSamples,
    which: Ints,
    centres: Floats,
    radius: Floats,
    spacing_mm: float,
) -> Floats:
    """How far the surface about each sample lies beyond all balls near it, (n,) mm.

    Measured at the sample, at the nearest points of its facet's edges, where rims are, and at
    the corners of the facet, where tips are.
    """
    if not len(which):
        return np.empty(0)
    points = samples.points[which] - surface.middle
    corners = surface.tree.corners[samples.facets[which]]
    tree = cKDTree(points)
    near = min(BALLS_ABOUT, len(points))

    def beyond(places: Floats) -> Floats:
        _, about = tree.query(places, k=range(1, near + 1), workers=-1)
        away = np.linalg.norm(places[:, None] - centres[about], axis=2) - radius[about]
        least: Floats = away.min(axis=1)
        return least

    furthest = beyond(points)
    for k in range(3):
        start, between = corners[:, k], corners[:, (k + 1) % 3] - corners[:, k]
        square = np.maximum(np.einsum("ij,ij->i", between, between), np.finfo(np.float64).tiny)
        share = np.clip(np.einsum("ij,ij->i", points - start, between) / square, 0.0, 1.0)
        for places, reach in (
            (start + share[:, None] * between, RIM_REACH * spacing_mm),
            (start, spacing_mm),
        ):
            close = np.flatnonzero(np.linalg.norm(places - points, axis=1) < reach)
            if len(close):
                furthest[close] = np.maximum(furthest[close], beyond(places[close]))
    return furthest
