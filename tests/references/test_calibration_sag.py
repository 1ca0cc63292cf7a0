"""Sag modulus against beam-bending viscometry and handbook beams.

ISO 7884-4 (also ASTM C1350M), the formula in SI as derived from elastic beams:
``eta = g L^3 / (144 I v) (m + rho A L / 1.6)``; by the elastic-viscous correspondence ``E = 3 eta``
over time. Euler-Bernoulli coefficients of Roark's Formulas for Stress and Strain.
"""

from __future__ import annotations

import pytest

from shrinkrule.physics.beam import Support, beam_drop_mm, beam_modulus_kpa
from shrinkrule.units import GRAVITY_M_S2


def test_a_resting_beam_agrees_with_beam_bending_viscometry() -> None:
    """A bar under its own weight alone sags for two hours; both ways to its viscosity agree."""
    span, width, depth, density = 0.050, 0.003, 0.003, 2500.0
    rate, hours = 0.05e-3 / 60.0, 2.0
    second_moment, area = width * depth**3 / 12.0, width * depth
    eta = GRAVITY_M_S2 * span**3 / (144.0 * second_moment * rate) * (density * area * span / 1.6)
    seconds = 3600.0 * hours
    modulus = beam_modulus_kpa(
        Support.BOTH_RESTING, 50.0, 3.0, 1e3 * rate * seconds, density / 1000.0
    )
    assert modulus * 1e3 == pytest.approx(3.0 * eta / seconds, rel=1e-12)


def test_a_loaded_beam_of_the_standard() -> None:
    """M = 100 g, L = 50 mm, 3 x 3 mm, 2.5 g/cm3, 0.05 mm/min: 1.52401281e11 Pa s (recomputed)."""
    span, second_moment, rate = 0.050, 0.003**4 / 12.0, 0.05e-3 / 60.0
    load = 0.100 + 2500.0 * 0.003**2 * span / 1.6
    eta = GRAVITY_M_S2 * span**3 / (144.0 * second_moment * rate) * load
    assert eta == pytest.approx(1.52401281e11, rel=1e-8)
    own = 2500.0 * 0.003**2 * span / 1.6 / load
    # The share of the rate that the bar's own weight makes is what ours must give.
    drop = beam_drop_mm(Support.BOTH_RESTING, 50.0, 3.0, 3.0 * eta / 1e3, 2.5)
    assert drop == pytest.approx(1e3 * rate * own, rel=1e-12)


def test_handbook_coefficients() -> None:
    """316L bar, 7.95 g/cm3, 193 GPa, 5 x 2 mm, span 20 mm: elastic drops (recomputed, Roark)."""
    for support, metres in (
        (Support.BOTH_RESTING, 2.524704e-9),
        (Support.BOTH_BUILT_IN, 5.049409e-10),
        (Support.ONE_BUILT_IN, 2.423716e-8),
    ):
        drop = beam_drop_mm(support, 20.0, 2.0, 193e6, 7.95)
        assert drop == pytest.approx(1e3 * metres, rel=1e-6)


def test_share_of_shear() -> None:
    """c (1 + nu) / k (h/L)^2, c = 1.6 resting: 2.496 % at h/L = 0.1, nu = 0.3 (recomputed)."""
    slender = beam_drop_mm(Support.BOTH_RESTING, 20.0, 2.0, 500.0, 8.0)
    sheared = beam_drop_mm(Support.BOTH_RESTING, 20.0, 2.0, 500.0, 8.0, poisson=0.3)
    assert sheared / slender - 1.0 == pytest.approx(0.02496, abs=5e-6)


def test_worked_scaling() -> None:
    """0.10 mm at span 20 and depth 2 makes 0.2250 at 30 and 3, 0.50625 at 30 and 2."""
    modulus = beam_modulus_kpa(Support.BOTH_BUILT_IN, 20.0, 2.0, 0.10, 8.0)
    for span, depth, drop in ((30.0, 3.0, 0.2250), (30.0, 2.0, 0.50625), (10.0, 2.0, 0.00625)):
        found = beam_drop_mm(Support.BOTH_BUILT_IN, span, depth, modulus, 8.0)
        assert found == pytest.approx(drop, rel=1e-12)
