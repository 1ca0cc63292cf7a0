"""Straight-line fits against certified and published results.

NIST StRD Norris, NoInt1, NoInt2 (certified values from public test suites that quote
itl.nist.gov), JCGM 100:2008 (GUM) example H.3, and Montgomery, Peck, Vining,
*Introduction to Linear Regression Analysis*, example 2.7.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from shrinkrule.calibration.statistics.regression import Line, fit_line, fit_ray
from shrinkrule.numerics.arrays import Floats
from shrinkrule.physics.estimate import t_quantile

NORRIS_TEXT = """
0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3
449.1 448.6 778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0
448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3
0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0 10.2 11.1 117.6 118.3
228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5
"""
NORRIS = np.array(NORRIS_TEXT.split(), dtype=np.float64).reshape(-1, 2)

TEN_DIGITS = 1e-10


def intercept_u(line: Line) -> Floats:
    """Standard uncertainty of the intercept."""
    return line.residual_sd * np.sqrt(line.intercept_unit_variance)


def mean_half_width(line: Line, x: float) -> Floats:
    """Half width of the 95 % interval for the line's height."""
    return t_quantile(line.dof) * line.residual_sd * np.sqrt(line.unit_variance_at(x))


def next_half_width(line: Line, x: float) -> Floats:
    """Half width of the 95 % interval for one more point."""
    return t_quantile(line.dof) * line.residual_sd * np.sqrt(1.0 + line.unit_variance_at(x))


def test_norris_to_ten_digits() -> None:
    line = fit_line(NORRIS[:, 1], NORRIS[:, 0])
    assert len(NORRIS) == 36
    assert line.intercept == pytest.approx(-0.262323073774029, rel=TEN_DIGITS)
    assert line.slope == pytest.approx(1.00211681802045, rel=TEN_DIGITS)
    assert intercept_u(line) == pytest.approx(0.232818234301152, rel=TEN_DIGITS)
    assert line.slope_u == pytest.approx(0.429796848199937e-3, rel=TEN_DIGITS)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=TEN_DIGITS)
    assert line.residual_sum == pytest.approx(26.6173985294224, rel=TEN_DIGITS)


def test_norris_prediction_at_500_agrees_with_the_textbook_formula() -> None:
    x, y = NORRIS[:, 1], NORRIS[:, 0]
    line = fit_line(x, y)
    sxx = np.sum((x - x.mean()) ** 2)
    spread = 1.0 + 1.0 / 36 + (500.0 - x.mean()) ** 2 / sxx
    half = stats.t.ppf(0.975, 34) * 0.884796396144373 * np.sqrt(spread)
    assert line.at(500.0) == pytest.approx(500.796086, abs=5e-7)
    assert next_half_width(line, 500.0) == pytest.approx(half, rel=TEN_DIGITS)
    assert mean_half_width(line, 500.0) == pytest.approx(0.307889, abs=5e-7)


@pytest.mark.parametrize(
    ("x", "y", "slope", "slope_u", "residual_sd"),
    [
        (
            np.arange(60.0, 71.0),
            np.arange(130.0, 141.0),
            2.07438016528926,
            0.0165289256198347,
            3.56753034006338,
        ),
        (
            [4.0, 5.0, 6.0],
            [3.0, 4.0, 4.0],
            0.727272727272727,
            0.0420827318078432,
            0.369274472937998,
        ),
    ],
    ids=["NoInt1", "NoInt2"],
)
def test_line_through_the_origin(
    x: list[float], y: list[float], slope: float, slope_u: float, residual_sd: float
) -> None:
    ray = fit_ray(x, y)
    assert ray.slope == pytest.approx(slope, rel=TEN_DIGITS)
    assert ray.slope_u == pytest.approx(slope_u, rel=TEN_DIGITS)
    assert ray.residual_sd == pytest.approx(residual_sd, rel=TEN_DIGITS)
    assert ray.intercept == 0.0
    assert intercept_u(ray) == 0.0


def test_gum_h3_thermometer() -> None:
    """JCGM 100:2008, H.3: y1 -0.1712(29), y2 0.00218(67), r -0.930, s 0.0035, b(30) -0.1494(41)."""
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-171, -169, -166, -159, -164, -165, -156, -157, -159, -161, -160]
    line = fit_line(np.array(t) - 20.0, np.array(b) * 1e-3)
    # Half a unit of the last digit that the Guide prints.
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert intercept_u(line) == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.slope_u == pytest.approx(0.00067, abs=5e-6)
    unit = np.sqrt(line.slope_unit_variance * line.intercept_unit_variance)
    assert line.unit_covariance / unit == pytest.approx(-0.930, abs=5e-4)
    assert line.residual_sd == pytest.approx(0.0035, abs=5e-5)
    assert line.at(10.0) == pytest.approx(-0.1494, abs=5e-5)
    u = line.residual_sd * np.sqrt(line.unit_variance_at(10.0))
    assert u == pytest.approx(0.0041, abs=5e-5)


def test_montgomery_prediction_interval() -> None:
    """Example 2.7: 2256.32 +- 2.101 sqrt(9244.59 (1 + 1/20 + (10 - 13.3625)^2 / 1106.56)).

    Points are built so that n = 20, the mean, Sxx and the residual variance are the book's.
    """
    shape = np.linspace(-1.0, 1.0, 20)
    x = 13.3625 + shape * np.sqrt(1106.56 / np.sum(shape**2))
    # A pattern that no straight line can take up: even, and free of its mean.
    bend = shape**2 - np.mean(shape**2)
    y = 2627.82 - 37.15 * x + bend * np.sqrt(9244.59 * 18 / np.sum(bend**2))
    line = fit_line(x, y)
    assert line.at(10.0) == pytest.approx(2256.32, abs=1e-9)
    half = next_half_width(line, 10.0)
    # The book rounds its Student factor to 2.101: 4e-5 of 208.
    assert half == pytest.approx(208.0019, rel=4e-5)
    assert (line.at(10.0) - half, line.at(10.0) + half) == pytest.approx(
        (2048.32, 2464.32), abs=0.01
    )


def test_student_factors_of_the_printed_tables() -> None:
    assert t_quantile([1, 2, 5, 18]) == pytest.approx([12.706, 4.303, 2.571, 2.101], abs=5e-4)
