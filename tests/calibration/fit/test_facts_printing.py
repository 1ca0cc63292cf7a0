"""Scatter in the layers and along Z are stated apart, each for its own axis."""

from __future__ import annotations

import numpy as np
import pytest

from shrinkrule.calibration.fit.lengths import Lengths
from shrinkrule.calibration.fit.printing import fit_printing
from shrinkrule.numerics.arrays import Floats

COUPONS = 60
FLAT = np.array([42.0, 28.5, 16.5, 8.0, 6.0, 8.0, 8.5, 13.5])
SIDE = np.array([1.0, 1.0, 1.0, 1.0, -1.0, -1.0, -1.0, 0.0])
HIGH = np.array([4.8, 4.8, 7.8, 11.4, 16.8, 24.0, 9.0, 3.0])
FROM_PLATE = np.array([1.0] * 6 + [0.0, 0.0])


def scattered(model: Floats, side: Floats, sd: float, rng: np.random.Generator) -> Lengths:
    wide = np.broadcast_to(model, (COUPONS, model.size))
    green = wide + rng.normal(0.0, sd, wide.shape)
    one = np.ones_like(wide)
    return Lengths((), wide, wide, green, 0.85 * green, side * one, 0.0 * one, one)


@pytest.mark.parametrize(("flat_sd", "high_sd"), [(0.02, 0.05), (0.05, 0.02)])
def test_the_residual_of_each_axis_is_its_own_scatter(flat_sd: float, high_sd: float) -> None:
    """Invented prints. The zero, one for all axes, mixes a little of one scatter into another."""
    rng = np.random.default_rng(8)
    x, y = (scattered(FLAT, SIDE, flat_sd, rng) for _ in range(2))
    z = scattered(HIGH, FROM_PLATE, high_sd, rng)
    # Over 480 lengths a standard deviation is known to 4 %.
    assert fit_printing((x, y, z)).residual_sd == pytest.approx((flat_sd, high_sd), rel=0.2)
