"""Scatter within and between firings: identities that hold for any numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shrinkrule.calibration.statistics.firings import firing_scatter
from shrinkrule.physics.estimate import t_quantile

VALUES = st.lists(st.floats(-1.0, 1.0), min_size=6, max_size=6)


def test_one_coupon_a_firing_gives_the_textbook_interval_for_a_new_observation() -> None:
    """``t(n-1) s sqrt(1 + 1/n)``, when nothing else adds to it."""
    values = np.array([0.161, 0.158, 0.164, 0.160])
    half = firing_scatter(values, [0, 1, 2, 3]).next_part_half_width(0.0, 1.0)
    assert half == pytest.approx(float(t_quantile(3)) * values.std(ddof=1) * np.sqrt(1.25))


def test_coupons_of_one_firing_give_the_same_but_know_no_other_firing() -> None:
    values = np.array([0.161, 0.158, 0.164, 0.160])
    scatter = firing_scatter(values, [0, 0, 0, 0])
    half = scatter.next_part_half_width(0.0, 1.0)
    assert half == pytest.approx(float(t_quantile(3)) * values.std(ddof=1) * np.sqrt(1.25))
    assert scatter.firing_variance == 0.0


@given(VALUES)
def test_sums_of_squares_add_up(values: list[float]) -> None:
    """Total = between + within, for a balanced design."""
    scatter = firing_scatter(values, [0, 0, 1, 1, 2, 2])
    between = scatter.firing_mean_square * 2 * 2
    within = scatter.part_mean_square * 3
    assert between + within == pytest.approx(np.var(values) * 6, abs=1e-12)


@given(VALUES, st.permutations(range(6)))
def test_the_order_of_coupons_does_not_matter(values: list[float], order: list[int]) -> None:
    firing = np.array([0, 0, 0, 1, 1, 2])
    plain = firing_scatter(values, firing)
    mixed = firing_scatter(np.array(values)[order], firing[order])
    assert mixed.mean == pytest.approx(plain.mean, abs=1e-12)
    assert mixed.next_part_variance == pytest.approx(plain.next_part_variance, abs=1e-12)


@given(VALUES, st.floats(0.0, 2.0))
def test_more_residual_never_narrows_the_interval(values: list[float], residual: float) -> None:
    scatter = firing_scatter(values, [0, 0, 1, 1, 2, 2])
    # A total of exactly nothing has no share to weigh by.
    with_less = scatter.next_part_half_width(1e-9, 20.0)
    with_more = scatter.next_part_half_width(1e-9 + residual, 20.0)
    assert with_more >= with_less * (1.0 - 1e-12) - 0.1 * np.sqrt(scatter.next_part_variance)


def test_more_firings_narrow_the_interval_when_the_scatter_stays() -> None:
    scatter = firing_scatter([0.158, 0.160, 0.163, 0.161], [0, 0, 1, 1])
    halves = [
        float(scatter.with_more_firings(n).next_part_half_width(1e-7, 30.0)) for n in range(5)
    ]
    assert halves == sorted(halves, reverse=True)
    assert halves[0] == pytest.approx(float(scatter.next_part_half_width(1e-7, 30.0)))
