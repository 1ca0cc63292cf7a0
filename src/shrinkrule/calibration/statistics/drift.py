"""Drift: whether shrinkage goes one way from firing to firing.

A furnace whose thermocouple ages, or a spool that is used up, moves the shrinkage a little each
time. Named from five firings on, and never extrapolated: the row stays the mean of its firings.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from shrinkrule.calibration.statistics.regression import fit_line
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.physics.estimate import Estimate

FEWEST_FIRINGS: Final = 5
"""Firings from which a drift is named: with four, two steps up and one down pass for one."""


@dataclass(frozen=True)
class Drift:
    """How a value changes from one firing to the next, and over how many firings."""

    per_firing: Estimate
    firings: int


def drift_of(
    values: ArrayLike, firing: Ints, order: Floats | None, confidence: float
) -> Drift | None:
    """Drift of a value over firings, if they show one.

    Parameters
    ----------
    values : (c,) float
        One value for each coupon.
    firing : (c,) int
        Number of the firing that each coupon was in.
    order : (k,) float or None
        Place of each firing in time.
    confidence : float
        Confidence from which a drift counts as shown.

    Returns
    -------
    Drift or None
        The change; None where nothing is shown or there are fewer than five firings.

    Source: the slope of a least-squares line and its Student interval (N. R. Draper and
    H. Smith, *Applied Regression Analysis*).
    """
    if order is None or order.size < FEWEST_FIRINGS:
        return None
    each = np.asarray(values, dtype=np.float64)
    means = np.array([each[firing == number].mean() for number in range(order.size)])
    line = fit_line(order, means)
    slope = Estimate(float(line.slope), float(line.slope_u), float(line.dof))
    return Drift(slope, order.size) if slope.is_significant(confidence) else None
