"""From the wanted part to the green part: larger by 1 / (1 - s), each axis by its own.

The classic mistake is to add the shrinkage on: a part that shrinks by 16 % must be
printed 1 / (1 - 0.16) = 1.1905 times as large, not 1.16 times.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import trimesh

from shrinkrule.compensation.frames import moved, stood_on_bed, turn_up, turned_about_z
from shrinkrule.defaults import LARGEST_SHRINKAGE
from shrinkrule.errors import SettingError
from shrinkrule.numerics.arrays import Floats


def oversize_factor(shrinkage: float) -> float:
    """Green size over sintered size for a linear shrinkage on green size.

    Parameters
    ----------
    shrinkage : float
        Fraction, 0 to under 1.

    Returns
    -------
    float
        The factor, 1 or more.

    Raises
    ------
    SettingError
        For a fraction outside that range; 16 instead of 0.16 is the usual slip.

    Notes
    -----
    Source: definition of shrinkage on green size; tool cavity expansion factor of
    R. M. German and A. Bose, *Injection Molding of Metals and Ceramics* (MPIF, 1997).

    Examples
    --------
    >>> round(oversize_factor(0.16), 4)
    1.1905
    """
    if not 0.0 <= shrinkage < 1.0:
        raise SettingError(
            f"{shrinkage:g} is no shrinkage", hint="give a fraction: 0.16 stands for 16 %"
        )
    return 1.0 / (1.0 - shrinkage)


def shrinkage_from_density(metal_fraction: float, relative_density: float) -> float:
    """Shrinkage, equal in all axes, of a green part that sinters to ``relative_density``.

    Parameters
    ----------
    metal_fraction : float
        Metal volume fraction of the green part.
    relative_density : float
        Sintered density over that of solid metal.

    Returns
    -------
    float
        Linear shrinkage on green size, a fraction.

    Notes
    -----
    Source: Y = 1 - (phi / D)^(1/3), R. M. German, *Powder Injection Molding* (MPIF, 1990);
    conservation of metal.

    Examples
    --------
    >>> round(shrinkage_from_density(0.60, 0.97), 5)
    0.14796
    """
    return 1.0 - float(np.cbrt(metal_fraction / relative_density))


@dataclass(frozen=True)
class ScaleFactors:
    """Oversize factors in the print frame: green size over sintered size.

    Raises
    ------
    SettingError
        For a factor below 1 or above 2.
    """

    x: float
    y: float
    z: float

    def __post_init__(self) -> None:
        for axis, factor in (("X", self.x), ("Y", self.y), ("Z", self.z)):
            if not 1.0 <= factor <= oversize_factor(LARGEST_SHRINKAGE):
                raise SettingError(
                    f"oversize factor {factor:g} is not between 1 and 2",
                    where=axis,
                    hint="for a shrinkage s it is 1 / (1 - s): 1.1905 for 16 %",
                )

    @classmethod
    def alike(cls, xy: float, z: float) -> ScaleFactors:
        """Factors of which X and Y are the same."""
        return cls(xy, xy, z)

    @classmethod
    def from_shrinkage(cls, xy: float, z: float) -> ScaleFactors:
        """Build factors from shrinkages (fractions) of a printer without errors."""
        return cls.alike(oversize_factor(xy), oversize_factor(z))

    @property
    def volume(self) -> float:
        """Green volume over sintered volume."""
        return self.x * self.y * self.z

    @property
    def per_axis(self) -> Floats:
        """Factors (3,) along x, y, z of the print frame."""
        return np.array([self.x, self.y, self.z])

    def __str__(self) -> str:
        if self.x == self.y:
            return f"XY × {self.x:.4f}, Z × {self.z:.4f}"
        return f"X × {self.x:.4f}, Y × {self.y:.4f}, Z × {self.z:.4f}"


@dataclass(frozen=True)
class GreenPart:
    """The part to print.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Green, in the print frame, mm, standing on z = 0 and centred on x = y = 0.
    factors : ScaleFactors
        Oversize factors that were used.
    from_model : (4, 4) float64
        Takes points of the model frame to the green part.
    """

    mesh: trimesh.Trimesh
    factors: ScaleFactors
    from_model: Floats

    @property
    def to_model(self) -> Floats:
        """Matrix (4, 4) that takes green points back to the wanted part in the model frame."""
        inverse: Floats = np.linalg.inv(self.from_model).astype(np.float64)
        return inverse

    def in_model(self, points: Floats) -> Floats:
        """Points (n, 3) of the green part, mm, where they are in the wanted part's own axes."""
        back = self.to_model
        there: Floats = points @ back[:3, :3].T + back[:3, 3]
        return there


def green_part(
    wanted: trimesh.Trimesh, factors: ScaleFactors, up: Floats, turn_deg: int = 0
) -> GreenPart:
    """Scale a wanted part up to the green part.

    Parameters
    ----------
    wanted : trimesh.Trimesh
        Wanted part in the model frame, mm.
    factors : ScaleFactors
        Oversize factors, in the print frame.
    up : (3,) float
        Model axis that points up in the printer.
    turn_deg : int
        Turn about Z on the bed, degrees to the left: 0, 90, 180 or 270.

    Returns
    -------
    GreenPart
        The green mesh in the print frame, and the way back to the model.
    """
    matrix = np.eye(4)
    matrix[:3, :3] = np.diag(factors.per_axis) @ turned_about_z(turn_deg) @ turn_up(up)
    scaled = moved(wanted, matrix)
    matrix[:3, 3] = stood_on_bed(np.asarray(scaled.vertices))
    return GreenPart(moved(wanted, matrix), factors, matrix)


def fired_mesh(green: trimesh.Trimesh, factors: ScaleFactors) -> trimesh.Trimesh:
    """Mesh that sintering makes of a green mesh, both in the print frame, without sag.

    Parameters
    ----------
    green : trimesh.Trimesh
        Green part, mm.
    factors : ScaleFactors
        Oversize factors that it was scaled by.

    Returns
    -------
    trimesh.Trimesh
        The fired part, mm.
    """
    matrix = np.eye(4)
    matrix[:3, :3] = np.diag(1.0 / factors.per_axis)
    return moved(green, matrix)
