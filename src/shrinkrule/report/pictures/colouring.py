"""What the colours of a picture mean: values on a surface, and the steps that colours stand for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.report.pictures.camera import Camera

GREY: Final = np.array([0.72, 0.72, 0.72])
"""Colour of a surface about which nothing is said."""

PALE_GREY: Final = np.array([0.93, 0.93, 0.93])
"""Stripes in it where a value is not known: no step of a scale has stripes."""

STRIPE: Final = 5.0
"""Width of a stripe in pixels."""


@dataclass(frozen=True)
class Scale:
    """Steps of a value and their colours.

    Parameters
    ----------
    bounds : (k,) float64
        Limits between colours, rising.
    colours : (k + 1, 3) float64
        Colour, 0 to 1, below the first limit, between limits, and above the last.
    """

    bounds: Floats
    colours: Floats

    def of(self, values: Floats, places: Floats, camera: Camera) -> Floats:
        """Colours (m, 3) of values (m,); where one is nan, stripes run across the picture."""
        colours = self.colours[np.digitize(values, self.bounds)]
        unknown = np.flatnonzero(~np.isfinite(values))
        across = places[unknown] @ (camera.right + camera.up)
        stripe = np.floor(across / (1.5 * STRIPE * camera.mm_per_pixel)) % 2.0 == 0.0
        colours[unknown] = np.where(stripe[:, None], GREY, PALE_GREY)
        return colours


@dataclass(frozen=True)
class Colouring:
    """Values on points of the surface and the colours that stand for them.

    Parameters
    ----------
    points, normals : (n, 3) float64
        Where values are known, mm, and which way the surface faces there.
    reach_mm : float
        How far a value may be fetched before it is better taken from a differently
        facing surface; a few sample spacings.
    values : (n,) float64
        Values there; nan is drawn in grey stripes.
    bounds : (k,) float64
        Limits between colours, rising.
    colours : (k + 1, 3) float64
        Colour, 0 to 1, below the first limit, between limits, and above the last.
    """

    points: Floats
    normals: Floats
    reach_mm: float
    values: Floats
    bounds: Floats
    colours: Floats

    def at(self, places: Floats, facing: Floats, facets: Ints, camera: Camera) -> Floats:
        """Colours (m, 3) at places (m, 3) of surfaces that face so: of the nearest value.

        Near means in place and in facing together, so that a colour does not spill
        round an edge.
        """
        values = np.full(len(places), np.nan)
        if len(self.points):
            _, nearest = self.tree.query(np.hstack([places, self.reach_mm * facing]))
            values = self.values[nearest]
        return Scale(self.bounds, self.colours).of(values, places, camera)

    @cached_property
    def tree(self) -> cKDTree:
        """Look-up of the points by place and facing."""
        return cKDTree(np.hstack([self.points, self.reach_mm * self.normals]))

    def grown(self) -> Colouring:
        """Build the look-up tree now, before threads ask for it, and return itself."""
        if len(self.points):
            _ = self.tree
        return self


@dataclass(frozen=True)
class Computed:
    """Values that are known everywhere on the surface, and the colours that stand for them.

    Parameters
    ----------
    values : callable
        Gives the values (m,) at places (m, 3), mm, of facets (m,).
    bounds, colours : (k,) float64, (k + 1, 3) float64
        As in a :class:`Colouring`.
    """

    values: Callable[[Floats, Ints], Floats]
    bounds: Floats
    colours: Floats

    def at(self, places: Floats, facing: Floats, facets: Ints, camera: Camera) -> Floats:
        """Colours (m, 3) at places (m, 3) of facets (m,)."""
        return Scale(self.bounds, self.colours).of(self.values(places, facets), places, camera)

    def grown(self) -> Computed:
        """Return itself: there is nothing to build."""
        return self
