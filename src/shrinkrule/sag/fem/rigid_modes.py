"""Rigid-body modes of the bodies, and the null space of the supported stiffness.

A part that stands on a smooth plate may slide and turn on it. The weight does no work in
these modes, so they are projected out. In a mode by which a part tips over the weight does
work: no equilibrium exists, and the part is refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints, connected_components
from shrinkrule.sag.fem.elements import Bricks

_HELD: Final = 1e-8  # a rigid-body mode that moves no held direction by more than this is free


@dataclass(frozen=True)
class Bodies:
    """The separate bodies that the nodes belong to.

    Parameters
    ----------
    label : (n,) int
        Body of each node.
    volume : (b,) float
        Volume of each body, mm3.
    centre : (b, 3) float
        Centre of mass of each body in the grid's frame, mm.
    """

    label: Ints
    volume: Floats
    centre: Floats


def find_bodies(bricks: Bricks) -> Bodies:
    """Find the bodies: connected components of the bricks through their nodes.

    Parameters
    ----------
    bricks : Bricks
        The bricks.

    Returns
    -------
    Bodies
        The bodies of the nodes.
    """
    count = len(bricks.nodes)
    first, rest = np.repeat(bricks.corners[:, 0], 7), bricks.corners[:, 1:].ravel()
    label = connected_components(count, np.stack([first, rest], axis=1))
    volume = np.bincount(label, weights=bricks.volumes).astype(np.float64)
    position = bricks.nodes * bricks.brick.size
    centre = np.stack([np.bincount(label, weights=bricks.volumes * x) for x in position.T], axis=1)
    return Bodies(label, volume, centre / volume[:, None])


def rigid_body_modes(position: Floats) -> Floats:
    """Rigid-body modes (6, n, 3) of points (n, 3): three shifts, three turns about their middle.

    Parameters
    ----------
    position : (n, 3) float
        The points, mm.

    Returns
    -------
    (6, n, 3) float
        The modes; turns are scaled to displacements of at most about one.
    """
    arms = position - position.mean(axis=0)
    reach = max(float(np.abs(arms).max()), 1e-300)
    modes = np.zeros((6, len(position), 3))
    for axis in range(3):
        modes[axis, :, axis] = 1.0
        modes[3 + axis] = np.cross(np.eye(3)[axis], arms / reach)
    return modes


def null_space(bricks: Bricks, bodies: Bodies, free: Floats) -> Floats:
    """Orthonormal rigid-body modes of single bodies that no held direction resists.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    bodies : Bodies
        Their bodies.
    free : (n, 4) float
        Zero where a direction is held.

    Returns
    -------
    (k, n, 4) float
        A basis of the null space.
    """
    position = bricks.nodes * bricks.brick.size
    found = []
    for body in range(len(bodies.volume)):
        mine = np.flatnonzero(bodies.label == body)
        modes = rigid_body_modes(position[mine])
        held = free[mine, :3] == 0.0
        rows = modes[:, held]
        strength, axes = np.linalg.eigh(rows @ rows.T)
        unresisted = axes[:, strength < _HELD * max(1.0, strength.max())]
        moves = np.tensordot(unresisted.T, modes, axes=1).reshape(
            unresisted.shape[1], modes[0].size
        )
        basis = np.linalg.qr(moves.T)[0].T.reshape(-1, len(mine), 3)
        whole = np.zeros((len(basis), len(bricks.nodes), 4))
        whole[:, mine, :3] = basis
        found.append(whole)
    return np.concatenate(found)
