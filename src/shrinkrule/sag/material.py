"""The body in its hot hours: its sag modulus, Poisson ratio and density.

Over a whole firing a linear viscous body under its own weight moves as a linear elastic
body with one effective modulus does (elastic-viscous correspondence: G. H. Darwin, 1879;
the beam-bending standard ISO 7884-4 rests on it with E = 3 eta). That modulus, the sag
modulus, is measured on a span of the calibration coupon.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.calibration import CalibrationRow
from shrinkrule.errors import SettingError, TableError
from shrinkrule.physics.estimate import Estimate
from shrinkrule.units import weight_kpa_per_mm

MAX_POISSON: Final = 0.49
"""Above this the bricks lock; bending under weight hardly depends on it (see the theory)."""


def viscous_poisson(relative_density: float) -> float:
    """Poisson ratio of a porous viscous body, from its relative density.

    With the porosity theta, nu = (2 - 3 theta) / (4 - 3 theta).

    Parameters
    ----------
    relative_density : float
        Mean relative density of the hot hours, a fraction in (0.34, 1].

    Returns
    -------
    float
        The ratio.

    Raises
    ------
    SettingError
        For a density at which the formula's ratio is not positive, or above 1.

    Source: Skorohod-Olevsky (E. A. Olevsky, Mater. Sci. Eng. R 23 (1998) 41-100), with
    phi = (1 - theta)^2 and psi = (2/3)(1 - theta)^3 / theta.

    Examples
    --------
    >>> round(viscous_poisson(0.9), 4)
    0.4595
    """
    if not 1.0 / 3.0 < relative_density <= 1.0:
        raise SettingError(
            f"a relative density of {relative_density:g} has no viscous Poisson ratio",
            hint="give the mean density of the hot hours as a fraction, such as 0.85",
        )
    porosity = 1.0 - relative_density
    return (2.0 - 3.0 * porosity) / (4.0 - 3.0 * porosity)


@dataclass(frozen=True)
class SagMaterial:
    """The body in its hot hours.

    Parameters
    ----------
    modulus_kpa : float
        Sag modulus E_s, kPa, referred to the fired dimensions of the coupon's spans.
    modulus_u_kpa : float
        Its standard uncertainty, kPa.
    poisson : float
        Viscous Poisson ratio, in [0, 0.5].
    density_g_cm3 : float
        Mean density of the body during the hot hours, g/cm3.
    modulus_dof : float
        Degrees of freedom of the modulus's uncertainty; infinite where it is taken as known.
    knows_firings : bool
        Whether several firings are behind it; without them nothing is known of the next.

    Raises
    ------
    SettingError
        For a value that no body can have.
    """

    modulus_kpa: float
    modulus_u_kpa: float
    poisson: float
    density_g_cm3: float
    modulus_dof: float = math.inf
    knows_firings: bool = True

    def __post_init__(self) -> None:
        for name, value, good in (
            ("sag modulus", self.modulus_kpa, self.modulus_kpa > 0.0),
            ("uncertainty of the sag modulus", self.modulus_u_kpa, self.modulus_u_kpa >= 0.0),
            ("viscous Poisson ratio", self.poisson, 0.0 <= self.poisson <= 0.5),
            ("hot density", self.density_g_cm3, self.density_g_cm3 > 0.0),
        ):
            if not (np.isfinite(value) and good):
                raise SettingError(
                    f"a {name} of {value:g} is impossible",
                    hint="check the calibration row's sag columns",
                )

    @property
    def unsure_factor(self) -> float | None:
        """Factor either way within which the sag of the next firing lies (95 %), if that is known.

        Sag goes as one over the modulus, which was averaged as a logarithm: its interval is
        ``sag exp(+- t u_ln)``.
        """
        if not self.knows_firings:
            return None
        return Estimate(self.modulus_kpa, self.modulus_u_kpa, self.modulus_dof).factor()

    @property
    def weight_over_modulus(self) -> float:
        """Weight per volume over the sag modulus, 1/mm: all that the sag depends on."""
        return weight_kpa_per_mm(self.density_g_cm3) / self.modulus_kpa

    @property
    def solved_poisson(self) -> float:
        """The ratio that the bricks are given: the body's, kept clear of locking."""
        return min(self.poisson, MAX_POISSON)


def sag_material(row: CalibrationRow) -> SagMaterial:
    """Material of a row's fired body.

    The modulus was taken from spans in their fired size and density, so the part is
    solved in its fired size and density too.

    Parameters
    ----------
    row : CalibrationRow
        The batch.

    Returns
    -------
    SagMaterial
        The material.

    Raises
    ------
    TableError
        If the row lacks the sag modulus, the relative density or the metal's density.
    """
    modulus, density, metal = row.sag_modulus_kpa, row.relative_density, row.metal_density_g_cm3
    if modulus is None or density is None or metal is None:
        missing = [
            name
            for name, value in (
                ("sag_modulus_kpa", modulus),
                ("relative_density_pct", density),
                ("metal_density_g_cm3", metal),
            )
            if value is None
        ]
        raise TableError(
            f"row {row.name!r} lacks what sag needs: {', '.join(missing)}",
            hint="calibrate with the coupon's sag bars; without them, no sag can be known",
        )
    return SagMaterial(
        modulus_kpa=modulus.value,
        modulus_u_kpa=modulus.u,
        poisson=viscous_poisson(density.value),
        density_g_cm3=density.value * metal,
        modulus_dof=modulus.dof,
        knows_firings=row.firing_scatter_known,
    )
