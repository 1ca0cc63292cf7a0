"""Which thin samples belong to a pin: something thin in two directions.

Rays from the centre of a thin wall's ball, square to the thickness, measure how wide the part is
there. A wall is wide in every such direction. A wire, a strut or a pin has a direction in which it
is about as narrow as the ball.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.mesh import Rays
from shrinkrule.numerics.arrays import Floats, Mask

MOST_PROBES: Final = 4000
"""Samples from which rays are cast, at most; the others take the answer of the nearest of them."""

STRIP: Final = 2.2
"""Width over thickness up to which something is a pin, not a wall."""

WAYS: Final = 12
"""Directions in which rays are cast: the least width is measured 1 % too large at most."""

ABOUT: Final = 2.5
"""Most samples within this distance, in thicknesses, must lie on a pin: a wall's corner is none."""

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
    """Separate pins from walls.

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

    Returns
    -------
    Pins
        For all n samples.
    """
    count = len(centres)
    probes = np.unique(np.linspace(0, count - 1, min(count, MOST_PROBES)).astype(np.int64))
    width = _narrowest_way(rays, centres[probes], directions[probes])
    is_pin = _most_about(centres[probes], thickness[probes], width < STRIP * thickness[probes])
    largest = thickness[probes].copy()
    on_pin = np.flatnonzero(is_pin)
    size = thickness[probes[on_pin]]
    # Beside a flaw of the mesh, measured as next to nothing, lies the pin's own ball.
    size = np.maximum(size, 0.5 * np.median(size)) if len(size) else size
    beside = cKDTree(centres).query_ball_point(centres[probes[on_pin]], NEAR * size, workers=-1)
    largest[on_pin] = [thickness[found].max() for found in beside]
    _, probe = cKDTree(centres[probes]).query(centres, workers=-1)
    return Pins(is_pin[probe], largest[probe])


def _most_about(centres: Floats, thickness: Floats, flags: Mask) -> Mask:
    """Whether most samples about each one have the flag, (n,) bool."""
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
    """Least width (n,) of the part, mm, among all directions square to the given ones (n, 3)."""
    least = np.eye(3)[np.abs(directions).argmin(axis=1)]
    one = np.cross(directions, least)
    one /= np.maximum(np.linalg.norm(one, axis=1, keepdims=True), np.finfo(np.float64).tiny)
    other = np.cross(directions, one)
    turns = np.arange(WAYS) * (np.pi / WAYS)
    turned = np.cos(turns)[:, None] * one[:, None] + np.sin(turns)[:, None] * other[:, None]
    turned = turned.reshape(-1, 3)
    starts = np.repeat(centres - rays.middle, WAYS, axis=0)
    ahead, _ = rays.cast(starts, turned)
    back, _ = rays.cast(starts, -turned)
    narrowest: Floats = (ahead + back).reshape(-1, WAYS).min(axis=1)
    return narrowest
