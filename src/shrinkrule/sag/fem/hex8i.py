"""The eight-node brick with incompatible modes, made once and used for every brick of the grid.

Bending is what sag is about, and the plain trilinear brick locks in bending. Three
quadratic modes per direction, condensed inside the brick, let it bend exactly.

Source: R. L. Taylor, P. J. Beresford, E. L. Wilson, Int. J. Numer. Methods Eng. 10
(1976) 1211-1219. On a box-shaped brick their correction for the patch test is zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats
from shrinkrule.sag.voxels.corners import CORNERS

_GAUSS: Final = (2 * CORNERS - 1) / np.sqrt(3.0)


@dataclass(frozen=True)
class Brick:
    """The matrices of one brick, for a modulus of one.

    Parameters
    ----------
    size : (3,) float
        Sides of the brick, mm.
    strain : (8, 6, 24) float
        At each Gauss point the strains, scaled so that their squares add up to twice the
        energy: the stiffness is the sum of ``strain[g].T @ strain[g]`` over g. The
        incompatible modes are condensed for the full brick.
    load : (8, 8) float
        Volume that each Gauss point (row) hands to each corner (column), mm3.
    """

    size: Floats
    strain: Floats
    load: Floats

    @property
    def stiffness(self) -> Floats:
        """Stiffness of the full brick, (24, 24)."""
        matrix: Floats = np.einsum("gij,gik->jk", self.strain, self.strain)
        return matrix


def elasticity(poisson: float) -> Floats:
    """Isotropic elasticity for a modulus of one, (6, 6), shears as engineering strains.

    Parameters
    ----------
    poisson : float
        Poisson ratio, below 0.5.

    Returns
    -------
    (6, 6) float
        The elasticity matrix.

    Source: any textbook of elasticity (Hooke's law, order xx yy zz xy yz zx).
    """
    shear = 0.5 / (1.0 + poisson)
    first = poisson / ((1.0 + poisson) * (1.0 - 2.0 * poisson))
    matrix = np.zeros((6, 6))
    matrix[:3, :3] = first
    matrix[np.arange(3), np.arange(3)] += 2.0 * shear
    matrix[np.arange(3, 6), np.arange(3, 6)] = shear
    return matrix


def _strain_operator(gradients: Floats) -> Floats:
    """Strains (6, 3 m) of m shape functions from their gradients (m, 3)."""
    operator = np.zeros((6, len(gradients), 3))
    for axis in range(3):
        operator[axis, :, axis] = gradients[:, axis]
    for row, (a, b) in enumerate(((0, 1), (1, 2), (2, 0)), start=3):
        operator[row, :, a] = gradients[:, b]
        operator[row, :, b] = gradients[:, a]
    flat: Floats = operator.reshape(6, -1)
    return flat


def make_brick(size: Floats, poisson: float) -> Brick:
    """Make the brick of the given sides.

    Parameters
    ----------
    size : (3,) float
        Sides, mm.
    poisson : float
        Poisson ratio, below 0.5.

    Returns
    -------
    Brick
        Its matrices.

    Source: Taylor, Beresford, Wilson 1976 (see the head of this module).
    """
    volume = float(np.prod(size))
    root = np.linalg.cholesky(elasticity(poisson)).T
    signs = 2.0 * CORNERS - 1.0
    compatible, bubbles, load = [], [], np.empty((8, 8))
    for g, point in enumerate(_GAUSS):
        factors = 0.5 * (1.0 + signs * point)
        load[g] = factors.prod(axis=1) * volume / 8.0
        slopes = signs / size
        gradients = np.stack(
            [slopes[:, d] * np.delete(factors, d, axis=1).prod(axis=1) for d in range(3)], axis=1
        )
        compatible.append(root @ _strain_operator(gradients))
        bubbles.append(root @ _strain_operator(np.diag(-4.0 * point / size)))
    weight = np.sqrt(volume / 8.0)
    plain, inner = np.array(compatible) * weight, np.array(bubbles) * weight
    inner_stiffness = np.einsum("gij,gik->jk", inner, inner)
    coupling = np.einsum("gij,gik->jk", inner, plain)
    condensed = plain - inner @ np.linalg.solve(inner_stiffness, coupling)
    return Brick(size=np.asarray(size, dtype=np.float64), strain=condensed, load=load)
