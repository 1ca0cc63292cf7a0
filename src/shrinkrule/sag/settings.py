"""What sags and how it is held: the material of the hot hours and the settings of the solve.

Over a whole firing a linear viscous body under its own weight moves as a linear
elastic body with one effective modulus does (elastic-viscous correspondence: G. H.
Darwin, 1879; the beam-bending standard ISO 7884-4 rests on it with E = 3 eta). That
modulus, the sag modulus, is measured on a span of the calibration coupon.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, TypeVar

import numpy as np

from shrinkrule.errors import SettingError
from shrinkrule.numerics.arrays import Floats
from shrinkrule.units import weight_kpa_per_mm

Choice = TypeVar("Choice", bound=StrEnum)

MAX_POISSON: Final = 0.49
"""Above this the bricks lock; bending under weight hardly depends on it (see the theory)."""


def viscous_poisson(relative_density: float) -> float:
    """Poisson ratio of a porous viscous body, from its relative density.

    With the porosity theta, nu = (2 - 3 theta) / (4 - 3 theta).

    Parameters
    ----------
    relative_density : float
        Mean relative density of the hot hours, a fraction in (0.34, 1].

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
            mend="give the mean density of the hot hours as a fraction, such as 0.85",
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

    Raises
    ------
    SettingError
        For a value that no body can have.
    """

    modulus_kpa: float
    modulus_u_kpa: float
    poisson: float
    density_g_cm3: float

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
                    mend="check the calibration row's sag columns",
                )

    @property
    def weight_over_modulus(self) -> float:
        """Weight per volume over the sag modulus, 1/mm: all that the sag depends on."""
        return weight_kpa_per_mm(self.density_g_cm3) / self.modulus_kpa

    @property
    def solved_poisson(self) -> float:
        """The ratio that the bricks are given: the body's, kept clear of locking."""
        return min(self.poisson, MAX_POISSON)


class Friction(StrEnum):
    """How the setter plate holds the faces that rest on it."""

    FREE = "free"
    DRAG = "drag"


class Base(StrEnum):
    """What pre-curving does to the faces that stand on the plate."""

    FOLLOW = "follow"
    FLAT = "flat"


@dataclass(frozen=True)
class SupportBox:
    """A region whose undersides a setter block or ballast holds up.

    Parameters
    ----------
    low_mm, high_mm : tuple of three floats
        Opposite corners in the mesh's frame, mm.
    """

    low_mm: tuple[float, float, float]
    high_mm: tuple[float, float, float]

    def __post_init__(self) -> None:
        if not all(a < b for a, b in zip(self.low_mm, self.high_mm, strict=True)):
            raise SettingError(
                f"the support box from {self.low_mm} to {self.high_mm} is empty",
                mend="give its low corner first and its high corner second",
            )


@dataclass(frozen=True)
class SupportFacets:
    """Facets of the mesh that a setter block or ballast holds up.

    Parameters
    ----------
    facets : tuple of ints
        Facet numbers in the mesh.
    """

    facets: tuple[int, ...]


def _one_of(kind: type[Choice], name: str) -> Choice:
    try:
        return kind(name)
    except ValueError:
        known = ", ".join(kind)
        raise SettingError(
            f"{name!r} is no {kind.__name__.lower()}", mend=f"use one of {known}"
        ) from None


@dataclass(frozen=True)
class SagSettings:
    """How the part lies in the furnace and how finely it is solved.

    Parameters
    ----------
    furnace_up : tuple of three floats
        Upward direction in the furnace, in the mesh's frame; need not be of unit length.
    brick_mm : float or None
        Side of the bricks, mm; None lets the plan choose it.
    max_unknowns : int
        No plan asks for more unknowns than this.
    max_memory : int
        No plan asks for more memory than this, bytes.
    friction : Friction
        Free sliding on the plate, or stuck to it where it is touched.
    supports : tuple of SupportBox or SupportFacets
        Regions held from below besides the plate.
    base : Base
        Whether the underside may be curved too, or stays flat for the print bed.
    tolerance_mm : float
        Pre-curving stops once the remaining error is below this, mm.
    max_rounds : int
        Pre-curving fires the part at most this often.
    wall_mm : float or None
        Thinnest load-bearing wall where it is known already, mm; None measures it.

    Raises
    ------
    SettingError
        For a value out of its range.
    """

    furnace_up: tuple[float, float, float] = (0.0, 0.0, 1.0)
    brick_mm: float | None = None
    max_unknowns: int = 300_000
    max_memory: int = 4_000_000_000
    friction: Friction = Friction.FREE
    supports: tuple[SupportBox | SupportFacets, ...] = field(default=())
    base: Base = Base.FOLLOW
    tolerance_mm: float = 0.02
    max_rounds: int = 4
    wall_mm: float | None = None

    def __post_init__(self) -> None:
        up = np.asarray(self.furnace_up, dtype=np.float64)
        if up.shape != (3,) or not np.all(np.isfinite(up)) or not np.linalg.norm(up) > 0.0:
            raise SettingError(
                f"{self.furnace_up} is not a direction",
                where="furnace up",
                mend="give three numbers that are not all zero, such as 0,0,1",
            )
        for name, value in (
            ("brick side", self.brick_mm),
            ("wall", self.wall_mm),
            ("number of unknowns", self.max_unknowns),
            ("memory", self.max_memory),
            ("tolerance", self.tolerance_mm),
            ("number of rounds", self.max_rounds),
        ):
            if value is not None and not (np.isfinite(value) and value > 0):
                raise SettingError(
                    f"a {name} of {value:g} is impossible", mend="give a positive number"
                )
        object.__setattr__(self, "friction", _one_of(Friction, self.friction))
        object.__setattr__(self, "base", _one_of(Base, self.base))

    @property
    def up(self) -> Floats:
        """Upward unit vector in the mesh's frame, (3,)."""
        up = np.asarray(self.furnace_up, dtype=np.float64)
        return up / np.linalg.norm(up)
