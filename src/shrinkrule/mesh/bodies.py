"""Bodies that share space: found, and made one on request.

Two closed bodies that overlap have a volume counted twice and walls that are not
there. manifold3d decides by exact intersection of each pair whose boxes meet.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import manifold3d
import numpy as np
import trimesh

from shrinkrule.errors import MeshError, Option
from shrinkrule.mesh.repair import body_boxes, facets_by_body, near_boxes
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.edges import EdgeTable, edge_table
from shrinkrule.numerics.triangles import signed_volumes

MAX_PAIRS: Final = 200
"""Pairs of bodies compared at most; a plate of many parts is checked only this far."""

MAX_BODIES: Final = 2000
"""More bodies than this are not compared at all."""

SHARED_SHARE: Final = 1.0e-9
"""Shared volume, as a share of the smaller body, under which two bodies only touch."""


@dataclass(frozen=True)
class Overlap:
    """Two bodies that share space.

    Parameters
    ----------
    pair : tuple of (int, int)
        Their numbers, from 1.
    volume_mm3 : float
        What they share.
    at_mm : tuple of 3 float
        Middle of the box around that, mm.
    """

    pair: tuple[int, int]
    volume_mm3: float
    at_mm: tuple[float, float, float]


def solid_from_mesh(vertices: Floats, facets: Ints) -> manifold3d.Manifold:
    """Make a manifold3d solid from vertices (n, 3) in mm and facets (m, 3).

    Parameters
    ----------
    vertices : (n, 3) float64
        mm.
    facets : (m, 3) int64
        Facets, outward.

    Returns
    -------
    manifold3d.Manifold
        The solid; its status says whether it is one.
    """
    # manifold3d takes no read-only array, and a mesh may hold one.
    return manifold3d.Manifold(
        manifold3d.Mesh64(
            vert_properties=np.require(vertices, np.float64, ("C", "W")),
            tri_verts=np.require(facets, np.uint64, ("C", "W")),
        )
    )


def mesh_from_solid(solid: manifold3d.Manifold) -> trimesh.Trimesh:
    """Make a mesh (mm) from a manifold3d solid.

    Parameters
    ----------
    solid : manifold3d.Manifold
        A solid, mm.

    Returns
    -------
    trimesh.Trimesh
        Its surface, mm.
    """
    mesh = solid.to_mesh64()
    return trimesh.Trimesh(
        np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3],
        np.asarray(mesh.tri_verts, dtype=np.int64),
        process=False,
        validate=False,
    )


def overlapping_bodies(
    vertices: Floats, facets: Ints, table: EdgeTable
) -> tuple[tuple[Overlap, ...], str]:
    """Pairs of solid bodies, numbered from 1, whose insides share volume.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A closed surface, in mm. Cavities (negative volume) are no bodies here.
    table : EdgeTable
        Its edges.

    Returns
    -------
    overlaps : tuple of Overlap
        Those that were found.
    not_compared : str
        How many pairs were not compared, in words; empty if all were.
    """
    volumes = signed_volumes(vertices, facets, table.bodies)
    bodies = facets_by_body(table.bodies, len(volumes))
    low, high = body_boxes(vertices, facets, bodies)
    solid = np.flatnonzero(volumes > 0)
    if len(solid) > MAX_BODIES:
        return (), f"{len(solid)} bodies are too many to be compared: some may share space"
    near = near_boxes(low[solid], high[solid])
    pairs = near[:MAX_PAIRS]
    left = f"only {MAX_PAIRS} of {len(near)} pairs of bodies were compared: others may share space"
    solids = {i: _compact(vertices, facets[bodies[solid[i]]]) for i in np.unique(pairs)}
    hollow = [_compact(vertices, facets[bodies[b]][:, ::-1]) for b in np.flatnonzero(volumes < 0)]
    empty = manifold3d.Manifold.batch_boolean(hollow, manifold3d.OpType.Add)
    found = []
    for first, second in pairs:
        # An island in a cavity lies inside the outer shell, but not inside the metal.
        shared = (solids[first] ^ solids[second]) - empty
        least = SHARED_SHARE * min(volumes[solid[first]], volumes[solid[second]])
        if shared.volume() > least:
            box = np.reshape(shared.bounding_box(), (2, 3))
            x, y, z = (float(value) for value in box.mean(axis=0))
            pair = int(first) + 1, int(second) + 1
            found.append(Overlap(pair, float(shared.volume()), (x, y, z)))
    return tuple(found), left if len(near) > MAX_PAIRS else ""


def united(mesh: trimesh.Trimesh, where: str) -> trimesh.Trimesh:
    """Make one solid of all bodies; cavities stay empty.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Closed bodies, mm.
    where : str
        Name of the part, for messages.

    Returns
    -------
    trimesh.Trimesh
        The surface of all of them together.

    Raises
    ------
    MeshError
        If a body is not a sound solid by itself.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    facets = np.asarray(mesh.faces, dtype=np.int64)
    labels = edge_table(facets).bodies
    volumes = signed_volumes(vertices, facets, labels)
    bodies = facets_by_body(labels, len(volumes))
    groups = [_compact(vertices, facets[bodies[b]]) for b in np.flatnonzero(volumes > 0)]
    holes = [_compact(vertices, facets[bodies[b]][:, ::-1]) for b in np.flatnonzero(volumes < 0)]
    if any(g.status() != manifold3d.Error.NoError for g in (*groups, *holes)):
        raise MeshError(
            "the bodies are not sound enough to be united",
            where=where,
            hint="unite them in the modelling program, or keep them as they are",
            options=(Option.KEEP,),
        )
    whole = manifold3d.Manifold.batch_boolean(groups, manifold3d.OpType.Add)
    for hole in holes:
        whole -= hole
    return mesh_from_solid(whole)


def _compact(vertices: Floats, facets: Ints) -> manifold3d.Manifold:
    used, renumbered = np.unique(facets, return_inverse=True)
    return solid_from_mesh(vertices[used], renumbered.reshape(-1, 3))
