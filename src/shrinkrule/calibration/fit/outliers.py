"""Outliers among the readings: named with their size in sigmas, and left in the fit.

Residuals are divided by their own standard deviation without the suspect, the worst is set aside,
and the next is looked for, so that two slips cannot hide each other. Suspects count up to the last
one that is larger than chance allows among so many.

Source: B. Rosner, *Technometrics* 25 (1983) 165-172 (generalized extreme Studentized deviate).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from shrinkrule.calibration.fit.axis import AxisFit, fit_axis
from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.physics.estimate import t_quantile

CHANCE: Final = 0.01
"""Chance that a sheet without slips has an outlier named."""

MOST_SHARE: Final = 0.2
"""No more than this share of the readings is looked at as outliers."""


@dataclass(frozen=True)
class Outlier:
    """An outlying reading.

    Parameters
    ----------
    coupon, feature : int
        Its place in the arrays.
    residual_mm : float
        How far it is from the line of the other readings.
    sigmas : float
        That in standard deviations of a reading there.
    """

    coupon: int
    feature: int
    residual_mm: float
    sigmas: float


def find_outliers(
    green_mm: ArrayLike,
    fired_mm: ArrayLike,
    firing: ArrayLike,
    weight: ArrayLike,
    bent: Mask | None = None,
) -> tuple[Outlier, ...]:
    """Find the outliers from their coupons' lines, worst first.

    Parameters
    ----------
    green_mm, fired_mm, weight : (c, m) float
        As :func:`fit_axis`.
    firing : (c,) int
        As :func:`fit_axis`.
    bent : bool, optional
        Whether the lines keep their intercept, as in the fit that is judged: were it decided anew
        after each suspect, lines would turn between two steps and name innocent readings.

    Returns
    -------
    tuple of Outlier
        The outliers; empty if there are none.
    """
    fired = np.asarray(fired_mm, dtype=np.float64)
    kept = np.array(weight, dtype=np.float64)
    suspects: list[tuple[int, int]] = []
    counted = 0
    for step in range(int(MOST_SHARE * np.count_nonzero(kept))):
        fit = fit_axis(green_mm, fired, firing, kept, bent=bent)
        dof = float(fit.residual_dof) - 1.0
        # A coupon left with two lengths has no line of its own to be judged by.
        if dof < 1.0 or (kept > 0.0).sum(axis=1).min() < 3:
            break
        deviates = _deleted_deviates(fit, np.asarray(green_mm, dtype=np.float64), fired, kept)
        worst = np.unravel_index(int(np.argmax(deviates)), deviates.shape)
        chance = CHANCE / np.count_nonzero(kept)
        if deviates[worst] > t_quantile(dof, 1.0 - chance):
            counted = step + 1
        suspects.append((int(worst[0]), int(worst[1])))
        kept[worst] = 0.0
    for place in suspects[counted:]:
        kept[place] = 1.0
    if not counted:
        return ()
    rest = fit_axis(green_mm, fired, firing, kept, bent=bent)
    found = [
        _against(rest, np.asarray(green_mm, dtype=np.float64), fired, place)
        for place in suspects[:counted]
    ]
    return tuple(sorted(found, key=lambda outlier: -outlier.sigmas))


def _deleted_deviates(fit: AxisFit, green: Floats, fired: Floats, kept: Floats) -> Floats:
    """Residuals over their standard deviation without themselves, 0 where left out."""
    measured = np.where(kept > 0.0, green, 0.0)
    residual = np.where(kept > 0.0, fired - fit.lines.at(measured.T).T, 0.0)
    free = np.where(kept > 0.0, 1.0 - fit.lines.unit_variance_at(measured.T).T, 1.0)
    total = float(fit.residual_variance * fit.residual_dof)
    rest = np.maximum(total - residual**2 / free, 1e-12 * total)
    return np.abs(residual) / np.sqrt(free * rest / (float(fit.residual_dof) - 1.0))


def _against(fit: AxisFit, green: Floats, fired: Floats, place: tuple[int, int]) -> Outlier:
    """One outlier, judged by the line of the other readings."""
    coupon, feature = place
    at = float(green[place])
    expected = fit.lines.at(at)[coupon]
    spread = fit.residual_variance * (1.0 + fit.lines.unit_variance_at(at)[coupon])
    residual = float(fired[place] - expected)
    return Outlier(coupon, feature, residual, abs(residual) / float(np.sqrt(spread)))
