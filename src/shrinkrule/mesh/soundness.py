"""How far a mesh can be trusted: is it closed, wound outward, of how many bodies.

Everything is counted on edges. A closed surface uses each undirected edge equally often in
both directions, and only then do volume and mass mean anything (divergence theorem).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np
import trimesh

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.numerics.edges import EdgeTable, edge_table
from shrinkrule.numerics.jit import compiled
from shrinkrule.numerics.triangles import signed_volumes

DEGENERATE: Final = 1e-6
"""Height over longest side of a degenerate facet whose corners are distinct but in a line:
below what float32 in a file resolves."""


@dataclass(frozen=True)
class Soundness:
    """What was found in a mesh. Lengths in mm, volume in mm3.

    ``closed`` means that every edge is used equally often in both directions;
    ``manifold`` that every edge belongs to exactly two facets.
    """

    facets: int
    vertices: int
    bodies: int
    cavities: int
    closed: bool
    manifold: bool
    winding_consistent: bool
    open_edges: int
    crowded_edges: int
    sliver_facets: int
    volume_mm3: float

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON."""
        return asdict(self)


@compiled
def _are_lower_than(vertices: Floats, facets: Ints, share: float) -> Any:
    """Whether twice the area of each facet is at most ``share`` of its longest side's square."""
    low = np.empty(len(facets), np.bool_)
    for f in range(len(facets)):
        a, b, c = facets[f, 0], facets[f, 1], facets[f, 2]
        ux = vertices[b, 0] - vertices[a, 0]
        uy = vertices[b, 1] - vertices[a, 1]
        uz = vertices[b, 2] - vertices[a, 2]
        vx = vertices[c, 0] - vertices[a, 0]
        vy = vertices[c, 1] - vertices[a, 1]
        vz = vertices[c, 2] - vertices[a, 2]
        wx, wy, wz = vx - ux, vy - uy, vz - uz
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        longest = max(
            ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz, wx * wx + wy * wy + wz * wz
        )
        low[f] = x * x + y * y + z * z <= (share * longest) ** 2
    return low


def without_area(vertices: Floats, facets: Ints) -> Mask:
    """Whether the corners of each facet lie in a line, as far as a file resolves that.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface, mm.

    Returns
    -------
    (m,) bool
        For each facet.
    """
    low: Mask = _are_lower_than(vertices, facets, DEGENERATE)
    return low


def inspect_mesh(mesh: trimesh.Trimesh) -> Soundness:
    """Look at a mesh (mm, vertices already merged) and count what can be wrong with it.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        In mm, its equal vertices merged.

    Returns
    -------
    Soundness
        The counts.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    facets = np.asarray(mesh.faces, dtype=np.int64)
    return soundness_of(vertices, facets, edge_table(facets))


def soundness_of(vertices: Floats, facets: Ints, table: EdgeTable) -> Soundness:
    """Count what can be wrong with a surface whose edges are already tabulated.

    Turning facets leaves ``uses`` and the zeros of ``balance`` as they are, so a table made
    before whole bodies were turned still serves.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface, mm.
    table : EdgeTable
        Its edges.

    Returns
    -------
    Soundness
        The counts.
    """
    volumes = signed_volumes(vertices, facets, table.bodies)
    closed = not table.balance.any()
    return Soundness(
        facets=len(facets),
        vertices=len(vertices),
        bodies=int((volumes > 0).sum()) if closed else len(volumes),
        cavities=int((volumes < 0).sum()) if closed else 0,
        closed=closed,
        manifold=bool((table.uses == 2).all()),
        winding_consistent=not (table.balance[table.uses == 2]).any(),
        open_edges=int((table.uses == 1).sum()),
        crowded_edges=int((table.uses > 2).sum()),
        sliver_facets=int(without_area(vertices, facets).sum()),
        volume_mm3=float(volumes.sum()),
    )
