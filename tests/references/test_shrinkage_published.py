"""Oversize factors and shrinkage against published values."""

from __future__ import annotations

import pytest

from shrinkrule import ScaleFactors, oversize_factor, shrinkage_from_density
from shrinkrule.errors import SettingError

# (metal fraction, relative density, shrinkage, oversize factor): Y = 1 - (phi/D)^(1/3),
# Z = 1 / (1 - Y), R. M. German and A. Bose, Injection Molding of Metals and Ceramics
# (MPIF, 1997), formula from memory; values recomputed from it to six digits.
GERMAN = [
    (0.60, 0.97, 0.147960, 1.173654),
    (0.55, 0.95, 0.166550, 1.199832),
    (0.59, 0.942, 0.144407, 1.168781),
    (0.65, 0.96, 0.121893, 1.138814),
    (0.50, 0.80, 0.145012, 1.169607),
    (0.62, 1.0, 0.147298, 1.172743),
]


@pytest.mark.parametrize(("metal", "density", "shrinkage", "oversize"), GERMAN)
def test_shrinkage_and_oversize_of_isotropic_sintering(
    metal: float, density: float, shrinkage: float, oversize: float
) -> None:
    found = shrinkage_from_density(metal, density)
    assert found == pytest.approx(shrinkage, abs=5e-7)  # six printed digits
    assert oversize_factor(found) == pytest.approx(oversize, abs=5e-7)


def test_handbook_example_of_powder_injection_moulding() -> None:
    """ASM Handbook vol. 7: 13.8 mm shrinking to 12 mm is a shrinkage of 0.13."""
    shrinkage = (13.8 - 12.0) / 13.8
    assert shrinkage == pytest.approx(0.13, abs=0.005)
    assert 12.0 * oversize_factor(shrinkage) == pytest.approx(13.8)


def test_the_classic_mistake_is_not_made() -> None:
    """16 % needs 1 / (1 - 0.16) = 1.1905, not 1.16 (common practice, no source)."""
    assert oversize_factor(0.16) == pytest.approx(1.1905, abs=5e-5)
    assert ScaleFactors.from_shrinkage(0.16, 0.18).z == pytest.approx(1.2195, abs=5e-5)


def test_published_titanium_case() -> None:
    """Ti-6Al-4V by metal filament: 59 vol%, printed to 98.5 % of feedstock density, sintered
    to 94.2 %, "almost isotropic shrinkage of ~14 %".

    Source: Additive manufacturing of Ti-6Al-4V alloy by metal fused filament fabrication,
    Progress in Additive Manufacturing (2021), abstract. Tolerance one point: the paper
    rounds to a whole percent.
    """
    assert shrinkage_from_density(0.59 * 0.985, 0.942) == pytest.approx(0.14, abs=0.01)


@pytest.mark.parametrize("value", [1.0, 16.0, -0.01, float("nan")])
def test_what_is_no_fraction_is_refused(value: float) -> None:
    with pytest.raises(SettingError, match="no shrinkage"):
        oversize_factor(value)


@pytest.mark.parametrize("factors", [(0.84, 1.2), (1.2, 2.5), (float("nan"), 1.2)])
def test_a_factor_below_one_is_refused(factors: tuple[float, float]) -> None:
    with pytest.raises(SettingError, match="oversize factor"):
        ScaleFactors.alike(*factors)
