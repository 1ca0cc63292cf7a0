"""What every grid of a part asks of its surface: whether it is closed, its bodies, its bends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import trimesh

from shrinkrule.mesh.kept import Kept
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.edges import edge_table
from shrinkrule.numerics.triangles import signed_volumes
from shrinkrule.sag.voxels.reentrant import edge_turns

MOST_KEPT: Final = 1
"""Parts of which this is kept at a time: several grids, and ways up, of one part are solved."""


@dataclass(frozen=True)
class Solid:
    """The surface of a part, whichever way it is turned.

    Parameters
    ----------
    volume : float
        Signed, mm3.
    closed : bool
        Whether just two facets share every edge; what follows is empty where not.
    bodies : int
        Number of bodies; a cavity in one is none of its own.
    ends : (k, 2) int64
        Vertices at the ends of the edges across which it bends.
    turn : (k,) float64
        How far it turns there, radians: positive where it is hollow.
    """

    volume: float
    closed: bool
    bodies: int
    ends: Ints
    turn: Floats


def _solid(mesh: trimesh.Trimesh) -> Solid:
    """The surface of a part."""
    facets = np.asarray(mesh.faces, dtype=np.int64)
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    edges = edge_table(facets)
    if not edges.closed:
        volume = float(signed_volumes(vertices, facets, np.zeros(len(facets), np.int64)).sum())
        return Solid(volume, False, 0, np.zeros((0, 2), dtype=np.int64), np.zeros(0))
    volumes = signed_volumes(vertices, facets, edges.bodies)
    ends, turn = edge_turns(vertices, facets, edges)
    return Solid(float(volumes.sum()), True, int((volumes > 0.0).sum()), ends, turn)


_SOLIDS: Final = Kept(_solid, MOST_KEPT)


def solid_of(mesh: trimesh.Trimesh) -> Solid:
    """What every grid of a part asks of its surface, worked out once.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.

    Returns
    -------
    Solid
        Its surface.
    """
    return _SOLIDS.of(mesh)
