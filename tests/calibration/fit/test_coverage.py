"""Ten thousand simulated calibrations, and whether the intervals hold what they promise.

The world is drawn anew for each: 2 to 6 firings, one or several coupons in each, caliper and
feature errors, readings rounded to 0.01 mm. A 95 % interval for a part of the next firing must
hold 93 to 97 % of such parts, at lengths inside the coupon's range and outside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from shrinkrule.calibration.fit.axis import AxisFit, fit_axis
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.physics.estimate import Estimate, Estimates
from shrinkrule.physics.interval import AxisFacts, LengthEffect, Scatter, next_half_width

SHRINKAGE = 0.16
LENGTHS_MM = np.array([5.0, 8.0, 12.0, 20.0, 30.0, 45.0] * 2)
FEATURE_SD_MM = 0.02
CALIPER_SD_MM = 0.01
RESOLUTION_MM = 0.01


@dataclass(frozen=True)
class World:
    """What is true: scatter between firings, within one, an intercept, coupons per firing."""

    coupons: tuple[int, ...]
    firing_sd: float
    part_sd: float
    intercept_mm: float = 0.0

    @property
    def firing(self) -> Ints:
        return np.repeat(np.arange(len(self.coupons)), self.coupons)

    def fired_mean_mm(self, green_mm: float) -> float:
        return (1.0 - SHRINKAGE) * green_mm + self.intercept_mm


@dataclass(frozen=True)
class Firings:
    """Measured lengths ``(sets, coupons, features)``."""

    green_mm: Floats
    fired_mm: Floats


def read(rng: np.random.Generator, true_mm: Floats) -> Floats:
    readings = true_mm + rng.normal(0.0, CALIPER_SD_MM, true_mm.shape)
    return np.asarray(np.round(readings / RESOLUTION_MM) * RESOLUTION_MM)


def fire_coupons(rng: np.random.Generator, world: World, sets: int) -> Firings:
    firing = world.firing
    effect = rng.normal(0.0, world.firing_sd, (sets, len(world.coupons)))
    part = rng.normal(0.0, world.part_sd, (sets, firing.size))
    slope = 1.0 - SHRINKAGE - effect[:, firing] - part
    shape = (sets, firing.size, LENGTHS_MM.size)
    green = LENGTHS_MM + rng.normal(0.0, 0.05, shape)
    fired = slope[..., None] * green + world.intercept_mm
    fired += rng.normal(0.0, FEATURE_SD_MM, shape)
    return Firings(read(rng, green), read(rng, fired))


def fire_next_part(
    rng: np.random.Generator, world: World, sets: int, green_mm: float
) -> tuple[Floats, Floats]:
    """Green and fired reading of one length of a part in a firing that no coupon has seen."""
    effect = rng.normal(0.0, world.firing_sd, sets)
    slope = 1.0 - SHRINKAGE - effect - rng.normal(0.0, world.part_sd, sets)
    green = green_mm + rng.normal(0.0, 0.05, sets)
    fired = slope * green + world.intercept_mm + rng.normal(0.0, FEATURE_SD_MM, sets)
    return read(rng, green), read(rng, fired)


SETS = 10_000
NOISE = 0.004
"""Two standard deviations of a share of 95 % counted in ten thousand."""

FIRINGS_DIFFER = (0.003, 0.0015)
PARTS_DIFFER = (0.001, 0.002)
DESIGNS = (
    (1, 1),
    (2, 2),
    (1, 3),
    (1, 1, 1),
    (2, 2, 2),
    (1, 2, 4),
    (2, 2, 2, 2),
    (1, 1, 1, 1, 1),
    (1, 1, 1, 1, 1, 1),
    (1, 1, 2, 5, 1, 2),
)
WORLDS = [World(coupons, *sds) for coupons in DESIGNS for sds in (FIRINGS_DIFFER, PARTS_DIFFER)]
WORLDS += [World(coupons, *FIRINGS_DIFFER, intercept_mm=0.1) for coupons in DESIGNS[::3]]
WORLDS += [World((2, 2), 0.003, 0.0), World((2, 2, 2), 0.0, 0.002), World((1, 1, 1), 0.0, 0.0005)]


def facts(fit: AxisFit) -> AxisFacts:
    """What a row would keep of ten thousand fits of the furnace alone, as arrays."""
    at = fit.centre_mm
    scatter = fit.scatter_at(at)
    line: Floats = np.mean(fit.lines.unit_variance_at(at), axis=-1) * fit.residual_variance
    parts: dict[str, Any] = {
        "mean_u": np.sqrt(scatter.mean_variance) / at,
        "between": np.sqrt(scatter.firing_mean_square) / at,
        "within": np.sqrt(scatter.next_part_variance - scatter.firing_mean_square) / at,
        "dof": scatter.mean_dof,
        "line": np.sqrt(line) / at,
    }
    bend: dict[str, Any] = {"value": fit.fired_mm(0.0), "u": fit.intercept.u}
    axis: dict[str, Any] = {
        "shrinkage": Estimates(fit.shrinkage_at(at), fit.mean_u_mm(at) / at, np.array(math.inf)),
        "residual_mm": np.sqrt(fit.residual_variance),
        "residual_dof": fit.residual_dof,
    }
    effect = LengthEffect(Estimate(**bend), at)
    return AxisFacts(print_scale=None, scatter=Scatter(**parts), length_effect=effect, **axis)


@dataclass(frozen=True)
class Calibrated:
    """A world, its ten thousand fits, and the chance that goes on after them."""

    world: World
    fit: AxisFit
    rng: np.random.Generator


@pytest.fixture(scope="module", params=WORLDS, ids=str)
def calibrated(request: pytest.FixtureRequest) -> Calibrated:
    rng = np.random.default_rng(20)
    firings = fire_coupons(rng, request.param, SETS)
    fit = fit_axis(firings.green_mm, firings.fired_mm, request.param.firing)
    return Calibrated(request.param, fit, rng)


def test_the_promise_for_the_next_firing_holds_what_it_says(calibrated: Calibrated) -> None:
    """At lengths within the coupon's, and at twice its longest."""
    fit, known = calibrated.fit, facts(calibrated.fit)
    for length in (5.0, 15.0, 40.0, 90.0):
        green, fired = fire_next_part(calibrated.rng, calibrated.world, SETS, length)
        expected = fit.fired_mm(green)
        held = np.mean(np.abs(fired - expected) <= next_half_width(known, expected))
        assert 0.93 - NOISE <= held <= 0.97 + NOISE, f"{held:.4f} at {length} mm"


def test_the_mean_is_not_biased(calibrated: Calibrated) -> None:
    """Bias under a tenth of the standard error, with the intercept where it is significant."""
    for green in (5.0, 40.0):
        error = calibrated.fit.fired_mm(green) - calibrated.world.fired_mean_mm(green)
        assert abs(np.mean(error)) < 0.1 * np.std(error), f"{green} mm"


def test_the_stated_uncertainty_of_the_mean_is_its_scatter() -> None:
    world = World((2, 2, 2, 2), *FIRINGS_DIFFER)
    firings = fire_coupons(np.random.default_rng(22), world, SETS)
    fit = fit_axis(firings.green_mm, firings.fired_mm, world.firing)
    stated = np.sqrt(np.mean(fit.mean_u_mm(40.0) ** 2))
    # The variance of 3 degrees of freedom averaged over ten thousand sets: 0.8 % of itself.
    assert stated == pytest.approx(np.std(fit.fired_mm(40.0)), rel=0.02)


def test_false_intercepts_are_as_rare_as_their_level_says() -> None:
    world = World((1, 1, 1), *FIRINGS_DIFFER)
    firings = fire_coupons(np.random.default_rng(24), world, SETS)
    fit = fit_axis(firings.green_mm, firings.fired_mm, world.firing)
    assert np.mean(fit.has_intercept) <= 0.05 + NOISE


def test_the_true_shrinkage_is_found() -> None:
    world = World((2, 2, 2), *FIRINGS_DIFFER, intercept_mm=0.1)
    firings = fire_coupons(np.random.default_rng(25), world, SETS)
    fit = fit_axis(firings.green_mm, firings.fired_mm, world.firing)
    slope = fit.fired_mm(1.0) - fit.fired_mm(0.0)
    # Standard error of one set is about 0.002; of their mean, a hundredth of that.
    assert np.mean(1.0 - slope) == pytest.approx(SHRINKAGE, abs=1e-4)
    assert fit.green_mm(fit.fired_mm(33.0)) == pytest.approx(np.full(SETS, 33.0))
