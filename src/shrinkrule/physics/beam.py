"""The drop of a beam under its own weight: the one formula of coupon, fit and references.

A beam of depth ``h`` and span ``L`` drops by ``K rho g L^4 / (E h^2)``; the width cancels. ``E`` is
the sag modulus, the one effective modulus that stands for the whole firing.

Source: Euler-Bernoulli beams, any handbook (Roark's Formulas for Stress and Strain).
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final

from shrinkrule.units import weight_kpa_per_mm


class Support(StrEnum):
    """How a beam is held."""

    BOTH_BUILT_IN = "both ends built in"
    BOTH_RESTING = "both ends resting"
    ONE_BUILT_IN = "one end built in"


DROP_FACTOR: Final = {
    Support.BOTH_BUILT_IN: 12.0 / 384.0,
    Support.BOTH_RESTING: 5.0 * 12.0 / 384.0,
    Support.ONE_BUILT_IN: 12.0 / 8.0,
}
"""``K`` for a rectangle, ``12`` times the coefficient of ``w L^4 / (E I)``."""

SHEAR_FACTOR: Final = {
    Support.BOTH_BUILT_IN: 8.0,
    Support.BOTH_RESTING: 1.6,
    Support.ONE_BUILT_IN: 2.0 / 3.0,
}
"""``c`` in the shear share ``c (1 + nu) / k (h / L)^2`` of the drop, with ``k = 5/6``."""


def beam_drop_mm(
    support: Support,
    span_mm: float,
    depth_mm: float,
    modulus_kpa: float,
    density_g_cm3: float,
    poisson: float | None = None,
) -> float:
    """Drop of a beam under its own weight, mm: of mid-span, or of the tip.

    Parameters
    ----------
    support : Support
        How it is held.
    span_mm, depth_mm : float
        Clear span, and depth along gravity.
    modulus_kpa : float
        Sag modulus.
    density_g_cm3 : float
        Its density.
    poisson : float, optional
        Adds the drop by shear at this Poisson ratio; a slender beam without it.

    Returns
    -------
    float
        The drop, mm.

    Examples
    --------
    >>> round(beam_drop_mm(Support.BOTH_BUILT_IN, 30.0, 2.0, 500.0, 8.0), 3)
    0.993
    """
    slender = DROP_FACTOR[support] * weight_kpa_per_mm(density_g_cm3) * span_mm**4
    slender /= modulus_kpa * depth_mm**2
    if poisson is None:
        return slender
    share = SHEAR_FACTOR[support] * (1.0 + poisson) * 1.2 * (depth_mm / span_mm) ** 2
    return slender * (1.0 + share)


def beam_modulus_kpa(
    support: Support,
    span_mm: float,
    depth_mm: float,
    drop_mm: float,
    density_g_cm3: float,
    poisson: float | None = None,
) -> float:
    """Sag modulus that gives a beam this drop.

    Parameters
    ----------
    support : Support
        How the beam is held.
    span_mm, depth_mm, drop_mm : float
        Its span, depth and drop, all fired, mm.
    density_g_cm3 : float
        Its density, fired.
    poisson : float, optional
        As for :func:`beam_drop_mm`.

    Returns
    -------
    float
        The modulus, kPa.
    """
    return beam_drop_mm(support, span_mm, depth_mm, 1.0, density_g_cm3, poisson) / drop_mm
