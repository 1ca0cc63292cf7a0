"""Conservation of metal: what shrinkage leaves of the volume, and what weights say of it.

``(1 - s_x)(1 - s_y)(1 - s_z) = metal fraction / relative density`` while no metal is lost.
Rows of the table and single coupons are held to it alike, and called wrong from one misfit on.

Source: conservation of mass; for equal axes it is the usual shrinkage formula of R. M. German,
*Powder Injection Molding* (MPIF, 1990).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from shrinkrule.physics.estimate import Estimate

TOO_FAR: Final = 3.0
"""Misfits larger than this many standard uncertainties are reported."""

ROUNDING: Final = 1e-4
"""Relative uncertainty that rounded numbers have at least."""


@dataclass(frozen=True)
class MetalBalance:
    """Whether shrinkage, density and metal fraction agree on the same metal.

    Parameters
    ----------
    kept, expected : float
        Share of the green volume that lengths leave, and that weights leave.
    misfit_sigmas : float
        Their relative difference in its standard uncertainty, signed.
    relative_u : float
        That standard uncertainty.
    implied_density : float
        Relative density that metal fraction and lengths make together.
    """

    kept: float
    expected: float
    misfit_sigmas: float
    relative_u: float
    implied_density: float

    @property
    def good(self) -> bool:
        """Whether the misfit is no larger than its uncertainty allows."""
        return abs(self.misfit_sigmas) <= TOO_FAR

    @property
    def denser_than_solid(self) -> bool:
        """Whether metal fraction and lengths would make the metal denser than it can be."""
        return self.implied_density > 1.0 + TOO_FAR * self.relative_u


def kept_volume(shrinkages: Sequence[Estimate]) -> Estimate:
    """Fired over green volume by the shrinkages of the three axes.

    Parameters
    ----------
    shrinkages : sequence of 3 Estimate
        Linear shrinkages on green size, taken as independent.

    Returns
    -------
    Estimate
        The share of the volume that is left.

    Examples
    --------
    >>> kept_volume([Estimate(0.5, 0.0)] * 3).value
    0.125
    """
    kept = math.prod(1.0 - s.value for s in shrinkages)
    return Estimate(kept, kept * math.hypot(*(s.u / (1.0 - s.value) for s in shrinkages)))


def metal_balance(kept: Estimate, metal_fraction: Estimate, density: Estimate) -> MetalBalance:
    """Hold the volume that lengths leave against the one that weights leave.

    Parameters
    ----------
    kept : Estimate
        Fired over green volume, by lengths.
    metal_fraction : Estimate
        Metal volume in the green part as printed.
    density : Estimate
        Relative sintered density.

    Returns
    -------
    MetalBalance
        The comparison.
    """
    expected = metal_fraction.value / density.value
    relative_u = math.hypot(
        kept.u / kept.value, metal_fraction.u / metal_fraction.value, density.u / density.value
    )
    relative_u = max(relative_u, ROUNDING)
    return MetalBalance(
        kept=kept.value,
        expected=expected,
        misfit_sigmas=(kept.value / expected - 1.0) / relative_u,
        relative_u=relative_u,
        implied_density=metal_fraction.value / kept.value,
    )
