"""Scatter of few firings: the posterior against quadrature, limits, and what the axes share."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate, stats

from shrinkrule.calibration.statistics.few_firings import USUAL_SD, informed, posterior
from shrinkrule.calibration.statistics.firings import firing_scatter

FLOOR = 0.0007**2


def held(half: float, mean_square: float, floor: float, dof: float) -> float:
    """Share that an interval holds, by adaptive quadrature over the half-Cauchy prior."""

    def density(sd: float) -> float:
        variance = sd**2 + floor
        likelihood = variance ** (-0.5 * dof) * np.exp(-0.5 * dof * mean_square / variance)
        return float(likelihood / (1.0 + (sd / USUAL_SD) ** 2))

    def inside(sd: float) -> float:
        return density(sd) * float(2.0 * stats.norm.cdf(half / np.sqrt(sd**2 + floor)) - 1.0)

    points = [USUAL_SD * x for x in (0.0, 0.1, 0.5, 1.0, 3.0, 10.0, 50.0, 1000.0)]
    pairs = list(pairwise(points))
    whole = sum(integrate.quad(density, a, b, epsabs=0.0, limit=200)[0] for a, b in pairs)
    return float(
        sum(integrate.quad(inside, a, b, epsabs=0.0, limit=200)[0] for a, b in pairs) / whole
    )


@pytest.mark.parametrize("dof", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("sd", [0.0004, 0.0015, 0.006])
def test_the_interval_holds_95_percent_of_the_posterior(dof: float, sd: float) -> None:
    """To 0.3 points: the sum begins at a hundredth of the prior's median."""
    variance, found = posterior(sd**2, FLOOR, dof)
    half = float(stats.t.ppf(0.975, found) * np.sqrt(variance))
    assert held(half, sd**2, FLOOR, dof) == pytest.approx(0.95, abs=0.003)


def test_many_firings_take_over_from_what_is_usual() -> None:
    for sd in (0.0005, 0.005):
        variance, found = posterior(sd**2, 0.0, 400.0)
        assert float(variance) ** 0.5 == pytest.approx(sd, rel=0.01)
        assert float(found) == pytest.approx(400.0, rel=0.02)


def test_an_axis_that_agrees_by_chance_is_not_believed_alone() -> None:
    """Three firings along Y agree to a tenth of X and Z: they are no surer than that is likely."""
    apart = np.array([-0.002, 0.0, 0.002])
    axes = [firing_scatter(0.85 + share * apart, [0, 1, 2]) for share in (1.0, 0.1, 1.0)]
    known = informed(axes, [FLOOR] * 3, 9.0)
    u = [float(np.sqrt(one.mean_variance)) for one in known]
    assert u[0] / float(np.sqrt(axes[1].mean_variance)) > 5.0
    assert max(u) / min(u) < 1.6
    assert len({one.between_dof for one in known}) == 1


def test_no_axis_scatters_less_than_its_coupons_own_lines() -> None:
    same = [firing_scatter([0.85, 0.85, 0.85], [0, 1, 2]) for _ in range(3)]
    known = informed(same, [FLOOR, FLOOR, 4.0 * FLOOR], 9.0)
    assert all(float(one.firing_mean_square) > FLOOR for one in known)
    assert float(known[2].firing_mean_square) > 4.0 * FLOOR


def test_one_firing_stays_as_it_is() -> None:
    alone = [firing_scatter([0.85, 0.86], [0, 0]) for _ in range(3)]
    assert informed(alone, [FLOOR] * 3, 9.0) == tuple(alone)


def test_axes_that_show_the_same_beyond_their_lines_leave_each_other_alone() -> None:
    """Z's lines are twice as noisy; what X and Y take from it is what it shows beyond them."""
    beyond, floors = 0.0012**2, np.array([FLOOR, FLOOR, 4.0 * FLOOR])
    steps = np.array([-1.0, 0.0, 1.0])
    axes = [firing_scatter(0.85 + np.sqrt(beyond + floor) * steps, [0, 1, 2]) for floor in floors]
    for axis, floor, one in zip(axes, floors, informed(axes, list(floors), np.inf), strict=True):
        variance, dof = posterior(axis.firing_mean_square, floor, 2.0)
        alone = stats.t.ppf(0.975, dof) * np.sqrt(variance)
        told = stats.t.ppf(0.975, one.between_dof) * np.sqrt(one.firing_mean_square)
        assert float(told) == pytest.approx(float(alone), rel=1e-9)
