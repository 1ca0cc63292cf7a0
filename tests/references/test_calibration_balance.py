"""Published and recomputed densities.

Volume fraction from mass share: conservation of volume, recomputed. Weighing in water: ISO 2738
and ASTM B962 in the simple form for sealed parts. Incomplete closing of a row: conservation of
metal (R. M. German, *Powder Injection Molding*, MPIF 1990).
"""

from __future__ import annotations

import pytest

from shrinkrule.calibration.fit.balance import archimedes_density, volume_fraction


@pytest.mark.parametrize(
    ("share", "metal", "binder", "fraction"),
    [
        (0.90, 8.80, 1.24, 0.559118),
        (0.90, 8.96, 1.24, 0.554672),
        (0.80, 7.95, 1.24, 0.384198),
        (0.65, 2.70, 1.24, 0.460308),
        (0.92, 7.95, 0.95, 0.578808),
    ],
)
def test_volume_fraction_from_mass_share(
    share: float, metal: float, binder: float, fraction: float
) -> None:
    found = volume_fraction(share, metal, binder)
    assert found == pytest.approx(fraction, abs=5e-7)
    mass = found * metal + (1.0 - found) * binder
    assert found * metal / mass == pytest.approx(share, rel=1e-12), "and back again"


def test_weighing_in_water() -> None:
    assert archimedes_density(10.000, 8.720, 0.9982) == pytest.approx(7.798438, abs=5e-7)
