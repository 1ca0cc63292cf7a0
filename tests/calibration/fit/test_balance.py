"""Weights against lengths: sound coupons pass, slips are convicted."""

from __future__ import annotations

from dataclasses import replace

import pytest

from shrinkrule.calibration.fit.balance import Weights, volume_fraction, weigh
from shrinkrule.physics.estimate import Estimate

# A block of 5000 mm3 of a filament with 90 % metal by mass, printed without voids, that keeps
# 61.4 % of its volume: everything else follows from conservation of metal.
FRACTION = volume_fraction(0.90, 8.80, 1.24)
METAL_G = 5.0 * FRACTION * 8.80
KEPT = 0.614
SOUND = Weights(
    green_g=METAL_G / 0.90,
    debound_g=METAL_G,
    fired_g=METAL_G,
    in_water_g=METAL_G - 5.0 * KEPT * 0.99821,
    resolution_g=0.01,
    green_volume=Estimate(5000.0, 25.0),
    kept_volume=Estimate(KEPT, 0.001),
    metal_density=8.80,
    binder_density=1.24,
    metal_mass_share=0.90,
    water_density=0.99821,
)


def bad(weights: Weights) -> set[str]:
    return {comparison.about for comparison in weigh(weights).comparisons if not comparison.good}


def test_a_sound_coupon_closes() -> None:
    balance = weigh(SOUND)
    assert bad(SOUND) == set()
    assert len(balance.comparisons) == 5
    assert balance.metal_fraction is not None
    assert balance.metal_fraction.value == pytest.approx(FRACTION)
    assert balance.relative_density is not None
    assert balance.relative_density.value == pytest.approx(FRACTION / KEPT)
    assert balance.print_voids == pytest.approx(0.0, abs=1e-12)
    assert balance.geometric_density is not None
    assert balance.archimedes_density is not None
    assert balance.archimedes_density.value == pytest.approx(balance.geometric_density.value)


@pytest.mark.parametrize(
    ("slip", "about"),
    [
        (replace(SOUND, debound_g=METAL_G * 1.04), "weight lost, debound"),
        (replace(SOUND, fired_g=SOUND.green_g, green_g=METAL_G), "weight lost, fired"),
        (replace(SOUND, fired_g=METAL_G * 0.95), "weight lost, fired"),
        (replace(SOUND, kept_volume=Estimate(0.55, 0.001)), "volume left"),
        (replace(SOUND, in_water_g=METAL_G - 2.5), "fired density"),
        (replace(SOUND, kept_volume=Estimate(0.50, 0.001), in_water_g=None), "fired density"),
        (replace(SOUND, green_volume=Estimate(4500.0, 22.0)), "metal in the green part"),
        (replace(SOUND, green_volume=Estimate(8000.0, 40.0)), "metal in the green part"),
    ],
    ids=[
        "incomplete debinding",
        "green and fired weight exchanged",
        "metal lost",
        "a shrinkage wrong",
        "weight in water wrong",
        "denser than solid by lengths",
        "denser than its filament",
        "printed hollow",
    ],
)
def test_a_slip_is_convicted(slip: Weights, about: str) -> None:
    assert about in bad(slip)


@pytest.mark.parametrize(
    "less",
    [
        replace(SOUND, green_g=None),
        replace(SOUND, fired_g=None),
        replace(SOUND, in_water_g=None),
        replace(SOUND, green_volume=None),
        replace(SOUND, metal_density=None),
        replace(SOUND, water_density=None),
    ],
)
def test_what_was_not_weighed_is_not_judged(less: Weights) -> None:
    assert bad(less) == set()


def test_a_coarser_balance_is_less_sure() -> None:
    fine, coarse = weigh(SOUND), weigh(replace(SOUND, resolution_g=1.0))
    assert fine.density is not None
    assert coarse.density is not None
    assert coarse.density.u > 3.0 * fine.density.u
