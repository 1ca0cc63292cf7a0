"""Energy correction at re-entrant edges, around which bricks are too stiff.

Where two faces meet at more than 180 degrees inside the material, the strain rises without
bound towards the edge. Bricks cannot follow it, so the computed sag of what hangs beyond the
edge is too small, by an error that falls only as the brick's side and not as its square. Less
stiffness in the few bricks around the edge removes that error everywhere else.

Source: energy correction for re-entrant corners (H. Egger, U. Ruede, B. Wohlmuth, SIAM J.
Numer. Anal. 52 (2014) 171-193); the size of the correction is fitted, see docs/theory-sag.md.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import trimesh

from shrinkrule.numerics.arrays import Floats, Ints, found_in, ranges
from shrinkrule.numerics.edges import edge_table
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.numerics.triangles import AT_ONCE
from shrinkrule.sag.voxels.corners import CORNERS, shape_functions

_REACH: Final = 2.0  # octants: how far the effect of an edge reaches
_PER_OCTANT: Final = 2  # points along an edge
_STRAIGHT: Final = 1e-3  # radians: faces that turn less go straight on
_UNIT_TURN: Final = 1.0  # radians at which an octant keeps 1 / e of its stiffness: fitted
_POWER: Final = 1.2  # fitted
_AT_ONCE: Final = 1 << 18  # edges whose turns are deposited at once: half a kilobyte each
_SIGNIFICANT: Final = 5e-3  # radians: a smaller effect on an octant is left aside
_LARGEST_REDUCTION: Final = 0.95  # of the stiffness: some must stay

_STRIDES: Final = np.array([1 << 42, 1 << 21, 1])  # a place as one number
_FULL: Final = np.array([0, 1, 2, 1, 3, 4, 2, 4, 5])  # of the upper triangle of a 3 x 3 matrix
_NEIGHBOURHOOD: Final = (
    np.array(
        [step for step in np.ndindex(5, 5, 5) if np.linalg.norm(np.subtract(step, 2)) < _REACH]
    )
    - 2
)
_NEXT_TO: Final = np.array(list(np.ndindex(3, 3, 3))) - 1


def edge_turns(mesh: trimesh.Trimesh) -> tuple[Floats, Floats]:
    """Edges of a mesh, (k, 2, 3), and how far the surface turns there, (k,) radians.

    Turns are positive where the material reaches further round than 180 degrees.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        A watertight part with its facets outward.

    Returns
    -------
    tuple of (k, 2, 3) and (k,) float
        Ends of the edges, mm, and their turns, radians.
    """
    faces = np.asarray(mesh.faces, dtype=np.int64)
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    normals = np.asarray(mesh.face_normals)
    table = edge_table(faces)
    two = np.flatnonzero((table.uses == 2) & (table.balance == 0))
    facet = np.empty((len(table.ends), 2), dtype=np.int32)
    facet[table.edge_of, np.where(table.forward, 0, 1)] = np.arange(3 * len(faces)) // 3
    turn = np.empty(len(two))

    def work(part: slice) -> None:
        edge = two[part]
        one, other = normals[facet[edge]].swapaxes(0, 1)
        start, end = vertices[table.ends[edge]].swapaxes(0, 1)
        along = end - start
        length = np.linalg.norm(along, axis=1)
        outward = (np.cross(one, other) * along).sum(axis=1) / np.where(length > 0.0, length, 1.0)
        turn[part] = -np.arctan2(outward, (one * other).sum(axis=1))

    in_chunks(work, len(two), AT_ONCE)
    bends = np.abs(turn) > _STRAIGHT
    return vertices[table.ends[two[bends]]], turn[bends]


def stiffness_factors(cells: Ints, ends: Floats, turn: Floats) -> Floats:
    """Factor on the stiffness of each octant of the bricks, (n, 8).

    Parameters
    ----------
    cells : (n, 3) int
        Place of each brick in the grid.
    ends : (k, 2, 3) float
        Edges, in bricks from the grid's low corner.
    turn : (k,) float
        How far the surface turns inward at each, radians.

    Returns
    -------
    (n, 8) float
        The factors.
    """
    factors = np.ones((len(cells), 8))
    if not (turn > 0.0).any():
        return factors
    place, deposited = _deposited(2.0 * ends, turn)
    significant = place[_largest_eigenvalue(deposited) > _SIGNIFICANT]
    if not len(significant):
        return factors
    near = _around(cells, significant // 2)
    octants = (2 * cells[near, None, :] + CORNERS).reshape(-1, 3)
    key, asked = place @ _STRIDES, octants @ _STRIDES
    effect = np.zeros((len(octants), 6))
    for step in _NEIGHBOURHOOD:
        found = found_in(key, asked + step @ _STRIDES)
        hit = np.flatnonzero(found >= 0)
        effect[hit] += (1.0 - np.linalg.norm(step) / _REACH) * deposited[found[hit]]
    factor = np.exp(-((np.maximum(_largest_eigenvalue(effect), 0.0) / _UNIT_TURN) ** _POWER))
    factors[near] = np.maximum(factor, 1.0 - _LARGEST_REDUCTION).reshape(-1, 8)
    return factors


def _largest_eigenvalue(tensors: Floats) -> Floats:
    """Largest eigenvalue (n,) of symmetric tensors, each as its upper triangle (n, 6)."""
    values = np.linalg.eigvalsh(tensors[:, _FULL].reshape(-1, 3, 3))
    return np.asarray(values[:, 2], dtype=np.float64)


def _around(cells: Ints, places: Ints) -> Ints:
    """Which of the bricks ``cells`` (n, 3) lie at one of the places (p, 3) or next to one, (b,)."""
    asked = cells @ _STRIDES
    reached = np.unique((np.unique(places @ _STRIDES)[:, None] + _NEXT_TO @ _STRIDES).ravel())
    around: Ints = np.flatnonzero(found_in(reached, asked) >= 0)
    return around


def _deposited(ends: Floats, turn: Floats) -> tuple[Ints, Floats]:
    """As :func:`_deposit_on_octants`, some edges at a time."""
    if len(turn) <= _AT_ONCE:
        return _deposit_on_octants(ends, turn)
    parts = [slice(low, low + _AT_ONCE) for low in range(0, len(turn), _AT_ONCE)]
    places, tensors = zip(*(_deposit_on_octants(ends[p], turn[p]) for p in parts), strict=True)
    every = np.concatenate(places)
    key, first, which = np.unique(every @ _STRIDES, return_index=True, return_inverse=True)
    deposited = np.zeros((len(key), 6))
    np.add.at(deposited, which, np.concatenate(tensors))
    return every[first], deposited


def _deposit_on_octants(ends: Floats, turn: Floats) -> tuple[Ints, Floats]:
    """Turn times length of edges, in bricks, deposited on the nearest octants' middles.

    As tensors along the edges (D. Cohen-Steiner, J.-M. Morvan, Proc. 19th Symp. Comput.
    Geometry (2003) 312-321), so that only edges side by side cancel. ``ends`` (k, 2, 3) are in
    octants; returns the octants' places (n, 3), sorted, and tensors (n, 6).
    """
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    pieces = np.maximum(1, np.ceil(_PER_OCTANT * length).astype(np.int64))
    edge, number = ranges(np.zeros_like(pieces), pieces)
    share = (number + 0.5) / pieces[edge]
    place = ends[edge, 0] + share[:, None] * along[edge] - 0.5
    unit = along / np.where(length > 0.0, length, 1.0)[:, None]
    tensor = (unit[:, :, None] * unit[:, None, :])[:, *np.triu_indices(3)]
    weight = (0.5 * turn * length / pieces)[edge]
    corner = np.floor(place).astype(np.int64)
    weights = shape_functions(place - corner) * weight[:, None]
    # Of many edges in one octant each corner gets one sum, before corners are found again.
    _, first, which = np.unique(corner @ _STRIDES, return_index=True, return_inverse=True)
    sums = np.empty((len(first), 8, 6))
    for row, column in np.ndindex(8, 6):
        values = weights[:, row] * tensor[edge, column]
        sums[:, row, column] = np.bincount(which, weights=values, minlength=len(first))
    places = (corner[first, None, :] + CORNERS).reshape(-1, 3)
    key, first, which = np.unique(places @ _STRIDES, return_index=True, return_inverse=True)
    deposited = [
        np.bincount(which, weights=column, minlength=len(key)) for column in sums.reshape(-1, 6).T
    ]
    return places[first], np.stack(deposited, axis=1)
