"""How much parts differ within one firing and from firing to firing, and what the next will do.

A coupon's value is ``mean + firing effect + part effect``, both effects random. The two
variances come from the mean squares between and within firings (unweighted firing means, so
that unequal firings need no iteration), and the interval for a part of the NEXT firing holds
both. Works along the last axis: one set of coupons or ten thousand simulated ones.

Source: R. K. Burdick, F. A. Graybill, *Confidence Intervals on Variance Components* (1992),
unweighted sums of squares; M. L. Gumpertz, S. G. Pantula, *The American Statistician* 43
(1989) 203-210, for averaging each coupon's own line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.physics.estimate import t_quantile
from shrinkrule.physics.interval import blended_factor

MANY: Final = 1e6
"""Degrees of freedom taken as infinite."""


@dataclass(frozen=True)
class FiringScatter:
    """Mean and variances of one quantity over coupons in firings.

    Parameters
    ----------
    mean : (...) float
        Unweighted mean of the firings' means.
    firing_mean_square : (...) float
        Variance of the firings' means; 0 with a single firing, which cannot show it.
    part_mean_square : (...) float
        Pooled variance of coupons about their firing's mean; 0 where no firing holds two.
    firings, coupons : int
        How many.
    coupons_per_firing : float
        Harmonic mean of the coupons in a firing.
    between_dof : float or None
        Degrees of freedom of ``firing_mean_square`` where more than the firings tells it; None: one
        less than the firings.
    """

    mean: Floats
    firing_mean_square: Floats
    part_mean_square: Floats
    firings: int
    coupons: int
    coupons_per_firing: float
    between_dof: float | None = None

    @property
    def firing_variance(self) -> Floats:
        """Variance between firings, never negative; 0 with a single firing."""
        excess = self.firing_mean_square - self.part_mean_square / self.coupons_per_firing
        return np.maximum(excess, 0.0)

    @property
    def part_variance(self) -> Floats:
        """Variance of parts within a firing; 0 where no firing holds two coupons."""
        return self.part_mean_square

    @property
    def next_part_variance(self) -> Floats:
        """Variance of one part of the next firing about the true mean.

        With a single firing this lacks the scatter between firings: a lower bound.
        """
        rest = 1.0 - 1.0 / self.coupons_per_firing if self.firings > 1 else 1.0
        return self.firing_mean_square + rest * self.part_mean_square

    @property
    def mean_variance(self) -> Floats:
        """Squared standard uncertainty of the mean (a lower bound with a single firing)."""
        if self.firings > 1:
            return self.firing_mean_square / self.firings
        return self.part_mean_square / self.coupons

    @property
    def mean_dof(self) -> float:
        """Degrees of freedom of the mean's uncertainty; 0 with a single coupon."""
        if self.firings == 1:
            return self.coupons - 1.0
        return self.firings - 1.0 if self.between_dof is None else self.between_dof

    @property
    def equivalent_dof(self) -> float:
        """Degrees of freedom whose Student factor is that of the coupons' own scatter.

        For one quantity (no leading shape); infinite where that is the normal factor.
        """
        if self.firings == 1:
            return float(self.mean_dof)
        own = float(self.next_part_variance + self.mean_variance)
        between = float(self.firing_mean_square) * (1.0 + 1.0 / self.firings)
        if own == 0.0 or between == 0.0:
            return np.inf
        factor = float(blended_factor([between / own], [self.mean_dof]))
        if factor <= float(t_quantile(MANY)):
            return np.inf
        if factor >= float(t_quantile(self.mean_dof)):
            return self.mean_dof

        def excess(dof: float) -> float:
            return float(t_quantile(dof)) - factor

        from scipy import optimize

        return float(optimize.brentq(excess, self.mean_dof, MANY))

    def with_more_firings(self, more: int) -> FiringScatter:
        """Expect the same scatter after ``more`` further coupons, one a firing."""
        firings = self.firings + more
        per_firing = firings / (self.firings / self.coupons_per_firing + more)
        return FiringScatter(
            mean=self.mean,
            firing_mean_square=self.firing_mean_square
            + self.part_mean_square * (1.0 / per_firing - 1.0 / self.coupons_per_firing),
            part_mean_square=self.part_mean_square,
            firings=firings,
            coupons=self.coupons + more,
            coupons_per_firing=per_firing,
        )


def firing_scatter(values: ArrayLike, firing: ArrayLike) -> FiringScatter:
    """Split the scatter of coupons into firings and parts.

    Parameters
    ----------
    values : (..., c) float
        One value for each coupon.
    firing : (c,) int
        Number of the firing that each coupon was in.

    Returns
    -------
    FiringScatter
        The scatter between firings and within them.

    Examples
    --------
    >>> scatter = firing_scatter([1.0, 3.0, 5.0, 7.0], [0, 0, 1, 1])
    >>> float(scatter.mean), float(scatter.part_variance), float(scatter.firing_variance)
    (4.0, 2.0, 7.0)
    """
    values = np.asarray(values, dtype=np.float64)
    _, index, counts = np.unique(np.asarray(firing), return_inverse=True, return_counts=True)
    firings, coupons = len(counts), len(index)
    members: Mask = index == np.arange(firings)[:, None]
    means = values @ (members / counts[:, None]).T
    mean = means.mean(axis=-1)
    between = ((means - mean[..., None]) ** 2).sum(axis=-1)
    within = ((values - means[..., index]) ** 2).sum(axis=-1)
    # Sums without degrees of freedom are zero up to rounding, and must be exactly so.
    return FiringScatter(
        mean=mean,
        firing_mean_square=between / (firings - 1) if firings > 1 else np.zeros_like(mean),
        part_mean_square=within / (coupons - firings) if coupons > firings else np.zeros_like(mean),
        firings=firings,
        coupons=coupons,
        coupons_per_firing=firings / float(np.sum(1.0 / counts)),
    )
