"""Scatter within and between firings: identities that hold for any numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shrinkrule.calibration.statistics.firings import FiringScatter, firing_scatter
from shrinkrule.physics.estimate import Estimate, t_quantile
from shrinkrule.physics.interval import AxisFacts, Scatter, next_part

VALUES = st.lists(st.floats(-1.0, 1.0), min_size=6, max_size=6)


def half_width(found: FiringScatter, residual: float = 0.0) -> float:
    """Half width of the promise for 1 mm of green, from the scatter and one length's residual."""
    parts = Scatter(
        mean_u=math.sqrt(found.mean_variance),
        between=math.sqrt(found.firing_mean_square),
        within=math.sqrt(found.next_part_variance - found.firing_mean_square),
        dof=found.mean_dof,
    )
    facts = AxisFacts(Estimate(0.0, 0.0), None, parts, math.sqrt(residual), 20.0)
    half = next_part(facts, 1.0).half95
    assert half is not None
    return half


def test_one_coupon_a_firing_gives_the_textbook_interval_for_a_new_observation() -> None:
    """``t(n-1) s sqrt(1 + 1/n)``, when nothing else adds to it."""
    values = np.array([0.161, 0.158, 0.164, 0.160])
    half = half_width(firing_scatter(values, [0, 1, 2, 3]))
    assert half == pytest.approx(float(t_quantile(3)) * values.std(ddof=1) * np.sqrt(1.25))


def test_coupons_of_one_firing_know_their_mean_but_no_other_firing() -> None:
    values = np.array([0.161, 0.158, 0.164, 0.160])
    scatter = firing_scatter(values, [0, 0, 0, 0])
    assert scatter.mean_variance == pytest.approx(values.var(ddof=1) / 4.0)
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
def test_more_residual_hardly_narrows_the_interval(values: list[float], residual: float) -> None:
    """Each share has Student's factor of its own, so a known residual narrows a t of 4.3.

    Of 2 degrees of freedom, (z + (t - z) w^1.6) / sqrt(w) is 4.30 at w = 1 and 3.85 at least; and
    no interval is narrower than the normal one.
    """
    scatter = firing_scatter(values, [0, 0, 1, 1, 2, 2])
    # A total of exactly nothing has no share to weigh by.
    with_less = half_width(scatter, 1e-9)
    with_more = half_width(scatter, 1e-9 + residual)
    assert with_more >= 0.89 * with_less
    total = scatter.next_part_variance + scatter.mean_variance + residual
    assert with_more >= 1.959 * np.sqrt(total)


def test_more_firings_narrow_the_interval_when_the_scatter_stays() -> None:
    scatter = firing_scatter([0.158, 0.160, 0.163, 0.161], [0, 0, 1, 1])
    halves = [half_width(scatter.with_more_firings(n), 1e-7) for n in range(5)]
    assert halves == sorted(halves, reverse=True)
    assert halves[0] == pytest.approx(half_width(scatter, 1e-7))
