"""Static stability before the part sags: its centre of mass must be over what supports it."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.sag.contact.candidates import Candidates
from shrinkrule.sag.fem.elements import Bricks
from shrinkrule.sag.fem.rigid_modes import Bodies
from shrinkrule.sag.settings import does_not_stand

_WIDER: Final = (
    0.02,
    0.1,
    0.25,
)  # of a brick: gaps that count as contact, widened until the part is stable


def outside_support(points: Floats, centre: Floats) -> float:
    """How far a centre of mass lies outside the support polygon, mm; below 0 inside it.

    Parameters
    ----------
    points : (n, 2) float
        Where the body is held up, mm.
    centre : (2,) float
        Its centre of mass in plan, mm.

    Returns
    -------
    float
        The distance, mm.
    """
    if not len(points):
        return np.inf
    try:
        hull = ConvexHull(points)
    except QhullError:
        # The support is a line or a point: the body balances if the centre is over it.
        middle = points.mean(axis=0)
        along = points[np.argmax(np.linalg.norm(points - middle, axis=1))] - middle
        length = float(np.linalg.norm(along))
        unit = along / length if length > 0.0 else np.zeros(2)
        offset = centre - middle
        place = (points - middle) @ unit
        ahead = float(np.clip(offset @ unit, place.min(), place.max()))
        return float(np.linalg.norm(offset - ahead * unit))
    return float((hull.equations[:, :2] @ centre + hull.equations[:, 2]).max())


def outside_supports(bricks: Bricks, bodies: Bodies, nodes: Ints) -> Floats:
    """How far each body's centre of mass lies outside its support at the nodes (k,), (b,) mm.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    bodies : Bodies
        Their bodies.
    nodes : (k,) int
        Nodes in contact.

    Returns
    -------
    (b,) float
        The distance of each body, mm; infinite without contact.
    """
    plan = bricks.nodes[:, :2] * bricks.brick.size[:2]
    return np.array(
        [
            outside_support(plan[nodes[bodies.label[nodes] == body]], bodies.centre[body, :2])
            for body in range(len(bodies.volume))
        ]
    )


def tips_over(bricks: Bricks, bodies: Bodies, nodes: Ints, reach: float) -> bool:
    """Whether a body supported at the nodes (k,) tips over; up to ``reach`` mm outside balances.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    bodies : Bodies
        Their bodies.
    nodes : (k,) int
        Nodes in contact.
    reach : float
        Distance outside the support that still balances, mm.

    Returns
    -------
    bool
        Whether any body tips over.
    """
    return bool(np.any(outside_supports(bricks, bodies, nodes) > reach))


def initial_contact(bricks: Bricks, bodies: Bodies, candidates: Candidates) -> Mask:
    """Find the candidates (c,) in contact before anything sags.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    bodies : Bodies
        Their bodies.
    candidates : Candidates
        Nodes that may touch.

    Returns
    -------
    (c,) bool
        Which of them touch.

    Raises
    ------
    MeshError
        If a body would tip over or hangs in the air.
    """
    height = float(bricks.brick.size[2])
    reach = 0.05 * float(bricks.brick.size[:2].mean())
    for share in _WIDER:
        touched = candidates.gap <= share * height
        outside = outside_supports(bricks, bodies, candidates.node[touched])
        if np.all(outside <= reach):
            return touched
    body = int(np.argmax(outside > reach))
    name = "the part" if len(bodies.volume) == 1 else f"body {body + 1} of {len(bodies.volume)}"
    if np.isinf(outside[body]):
        raise does_not_stand(f"{name} does not reach the setter plate")
    raise does_not_stand(
        f"{name} tips over when set down this way up: its centre of mass is not over "
        "what it stands on"
    )
