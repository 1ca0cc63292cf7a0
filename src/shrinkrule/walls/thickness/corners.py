"""Walls between inward corners, which no facet faces straight.

Along every edge where two faces meet inward (the rim of a pocket's floor, a notch, the
flats of a bore) and at every such vertex a ball can touch that is aslant to all facets.
From spots along these edges the way across the part is measured, and from its middle the
ball that is pinched between the nearest points of both sides is found.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import trimesh

from shrinkrule.numerics.arrays import Floats, Ints, ranges
from shrinkrule.numerics.edges import edge_table
from shrinkrule.numerics.jit import compiled
from shrinkrule.walls.thickness.bitangent import pinched_balls
from shrinkrule.walls.thickness.spheres import Status, Surface, ThicknessSamples, largest_balls

LEAST_TURN: Final = float(np.sin(np.radians(8.0)))
"""Sine of the turn below which facets tell the wall well enough: to 1 / cos 4 degrees."""

HALF_TURN: Final = float(np.cos(np.radians(4.0)))
"""Cosine of half that turn."""

AHEAD: Final = 1.3
"""Walls are looked for where the way across is up to this many limits."""

MOST_SPOTS: Final = 200_000
"""Spots on inward edges at most; a part with more has them closer than a spacing anyway."""


@compiled
def _least_cosines(faces: Ints, normals: Floats, count: int) -> Any:
    """Least cosine (count,) between the first facet at each vertex and all others there."""
    first = np.full(count, -1, np.int64)
    least = np.ones(count)
    for f in range(len(faces)):
        nx, ny, nz = normals[f, 0], normals[f, 1], normals[f, 2]
        if nx == 0.0 and ny == 0.0 and nz == 0.0:
            continue
        for k in range(3):
            v = faces[f, k]
            g = first[v]
            if g < 0:
                first[v] = f
            else:
                cosine = nx * normals[g, 0] + ny * normals[g, 1] + nz * normals[g, 2]
                least[v] = min(least[v], cosine)
    return least


def _about_bends(faces: Ints, normals: Floats, count: int) -> Ints:
    """Facets at vertices about which the surface bends enough to be told.

    Where two facets turn by so much, one of them does by half of it from any third, and
    where one turns so much from the mean, it does by half of it from any one.
    """
    bent = _least_cosines(faces, normals, count) < HALF_TURN
    return np.flatnonzero(bent[faces].any(axis=1))


def _inward_edges(vertices: Floats, faces: Ints, normals: Floats) -> tuple[Ints, Ints]:
    """Ends of the edges at which the surface turns inward, and the two facets of each."""
    table = edge_table(faces)
    paired = np.flatnonzero(table.uses[table.edge_of] == 2)
    order = paired[np.argsort(table.edge_of[paired], kind="stable")].reshape(-1, 2)
    facets = order // 3
    turn = np.linalg.norm(np.cross(normals[facets[:, 0]], normals[facets[:, 1]]), axis=1)
    opposite = np.einsum("ij,ij->i", normals[facets[:, 0]], normals[facets[:, 1]]) < 0.0
    sharp = np.flatnonzero((turn > LEAST_TURN) | opposite)
    order, facets = order[sharp], facets[sharp]
    # The far corner of the second facet rises above the first one where they meet inward.
    far = vertices[faces[facets[:, 1], (order[:, 1] + 2) % 3]]
    near = vertices[faces[facets[:, 0], order[:, 0] % 3]]
    inward = np.einsum("ij,ij->i", far - near, normals[facets[:, 0]]) > 0.0
    return table.ends[table.edge_of[order[inward, 0]]].astype(np.int64), facets[inward]


def inward_spots(
    mesh: trimesh.Trimesh, normals: Floats, spacing_mm: float
) -> tuple[Floats, Floats, Ints]:
    """Points on inward edges and their ends, the way out of the part there, and a facet.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    normals : (m, 3) float64
        Normals of its facets.
    spacing_mm : float
        Largest distance between points of one edge.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    faces = np.asarray(mesh.faces, dtype=np.int64)
    bent = _about_bends(faces, normals, len(vertices))
    faces, normals = faces[bent], normals[bent]
    ends, facets = _inward_edges(vertices, faces, normals)
    start, way = vertices[ends[:, 0]], vertices[ends[:, 1]] - vertices[ends[:, 0]]
    out = normals[facets[:, 0]] + normals[facets[:, 1]]
    count = np.maximum(np.ceil(np.linalg.norm(way, axis=1) / spacing_mm), 1.0).astype(np.int64)
    if count.sum() > MOST_SPOTS:
        count[:] = 1
    edge, number = (values[:MOST_SPOTS] for values in ranges(np.zeros_like(count), count))
    spots = start[edge] + ((number + 0.5) / count[edge])[:, None] * way[edge]
    tips, tip_out, tip_facet = _tips(vertices, faces, normals)
    directions = np.vstack([out[edge], tip_out])
    length = np.linalg.norm(directions, axis=1)
    told = length > 1e-6
    spots = np.vstack([spots, vertices[tips]])[told]
    facet = np.concatenate([facets[edge, 0], tip_facet])[told]
    return spots, directions[told] / length[told, None], bent[facet]


def _corner_angles(corners: Floats) -> Floats:
    """Angle of each triangle at each of its corners, (m, 3), radians."""
    ahead = np.roll(corners, -1, axis=1) - corners
    back = np.roll(corners, 1, axis=1) - corners
    turn = np.linalg.norm(np.cross(ahead, back), axis=2)
    return np.asarray(np.arctan2(turn, np.einsum("ijk,ijk->ij", ahead, back)))


def _tips(vertices: Floats, faces: Ints, normals: Floats) -> tuple[Ints, Floats, Ints]:
    """Vertices about which facets turn and one rises, the mean way out there, and a facet."""
    count = len(vertices)
    # By their angle there, so that needles and cuts through a facet change nothing.
    weighted = _corner_angles(vertices[faces])[:, :, None] * normals[:, None]
    mean = np.zeros((count, 3))
    np.add.at(mean, faces.ravel(), weighted.reshape(-1, 3))
    mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), np.finfo(np.float64).tiny)
    along = np.einsum("ikj,ij->ik", mean[faces], normals)
    faces_a_way = np.linalg.norm(normals, axis=1) > 0.0
    turned = (along < np.sqrt(1.0 - LEAST_TURN**2)) & faces_a_way[:, None]
    facet, corner = np.nonzero(turned)
    tip = faces[facet, corner]
    rising = np.zeros(count, dtype=np.bool_)
    for step in (1, 2):
        edge = vertices[faces[facet, (corner + step) % 3]] - vertices[tip]
        up = np.einsum("ij,ij->i", edge, mean[tip])
        rising[tip[up > LEAST_TURN * np.linalg.norm(edge, axis=1)]] = True
    tips, first = np.unique(tip[rising[tip]], return_index=True)
    return tips, mean[tips], facet[rising[tip]][first]


def pinched_samples(
    mesh: trimesh.Trimesh, surface: Surface, spacing_mm: float, limit_mm: float
) -> ThicknessSamples:
    """Walls pinched between inward corners, thinner than a limit or a little thicker.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    surface : Surface
        The same, made ready.
    spacing_mm : float
        Largest distance between spots looked at along an edge.
    limit_mm : float
        The largest limit that thin places are held against.
    """
    spots, out, facets = inward_spots(mesh, surface.tree.normals, spacing_mm)
    reach = AHEAD * limit_mm
    _, contacts, _ = largest_balls(surface, spots, out, facets, reach)
    chord = np.linalg.norm(contacts - spots, axis=1)
    near = chord < reach
    middle = 0.5 * (spots + contacts)[near] - surface.middle
    made = pinched_balls(surface.tree, middle, 0.75 * chord[near])
    held = made.radius > 0.0
    half = made.radius[held]
    first, second = made.first[held] + surface.middle, made.second[held] + surface.middle
    return ThicknessSamples(
        first,
        (first - second) / (2.0 * half[:, None]),
        made.facets[held],
        2.0 * half,
        second,
        np.full(len(half), Status.MEASURED, dtype=np.int8),
        np.zeros(len(half)),
    )
