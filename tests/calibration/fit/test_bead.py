"""Bead spread and printer scale, told apart by outside, inside and step lengths."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shrinkrule.calibration.fit.bead import fit_bead

MODEL = np.array([42.0, 28.5, 16.5, 8.0, 6.0, 8.0, 8.5, 13.5, 12.0, 8.5])
SIDE = np.array([1.0, 1.0, 1.0, 1.0, -1.0, -1.0, -1.0, 0.0, 0.0, 0.0])


@given(st.floats(-0.2, 0.2), st.floats(-0.01, 0.01))
def test_exact_lengths_give_back_spread_and_scale(spread: float, scale: float) -> None:
    """Outside + 2b, inside - 2b, step unchanged."""
    green = (1.0 + scale) * MODEL + 2.0 * spread * SIDE
    fit = fit_bead(MODEL[None], green[None], SIDE[None])
    assert fit.offset.value == pytest.approx(spread, abs=1e-12)
    assert fit.scale.value == pytest.approx(scale, abs=1e-12)
    assert fit.residual_sd == pytest.approx(0.0, abs=1e-12)


def test_the_stated_uncertainty_is_the_scatter_over_many_prints() -> None:
    """Unbiased, and intervals of 95 % hold it."""
    rng = np.random.default_rng(4)
    green = MODEL + 0.08 * SIDE + rng.normal(0.0, 0.02, (4000, 2, MODEL.size))
    shape = np.broadcast_to(MODEL, green.shape)
    fit = fit_bead(shape, green, np.broadcast_to(SIDE, green.shape))
    error = fit.offset.value - 0.04
    assert abs(error.mean()) < 0.1 * error.std()
    assert np.mean(np.abs(error) <= fit.offset.half_width()) == pytest.approx(0.95, abs=0.01)
    # A scale that is not there is found real as rarely as its level says: 1 % of the prints.
    assert np.mean(fit.scale.is_significant(0.99)) < 0.015


def test_a_missing_length_is_left_aside() -> None:
    green = MODEL + 0.08 * SIDE
    weight = np.ones_like(MODEL)
    weight[2], green[2] = 0.0, np.nan
    fit = fit_bead(MODEL[None], green[None], SIDE[None], weight[None])
    assert fit.offset.value == pytest.approx(0.04)
