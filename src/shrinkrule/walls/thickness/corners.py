"""Walls between inward corners, which no facet faces straight.

At edges where two faces meet inward (the rim of a pocket's floor, a notch, the flats of a bore)
and at such vertices, a ball can touch that is aslant to all facets. From points along these edges
the part is measured along the mean normal, and from the middle of that chord the bitangent sphere
is found (docs/theory-walls.md, "Corner to corner").
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import trimesh

from shrinkrule.numerics.arrays import Floats, Ints, ranges
from shrinkrule.numerics.edges import edge_table
from shrinkrule.numerics.jit import compiled
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.numerics.triangles import AT_ONCE
from shrinkrule.walls.thickness.bitangent import bitangent_spheres
from shrinkrule.walls.thickness.spheres import Status, Surface, ThicknessSamples, largest_balls

LEAST_TURN: Final = float(np.sin(np.radians(8.0)))
"""Sine of the turn below which the balls of facets are good enough: to 1 / cos 4 degrees."""

HALF_TURN: Final = float(np.cos(np.radians(4.0)))
"""Cosine of half that turn."""

AHEAD: Final = 1.3
"""Walls are looked for where the chord is up to this many limits long."""

MOST_POINTS: Final = 200_000
"""Points on inward edges at most; a part with more has them closer than a spacing anyway."""


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
    """Facets at vertices about which the surface turns by `LEAST_TURN` or more.

    Half that turn is enough to look for: where two facets turn by so much, one of them turns by
    half of it from any third; where one turns so much from the mean, it does from some facet.
    """
    bent = _least_cosines(faces, normals, count) < HALF_TURN
    return np.flatnonzero(bent[faces].any(axis=1))


def _inward_edges(vertices: Floats, faces: Ints, normals: Floats) -> tuple[Ints, Ints]:
    """Ends (k, 2) of edges at which the surface turns inward, and the two facets (k, 2) of each."""
    table = edge_table(faces)
    paired = np.flatnonzero(table.uses[table.edge_of] == 2)
    order = paired[np.argsort(table.edge_of[paired], kind="stable")].reshape(-1, 2)
    facets = order // 3
    sharp = np.empty(len(facets), dtype=np.bool_)

    def work(part: slice) -> None:
        one, other = normals[facets[part, 0]], normals[facets[part, 1]]
        turn = np.linalg.norm(np.cross(one, other), axis=1)
        sharp[part] = (turn > LEAST_TURN) | (np.einsum("ij,ij->i", one, other) < 0.0)

    in_chunks(work, len(facets), AT_ONCE)
    order, facets = order[sharp], facets[sharp]
    # The far corner of the second facet rises above the first one where they meet inward.
    far = vertices[faces[facets[:, 1], (order[:, 1] + 2) % 3]]
    near = vertices[faces[facets[:, 0], order[:, 0] % 3]]
    inward = np.einsum("ij,ij->i", far - near, normals[facets[:, 0]]) > 0.0
    return table.ends[table.edge_of[order[inward, 0]]].astype(np.int64), facets[inward]


def inward_points(
    mesh: trimesh.Trimesh, normals: Floats, spacing_mm: float
) -> tuple[Floats, Floats, Ints]:
    """Find points on inward edges and at their ends.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    normals : (m, 3) float64
        Normals of its facets.
    spacing_mm : float
        Largest distance between points of one edge.

    Returns
    -------
    (n, 3) float64, (n, 3) float64, (n,) int64
        Points, mm, mean normals there, and a facet of each.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    faces = np.asarray(mesh.faces, dtype=np.int64)
    bent = _about_bends(faces, normals, len(vertices))
    faces, normals = faces[bent], normals[bent]
    ends, facets = _inward_edges(vertices, faces, normals)
    start, along = vertices[ends[:, 0]], vertices[ends[:, 1]] - vertices[ends[:, 0]]
    out = normals[facets[:, 0]] + normals[facets[:, 1]]
    count = np.maximum(np.ceil(np.linalg.norm(along, axis=1) / spacing_mm), 1.0).astype(np.int64)
    if count.sum() > MOST_POINTS:
        count[:] = 1
    edge, number = (values[:MOST_POINTS] for values in ranges(np.zeros_like(count), count))
    points = start[edge] + ((number + 0.5) / count[edge])[:, None] * along[edge]
    tips, tip_out, tip_facet = _tips(vertices, faces, normals)
    directions = np.vstack([out[edge], tip_out])
    length = np.linalg.norm(directions, axis=1)
    # Two facets that fold back on each other have no mean normal.
    has_normal = length > 1e-6
    points = np.vstack([points, vertices[tips]])[has_normal]
    facet = np.concatenate([facets[edge, 0], tip_facet])[has_normal]
    return points, directions[has_normal] / length[has_normal, None], bent[facet]


def _corner_angles(corners: Floats) -> Floats:
    """Angle of each triangle at each of its corners, (m, 3), radians."""
    ahead = corners[:, [1, 2, 0]] - corners
    back = -ahead[:, [2, 0, 1]]
    turn = np.linalg.norm(np.cross(ahead, back), axis=2)
    return np.asarray(np.arctan2(turn, np.einsum("ijk,ijk->ij", ahead, back)))


def _tips(vertices: Floats, faces: Ints, normals: Floats) -> tuple[Ints, Floats, Ints]:
    """Vertices (k,) about which facets turn and one rises, their mean normals, and a facet each."""
    # By their angle there, so that degenerate facets and cuts through a facet change nothing.
    angles = np.empty(faces.shape)

    def measure(part: slice) -> None:
        angles[part] = _corner_angles(vertices[faces[part]])

    in_chunks(measure, len(faces), AT_ONCE)
    mean = np.zeros((len(vertices), 3))
    for corners, angle in zip(faces.T, angles.T, strict=True):
        for axis in range(3):
            mean[:, axis] += np.bincount(corners, angle * normals[:, axis], len(vertices))
    mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), np.finfo(np.float64).tiny)
    turned = np.empty(faces.shape, dtype=np.bool_)

    def compare(part: slice) -> None:
        own = normals[part]
        along = np.einsum("ikj,ij->ik", mean[faces[part]], own)
        has_normal = (own != 0.0).any(axis=1)
        turned[part] = (along < np.sqrt(1.0 - LEAST_TURN**2)) & has_normal[:, None]

    in_chunks(compare, len(faces), AT_ONCE)
    facet, corner = np.nonzero(turned)
    tip = faces[facet, corner]
    rising = np.zeros(len(vertices), dtype=np.bool_)
    for step in (1, 2):
        edge = vertices[faces[facet, (corner + step) % 3]] - vertices[tip]
        up = np.einsum("ij,ij->i", edge, mean[tip])
        rising[tip[up > LEAST_TURN * np.linalg.norm(edge, axis=1)]] = True
    tips, first = np.unique(tip[rising[tip]], return_index=True)
    return tips, mean[tips], facet[rising[tip]][first]


def bitangent_samples(
    mesh: trimesh.Trimesh, surface: Surface, spacing_mm: float, limit_mm: float
) -> ThicknessSamples:
    """Find walls between inward corners, thinner than a limit or a little thicker.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The part, mm.
    surface : Surface
        The same, made ready.
    spacing_mm : float
        Largest distance between the points along an edge.
    limit_mm : float
        The largest limit that thickness is compared with.

    Returns
    -------
    ThicknessSamples
        One for each bitangent sphere, with an area of 0.
    """
    points, out, facets = inward_points(mesh, surface.tree.normals, spacing_mm)
    reach = AHEAD * limit_mm
    _, contacts, _ = largest_balls(surface, points, out, facets, reach)
    chord = np.linalg.norm(contacts - points, axis=1)
    near = chord < reach
    middle = 0.5 * (points + contacts)[near] - surface.middle
    made = bitangent_spheres(surface.tree, middle, 0.75 * chord[near])
    found = made.radius > 0.0
    half = made.radius[found]
    first, second = made.first[found] + surface.middle, made.second[found] + surface.middle
    return ThicknessSamples(
        first,
        (first - second) / (2.0 * half[:, None]),
        made.facets[found],
        2.0 * half,
        second,
        np.full(len(half), Status.MEASURED, dtype=np.int8),
        np.zeros(len(half)),
        np.zeros(len(half)),
    )
