"""The promise for the next part: its factor integrated, and its terms one at a time."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from shrinkrule.numerics.arrays import Floats
from shrinkrule.physics.estimate import Estimate
from shrinkrule.physics.interval import AxisFacts, Scatter, blended_factor, next_part

QUANTILES = (np.arange(4000) + 0.5) / 4000
RATIOS = np.concatenate([[0.0], np.logspace(-2.5, 2.5, 41)])
"""True variance of few degrees of freedom over the one that is known."""

PLAIN = AxisFacts(Estimate(0.15, 0.001), None, Scatter(0.0, 0.0, 0.0, 4.0), 0.02, math.inf)


def coverage(dof: float) -> Floats:
    """Share that the interval holds at each ratio, by integration over the estimated variance."""
    estimated = RATIOS[:, None] * stats.chi2.ppf(QUANTILES, dof) / dof
    factor = blended_factor([estimated / (estimated + 1.0)], [dof])
    reach = factor * np.sqrt((estimated + 1.0) / (RATIOS[:, None] + 1.0))
    return np.asarray((2.0 * stats.norm.cdf(reach) - 1.0).mean(axis=-1))


@pytest.mark.parametrize(
    ("dof", "lowest", "highest"),
    [(1, 0.9295, 0.9715), (2, 0.9405, 0.9580), (3, 0.9445, 0.9545), (9, 0.9490, 0.9510)],
)
def test_the_factor_holds_its_share_at_every_ratio_of_the_variances(
    dof: float, lowest: float, highest: float
) -> None:
    """The table of docs/theory-calibration.md; exact where the known term is alone."""
    held = coverage(dof)
    assert held.min() >= lowest
    assert held.max() <= highest
    assert held[0] == pytest.approx(0.95, abs=1e-9)


def half(axis: AxisFacts, fired: float, offset: Estimate | None = None) -> float:
    told = next_part(axis, fired, offset or Estimate(0.0, 0.0)).half95
    assert told is not None
    return told


def test_what_the_lines_hold_already_is_not_counted_twice() -> None:
    """0.001 of 20 mm of green is 0.02 mm: all of the residual, which lines of coupons show."""
    known = replace(PLAIN.scatter, between=0.001, line=0.001, dof=math.inf)
    both = replace(PLAIN, scatter=known)
    assert half(both, 0.85 * 20.0) == pytest.approx(1.959964 * 0.02, rel=1e-5)
    short = math.sqrt(0.005**2 + 0.02**2 - 0.005**2)
    assert half(both, 0.85 * 5.0) == pytest.approx(1.959964 * short, rel=1e-5)
    # Beyond that length nothing is left to take off.
    assert half(both, 0.85 * 60.0) == pytest.approx(1.959964 * 0.06, rel=1e-5)


def test_an_offset_widens_by_its_own_uncertainty_and_degrees_of_freedom() -> None:
    alone = replace(PLAIN, residual_mm=0.0)
    assert half(alone, 5.0, Estimate(0.1, 0.01, 2.0)) == pytest.approx(4.302653 * 0.01, rel=1e-6)
    assert half(PLAIN, 5.0, Estimate(0.1, 0.01)) == pytest.approx(
        1.959964 * math.hypot(0.01, 0.02), rel=1e-6
    )


def test_after_one_firing_nothing_is_promised() -> None:
    assert next_part(replace(PLAIN, knows_firings=False), 20.0).half95 is None
