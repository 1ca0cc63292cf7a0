"""From the model's axes to the printer's: which way is up, and where the part stands.

Shrinkage is XY against Z in the print frame, so a part that is printed lying on
another side is turned first. The furnace frame (where gravity points while hot) is
the print frame unless a part is fired lying down.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import trimesh

from shrinkrule.errors import SettingError
from shrinkrule.numerics.arrays import Floats, box_of

WAYS_UP: Final[dict[str, tuple[int, int, int]]] = {
    "z": (0, 0, 1),
    "-z": (0, 0, -1),
    "x": (1, 0, 0),
    "-x": (-1, 0, 0),
    "y": (0, 1, 0),
    "-y": (0, -1, 0),
}


QUARTER_TURNS: Final = (0, 90, 180, 270)
"""Turns about Z that a part may be given on the bed, degrees."""


def way_up(name: str) -> Floats:
    """Give the unit vector (3,) of the model axis that points up.

    Parameters
    ----------
    name : str
        Axis with its sign: x, -x, y, -y, z or -z.

    Returns
    -------
    (3,) float64
        Unit vector along it.

    Raises
    ------
    SettingError
        For a name that is not one of x, -x, y, -y, z, -z.
    """
    key = name.strip().lower().lstrip("+")
    if key not in WAYS_UP:
        raise SettingError(f"{name!r} is no way up", hint=f"use one of {', '.join(WAYS_UP)}")
    return np.array(WAYS_UP[key], dtype=np.float64)


def turn_up(up: Floats) -> Floats:
    """Rotation (3, 3) by quarter turns that brings ``up`` to +Z.

    Parameters
    ----------
    up : (3,) float
        One of the six axis directions.

    Returns
    -------
    (3, 3) float64
        The rotation.

    Examples
    --------
    >>> turn_up(np.array([1.0, 0.0, 0.0])) @ [1.0, 0.0, 0.0]
    array([0., 0., 1.])
    """
    axis = int(np.argmax(np.abs(up)))
    if axis == 2:
        return np.diag([1.0, 1.0, 1.0] if up[2] > 0 else [1.0, -1.0, -1.0])
    # A cyclic change of axes brings x or y to z; a half turn about the new x restores the sign.
    cyclic = np.roll(np.eye(3), 2 - axis, axis=0)
    return cyclic if up[axis] > 0 else np.diag([1.0, -1.0, -1.0]) @ cyclic


def turned_about_z(degrees: int) -> Floats:
    """Rotation (3, 3) about Z by quarter turns to the left.

    Parameters
    ----------
    degrees : int
        0, 90, 180 or 270.

    Returns
    -------
    (3, 3) float64
        The rotation.

    Raises
    ------
    SettingError
        For any other angle: what is a box in the model would be none in the print.

    Examples
    --------
    >>> turned_about_z(90) @ [1.0, 0.0, 0.0]
    array([0., 1., 0.])
    """
    if degrees not in QUARTER_TURNS:
        raise SettingError(
            f"{degrees:g} degrees is no quarter turn", hint="turn the part by 0, 90, 180 or 270"
        )
    c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[QUARTER_TURNS.index(degrees)]
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def stood_on_bed(vertices: Floats) -> Floats:
    """Shift (3,) that centres points (n, 3) on x = y = 0 with the lowest at z = 0.

    Parameters
    ----------
    vertices : (n, 3) float64
        Points, mm.

    Returns
    -------
    (3,) float64
        The shift, mm.
    """
    low, high = box_of(vertices)
    return np.array([-(low[0] + high[0]) / 2, -(low[1] + high[1]) / 2, -low[2]])


def moved(mesh: trimesh.Trimesh, matrix: Floats) -> trimesh.Trimesh:
    """Mesh with its vertices through a (4, 4) matrix; the facets stay as they are.

    The matrix must not mirror, or the facets would face inward.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Any mesh; it is not changed.
    matrix : (4, 4) float64
        Acts on columns of x, y, z, 1.

    Returns
    -------
    trimesh.Trimesh
        The moved mesh.
    """
    # einsum and not a product of matrices, which takes ten times as long on rows of three.
    vertices = np.einsum("ij,kj->ki", matrix[:3, :3], np.asarray(mesh.vertices))
    vertices += matrix[:3, 3]
    return trimesh.Trimesh(vertices, mesh.faces, process=False, validate=False)
