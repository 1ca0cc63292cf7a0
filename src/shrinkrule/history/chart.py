"""Control charts of the firings: each by itself, and their exponentially weighted moving average.

A firing beyond three standard deviations is one firing gone wrong. The moving average tells what
stays: a furnace or a filament that drifts. Its alarm is the only one, so that false ones are rare:
with the weight and width below, a row that holds gives one in 500 firings along one direction, and
a step of two standard deviations is found after 3.6 on average (J. M. Lucas, M. S. Saccucci,
Technometrics 32 (1990) 1-12, table of run lengths for a weight of 0.25). A row that stands on few
firings does not know its centre and its deviation; by limits that take them as known, every other
such row would drift within fifty firings. Its limits are as much wider as Student's distribution
says, and narrow as the row learns.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals) and 6.3.2.4 (EWMA).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, stdtrit

from shrinkrule.numerics.arrays import Floats

FEWEST_FIRINGS: Final = 8
"""Firings that a chart needs before it says anything."""

WEIGHT: Final = 0.25
WIDTH: Final = 2.998
"""Weight of the newest firing in the moving average, and its limits in standard deviations."""

ALONE: Final = 3.0
"""Limits of one firing, in standard deviations."""


@dataclass(frozen=True)
class Limits:
    """Centre and limits of a chart."""

    centre: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Components:
    """What a row knows of its firings.

    Parameters
    ----------
    centre, sd : float
        Mean of the firings, and their standard deviation about it.
    centre_u : float
        Standard uncertainty of the mean.
    dof : float
        Degrees of freedom of the standard deviation; infinite where it is known.
    """

    centre: float
    sd: float
    centre_u: float = 0.0
    dof: float = math.inf

    def limits(self, width: float, share: float = 1.0) -> Limits:
        """Limits that a value crosses by chance as rarely as a known one does ``width`` deviations.

        Parameters
        ----------
        width : float
            In standard deviations.
        share : float
            Variance of the value over that of a single firing.

        Returns
        -------
        Limits
            By Student's distribution, the uncertainty of the centre taken in: a row of few firings
            has wide ones, for it does not know better.
        """
        if math.isfinite(self.dof):
            width = float(stdtrit(self.dof, ndtr(width)))
        reach = width * math.sqrt(share * self.sd**2 + self.centre_u**2)
        return Limits(self.centre, self.centre - reach, self.centre + reach)


def known_limits(row: Components) -> Limits:
    """Limits of single firings.

    Parameters
    ----------
    row : Components
        Of the row.

    Returns
    -------
    Limits
        The centre, and three standard deviations to each side.
    """
    return row.limits(ALONE)


def moving_average(values: ArrayLike, centre: float, weight: float = WEIGHT) -> Floats:
    """Exponentially weighted moving average, from the centre on.

    Parameters
    ----------
    values : (..., n) float
        Values in their order.
    centre : float
        What it begins with.
    weight : float
        Weight of the newest value, 0 to 1.

    Returns
    -------
    (..., n) float64
        The average after each value.
    """
    given = np.asarray(values, dtype=np.float64)
    averages = np.empty_like(given)
    last = np.full(given.shape[:-1], centre)
    for number in range(given.shape[-1]):
        last = weight * given[..., number] + (1.0 - weight) * last
        averages[..., number] = last
    return averages


def moving_average_limits(row: Components, weight: float = WEIGHT, width: float = WIDTH) -> Limits:
    """Limits of the moving average of firings.

    Parameters
    ----------
    row : Components
        Of the row.
    weight, width : float
        Of the average, and of its limits in its own standard deviations.

    Returns
    -------
    Limits
        Those that hold after many values.
    """
    return row.limits(width, weight / (2.0 - weight))
