"""Splitting facets so that a surface can bend or be coloured: a bar of twelve facets cannot.

An edge is split at its middle, on both of its facets at once, so there are no cracks
and no T-joints; the parts lie in their facet's plane, so the shape does not change.
Creases are split before the edges inside flat faces, and between rounds the latter are
flipped to Delaunay's rule, which keeps degenerate facets from multiplying.

Source: edge flipping (C. L. Lawson, Discrete Math. 3 (1972) 365-372).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import trimesh
from scipy.spatial import cKDTree

from shrinkrule.errors import MeshError, SettingError
from shrinkrule.numerics.arrays import Floats, Ints, Mask, found_in
from shrinkrule.numerics.triangles import area_normals

MAX_FACETS: Final = 2_000_000
"""More facets than this help nobody; the edge length asked for is refused."""

_MAX_ROUNDS: Final = 200
_MAX_FLIPS: Final = 12
_RINGS: Final = 2  # of facets around those that were split: flips spread so far
_CROWDED: Final = 0.3  # of an edge's length: no other middle so near in the same round
_KEY_BITS: Final = 32
_FLAT: Final = 1e-6  # of the part's size: single precision in an STL is not finer
_LEAST_SHARE: Final = 1e-4  # of the two facets' area: no flip makes a facet smaller than this
_GAIN: Final = 1e-6  # flip only where it is worth more than rounding


def refine_for_bending(mesh: trimesh.Trimesh, max_edge_mm: float) -> trimesh.Trimesh:
    """Split facets until no edge is longer than a given length.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Any mesh; its shape is kept exactly, its vertices come first and unchanged.
    max_edge_mm : float
        Longest edge allowed, mm.

    Returns
    -------
    trimesh.Trimesh
        The refined mesh.

    Raises
    ------
    SettingError
        If the length is not positive, or would need more than two million facets.
    """
    if not (np.isfinite(max_edge_mm) and max_edge_mm > 0.0):
        raise SettingError(
            f"a longest edge of {max_edge_mm:g} mm is impossible", hint="give a positive length"
        )
    needed = int(mesh.area / (0.25 * max_edge_mm**2))
    if needed > MAX_FACETS:
        raise SettingError(
            f"edges of {max_edge_mm:g} mm need about {needed:,} facets",
            hint=f"allow edges of {np.sqrt(4.0 * mesh.area / MAX_FACETS):.2g} mm",
        )

    def too_long(ends: Floats) -> Mask:
        long: Mask = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) > max_edge_mm
        return long

    return refine_where(mesh, too_long)


def refine_where(mesh: trimesh.Trimesh, split: Callable[[Floats], Mask]) -> trimesh.Trimesh:
    """Split facets until no edge asks for it.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Any mesh.
    split : callable
        Takes the ends (e, 2, 3) of edges, mm; returns which (e,) to split.

    Returns
    -------
    trimesh.Trimesh
        The refined mesh.

    Raises
    ------
    MeshError
        If the splitting does not end.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    faces = np.asarray(mesh.faces, dtype=np.int64)
    key, answer = np.empty(0, dtype=np.int64), np.empty(0, dtype=bool)
    for _ in range(_MAX_ROUNDS):
        edges, side = _edges(faces)
        key, answer = _asked_anew(split, vertices, edges, key, answer)
        wanted = answer
        if not wanted.any():
            return trimesh.Trimesh(vertices, faces, process=False)
        inside = _inside_flat_faces(vertices, faces, side)
        marked = wanted & ~inside
        # A facet whose crease is split waits with its other edges: they may be flipped away.
        waits = marked[side].any(axis=1)
        later = np.zeros(len(edges), dtype=bool)
        later[side[waits]] = True
        marked |= _longest_wanted(vertices, edges, side, wanted & inside & ~later)
        marked = _with_longest_of_degenerate(vertices, faces, side, marked)
        middle = np.full(len(edges), -1, dtype=np.int64)
        middle[marked] = len(vertices) + np.arange(int(marked.sum()))
        vertices = np.concatenate([vertices, vertices[edges[marked]].mean(axis=1)])
        whole = int((~marked[side].any(axis=1)).sum())
        faces = _split_facets(vertices, faces, middle[side])
        faces = _flip_near(vertices, faces, whole)
        if len(faces) > MAX_FACETS:
            break
    last = vertices[edges[wanted]].mean(axis=1)
    x, y, z = last[0]
    raise MeshError(
        f"refining the surface does not end with {len(faces):,} facets, "
        f"{len(last):,} edges are still too long, one at {x:.1f}, {y:.1f}, {z:.1f}",
        hint="allow longer edges or a larger remaining error, or remove degenerate facets",
    )


def _asked_anew(
    split: Callable[[Floats], Mask], vertices: Floats, edges: Ints, key: Ints, answer: Mask
) -> tuple[Ints, Mask]:
    """Keys (e,) of edges and which to split, where ``key`` and ``answer`` are of an earlier round.

    An edge never moves, so that it is asked about only once.
    """
    now = _key(edges)
    wanted = np.zeros(len(now), dtype=bool)
    place = found_in(key, now)
    known = place >= 0
    wanted[known] = answer[place[known]]
    wanted[~known] = split(vertices[edges[~known]])
    return now, wanted


def _key(edges: Ints) -> Ints:
    """One number for each edge (e, 2), in the order of ``_edges``."""
    key: Ints = (edges[:, 0] << _KEY_BITS) | edges[:, 1]
    return key


def split_where(mesh: trimesh.Trimesh, split: Callable[[Floats], Mask]) -> trimesh.Trimesh:
    """Split facets until no edge asks for it, whatever shape they get: quick, and flips nothing.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Any mesh; its shape is kept exactly, its vertices come first and unchanged.
    split : callable
        Takes the ends (e, 2, 3) of edges, mm; returns which (e,) to split. It must let edges be
        once they are short.

    Returns
    -------
    trimesh.Trimesh
        The refined mesh.

    Raises
    ------
    MeshError
        If the splitting does not end.
    """
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    faces = np.asarray(mesh.faces, dtype=np.int64)
    done = []
    for _ in range(_MAX_ROUNDS):
        edges, side = _edges(faces)
        wanted = split(vertices[edges])
        middle = np.full(len(edges), -1, dtype=np.int64)
        middle[wanted] = len(vertices) + np.arange(int(wanted.sum()))
        vertices = np.concatenate([vertices, vertices[edges[wanted]].mean(axis=1)])
        touched = (middle[side] >= 0).any(axis=1)
        done.append(faces[~touched])
        if not touched.any():
            return trimesh.Trimesh(vertices, np.concatenate(done), process=False)
        faces = _split_facets(vertices, faces[touched], middle[side[touched]])
    raise MeshError(
        f"splitting the surface does not end with {len(faces):,} facets",
        hint="remove degenerate facets from the model",
    )


def _edges(faces: Ints) -> tuple[Ints, Ints]:
    """Edges (e, 2) of facets, and for each facet (m, 3) the edges 01, 12, 20."""
    ends = _ends(faces)
    _, first, side = np.unique(_key(ends), return_index=True, return_inverse=True)
    return ends[first], side.reshape(-1, 3)


def _ends(faces: Ints) -> Ints:
    """Ends (3 m, 2) of the edges 01, 12, 20 of facets, the lower number first."""
    ends = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)
    return np.sort(ends, axis=1)


def _longest_wanted(vertices: Floats, edges: Ints, side: Ints, wanted: Mask) -> Mask:
    """Wanted edges (e,) that no longer wanted edge of their facets goes before."""
    length = np.linalg.norm(vertices[edges[:, 1]] - vertices[edges[:, 0]], axis=1) * wanted
    beaten = length[side] < length[side].max(axis=1, keepdims=True)
    longest = wanted.copy()
    longest[side[beaten]] = False
    return _far_apart(vertices, edges, length, longest)


def _far_apart(vertices: Floats, edges: Ints, length: Floats, marked: Mask) -> Mask:
    """Marked edges (e,) but those whose middle lies too near to that of a longer one.

    Edges of a fan run side by side: halved in one round their middles would crowd.
    """
    at = np.flatnonzero(marked)
    if len(at) < 2:
        return marked
    at = at[np.argsort(-length[at], kind="stable")]
    middles = vertices[edges[at]].mean(axis=1)
    reach = _CROWDED * length[at]
    near = cKDTree(middles).query_pairs(float(reach[0]), output_type="ndarray")
    longer, shorter = near.min(axis=1), near.max(axis=1)
    gap = np.linalg.norm(middles[longer] - middles[shorter], axis=1)
    apart = marked.copy()
    apart[at[shorter[gap < reach[longer]]]] = False
    return apart


def _with_longest_of_degenerate(vertices: Floats, faces: Ints, side: Ints, marked: Mask) -> Mask:
    """Mark the longest edge of each degenerate facet too, or splitting it would never end.

    Halving a shorter edge of three corners on a line gives another edge as long.
    """
    degenerate = np.flatnonzero(~_has_a_plane(vertices, faces))
    corners = vertices[faces[degenerate]]
    length = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    longest = side[degenerate, length.argmax(axis=1)]
    while True:
        more = marked.copy()
        more[longest[marked[side[degenerate]].any(axis=1)]] = True
        if np.array_equal(more, marked):
            return marked
        marked = more


def _has_a_plane(vertices: Floats, faces: Ints) -> Mask:
    """Whether a facet (m,) is broad enough that rounding does not decide which way it faces."""
    corners = vertices[faces]
    normals = area_normals(corners)
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    rounding = _FLAT * float(np.ptp(vertices, axis=0).max())
    broad: Mask = np.linalg.norm(normals, axis=1) > 10.0 * rounding * longest
    return broad


def _inside_flat_faces(vertices: Floats, faces: Ints, side: Ints) -> Mask:
    """Edges (e,) between two coplanar facets."""
    edge, left, _, right, _ = _pairs(side)
    inside = np.zeros(int(side.max()) + 1, dtype=bool)
    inside[edge] = _coplanar(vertices, faces, left, right)
    return inside


def _pairs(side: Ints) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    """Edges with two facets, these facets, and which of their three edges it is."""
    order = np.argsort(side.ravel(), kind="stable")
    uses = np.bincount(side.ravel())
    edge = np.flatnonzero(uses == 2)
    start = (np.cumsum(uses) - uses)[edge]
    return (edge, *np.divmod(order[start], 3), *np.divmod(order[start + 1], 3))


def _coplanar(vertices: Floats, faces: Ints, left: Ints, right: Ints) -> Mask:
    """Whether pairs of facets (p,) face one way and lie in one plane, but for rounding."""
    corners = vertices[faces]
    normals = area_normals(corners)
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]
    facing = (normals[left] * normals[right]).sum(axis=1) > 0.0
    arms = corners[right] - corners[left, :1]
    height = np.abs(np.einsum("pcd,pd->pc", arms, normals[left])).max(axis=1)
    broad = _has_a_plane(vertices, faces)
    flat: Mask = facing & (height <= _FLAT * float(np.ptp(vertices, axis=0).max()))
    return flat & broad[left] & broad[right]


def _split_facets(vertices: Floats, faces: Ints, middle: Ints) -> Ints:
    """Split facets at the middles (m, 3) of their marked edges, -1 where not marked."""
    count = (middle >= 0).sum(axis=1)
    parts = [faces[count == 0]]

    # Each facet is turned so that its pattern of marked edges is always the same.
    one = np.flatnonzero(count == 1)
    a, b, c, m, _, _ = _turned(faces[one], middle[one], (middle[one] >= 0).argmax(axis=1))
    parts += [np.stack([a, m, c], axis=1), np.stack([m, b, c], axis=1)]

    two = np.flatnonzero(count == 2)
    a, b, c, _, n, k = _turned(faces[two], middle[two], (middle[two] < 0).argmax(axis=1))
    # Corner c is cut off; the rest, a b n k, is halved along its shorter diagonal.
    to_n = np.linalg.norm(vertices[a] - vertices[n], axis=1)
    to_k = np.linalg.norm(vertices[b] - vertices[k], axis=1)
    by_n = (to_n <= to_k)[:, None]
    parts += [
        np.stack([k, n, c], axis=1),
        np.where(by_n, np.stack([a, b, n], axis=1), np.stack([a, b, k], axis=1)),
        np.where(by_n, np.stack([a, n, k], axis=1), np.stack([b, n, k], axis=1)),
    ]

    three = np.flatnonzero(count == 3)
    a, b, c, m, n, k = _turned(faces[three], middle[three], np.zeros_like(three))
    parts += [np.stack(corner, axis=1) for corner in ((a, m, k), (m, b, n), (k, n, c), (m, n, k))]
    return np.concatenate(parts)


def _turned(faces: Ints, middle: Ints, first: Ints) -> tuple[Ints, ...]:
    """Corners a b c and middles of ab, bc, ca, beginning at corner ``first``."""
    order = (first[:, None] + np.arange(3)) % 3
    corners = np.take_along_axis(faces, order, axis=1)
    middles = np.take_along_axis(middle, order, axis=1)
    return (*corners.T, *middles.T)


def _flip_near(vertices: Floats, faces: Ints, whole: int) -> Ints:
    """Flip edges of the facets after the first ``whole`` ones, and of those near to these."""
    fresh: Mask = np.arange(len(faces)) >= whole
    for _ in range(_RINGS):
        touched = np.zeros(len(vertices), dtype=bool)
        touched[faces[fresh]] = True
        fresh = np.asarray(touched[faces].any(axis=1))
    taken = np.unique(_key(_ends(faces)))
    flipped = _flip_inside_flat_faces(vertices, faces[fresh], taken)
    faces = faces.copy()
    faces[fresh] = flipped
    return faces


def _flip_inside_flat_faces(vertices: Floats, faces: Ints, taken: Ints) -> Ints:
    """Flip edges between coplanar facets where the angles opposite add up to over 180 degrees.

    ``taken`` holds the keys of all edges of the surface that these facets are part of.
    """
    faces = faces.copy()
    for _ in range(_MAX_FLIPS):
        edges, side = _edges(faces)
        _, left, i, right, j = _pairs(side)
        a, b = faces[left, i], faces[left, (i + 1) % 3]
        c, d = faces[left, (i + 2) % 3], faces[right, (j + 2) % 3]
        gain = -_opposite(vertices, c, a, b) - _opposite(vertices, d, a, b)
        known = _key(np.sort(np.stack([c, d], axis=1), axis=1))
        may = np.flatnonzero((faces[right, j] == b) & (c != d) & (gain > _GAIN))
        may = may[_sound_flip(vertices, a[may], b[may], c[may], d[may])]
        may = may[~np.isin(known[may], taken) & ~np.isin(known[may], _key(edges))]
        chosen = may[_coplanar(vertices, faces, left[may], right[may])]
        if not len(chosen):
            break
        chosen = _apart(chosen[np.argsort(-gain[chosen], kind="stable")], left, right, len(faces))
        chosen = _first_of_each(chosen, known[chosen])
        faces[left[chosen]] = np.stack([c, a, d], axis=1)[chosen]
        faces[right[chosen]] = np.stack([d, b, c], axis=1)[chosen]
    return faces


def _opposite(vertices: Floats, apex: Ints, a: Ints, b: Ints) -> Floats:
    """Cotangent of the angle at ``apex``: the two of an edge add up to under 0 if it must flip."""
    to_a, to_b = vertices[a] - vertices[apex], vertices[b] - vertices[apex]
    area = np.linalg.norm(np.cross(to_a, to_b), axis=1)
    cotangent: Floats = (to_a * to_b).sum(axis=1) / np.maximum(area, 1e-300)
    return cotangent


def _sound_flip(vertices: Floats, a: Ints, b: Ints, c: Ints, d: Ints) -> Mask:
    """Whether both facets keep an area when the edge a b between c and d becomes c d."""
    before = np.cross(vertices[b] - vertices[a], vertices[c] - vertices[d])
    first = np.cross(vertices[a] - vertices[c], vertices[d] - vertices[c])
    other = np.cross(vertices[b] - vertices[d], vertices[c] - vertices[d])
    size = (before * before).sum(axis=1)
    least = np.minimum((first * before).sum(axis=1), (other * before).sum(axis=1))
    sound: Mask = least > _LEAST_SHARE * size
    return sound


def _apart(chosen: Ints, left: Ints, right: Ints, facets: int) -> Ints:
    """Those of the chosen edges that come first at both of their facets."""
    rank = np.full(facets, len(chosen), dtype=np.int64)
    place = np.arange(len(chosen))
    np.minimum.at(rank, left[chosen], place)
    np.minimum.at(rank, right[chosen], place)
    apart: Ints = chosen[(rank[left[chosen]] == place) & (rank[right[chosen]] == place)]
    return apart


def _first_of_each(chosen: Ints, key: Ints) -> Ints:
    first: Ints = chosen[np.sort(np.unique(key, return_index=True)[1])]
    return first
