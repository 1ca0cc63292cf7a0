"""Plain scatter: how the deviations of one sound part vary together, by the row's own components.

The covariance has on its diagonal what the row's promise for the next part has
(:func:`shrinkrule.physics.interval.next_half_width`), term by term: the mean and the firing, which
all lengths along an axis share; the part, likewise; the length itself, all of its residual and not
what a coupon's line leaves of it, since no length is exact because others of the part are; the
offsets of bores and of heights from the plate; the sag. What the firing does is known from few
firings: its variance is drawn from the distribution that their number leaves open. Whether a hotter
firing moves the three axes together or each on its own no row says, so both are tried, and the one
that explains the readings better holds.

A green reading varies by no more than the fired one, over what the furnace keeps: printing is a
part of what the row saw from model to fired. Source: docs/theory-review.md.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from scipy import special

from shrinkrule.calibration import AXES, CalibrationRow, Feature
from shrinkrule.numerics.arrays import Floats
from shrinkrule.review.readings import Deviations, sag_share

NODES: Final = 15
"""Quantiles by which the distribution of a firing variance stands."""

MANY_DOF: Final = 1e4
"""Degrees of freedom from which a variance is taken as known."""


def variance_nodes(dof: float) -> Floats:
    """Ratios of the true variance to its estimate, equally likely: dof over chi squared.

    Parameters
    ----------
    dof : float
        Degrees of freedom of the estimate.

    Returns
    -------
    (k,) float64
        Ratios, falling.

    Examples
    --------
    >>> variance_nodes(float("inf"))
    array([1.])
    """
    if dof >= MANY_DOF:
        return np.ones(1)
    share = (np.arange(NODES) + 0.5) / NODES
    # chdtri gives the value that chi squared exceeds with a probability.
    return np.asarray(dof / special.chdtri(dof, 1.0 - share))


def plain_scatter(deviations: Deviations, row: CalibrationRow) -> tuple[Floats, Floats]:
    """Covariances of the deviations of a sound part.

    Parameters
    ----------
    deviations : Deviations
        Of one part.
    row : CalibrationRow
        The row it was made by.

    Returns
    -------
    firing : (2, m, m) float64
        What the firing gives, mm2, for axes that go together and axes each on its own; the
        variance that few firings leave unsure.
    rest : (2, m, m) float64
        All else, mm2.
    """
    kept = np.where(deviations.is_green, deviations.kept, 1.0)
    length = deviations.length_mm / kept
    same_stage = deviations.is_green[:, None] == deviations.is_green[None]
    same_axis = deviations.axis[:, None] == deviations.axis[None]
    sizes = np.outer(length, length) * same_stage
    facts = [row.along(axis) for axis in AXES]
    axes = deviations.axis
    firing = np.array([math.hypot(f.scatter.mean_u, f.scatter.between) for f in facts])[axes]
    part = np.array([f.scatter.within for f in facts])[axes]
    both = np.stack([np.ones_like(same_axis), same_axis])
    rest = both * (np.outer(part, part) * sizes)
    residual = np.array([f.residual_mm for f in facts])[axes] / kept
    rest = rest + np.diag(residual**2 + deviations.reading_variance)
    for shape in (*_bends(deviations, row), *_offsets(deviations, row)):
        rest = rest + np.outer(shape, shape) * same_stage
    sag = sag_share(row.sag_modulus_kpa) * deviations.sag_mm
    return both * (np.outer(firing, firing) * sizes), rest + np.outer(sag, sag)


def _bends(deviations: Deviations, row: CalibrationRow) -> list[Floats]:
    """What may hide of a shrinkage that depends on length; X and Y have it in common."""
    found = []
    for axis, members in (("x", deviations.axis < 2), ("z", deviations.axis == 2)):
        effect = row.along("x" if axis == "x" else "z").length_effect
        if effect is None:
            continue
        bend = effect.intercept_mm.u * (1.0 - deviations.length_mm / effect.centre_mm)
        found.append(np.where(members & ~deviations.is_green, bend, 0.0))
    return found


def _offsets(deviations: Deviations, row: CalibrationRow) -> list[Floats]:
    """Uncertainty of the printer's offsets, where they are not in a green reading already."""
    free = ~deviations.on_green / np.where(deviations.is_green, deviations.kept, 1.0)
    plate = deviations.where(Feature.OUTSIDE, "z") * row.offset("z", Feature.OUTSIDE).u
    tight = [row.offset("x", Feature.BORE, float(size)).u for size in deviations.length_mm]
    bores = deviations.where(Feature.BORE) * np.array(tight)
    return [plate * free, bores * free]
