"""Control charts of the firings: each by itself, and their exponentially weighted moving average.

A firing beyond three standard deviations is one firing gone wrong. The moving average tells what
stays: a furnace or a filament that drifts. Its alarm is the only one, so that false ones are rare:
with the weight and width below, a row that holds gives one in 500 firings along one direction, and
a step of two standard deviations is found after 3.6 on average (J. M. Lucas, M. S. Saccucci,
Technometrics 32 (1990) 1-12, table of run lengths for a weight of 0.25).

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (individuals) and 6.3.2.4 (EWMA).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

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


def known_limits(centre: float, sd: float) -> Limits:
    """Limits of single values whose standard deviation is known.

    Parameters
    ----------
    centre, sd : float
        Mean and standard deviation.

    Returns
    -------
    Limits
        The centre, and three standard deviations to each side.
    """
    return Limits(centre, centre - ALONE * sd, centre + ALONE * sd)


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


def moving_average_limits(
    centre: float, sd: float, weight: float = WEIGHT, width: float = WIDTH
) -> Limits:
    """Limits of the moving average of values whose standard deviation is known.

    Parameters
    ----------
    centre, sd : float
        Mean and standard deviation of single values.
    weight, width : float
        Of the average, and of its limits in its own standard deviations.

    Returns
    -------
    Limits
        Those that hold after many values.
    """
    reach = width * sd * (weight / (2.0 - weight)) ** 0.5
    return Limits(centre, centre - reach, centre + reach)
