"""What wall each sample belongs to, and what an edge loses there.

Where two faces hold the ball of a sample nearly opposite, the ball is the wall. Everywhere else
(on rims, beside edges, on bevels, round tips and the sides of a square pin) the ball is let
grow: what holds it then is the wall that the sample belongs to, and where nothing holds it up
to the largest limit the sample lies on something sound. An edge that is sharp is the only
thing that loses depth there: as much as a ball of one bead that grew from it stays away.
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
"""Chord over diameter of a ball that two faces hold nearly opposite, at least."""

STRAIGHT_COSINE: Final = float(np.cos(np.radians(174.0)))
"""Two contacts this far apart lie straight across: the way between them is the wall."""

BALLS_ABOUT: Final = 8
"""Balls that grew from near a spot; the one that comes nearest to it counts."""

BLUNT: Final = 0.6
"""Depth lost, over the diameter that opens an edge, up to which it is looked at no further."""

RIM_REACH: Final = 0.75
"""How far, in spacings, a sample looks for the rim of its own facet."""


@dataclass(frozen=True)
class LocalWalls:
    """The wall at each sample.

    Parameters
    ----------
    thickness : (n,) float64
        Of the wall that the sample belongs to, mm: exact where it is under the largest limit,
        its own ball beyond that; inf where it lies beside an edge of something sound; nan where
        nothing was measured.
    centres : (n, 3) float64
        Centre of the ball that tells it.
    ends : (n, 2, 3) float64
        Where the wall's two sides touch that ball.
    own : (n,) bool
        Whether it is the sample's own ball, held nearly opposite.
    edge_limit : (n,) float64
        What an edge there is held against, mm: a bead, or a floor where it lies nearly level.
    edge_centres : (n, 3) float64
        Centre of the ball of that size that grew from there.
    edge_whole : (n,) float64
        Depth that a ball of that size would not reach, were the edge sharp to its end, mm.
    edge_loss : (n,) float64
        Depth of the edge beside the sample that it does not reach, mm.
    """

    thickness: Floats
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
        way = self.ends[:, 0] - self.ends[:, 1]
        length = np.linalg.norm(way, axis=1, keepdims=True)
        unit: Floats = np.divide(way, length, out=np.zeros_like(way), where=length > 0.0)
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
        What walls are held against.
    spacing_mm : float
        Spacing of the samples.
    grow : bool
        Whether balls are let grow; in a heap of loose facets nothing holds them.
    """
    exist, floor = limits.exist_mm(printer), limits.floor_mm(printer)
    largest = max(limits.sound_mm(printer), floor)
    half = 0.5 * samples.thickness
    centres = samples.points - half[:, None] * samples.normals
    ends = np.stack([samples.points, samples.contacts], axis=1)
    chord = np.linalg.norm(samples.contacts - samples.points, axis=1)
    told = (samples.status == Status.MEASURED) | (samples.status == Status.EDGE)
    thickness = np.where(told, samples.thickness, np.nan)
    own = samples.is_wall & (chord >= OPPOSITE_SHARE * samples.thickness)
    count = len(thickness)
    level = np.abs(ends[:, 0, 2] - ends[:, 1, 2]) >= FLAT_COSINE * chord
    edge_limit = np.where(level, floor, exist)
    edge_centres, edge_whole, edge_loss = centres.copy(), np.zeros(count), np.zeros(count)
    # What an edge catches is no wall, and told by what it grows to.
    thickness[told & ~own] = np.inf
    grows = np.flatnonzero(told & ~own & (samples.thickness < largest - MARGIN_MM))
    if not (grow and len(grows)):
        return LocalWalls(
            thickness, centres, ends, own, edge_limit, edge_centres, edge_whole, edge_loss
        )
    goals = np.unique((np.array([exist, floor, largest]) - MARGIN_MM) / 2.0)
    goals = goals[goals > 0.0]
    grown = grown_balls(surface.tree, centres[grows] - surface.middle, half[grows], goals)
    held = np.isnan(grown.passed[:, -1, 0])
    stays = grows[held]
    thickness[stays] = _across(grown.centres[held], grown.ends[held], grown.radius[held])
    centres[stays] = grown.centres[held] + surface.middle
    ends[stays] = grown.ends[held] + surface.middle
    goal = np.searchsorted(goals, (edge_limit[grows] - MARGIN_MM) / 2.0)
    goal = np.minimum(goal, len(goals) - 1)
    reached = grown.passed[np.arange(len(grows)), goal]
    size = goals[goal]
    # A rim of what is thin itself is held against the wall's own ball.
    short = np.isnan(reached[:, 0])
    reached = np.where(short[:, None], grown.centres, reached)
    size = np.where(short, grown.radius, size)
    edge_centres[grows] = reached + surface.middle
    local = samples.points[grows] - half[grows, None] * samples.normals[grows] - surface.middle
    edge_whole[grows] = 2.0 * size * _loss_share(local, half[grows], reached, size)
    sharp = short | (edge_whole[grows] > BLUNT * 2.0 * size)
    edge_loss[grows[sharp]] = _beyond(
        surface, samples, grows[sharp], reached[sharp], size[sharp], spacing_mm
    )
    return LocalWalls(
        thickness, centres, ends, own, edge_limit, edge_centres, edge_whole, edge_loss
    )


def _loss_share(starts: Floats, radius: Floats, ends: Floats, size: Floats) -> Floats:
    """Depth that an opening takes off a sharp edge, over the diameter that opens it.

    Where faces, or the sides of a cone, meet at the angle a, a ball that moves away from the edge
    grows by ``sin(a/2)`` per way, and an opening takes ``(1 / sin(a/2) - 1) / 2`` of its diameter.
    """
    way = np.linalg.norm(ends - starts, axis=1)
    half_sine = np.divide(size - radius, way, out=np.ones_like(way), where=way > 0.0)
    half_sine = np.clip(half_sine, OPPOSITE_RATE / 2.0, 1.0)
    share: Floats = 0.5 * (1.0 / half_sine - 1.0)
    return share


def _across(centres: Floats, ends: Floats, radius: Floats) -> Floats:
    """Thickness where two contacts lie straight across, else the ball's diameter."""
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
    """How far the surface about each sample goes beyond all balls near it, mm.

    About a sample are itself and the nearest spots of its facet's edges, where rims are, and
    the corners of the facet, where tips are.
    """
    if not len(which):
        return np.empty(0)
    points = samples.points[which] - surface.middle
    corners = surface.tree.corners[samples.facets[which]]
    tree = cKDTree(points)
    near = min(BALLS_ABOUT, len(points))

    def beyond(spots: Floats) -> Floats:
        _, about = tree.query(spots, k=range(1, near + 1), workers=-1)
        away = np.linalg.norm(spots[:, None] - centres[about], axis=2) - radius[about]
        least: Floats = away.min(axis=1)
        return least

    furthest = beyond(points)
    for k in range(3):
        start, way = corners[:, k], corners[:, (k + 1) % 3] - corners[:, k]
        square = np.maximum(np.einsum("ij,ij->i", way, way), np.finfo(np.float64).tiny)
        share = np.clip(np.einsum("ij,ij->i", points - start, way) / square, 0.0, 1.0)
        for spot, reach in (
            (start + share[:, None] * way, RIM_REACH * spacing_mm),
            (start, spacing_mm),
        ):
            close = np.flatnonzero(np.linalg.norm(spot - points, axis=1) < reach)
            if len(close):
                furthest[close] = np.maximum(furthest[close], beyond(spot[close]))
    return furthest
