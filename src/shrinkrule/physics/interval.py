"""The promise for the next part, a prediction interval: what a length will measure, and how surely.

All that is known of an axis stands in :class:`AxisFacts`. :func:`next_part` makes of it the 95 %
interval for one straight length of a finished part of a firing not seen yet, and it is the only
place that does: a fit, the list of rows and the main job print its number.

Source: JCGM 100:2008 for the sum of variances; the weighting of Student's factors is that of W. G.
Cochran, G. M. Cox, *Experimental Designs*, section 4.14, with exponents after B. L. Welch's series.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from shrinkrule.numerics.arrays import Floats
from shrinkrule.physics.estimate import CONFIDENCE, Estimate, t_quantile

FEW_DOF: Final = 0.75
"""How far the exponent 2 of a share falls, per degree of freedom: see :func:`blended_factor`.

Found by numerical integration over every ratio of a variance of few degrees of freedom to one that
is known: 95 % intervals then hold 93.0 to 97.1 % with one degree of freedom, 94.1 to 95.7 % with
two, 94.5 to 95.4 % with three, and 95.0 % with many.
"""

NOTHING: Final = Estimate(0.0, 0.0)
"""An offset that is not there."""


class Feature(StrEnum):
    """What a length lies between, which says what the printer adds to it."""

    OUTSIDE = "outside"
    """Two surfaces that face outward; along Z a height from the plate."""
    SLOT = "slot"
    """Two flat surfaces that face each other."""
    BORE = "bore"
    """The diameter of an upright round hole."""
    STEP = "step"
    """Two surfaces that face the same way."""


@dataclass(frozen=True)
class Interval:
    """A predicted value and the half width of its 95 % interval; ``None`` where not known."""

    value: float
    half95: float | None = None

    def as_dict(self) -> dict[str, float | None]:
        """Plain values for JSON."""
        return {"value": self.value, "half95": self.half95}


@dataclass(frozen=True)
class LengthEffect:
    """Shrinkage that depends on length: fired = (1 - s) green + intercept (1 - green / centre).

    Parameters
    ----------
    intercept_mm : Estimate
        Fired length at a green length of nought, by the fitted line; uncorrelated with ``s``. Its
        value is 0 where no such effect is shown, and its ``u`` tells what may hide there.
    centre_mm : float
        Green length for which the shrinkage ``s`` holds.
    """

    intercept_mm: Estimate
    centre_mm: float


@dataclass(frozen=True)
class Scatter:
    """How the lengths of parts differ, as shares of the green length.

    What printer and furnace do to a length is taken together, so that what their two uncertainties
    have in common is counted once.

    Parameters
    ----------
    mean_u : float
        Standard uncertainty of the mean.
    between : float
        Standard deviation of the means of firings.
    within : float
        Standard deviation that a part adds to what the means of firings show already.
    dof : float
        Degrees of freedom of the first two.
    line : float
        Standard uncertainty of one coupon's own line, which ``between`` and ``within`` hold: the
        scatter of single lengths, seen once already.
    """

    mean_u: float
    between: float
    within: float
    dof: float
    line: float = 0.0

    @property
    def next_sd(self) -> float:
        """Standard deviation of the next part about the estimated mean."""
        return math.hypot(self.mean_u, self.between, self.within)


@dataclass(frozen=True)
class AxisFacts:
    """All that is known of lengths along one axis.

    Parameters
    ----------
    shrinkage : Estimate
        On green size, of a green length at the centre of the length effect.
    print_scale : Estimate or None
        Green length over model length, less 1: the printer's error along the axis.
    scatter : Scatter
        How parts differ.
    residual_mm : float
        Standard deviation of one length about what all this makes of its model; 0: not known.
    residual_dof : float
        Its degrees of freedom.
    length_effect : LengthEffect or None
        Where long parts shrink otherwise than short ones.
    knows_firings : bool
        Whether several firings are behind it; without them nothing is known of the next.
    """

    shrinkage: Estimate
    print_scale: Estimate | None
    scatter: Scatter
    residual_mm: float
    residual_dof: float = math.inf
    length_effect: LengthEffect | None = None
    knows_firings: bool = True

    @property
    def printed(self) -> float:
        """Green length over model length, offsets aside."""
        return 1.0 if self.print_scale is None else 1.0 + self.print_scale.value

    @property
    def factor(self) -> float:
        """Model length over fired length at the centre, offsets aside."""
        return 1.0 / ((1.0 - self.shrinkage.value) * self.printed)

    def fired_mm(self, green_mm: float) -> float:
        """Give the fired length of a green length."""
        bend, centre = 0.0, math.inf
        if self.length_effect is not None:
            bend, centre = self.length_effect.intercept_mm.value, self.length_effect.centre_mm
        return (1.0 - self.shrinkage.value) * green_mm + bend * (1.0 - green_mm / centre)

    def green_mm(self, fired_mm: ArrayLike) -> Floats:
        """Green length that comes out at a fired length."""
        start = self.fired_mm(0.0)
        return np.asarray((np.asarray(fired_mm) - start) / (self.fired_mm(1.0) - start))

    def about(self, fired_mm: float) -> AxisFacts:
        """State the same line about another centre: the length that fires to ``fired_mm``."""
        effect = self.length_effect
        if effect is None or effect.intercept_mm.value == 0.0:
            return self
        green = float(self.green_mm(fired_mm))
        bend = effect.intercept_mm.u * (1.0 / green - 1.0 / effect.centre_mm)
        return replace(
            self,
            shrinkage=replace(
                self.shrinkage,
                value=1.0 - fired_mm / green,
                u=math.hypot(self.shrinkage.u, bend),
            ),
            scatter=replace(self.scatter, mean_u=math.hypot(self.scatter.mean_u, bend)),
            length_effect=LengthEffect(effect.intercept_mm, green),
        )


def blended_factor(
    shares: Sequence[ArrayLike], dofs: Sequence[ArrayLike], confidence: float = CONFIDENCE
) -> Floats:
    """Interval factor for a variance of which some shares are known with few degrees of freedom.

    Student's factors weigh by powers of these shares, the normal factor by the rest. With many
    degrees of freedom the power is 2, as in the first term of Welch's series (B. L. Welch,
    *Biometrika* 34 (1947) 28); with few it falls to ``2 - FEW_DOF / dof``. With two firings the
    plain Satterthwaite factor covers only 88 %, and a sum of full Student terms 99 %.

    Parameters
    ----------
    shares : sequence of (...) float
        Shares of the variance, each 0 to 1.
    dofs : sequence of (...) float
        Their degrees of freedom.
    confidence : float
        Coverage.

    Returns
    -------
    (...) float
        The factor on the standard deviation.
    """
    normal = t_quantile(np.inf, confidence)
    factor = np.asarray(normal)
    for share, dof in zip(shares, dofs, strict=True):
        power = 2.0 - FEW_DOF / np.asarray(dof, dtype=np.float64)
        excess = t_quantile(dof, confidence) - normal
        factor = factor + excess * np.maximum(share, 0.0) ** power
    return np.asarray(factor)


def half_width(
    variances: Sequence[ArrayLike], dofs: Sequence[ArrayLike], confidence: float = CONFIDENCE
) -> Floats:
    """Half width of the interval for a value whose variance is a sum.

    Parameters
    ----------
    variances : sequence of (...) float
        The terms of the variance.
    dofs : sequence of (...) float
        Their degrees of freedom; infinite for what is known well.
    confidence : float
        Coverage.

    Returns
    -------
    (...) float
        The half width.

    Examples
    --------
    >>> round(float(half_width([1.0, 0.0], [3, float("inf")])), 3)
    3.182
    """
    total = np.asarray(sum(np.asarray(v, dtype=np.float64) for v in variances))
    safe = np.where(total > 0.0, total, 1.0)
    factor = blended_factor([np.asarray(v) / safe for v in variances], dofs, confidence)
    return np.asarray(factor * np.sqrt(total))


def next_half_width(
    axis: AxisFacts,
    fired_mm: ArrayLike,
    offset: Estimate = NOTHING,
    confidence: float = CONFIDENCE,
) -> Floats:
    """Half width of the 95 % interval for one straight length of a part of the next firing.

    Parameters
    ----------
    axis : AxisFacts
        What is known of the axis; its numbers may be arrays, one for each of many calibrations.
    fired_mm : (...) float
        Length that is expected, offset included, mm.
    offset : Estimate
        What the printer adds to such a length beyond its scale, mm fired.
    confidence : float
        Coverage, where it is not to be 95 %.

    Returns
    -------
    (...) float
        The half width, mm.
    """
    fired = np.asarray(fired_mm, dtype=np.float64)
    green = axis.green_mm(fired - offset.value)
    scatter, effect = axis.scatter, axis.length_effect
    bend = np.zeros_like(green)
    if effect is not None:
        bend = effect.intercept_mm.u * (1.0 - green / effect.centre_mm)
    return half_width(
        [
            (scatter.mean_u**2 + scatter.between**2) * green**2,
            (scatter.within * green) ** 2 + bend**2,
            np.maximum(axis.residual_mm**2 - (scatter.line * green) ** 2, 0.0),
            offset.u**2,
        ],
        [scatter.dof, math.inf, axis.residual_dof, offset.dof],
        confidence,
    )


def next_part(
    axis: AxisFacts,
    fired_mm: float,
    offset: Estimate = NOTHING,
    confidence: float = CONFIDENCE,
) -> Interval:
    """Promise one straight length of a finished part, in a firing that is still to come.

    Parameters
    ----------
    axis : AxisFacts
        What is known of the axis.
    fired_mm : float
        Length that is expected, offset included, mm.
    offset : Estimate
        What the printer adds to such a length beyond its scale, mm fired; only its uncertainty
        is used here.
    confidence : float
        Coverage, where it is not to be 95 %.

    Returns
    -------
    Interval
        The length with the half width of its 95 % interval; without one after a single firing,
        which does not show how firings differ.
    """
    if not axis.knows_firings:
        return Interval(fired_mm)
    return Interval(fired_mm, float(next_half_width(axis, fired_mm, offset, confidence)))
