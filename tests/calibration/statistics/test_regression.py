"""Properties that any straight-line fit must have."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from shrinkrule.calibration.statistics.regression import Line, fit_line, fit_ray

SEEDS = st.integers(0, 2**32 - 1)


def cloud(seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    x = rng.uniform(1.0, 60.0, 9)
    return x, 0.85 * x + 0.05 + rng.normal(0.0, 0.03, 9)


@given(SEEDS)
def test_a_point_of_weight_zero_may_be_anything(seed: int) -> None:
    x, y = cloud(seed)
    weight = np.ones(9)
    weight[3] = 0.0
    holed = y.copy()
    holed[3] = np.nan
    for fit in (fit_line, fit_ray):
        without = fit(np.delete(x, 3), np.delete(y, 3))
        masked = fit(x, holed, weight)
        assert_allclose(masked.slope, without.slope, rtol=1e-12)
        assert_allclose(masked.residual_sd, without.residual_sd, rtol=1e-9)
        assert masked.dof == without.dof


@given(SEEDS)
def test_a_doubled_weight_is_the_point_written_twice_for_the_coefficients(seed: int) -> None:
    x, y = cloud(seed)
    weight = np.ones(9)
    weight[0] = 2.0
    twice = fit_line(np.append(x, x[0]), np.append(y, y[0]))
    weighted = fit_line(x, y, weight)
    assert_allclose(weighted.slope, twice.slope, rtol=1e-10)
    assert_allclose(weighted.intercept, twice.intercept, atol=1e-10)
    assert_allclose(weighted.unit_variance_at(7.0), twice.unit_variance_at(7.0), rtol=1e-9)


@given(SEEDS)
def test_many_coupons_in_one_call_are_the_same_as_one_by_one(seed: int) -> None:
    clouds = [cloud(seed % 1000 + i) for i in range(4)]
    x = np.array([c[0] for c in clouds])
    y = np.array([c[1] for c in clouds])
    together = fit_line(x, y)
    alone = [fit_line(a, b) for a, b in clouds]
    for name in Line.__dataclass_fields__:
        assert_allclose(getattr(together, name), [getattr(line, name) for line in alone])


@given(SEEDS, st.floats(0.1, 10.0))
def test_changing_the_unit_changes_nothing_but_the_unit(seed: int, factor: float) -> None:
    x, y = cloud(seed)
    in_mm, scaled = fit_line(x, y), fit_line(factor * x, factor * y)
    assert_allclose(scaled.slope, in_mm.slope, rtol=1e-9)
    assert_allclose(
        scaled.residual_sd * np.sqrt(scaled.unit_variance_at(20.0 * factor)),
        factor * in_mm.residual_sd * np.sqrt(in_mm.unit_variance_at(20.0)),
        rtol=1e-8,
    )
