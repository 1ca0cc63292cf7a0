"""Which thin samples belong to a pin: something thin in two directions.

From the centre of a thin wall's ball, rays across it tell how far the part goes on to both
sides. In a wall it goes on far whichever way; in a wire, a strut or a pin there is a way in
which it ends about as soon as across the ball.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.mesh import Rays
from shrinkrule.numerics.arrays import Floats, Mask

MOST_PROBES: Final = 4000
"""Samples asked of at most; the others go with the one nearest to them."""

STRIP: Final = 2.2
"""Width over thickness up to which something is a pin, not a wall."""

WAYS: Final = 12
"""Ways looked at across a ball: the shortest is told 1 % too long at most."""

ABOUT: Final = 2.5
"""How far about a ball, in thicknesses, most must be of a pin."""

NEAR: Final = 0.75
"""How far along a pin, in thicknesses, the largest ball is looked for."""


class Pins(NamedTuple):
    """What is a pin, and how thick it is.

    Parameters
    ----------
    is_pin : (n,) bool
        Whether the sample belongs to one.
    thickness : (n,) float64
        Diameter of the largest ball in it there, mm.
    """

    is_pin: Mask
    thickness: Floats


def find_pins(rays: Rays, centres: Floats, directions: Floats, thickness: Floats) -> Pins:
    """Tell pins from walls.

    Parameters
    ----------
    rays : Rays
        Of the part.
    centres : (n, 3) float64
        Centres of the balls of thin samples, mm.
    directions : (n, 3) float64
        Unit vectors across the wall there.
    thickness : (n,) float64
        Diameters of the balls, mm.
    """
    count = len(centres)
    probes = np.unique(np.linspace(0, count - 1, min(count, MOST_PROBES)).astype(np.int64))
    width = _narrowest_way(rays, centres[probes], directions[probes])
    is_pin = _most_about(centres[probes], thickness[probes], width < STRIP * thickness[probes])
    largest = thickness[probes].copy()
    pinned = np.flatnonzero(is_pin)
    size = thickness[probes[pinned]]
    # A flaw of the mesh, told as next to nothing, has the pin's own ball beside it.
    size = np.maximum(size, 0.5 * np.median(size)) if len(size) else size
    beside = cKDTree(centres).query_ball_point(centres[probes[pinned]], NEAR * size, workers=-1)
    largest[pinned] = [thickness[found].max() for found in beside]
    _, probe = cKDTree(centres[probes]).query(centres, workers=-1)
    return Pins(is_pin[probe], largest[probe])


def _most_about(centres: Floats, thickness: Floats, flags: Mask) -> Mask:
    """Whether most of what lies about each probe has the flag: the corner of a wall is no pin."""
    if not flags.any() or flags.all():
        return flags
    tree = cKDTree(centres)
    reach = ABOUT * thickness
    about = tree.query_ball_point(centres, reach, workers=-1, return_length=True)
    with_flag = cKDTree(centres[flags]).query_ball_point(
        centres, reach, workers=-1, return_length=True
    )
    most: Mask = 2 * with_flag > about
    return most


def _narrowest_way(rays: Rays, centres: Floats, directions: Floats) -> Floats:
    """Least way (n,) through the part, mm, of all that are square to a direction."""
    least = np.eye(3)[np.abs(directions).argmin(axis=1)]
    one = np.cross(directions, least)
    one /= np.maximum(np.linalg.norm(one, axis=1, keepdims=True), np.finfo(np.float64).tiny)
    other = np.cross(directions, one)
    turns = np.arange(WAYS) * (np.pi / WAYS)
    ways = np.cos(turns)[:, None] * one[:, None] + np.sin(turns)[:, None] * other[:, None]
    ways = ways.reshape(-1, 3)
    starts = np.repeat(centres - rays.middle, WAYS, axis=0)
    ahead, _ = rays.cast(starts, ways)
    back, _ = rays.cast(starts, -ways)
    narrowest: Floats = (ahead + back).reshape(-1, WAYS).min(axis=1)
    return narrowest
