"""A part's own dimensions, found on its facets, and the dozen that a maker would measure first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.dimensions.across import look_across
from shrinkrule.dimensions.dimension import Dimension, Kind
from shrinkrule.dimensions.lengths import lengths_between, overall_sizes
from shrinkrule.dimensions.recognition.balls import balls_of
from shrinkrule.dimensions.recognition.creases import creases_of
from shrinkrule.dimensions.recognition.cylinders import cylinders_of
from shrinkrule.dimensions.recognition.noise import coordinate_noise
from shrinkrule.dimensions.recognition.planes import faces_of
from shrinkrule.dimensions.recognition.regions import flat_regions
from shrinkrule.dimensions.recognition.surface import broad_facets, surface_of
from shrinkrule.dimensions.rounds import (
    axis_distances,
    ball_diameters,
    diameters,
    round_walls,
    straightened,
)
from shrinkrule.mesh import MovedRays, Part, Rays
from shrinkrule.units import MM_PER_UNIT

DOZEN: Final = 12
"""Dimensions that are shown first."""

SAME_MM: Final = 1e-4
"""Difference below which two lengths of exact coordinates are one."""

TURNS: Final = (
    ((Kind.BORE, Kind.BOSS, Kind.BALL), 4),
    ((Kind.WALL, Kind.INSIDE), 3),
    ((Kind.AXES,), 2),
    ((Kind.STEP, Kind.OUTSIDE, Kind.OVER_KEYWAY), 2),
    ((Kind.TO_FACE, Kind.DEPTH), 1),
)
"""How many of each kind come first, after the overall sizes; then whatever shows on most area
and is no distance of axes."""

MOST_FACETS: Final = 500_000
"""With more, only the overall sizes are given: faces are looked for in a kilobyte a facet, twice
what all else takes, and a drawn part has fewer."""

CALIPER_MM: Final = 0.3
"""Shortest length that is worth a place among the first (common practice, no source)."""


@dataclass(frozen=True)
class FoundDimensions:
    """All dimensions found on a part.

    Parameters
    ----------
    every : tuple of Dimension
        All of them, the dozen first.
    first : int
        How many come first.
    noise_mm : float
        Smallest step between the file's coordinates.
    notes : tuple of str
        What was not measured.
    """

    every: tuple[Dimension, ...]
    first: int
    noise_mm: float
    notes: tuple[str, ...]

    @property
    def dozen(self) -> tuple[Dimension, ...]:
        """What a maker would measure first."""
        return self.every[: self.first]


def find_dimensions(part: Part, rays: Rays | MovedRays | None = None) -> FoundDimensions:
    """Find the dimensions of a wanted part.

    Parameters
    ----------
    part : Part
        As read, not scaled; its surface should be closed.
    rays : Rays or MovedRays, optional
        Rays against it, where they are ready.

    Returns
    -------
    FoundDimensions
        In the model's frame.
    """
    noise = coordinate_noise(part.mesh.vertices, MM_PER_UNIT.get(part.unit, 1.0))
    broad = broad_facets(part.mesh, noise)
    if len(broad) == 0:
        return FoundDimensions((), 0, noise, ("no facet is larger than the file's rounding",))
    vertices = np.asarray(part.mesh.vertices, dtype=np.float64)
    overall = overall_sizes(vertices, np.asarray(part.mesh.faces)[broad])
    if len(broad) > MOST_FACETS:
        note = f"{len(broad)} facets are too many to find more than the overall sizes"
        return FoundDimensions(tuple(overall), len(overall), noise, (note,))
    surface = surface_of(part.mesh, noise, broad)
    regions = flat_regions(surface)
    creases = creases_of(surface, regions)
    cylinders = cylinders_of(surface, regions, creases)
    faces = faces_of(surface, regions, creases, cylinders)
    cylinders = straightened(cylinders, creases, faces, noise)
    strips = np.zeros(len(regions), dtype=np.bool_)
    for one in cylinders:
        strips[one.regions] = True
    opposite = look_across(part.mesh, surface, regions, faces, cylinders, rays)
    apart = max(SAME_MM, 2.0 * noise)
    found = [
        *overall,
        *diameters(cylinders, apart),
        *ball_diameters(balls_of(surface, regions, creases, strips), apart),
        *lengths_between(faces, opposite, apart),
        *round_walls(faces, cylinders, opposite, apart),
        *axis_distances(faces, cylinders, opposite, apart),
    ]
    found = _without_repeats(found, apart)
    first = _first(found, apart)
    chosen = {id(one) for one in first}
    others = [one for one in found if id(one) not in chosen]
    arcs = sum(not one.measurable for one in cylinders)
    notes = (f"{arcs} rounds of less than half a turn are not measured",) if arcs else ()
    return FoundDimensions((*first, *others), len(first), noise, notes)


def _same(one: Dimension, other: Dimension, apart: float) -> bool:
    """Whether two dimensions are one length along one direction."""
    if abs(one.size_mm - other.size_mm) > apart or one.is_round != other.is_round:
        return False
    return abs(sum(a * b for a, b in zip(one.direction, other.direction, strict=True))) > 1.0 - 1e-9


def _same_axis(one: Dimension, other: Dimension) -> bool:
    """Whether both say where one axis is along one direction."""
    if not one.kind is other.kind is Kind.TO_FACE:
        return False
    along = abs(sum(a * b for a, b in zip(one.direction, other.direction, strict=True)))
    return one.place == other.place and along > 1.0 - 1e-9


def _without_repeats(found: list[Dimension], apart: float) -> list[Dimension]:
    """Dimensions without walls and outside lengths that are overall sizes again.

    Also without outside lengths that are walls elsewhere.
    """
    told: list[Dimension] = []
    kept: list[Dimension] = []
    for one in found:
        if one.kind in {Kind.WALL, Kind.OUTSIDE}:
            if any(_same(one, other, apart) for other in told):
                continue
            told.append(one)
        elif one.kind is Kind.OVERALL:
            told.append(one)
        kept.append(one)
    return kept


def _first(found: list[Dimension], apart: float) -> list[Dimension]:
    """Choose the dozen: overall sizes, then each kind in its turn, no value twice."""
    chosen = [one for one in found if one.kind is Kind.OVERALL]
    able = [one for one in found if one.size_mm >= CALIPER_MM and one.weight > 0.0]
    # Of holes alike, the pitch that comes most often, and the shorter of two.
    able.sort(key=lambda one: (-float(f"{one.weight:.3g}"), -one.places, one.size_mm))

    def take(some: list[Dimension], most: int) -> None:
        for one in some:
            if most == 0 or len(chosen) == DOZEN:
                return
            if any(
                abs(one.size_mm - other.size_mm) <= apart or _same_axis(one, other)
                for other in chosen
            ):
                continue
            chosen.append(one)
            most -= 1

    for kinds, most in TURNS:
        take([one for one in able if one.kind in kinds], most)
    take([one for one in able if one.kind is not Kind.AXES], DOZEN)
    return chosen
