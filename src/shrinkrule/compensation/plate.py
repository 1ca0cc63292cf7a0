"""Faces on the plate moved up or down, to take off what the first layer does to heights.

A first layer that is squeezed makes every height from the plate short by the same amount; the part
then needs as much more below. Only the faces that lie on the plate move: what lies higher stays.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import trimesh

from shrinkrule.errors import MeshError, Option
from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.triangles import unit_normals

ON_PLATE_MM: Final = 1e-3
"""A face lies on the plate if all of it is nearer than this; rounding of meshes is far less."""


def plate_moved(mesh: trimesh.Trimesh, added_mm: float, where: str = "mesh") -> trimesh.Trimesh:
    """Mesh with so much height added below the faces that lie on the plate.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Print frame, mm, standing on z = 0.
    added_mm : float
        Height added below; negative takes it away.
    where : str
        Name of the part, for messages.

    Returns
    -------
    trimesh.Trimesh
        The mesh, standing on z = 0 again.

    Raises
    ------
    MeshError
        If no face lies on the plate, or something thinner than what is taken away does.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    facets = np.asarray(mesh.faces, dtype=np.int64)
    low: Floats = vertices[:, 2] - vertices[:, 2].min()
    flat = unit_normals(vertices[facets])[:, 2] < -0.999
    lying = flat & np.all(low[facets] < ON_PLATE_MM, axis=1)
    if not lying.any():
        raise MeshError(
            "no face lies on the plate, so the first layer cannot be taken off there",
            where=where,
            hint="stand the part on a flat face, or leave the mesh as it is",
            options=(Option.OUTLINE,),
        )
    moves = np.zeros(len(vertices), dtype=np.bool_)
    moves[facets[lying]] = True
    above = low[~moves]
    if added_mm < 0.0 and above.size and float(above.min()) <= -added_mm:
        raise MeshError(
            f"a detail near the plate is lower than the {-added_mm:.3f} mm to take off there",
            where=where,
            hint="leave the mesh as it is",
            options=(Option.OUTLINE,),
        )
    moved = vertices.copy()
    moved[moves, 2] -= added_mm
    moved[:, 2] -= moved[:, 2].min()
    return trimesh.Trimesh(moved, facets, process=False, validate=False)
