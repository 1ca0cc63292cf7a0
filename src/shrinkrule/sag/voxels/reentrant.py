"""Energy correction at re-entrant edges, around which bricks are too stiff.

Where two faces meet at more than 180 degrees inside the material, the strain rises without
bound towards the edge. Bricks cannot follow it, so the computed sag of what hangs beyond the
edge is too small, by an error that falls only as the brick's side and not as its square. Less
stiffness in the few bricks around the edge removes that error everywhere else.

Source: energy correction for re-entrant corners (H. Egger, U. Ruede, B. Wohlmuth, SIAM J.
Numer. Anal. 52 (2014) 171-193); the size of the correction is fitted, see docs/theory-sag.md.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, Mask, found_in
from shrinkrule.numerics.edges import EdgeTable
from shrinkrule.numerics.hashing import number_equal
from shrinkrule.numerics.jit import compiled, inner, wait_for_compiled
from shrinkrule.numerics.triangles import twice_area_normal
from shrinkrule.sag.voxels.corners import CORNERS

_REACH: Final = 2.0  # octants: how far the effect of an edge reaches
_PER_OCTANT: Final = 2  # points along an edge
_STRAIGHT: Final = 1e-3  # radians: faces that turn less go straight on
_UNIT_TURN: Final = 1.0  # radians at which an octant keeps 1 / e of its stiffness: fitted
_POWER: Final = 1.2  # fitted
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


def edge_turns(vertices: Floats, facets: Ints, edges: EdgeTable) -> tuple[Ints, Floats]:
    """Edges of a surface, (k, 2), and how far it turns there, (k,) radians.

    Turns are positive where the material reaches further round than 180 degrees.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A closed surface with its facets outward, mm.
    edges : EdgeTable
        Its edges.

    Returns
    -------
    tuple of (k, 2) int and (k,) float
        Vertices at the ends of the edges, and their turns, radians; edges across which it goes
        straight on are left out.
    """
    wait_for_compiled(turns)
    turn = turns(vertices, facets, edges.edge_of, edges.forward, edges.ends)
    bends = (np.abs(turn) > _STRAIGHT) & (edges.uses == 2) & (edges.balance == 0)
    return edges.ends[bends], turn[bends]


@compiled
def turns(vertices: Floats, facets: Ints, edge_of: Ints, forward: Mask, ends: Any) -> Any:
    """Turn of the surface at each edge that is passed both ways.

    Parameters
    ----------
    vertices, facets : (n, 3) float64, (m, 3) int64
        A surface, mm.
    edge_of, forward, ends : (3 m,) int64, (3 m,) bool, (e, 2) int64
        As in its edge table.

    Returns
    -------
    (e,) float64
        Radians.
    """
    normals = np.empty((len(facets), 3))
    sides = np.zeros((len(ends), 2), np.int32)
    for f in range(len(facets)):
        x, y, z = twice_area_normal(vertices, facets, f)
        length = np.sqrt(x * x + y * y + z * z)
        if length == 0.0:
            length = 1.0
        normals[f, 0], normals[f, 1], normals[f, 2] = x / length, y / length, z / length
        for side in range(3 * f, 3 * f + 3):
            sides[edge_of[side], 0 if forward[side] else 1] = f
    turn = np.empty(len(ends))
    for e in range(len(ends)):
        one, other, start, end = sides[e, 0], sides[e, 1], ends[e, 0], ends[e, 1]
        along_x, along_y, along_z = (
            vertices[end, 0] - vertices[start, 0],
            vertices[end, 1] - vertices[start, 1],
            vertices[end, 2] - vertices[start, 2],
        )
        px, py, pz = normals[one, 0], normals[one, 1], normals[one, 2]
        qx, qy, qz = normals[other, 0], normals[other, 1], normals[other, 2]
        outward = (
            (py * qz - pz * qy) * along_x
            + (pz * qx - px * qz) * along_y
            + (px * qy - py * qx) * along_z
        )
        length = np.sqrt(along_x * along_x + along_y * along_y + along_z * along_z)
        if length > 0.0:
            outward /= length
        turn[e] = -np.arctan2(outward, px * qx + py * qy + pz * qz)
    return turn


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
    """Turn times length of edges, in bricks, deposited on the nearest octants' middles.

    As tensors along the edges (D. Cohen-Steiner, J.-M. Morvan, Proc. 19th Symp. Comput.
    Geometry (2003) 312-321), so that only edges side by side cancel. ``ends`` (k, 2, 3) are in
    octants; returns the octants' places (n, 3), sorted, and tensors (n, 6).
    """
    # Of many edges in one octant each corner gets one sum, before corners are found again.
    # Halves of their numbers, since numbering is compiled for those already.
    wait_for_compiled(octants_passed)
    first, number = number_equal(octants_passed(ends).view(np.uint32))
    wait_for_compiled(sum_tensors)
    corner, sums = sum_tensors(ends, turn, number, len(first))
    places = (corner[:, None, :] + CORNERS).reshape(-1, 3)
    key, once, which = np.unique(places @ _STRIDES, return_index=True, return_inverse=True)
    deposited = [
        np.bincount(which, weights=column, minlength=len(key)) for column in sums.reshape(-1, 6).T
    ]
    return places[once], np.stack(deposited, axis=1)


@inner
def _pieces(ends: Any, k: int) -> Any:
    """An edge as a step along it (3,), its length, and the pieces that it is cut into."""
    x, y, z = (
        ends[k, 1, 0] - ends[k, 0, 0],
        ends[k, 1, 1] - ends[k, 0, 1],
        ends[k, 1, 2] - ends[k, 0, 2],
    )
    length = np.sqrt(x * x + y * y + z * z)
    return x, y, z, length, max(1, np.int64(np.ceil(_PER_OCTANT * length)))


@compiled
def octants_passed(ends: Any) -> Any:
    """Octant below the middle of each piece of the edges.

    Parameters
    ----------
    ends : (k, 2, 3) float64
        The edges, in octants.

    Returns
    -------
    (p, 1) int64
        Its place as one number.
    """
    count = 0
    for k in range(len(ends)):
        count += _pieces(ends, k)[4]
    octant = np.empty((count, 1), np.int64)
    n = 0
    for k in range(len(ends)):
        x, y, z, _, pieces = _pieces(ends, k)
        for piece in range(pieces):
            share = (piece + 0.5) / pieces
            place = np.int64(np.floor(ends[k, 0, 0] + share * x - 0.5)) << 42
            place += np.int64(np.floor(ends[k, 0, 1] + share * y - 0.5)) << 21
            octant[n, 0] = place + np.int64(np.floor(ends[k, 0, 2] + share * z - 0.5))
            n += 1
    return octant


@compiled
def sum_tensors(ends: Any, turn: Floats, number: Ints, count: int) -> Any:
    """Sum up what the edges deposit on the corners of octants.

    Parameters
    ----------
    ends, turn : (k, 2, 3) float64, (k,) float64
        The edges, in octants, and their turns, radians.
    number : (p,) int64
        Of the octant of each piece.
    count : int
        How many octants there are.

    Returns
    -------
    (n, 3) int64, (n, 8, 6) float64
        The octants, and the sums at their corners.
    """
    octant, sums = np.empty((count, 3), np.int64), np.zeros((count, 8, 6))
    n = 0
    for k in range(len(ends)):
        x, y, z, length, pieces = _pieces(ends, k)
        each = 0.5 * turn[k] * length / pieces
        unit = 1.0 / length if length > 0.0 else 1.0
        ux, uy, uz = x * unit, y * unit, z * unit
        for piece in range(pieces):
            share = (piece + 0.5) / pieces
            px = ends[k, 0, 0] + share * x - 0.5
            py = ends[k, 0, 1] + share * y - 0.5
            pz = ends[k, 0, 2] + share * z - 0.5
            cx, cy, cz = np.floor(px), np.floor(py), np.floor(pz)
            at = number[n]
            octant[at, 0], octant[at, 1], octant[at, 2] = np.int64(cx), np.int64(cy), np.int64(cz)
            for corner in range(8):
                weight = each * (px - cx if corner & 4 else 1.0 - (px - cx))
                weight *= py - cy if corner & 2 else 1.0 - (py - cy)
                weight *= pz - cz if corner & 1 else 1.0 - (pz - cz)
                sums[at, corner, 0] += weight * ux * ux
                sums[at, corner, 1] += weight * ux * uy
                sums[at, corner, 2] += weight * ux * uz
                sums[at, corner, 3] += weight * uy * uy
                sums[at, corner, 4] += weight * uy * uz
                sums[at, corner, 5] += weight * uz * uz
            n += 1
    return octant, sums
