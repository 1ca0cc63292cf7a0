"""Plain scatter: how the deviations of one sound part vary together, by the row's own components.

The covariance has on its diagonal what the row's promise for the next part has
(:func:`shrinkrule.physics.interval.next_half_width`), term by term: the mean and the firing, which
all lengths along an axis share; the part, likewise; the length itself, all of its residual and not
what a coupon's line leaves of it, since no length is exact because others of the part are; the
offsets of bores and of heights from the plate; the sag. What the firing does is known from few
firings: its variance is drawn from the distribution that their number leaves open. Whether a hotter
firing moves the three axes together or each on its own no row says, so both are tried, and what
lies between; the one
that explains the readings better holds.

A green reading varies by no more than the fired one, over what the furnace keeps: printing is a
part of what the row saw from model to fired. Source: docs/theory-review.md.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from scipy import special

from shrinkrule.calibration import AXES, CalibrationRow, Estimate, Feature
from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.physics.estimate import t_quantile
from shrinkrule.review.readings import Deviations, sag_share

TAIL: Final = (0.001, 0.005, 0.02)
NODES: Final = 12
"""The distribution of a firing variance stands by quantiles: finer ones where the variance is much
larger than its estimate, which is what makes a firing look like a fault, then so many others."""

ENDS: Final = np.concatenate([[0.0], TAIL, np.linspace(TAIL[-1], 1.0, NODES + 1)[1:]])
PART_ENDS: Final = np.linspace(0.0, 1.0, 6)
"""Where the shares end for whose middles they stand: of the firings, and of parts within one."""

SHARES: Final = (0.1, 0.3, 0.5, 0.7, 0.9)
"""How much of what differs between single coupons is their own, where no firing held two: no row
tells, so all are equally likely."""

TOGETHER: Final = (1.0, 0.9, 0.0)
"""How axes may go together (correlations): wholly, nearly so, each on its own."""

SPREAD_SHARE: Final = 0.9
"""At most so much of the variance of single lengths is taken for that of the bead."""

MANY_DOF: Final = 1e4
"""Degrees of freedom from which a variance is taken as known."""


def variance_nodes(dof: float, ends: Floats = ENDS) -> tuple[Floats, Floats]:
    """Ratios of the true variance to its estimate, dof over chi squared, and their weights.

    Parameters
    ----------
    dof : float
        Degrees of freedom of the estimate.
    ends : (k + 1,) float64, optional
        Where the shares of the distribution end, from nought to one.

    Returns
    -------
    ratios, weights : (k,) float64
        Ratios, falling, each in the middle of its share; the shares add up to one.

    Examples
    --------
    >>> variance_nodes(float("inf"))
    (array([1.]), array([1.]))
    """
    if dof >= MANY_DOF:
        return np.ones(1), np.ones(1)
    # chdtri gives the value that chi squared exceeds with a probability.
    ratios = dof / special.chdtri(dof, 1.0 - 0.5 * (ends[1:] + ends[:-1]))
    return np.asarray(ratios), np.diff(ends)


def possible_scatter(
    deviations: Deviations, row: CalibrationRow
) -> tuple[list[list[Floats]], Floats]:
    """Covariances of the deviations of sound parts that the row's few firings leave open.

    Parameters
    ----------
    deviations : Deviations
        Of one part, or the fired ones of parts of one firing.
    row : CalibrationRow
        The row they were made by.

    Returns
    -------
    scatter : list of list of (m, m) float64
        For each way in which axes may go together, mm2.
    weights : (k,) float64
        How likely each of a way is; they add up to one.
    """
    nodes, weights = variance_nodes(min(row.along(axis).scatter.dof for axis in AXES))
    facts = [row.along(axis).scatter for axis in AXES]
    mean = np.array([one.mean_u**2 for one in facts])
    between = np.array([one.between**2 for one in facts])
    within = np.array([one.within**2 for one in facts])
    own_weights = np.ones(1)
    if not deviations.part.any():
        pairs = [(node * (mean + between), within) for node in nodes]
    elif row.coupons > row.firings:
        # Means of firings hold a share of what is their coupons' own; `within` is the rest of it.
        count = row.coupons / row.firings
        own = within * count / (count - 1.0)
        firing = np.maximum(between - own / count, 0.0) + mean
        spread, own_weights = variance_nodes(row.coupons - row.firings, PART_ENDS)
        pairs = [(node * firing, more * own) for node in nodes for more in spread]
    else:
        own_weights = np.full(len(SHARES), 1.0 / len(SHARES))
        pairs = [
            (node * (mean + (1.0 - share) * between), node * share * between)
            for node in nodes
            for share in SHARES
        ]
    rest = _of_the_rest(deviations, row)
    found = [_of_the_furnace(deviations, firing, part) + rest for firing, part in pairs]
    scatter = [[each[way] for each in found] for way in range(len(TOGETHER))]
    return scatter, np.outer(weights, own_weights).ravel()


def plain_scatter(
    deviations: Deviations, row: CalibrationRow, firing: Floats, part: Floats
) -> Floats:
    """Covariance of the deviations of sound parts.

    Parameters
    ----------
    deviations : Deviations
        Of one part, or the fired ones of parts of one firing: these have in common what the firing
        gives and what the row leaves unsure; what is a part's own, they have not.
    row : CalibrationRow
        The row they were made by.
    firing, part : (3,) float64
        Variance along X, Y and Z of the next firing, and of a part in it, as shares of the green
        length.

    Returns
    -------
    (w, m, m) float64
        For each way in which axes may go together, mm2.
    """
    return _of_the_furnace(deviations, firing, part) + _of_the_rest(deviations, row)


def _of_the_furnace(deviations: Deviations, firing: Floats, part: Floats) -> Floats:
    """What firing and part give, for each way in which axes go together."""
    length = deviations.length_mm / _stage(deviations)
    same_axis = deviations.axis[:, None] == deviations.axis[None]
    same_part = deviations.part[:, None] == deviations.part[None]
    axes = deviations.axis
    whole = _outer(np.sqrt(firing)[axes] * length) + same_part * _outer(
        np.sqrt(part)[axes] * length
    )
    ways = np.where(same_axis, 1.0, np.array(TOGETHER)[:, None, None])
    return np.asarray(ways * (whole * _same_stage(deviations)))


def _of_the_rest(deviations: Deviations, row: CalibrationRow) -> Floats:
    """All else: single lengths, readings, bend, offsets and sag."""
    residuals = np.array([row.along(axis).residual_mm for axis in AXES])
    residual = residuals[deviations.axis] / _stage(deviations)
    spread = _spread(deviations, row, residual)
    rest = np.diag(residual**2 - spread**2 + deviations.reading_variance)
    for shape in (*_bends(deviations, row), *_offsets(deviations, row), spread):
        rest = rest + _outer(shape) * _same_stage(deviations)
    return np.asarray(rest + _outer(sag_share(row.sag_modulus_kpa) * deviations.sag_mm))


def _stage(deviations: Deviations) -> Floats:
    """Fired over green length where the deviation is green, else one: fired mm over its own."""
    return np.where(deviations.is_green, deviations.kept, 1.0)


def _same_stage(deviations: Deviations) -> Mask:
    return np.asarray(deviations.is_green[:, None] == deviations.is_green[None])


def _outer(values: Floats) -> Floats:
    return np.outer(values, values)


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


def _spread(deviations: Deviations, row: CalibrationRow, residual: Floats) -> Floats:
    """What the bead of one further print may add to outsides and take from insides, mm.

    A row has the uncertainty of its coupons' mean; one print is as far from that as one of these
    coupons was. The row's scatter of single lengths holds it already, as if each had its own.
    """
    if row.bead_offset_mm is None:
        return np.zeros(len(deviations))
    spread = 2.0 * row.bead_offset_mm.u * math.sqrt(row.coupons + 1.0) * _free(deviations)
    most = math.sqrt(SPREAD_SHARE) * residual
    return np.asarray(deviations.side * np.minimum(spread * deviations.kept, most))


def _offsets(deviations: Deviations, row: CalibrationRow) -> list[Floats]:
    """Uncertainty of the printer's offsets, each common to all lengths of its kind."""
    plate = deviations.where(Feature.OUTSIDE, "z") * _wide(row.offset("z", Feature.OUTSIDE))
    tight = [_wide(row.offset("x", Feature.BORE, float(size))) for size in deviations.length_mm]
    bores = deviations.where(Feature.BORE) * np.array(tight)
    return [plate * _free(deviations), bores * _free(deviations)]


def _wide(offset: Estimate) -> float:
    """Uncertainty with the reach that Student's distribution has for few degrees of freedom, mm."""
    return offset.u * float(t_quantile(offset.dof) / t_quantile(math.inf))


def _free(deviations: Deviations) -> Floats:
    """What a mm of the fired part is here; nought where a green reading has it already."""
    return np.asarray(~deviations.on_green / _stage(deviations), np.float64)
