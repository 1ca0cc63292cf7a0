"""Shrinkage along an axis: fired length against green length, coupon by coupon.

Each coupon has its own line, ``fired = (1 - s) green + intercept``; the coupons' lines differ by
part and by firing, and their values at one green length are analysed by `firings`. A line
through the origin is the physics (bead spread is in both lengths already); the intercept is
kept only where the data insist, because in Z some filaments shrink more the taller the part.

Errors of the green reading flatten the slope by the caliper's variance over the variance of
the lengths, a few parts per million for a caliper of 0.02 mm; they are left in.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from shrinkrule.calibration.statistics.departure import departure
from shrinkrule.calibration.statistics.firings import FiringScatter, firing_scatter
from shrinkrule.calibration.statistics.regression import Line, fit_line, fit_ray
from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.physics.estimate import Estimates

INTERCEPT_CONFIDENCE: Final = 0.95
"""Confidence from which an intercept is kept: keeping one wrongly widens the interval, dropping one
wrongly falsifies it."""

DIFFERENCE_CONFIDENCE: Final = 0.99
"""Confidence from which X and Y count as different; each fit asks some five such questions."""


@dataclass(frozen=True)
class AxisFit:
    """Lines of all coupons along one axis (or two pooled), and what they predict.

    Parameters
    ----------
    lines : Line
        One line for each coupon; fields ``(..., c)``.
    firing : (c,) int
        Number of the firing that each coupon was in.
    residual_variance : (...) float
        Variance of one fired length about its coupon's line, mm2.
    residual_dof : (...) float
        Its degrees of freedom.
    intercept : Estimates
        The intercept when it is left free, mm; kept in ``lines`` where ``has_intercept``.
    has_intercept : (...) bool
        Whether the lines are free of the origin.
    centre_mm : float
        Sum of squares over sum of the green lengths, where height and intercept of a line are
        uncorrelated: shrinkage is stated for this length.
    """

    lines: Line
    firing: Ints
    residual_variance: Floats
    residual_dof: Floats
    intercept: Estimates
    has_intercept: Mask
    centre_mm: float

    def scatter_at(self, green_mm: ArrayLike) -> FiringScatter:
        """Collect the fired length at a green length over coupons and firings, mm."""
        green = np.asarray(green_mm, dtype=np.float64)
        return firing_scatter(self.lines.at(green[..., None]), self.firing)

    def fired_mm(self, green_mm: ArrayLike) -> Floats:
        """Predict the fired length of a green length, mm."""
        return self.scatter_at(green_mm).mean

    def green_mm(self, fired_mm: ArrayLike) -> Floats:
        """Green length that gives a fired length, mm."""
        intercept = self.fired_mm(0.0)
        slope = self.fired_mm(1.0) - intercept
        return np.asarray((np.asarray(fired_mm) - intercept) / slope)

    def mean_u_mm(self, green_mm: ArrayLike) -> Floats:
        """Give the standard uncertainty of the expected fired length, mm."""
        if self.firing.size > 1:
            return np.sqrt(self.scatter_at(green_mm).mean_variance)
        return np.sqrt(self.residual_variance * self._line_unit_variance_at(green_mm))

    def _line_unit_variance_at(self, green_mm: ArrayLike) -> Floats:
        """Variance (..., c) of each coupon's line at a length, for a residual variance of 1."""
        green = np.asarray(green_mm, dtype=np.float64)
        return np.asarray(self.lines.unit_variance_at(green[..., None]).mean(axis=-1))

    def shrinkage_at(self, green_mm: ArrayLike) -> Floats:
        """Shrinkage of a green length as a fraction of it."""
        return 1.0 - self.fired_mm(green_mm) / np.asarray(green_mm, dtype=np.float64)


def fit_axis(
    green_mm: ArrayLike,
    fired_mm: ArrayLike,
    firing: ArrayLike,
    weight: ArrayLike | None = None,
    reading_variance: float = 0.0,
    bent: Mask | None = None,
) -> AxisFit:
    """Fit every coupon's fired lengths against its green lengths.

    Parameters
    ----------
    green_mm, fired_mm : (..., c, m) float
        Lengths of ``m`` features on ``c`` coupons.
    firing : (c,) int
        Number of the firing that each coupon was in.
    weight : (..., c, m) float, optional
        1 for a measured feature, 0 for a missing one; all measured by default.
    reading_variance : float
        Variance in mm2 that the caliper alone gives; the residual variance is at least this.
    bent : (...) bool, optional
        Whether the intercept is kept, where that is known already; else the data decide.

    Returns
    -------
    AxisFit
        The lines of all coupons.
    """
    green = np.asarray(green_mm, dtype=np.float64)
    w = np.ones_like(green) if weight is None else np.asarray(weight, dtype=np.float64)
    free, bound = fit_line(green, fired_mm, w), fit_ray(green, fired_mm, w)
    free_variance, free_dof = _pooled(free, reading_variance)
    bound_variance, bound_dof = _pooled(bound, reading_variance)
    intercept = departure(
        free.intercept, free.intercept_unit_variance * free_variance[..., None], free_dof
    )
    keep = intercept.is_significant(INTERCEPT_CONFIDENCE) if bent is None else bent
    measured = np.where(w > 0.0, green, 0.0)
    return AxisFit(
        lines=_chosen(keep[..., None], free, bound),
        firing=np.asarray(firing, dtype=np.int64),
        residual_variance=np.where(keep, free_variance, bound_variance),
        residual_dof=np.where(keep, free_dof, bound_dof),
        intercept=intercept,
        has_intercept=keep,
        centre_mm=float((measured**2).sum() / measured.sum()),
    )


def axis_difference(first: AxisFit, second: AxisFit) -> Estimates:
    """Shrinkage along the second axis less that along the first, at their mean length.

    Parameters
    ----------
    first, second : AxisFit
        Fits of the same coupons along two axes.

    Returns
    -------
    Estimates
        The difference, with the yardstick of both fits.
    """
    at = 0.5 * (first.centre_mm + second.centre_mm)
    values = (first.lines.at(at) - second.lines.at(at)) / at
    variances = [
        fit.lines.unit_variance_at(at) * fit.residual_variance[..., None] / at**2
        for fit in (first, second)
    ]
    return departure(values, variances[0] + variances[1], first.residual_dof + second.residual_dof)


def mean_of_axes(first: AxisFit, second: AxisFit) -> AxisFit:
    """Fit of the middle between two axes that differ, where pooling would blur both.

    Parameters
    ----------
    first, second : AxisFit
        Fits of the same coupons along two axes.

    Returns
    -------
    AxisFit
        Lines halfway between the two.
    """
    dof = first.residual_dof + second.residual_dof
    variance = (
        first.residual_variance * first.residual_dof
        + second.residual_variance * second.residual_dof
    ) / dof
    a, b = first.lines, second.lines
    lines = Line(
        slope=0.5 * (a.slope + b.slope),
        intercept=0.5 * (a.intercept + b.intercept),
        slope_unit_variance=0.25 * (a.slope_unit_variance + b.slope_unit_variance),
        intercept_unit_variance=0.25 * (a.intercept_unit_variance + b.intercept_unit_variance),
        unit_covariance=0.25 * (a.unit_covariance + b.unit_covariance),
        residual_sum=a.residual_sum + b.residual_sum,
        dof=a.dof + b.dof,
    )
    return AxisFit(
        lines=lines,
        firing=first.firing,
        residual_variance=variance,
        residual_dof=dof,
        intercept=Estimates(
            0.5 * (first.intercept.value + second.intercept.value),
            0.5 * np.hypot(first.intercept.u, second.intercept.u),
            np.minimum(first.intercept.dof, second.intercept.dof),
        ),
        has_intercept=first.has_intercept | second.has_intercept,
        centre_mm=0.5 * (first.centre_mm + second.centre_mm),
    )


def _pooled(lines: Line, reading_variance: float) -> tuple[Floats, Floats]:
    """Residual variance (...) of all lines, at least the reading's, and its degrees of freedom."""
    dof = lines.dof.sum(axis=-1)
    return np.maximum(lines.residual_sum.sum(axis=-1) / dof, reading_variance), dof


def _chosen(keep: Mask, free: Line, bound: Line) -> Line:
    """Take the free line where ``keep``, the one through the origin elsewhere."""
    return Line(
        *(
            np.where(keep, getattr(free, field.name), getattr(bound, field.name))
            for field in fields(Line)
        )
    )
