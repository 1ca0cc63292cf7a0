"""Slips of the pen are named, honest readings are not."""

from __future__ import annotations

import numpy as np
import pytest

from shrinkrule.calibration.fit.outliers import find_outliers

LENGTHS = np.array([5.0, 8.0, 12.0, 20.0, 30.0, 45.0] * 2)
FIRING = np.array([0, 1, 2])


def coupons(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    shape = (3, LENGTHS.size)
    green = LENGTHS + rng.normal(0.0, 0.05, shape)
    slope = 0.84 + rng.normal(0.0, 0.002, (3, 1))
    return green, slope * green + rng.normal(0.0, 0.02, shape), np.ones(shape)


def test_clean_coupons_seldom_have_one_named() -> None:
    """One sheet in a hundred at most, by the level of the test."""
    false = sum(
        bool(find_outliers(*coupons(seed)[:2], FIRING, np.ones((3, 12)))) for seed in range(300)
    )
    # Three plus three times the square root of three.
    assert false <= 8


@pytest.mark.parametrize("seed", range(20))
def test_two_slips_do_not_hide_each_other(seed: int) -> None:
    green, fired, weight = coupons(seed)
    fired[1, 4] += 0.3
    fired[1, 9] += 0.25
    fired[2, 0] -= 0.5
    found = find_outliers(green, fired, FIRING, weight)
    assert {(o.coupon, o.feature) for o in found} >= {(1, 4), (1, 9), (2, 0)}
    assert len(found) <= 4


def test_the_size_in_sigmas_is_against_the_other_readings() -> None:
    green, fired, weight = coupons(1)
    fired[0, 3] += 1.0
    (found,) = find_outliers(green, fired, FIRING, weight)
    assert found.residual_mm == pytest.approx(1.0, abs=0.06)
    # A reading scatters by 0.02 mm; thirty-odd readings know that to about 15 %.
    assert found.sigmas == pytest.approx(50.0, rel=0.4)


def test_a_missing_reading_is_no_outlier() -> None:
    green, fired, weight = coupons(2)
    weight[0, 2], fired[0, 2] = 0.0, 99.0
    assert find_outliers(green, fired, FIRING, weight) == ()


def test_lines_that_miss_the_origin_are_judged_by_their_own_line() -> None:
    """A missing place lies at nought, where such a line knows itself badly."""
    green, fired, weight = coupons(3)
    green[:, :6] += 25.0
    green[:, 6:] += 30.0
    fired = 0.84 * green + 0.9 + 0.02 * np.random.default_rng(3).normal(size=green.shape)
    fired[1, 5] += 0.4
    weight[0, 2] = 0.0
    found = find_outliers(green, fired, FIRING, weight)
    assert [(o.coupon, o.feature) for o in found] == [(1, 5)]


def test_of_two_lines_of_three_readings_the_one_with_a_slip_is_named() -> None:
    """Each line with its intercept leaves one reading over; the other line says how they scatter.

    Student's factor at one degree of freedom and a sixth of 1 % is 191: a slip of 1 mm beside
    a scatter of a micrometre is beyond it, one of 0.01 mm is not.
    """
    green = np.array([[5.0, 20.0, 45.0]] * 2)
    fired = 0.84 * green + 0.5 + np.array([[0.0, 0.001, 0.0], [0.0, 0.0, 0.0]])
    for slip_mm, named in ((1.0, [1]), (0.01, [])):
        slipped = fired.copy()
        slipped[1, 1] += slip_mm
        found = find_outliers(green, slipped, FIRING[:2], np.ones((2, 3)), np.array(True))
        assert [one.coupon for one in found] == named
