"""Straight lines through measured points, with everything a prediction needs.

Fired length against green length is a line; its slope, intercept, their covariance
and the residual scatter are what calibration is made of. All functions work along
the last axis, so that one call fits one coupon or ten thousand simulated ones.

Source: N. R. Draper, H. Smith, *Applied Regression Analysis*; JCGM 100:2008 (GUM), H.3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from shrinkrule.numerics.arrays import Floats


@dataclass(frozen=True)
class Line:
    """Fitted line ``y = intercept + slope x`` (arrays share the leading shape of the data).

    Parameters
    ----------
    slope, intercept : (...) float
        Coefficients; the intercept is exactly 0 for a line through the origin.
    slope_unit_variance, intercept_unit_variance, unit_covariance : (...) float
        Covariance of the coefficients for a residual variance of 1.
    residual_sum : (...) float
        Weighted sum of squared residuals.
    dof : (...) float
        Degrees of freedom of the residuals.
    """

    slope: Floats
    intercept: Floats
    slope_unit_variance: Floats
    intercept_unit_variance: Floats
    unit_covariance: Floats
    residual_sum: Floats
    dof: Floats

    @property
    def residual_sd(self) -> Floats:
        """Standard deviation of one reading of weight 1 about the line."""
        return np.sqrt(self.residual_sum / self.dof)

    @property
    def slope_u(self) -> Floats:
        """Standard uncertainty of the slope."""
        return self.residual_sd * np.sqrt(self.slope_unit_variance)

    def at(self, x: ArrayLike) -> Floats:
        """Height of the line at ``x``, broadcast against the leading shape."""
        return np.asarray(self.intercept + self.slope * np.asarray(x, dtype=np.float64))

    def unit_variance_at(self, x: ArrayLike) -> Floats:
        """Variance of the line's height at ``x`` for a residual variance of 1."""
        x = np.asarray(x, dtype=np.float64)
        return np.asarray(
            self.intercept_unit_variance
            + 2.0 * x * self.unit_covariance
            + x * x * self.slope_unit_variance
        )


def fit_line(x: ArrayLike, y: ArrayLike, weight: ArrayLike | None = None) -> Line:
    """Least-squares line with intercept along the last axis.

    Parameters
    ----------
    x, y : (..., n) float
        Points.
    weight : (..., n) float, optional
        Reciprocal variances up to one common factor; 0 leaves a point out. Ones by default.

    Returns
    -------
    Line
        The line.

    Examples
    --------
    >>> line = fit_line([0.0, 1.0, 2.0], [1.0, 3.0, 5.0])
    >>> float(line.slope), float(line.intercept)
    (2.0, 1.0)
    """
    x, y, w = _points(x, y, weight)
    total = w.sum(axis=-1)
    x_mean = (w * x).sum(axis=-1) / total
    y_mean = (w * y).sum(axis=-1) / total
    # Centred first: the raw normal equations lose half the digits (NIST Norris shows it).
    dx = x - x_mean[..., None]
    dy = y - y_mean[..., None]
    sxx = (w * dx * dx).sum(axis=-1)
    slope = (w * dx * dy).sum(axis=-1) / sxx
    residual = dy - slope[..., None] * dx
    return Line(
        slope=slope,
        intercept=y_mean - slope * x_mean,
        slope_unit_variance=1.0 / sxx,
        intercept_unit_variance=1.0 / total + x_mean**2 / sxx,
        unit_covariance=-x_mean / sxx,
        residual_sum=(w * residual**2).sum(axis=-1),
        dof=(w > 0.0).sum(axis=-1) - 2.0,
    )


def fit_ray(x: ArrayLike, y: ArrayLike, weight: ArrayLike | None = None) -> Line:
    """Least-squares line through the origin along the last axis.

    Parameters
    ----------
    x, y : (..., n) float
        Points.
    weight : (..., n) float, optional
        Reciprocal variances up to one common factor; 0 leaves a point out. Ones by default.

    Returns
    -------
    Line
        The line; its intercept is exactly 0.

    Examples
    --------
    >>> round(float(fit_ray([4.0, 5.0, 6.0], [3.0, 4.0, 4.0]).slope), 12)
    0.727272727273
    """
    x, y, w = _points(x, y, weight)
    sxx = (w * x * x).sum(axis=-1)
    slope = (w * x * y).sum(axis=-1) / sxx
    residual = y - slope[..., None] * x
    nothing = np.zeros_like(slope)
    return Line(
        slope=slope,
        intercept=nothing,
        slope_unit_variance=1.0 / sxx,
        intercept_unit_variance=nothing,
        unit_covariance=nothing,
        residual_sum=(w * residual**2).sum(axis=-1),
        dof=(w > 0.0).sum(axis=-1) - 1.0,
    )


def _points(x: ArrayLike, y: ArrayLike, weight: ArrayLike | None) -> tuple[Floats, Floats, Floats]:
    """Points and weights as arrays; a point of weight 0 may be nan."""
    x = np.asarray(x, dtype=np.float64)
    y = np.asarray(y, dtype=np.float64)
    w = np.ones_like(x) if weight is None else np.asarray(weight, dtype=np.float64)
    # A left-out point may be NaN; its weight of 0 must win over that.
    keep = w > 0.0
    x, y, w = np.broadcast_arrays(np.where(keep, x, 0.0), np.where(keep, y, 0.0), w)
    return x, y, w
