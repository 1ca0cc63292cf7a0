"""How much firings differ, judged by few of them: with the other axes and with what is usual.

Two or three firings that happen to agree along one axis say little about that axis: Student's
factor holds on the average, and fails for those intervals that came out narrow. An axis is judged
together with the other axes of the same coupons, and by a weakly informative prior on the standard
deviation of firings. Its heavy tail is for furnaces far worse than usual: a lighter one fails them
and holds no more where intervals are narrow. The axes share furnace and print, so that they add no
degrees of freedom; they only stand in for one another.

Source: half-Cauchy prior for the standard deviation of few groups, A. Gelman, *Bayesian Analysis* 1
(2006) 515; variances of few degrees of freedom drawn towards those of their like, G. K. Smyth,
*Stat. Appl. Genet. Mol. Biol.* 3 (2004) 3; that prior knowledge counts, JCGM 100:2008, 4.3 (Type
B). The scale: dimensions of moulded and sintered metal are typically held to 0.3 %, at best to
0.05 % (*PIM International*, Further design considerations, table 1), taken as 95 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from shrinkrule.calibration.statistics.firings import FiringScatter
from shrinkrule.numerics.arrays import Floats
from shrinkrule.physics.estimate import CONFIDENCE, t_quantile

USUAL_SD: Final = 0.0015
"""Median of the prior on the standard deviation from firing to firing, as a share of the length:
half of the 0.3 % that is typical."""

OTHERS_WEIGH: Final = 2.0
"""Degrees of freedom that the other axes' scatter weighs beside an axis's own: two other axes."""

GRID: Final = np.exp(np.linspace(np.log(0.01), np.log(300.0), 240))
"""Standard deviations over the prior's median, at which the posterior is summed."""

HALVINGS: Final = 50
"""Steps of the search for the interval: to rounding."""


def informed(
    scatters: Sequence[FiringScatter], line_variances: Sequence[float], line_dof: float
) -> tuple[FiringScatter, ...]:
    """Scatter of each axis between firings, with what the other axes and usage tell about it.

    Parameters
    ----------
    scatters : sequence of FiringScatter
        Of the axes of the same coupons, as shares of the length; single values.
    line_variances : sequence of float
        Variance of one coupon's own line by its residuals, for each axis: no firing scatters less.
    line_dof : float
        Degrees of freedom of these.

    Returns
    -------
    tuple of FiringScatter
        The same with the mean square between firings, and degrees of freedom common to all axes,
        that give the 95 % interval of the posterior; unchanged after one firing.
    """
    if scatters[0].firings < 2:
        return tuple(scatters)
    floors = np.array(line_variances) / scatters[0].coupons_per_firing
    own_dof = scatters[0].firings - 1.0
    own = np.array([float(scatter.firing_mean_square) for scatter in scatters])
    blend = _with_the_others(own, floors, own_dof)
    variance, dof = posterior(blend, floors, own_dof)
    # What the floor is unsure by, after Welch and Satterthwaite.
    dof = 1.0 / (1.0 / dof + (floors / variance) ** 2 / line_dof)
    common = float(dof.min())
    half = t_quantile(dof) * np.sqrt(variance)
    squares = (half / float(t_quantile(common))) ** 2
    return tuple(
        replace(scatter, firing_mean_square=np.asarray(square), between_dof=common)
        for scatter, square in zip(scatters, squares, strict=True)
    )


def _with_the_others(own: Floats, floors: Floats, dof: float) -> Floats:
    """Mean squares (a,), each drawn towards what the other axes show beyond their lines."""
    beyond = own - floors
    others = (beyond.sum() - beyond) / (beyond.size - 1) + floors
    others = np.maximum(others, 0.5 * floors)
    return np.asarray((OTHERS_WEIGH * others + dof * own) / (OTHERS_WEIGH + dof))


def posterior(mean_square: ArrayLike, floor: ArrayLike, dof: float) -> tuple[Floats, Floats]:
    """Variance between firings after a mean square and the prior, as a scaled inverse chi-squared.

    Parameters
    ----------
    mean_square : (...) float
        Estimate of ``sd^2 + floor``, the ``sd`` having the prior.
    floor : (...) float
        What the coupons' lines alone make of it.
    dof : float
        Its degrees of freedom.

    Returns
    -------
    variance, dof : (...) float
        Such that Student's factor times the root of the variance is the half width that holds 95 %.

    Examples
    --------
    >>> variance, dof = posterior(0.0015**2, 0.0, 500.0)
    >>> round(float(variance) ** 0.5, 5), round(float(dof), -2)
    (0.0015, 500.0)
    """
    square, least = (
        np.asarray(value, dtype=np.float64)[..., None] for value in (mean_square, floor)
    )
    sd = USUAL_SD * GRID
    variance = sd**2 + least
    # Even steps of the logarithm: the density of the standard deviation times itself.
    log = -0.5 * dof * (np.log(variance) + square / variance) - np.log1p(GRID**2) + np.log(GRID)
    weight = np.exp(log - log.max(axis=-1, keepdims=True))
    weight /= weight.sum(axis=-1, keepdims=True)
    precision = (weight / variance).sum(axis=-1)
    spread = (weight / variance**2).sum(axis=-1) - precision**2
    found = 2.0 * precision**2 / np.maximum(spread, 1e-6 * precision**2)
    low, high = np.zeros_like(precision), sd[-1] * np.full_like(precision, 10.0)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        held = (weight * special.erf(middle[..., None] / np.sqrt(2.0 * variance))).sum(axis=-1)
        low, high = (
            np.where(held < CONFIDENCE, middle, low),
            np.where(held < CONFIDENCE, high, middle),
        )
    return (high / t_quantile(found)) ** 2, found
