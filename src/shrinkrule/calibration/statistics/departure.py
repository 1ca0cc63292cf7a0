"""A quantity that should be zero, judged by several coupons."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from shrinkrule.physics.estimate import Estimates

COUPONS_FOR_OWN_SCATTER: Final = 3
"""From so many coupons on, their own scatter is a yardstick too, beside the lines' residuals."""


def departure(values: ArrayLike, variances: ArrayLike, residual_dof: ArrayLike) -> Estimates:
    """Mean of a quantity over coupons, against zero.

    The yardstick is the residuals of the lines, or the coupons' own scatter where that is larger.

    Parameters
    ----------
    values : (..., c) float
        One value for each coupon.
    variances : (..., c) float
        Variance of each value by the residuals of the lines.
    residual_dof : (...) float
        Degrees of freedom of those residuals.

    Returns
    -------
    Estimates
        Their mean, its uncertainty and degrees of freedom.
    """
    values = np.asarray(values, dtype=np.float64)
    coupons = values.shape[-1]
    mean = values.mean(axis=-1)
    variance = np.asarray(variances, dtype=np.float64).mean(axis=-1) / coupons
    dof = np.broadcast_to(np.asarray(residual_dof, dtype=np.float64), mean.shape)
    if coupons >= COUPONS_FOR_OWN_SCATTER:
        own = values.var(axis=-1, ddof=1) / coupons
        dof = np.where(own > variance, coupons - 1.0, dof)
        variance = np.maximum(own, variance)
    return Estimates(mean, np.sqrt(variance), dof)
