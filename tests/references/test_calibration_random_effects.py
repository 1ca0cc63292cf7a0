"""Scatter between and within firings against statsmodels' mixed model on the same data.

For balanced designs with a positive estimate the mean squares give exactly the restricted
maximum likelihood (S. R. Searle, G. Casella, C. E. McCulloch, *Variance Components*, 1992);
for unequal firings the two differ by less than either knows.
"""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from shrinkrule.calibration.statistics.firings import firing_scatter


def shrinkages(coupons: list[int], seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    firing = np.repeat(np.arange(len(coupons)), coupons)
    effect = rng.normal(0.0, 0.004, len(coupons))
    return 0.16 + effect[firing] + rng.normal(0.0, 0.002, firing.size), firing


def mixed_model(values: np.ndarray, firing: np.ndarray) -> tuple[float, float, float, float]:
    # In percent: the optimiser of the reference stops on absolute steps.
    result = MixedLM(100.0 * values, np.ones((values.size, 1)), groups=firing).fit(
        reml=True, method="powell"
    )
    return (
        float(result.fe_params[0]) / 100.0,
        float(result.bse_fe[0]) / 100.0,
        float(result.cov_re[0, 0]) / 1e4,
        float(result.scale) / 1e4,
    )


@pytest.mark.parametrize("coupons", [[3, 3], [2, 2, 2], [2, 2, 2, 2, 2, 2], [5, 5, 5, 5]])
def test_balanced_firings_agree_with_restricted_maximum_likelihood(coupons: list[int]) -> None:
    values, firing = shrinkages(coupons, seed=3)
    scatter = firing_scatter(values, firing)
    assert scatter.firing_variance > 0.0
    mean, mean_u, between, within = mixed_model(values, firing)
    # The reference stops its search at about 1e-4 of the variances.
    assert scatter.mean == pytest.approx(mean, rel=1e-6)
    assert np.sqrt(scatter.mean_variance) == pytest.approx(mean_u, rel=1e-3)
    assert scatter.firing_variance == pytest.approx(between, rel=2e-3)
    assert scatter.part_variance == pytest.approx(within, rel=2e-3)


# The reference takes a variance below 0.01 for the edge of its range, whatever the unit.
@pytest.mark.filterwarnings("ignore:The MLE may be on the boundary")
@pytest.mark.parametrize("seed", range(5))
def test_unequal_firings_agree_within_what_either_knows(seed: int) -> None:
    values, firing = shrinkages([1, 2, 4, 3, 1, 2], seed)
    scatter = firing_scatter(values, firing)
    mean, mean_u, between, within = mixed_model(values, firing)
    assert scatter.mean == pytest.approx(mean, abs=0.3 * mean_u)
    # A variance of n degrees of freedom is known to sqrt(2 / n) of itself: 5 between, 7 within.
    known = scatter.firing_mean_square * np.sqrt(2.0 / 5.0)
    assert scatter.firing_variance == pytest.approx(between, abs=float(known))
    assert scatter.part_variance == pytest.approx(within, rel=np.sqrt(2.0 / 7.0))
