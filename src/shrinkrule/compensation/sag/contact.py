"""Standing on the setter plate: the part may lift from it, it may not sink into it.

Each node that may touch has a gap below it. A node that touches pushes back; once it
would have to pull it is let go, and a node that would sink is caught. The rounds end
when nothing changes any more.

Source: the primal-dual active set for unilateral contact (M. Hintermueller, K. Ito, K.
Kunisch, SIAM J. Optim. 13 (2002) 865-888).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from shrinkrule.compensation.sag.columns import Filling
from shrinkrule.compensation.sag.equilibrium import (
    ANOTHER_STANCE,
    Equilibrium,
    Rest,
    Springs,
)
from shrinkrule.compensation.sag.freedom import Bodies
from shrinkrule.compensation.sag.grid import Grid
from shrinkrule.compensation.sag.material import FloatArray, Friction, IntArray
from shrinkrule.compensation.sag.system import Bricks
from shrinkrule.errors import MeshError

Mask = NDArray[np.bool_]

MAX_CONTACT_ROUNDS: Final = 80
"""A part peels off the plate by about one row of bricks in each round; grids begin coarse."""


ROUGH: Final = 1e-3
"""Relative error of the iteration while the contact still changes."""

FINE: Final = 1e-5
"""Relative error of the last iteration, far below every other error here."""

_TOUCH: Final = 0.02  # of a brick: gaps below this are standing
_WIDER: Final = (0.02, 0.1, 0.25)  # of a brick: how near counts, until it stands
_PULL: Final = 1e-3  # of the mean push: below this a pull is rounding
_WHOLE: Final = 0.70
"""A node with this share of footing around it stands: the edge of what it holds lies 0.23 of a
brick beyond it, as measured on overhangs against much finer grids (see the theory)."""

_LEAST_SHARE: Final = 0.026
"""The share at which the node before it stands, one brick back: (1 - 0.77)^2 / 2."""

_EDGE_STIFFNESS: Final = 0.5  # of modulus times brick: measured on the same overhangs
_SINK: Final = 1.0  # of the iteration's error in the largest sag: sinking in less is rounding


@dataclass(frozen=True)
class Seats:
    """Nodes that may come to rest on the plate or on a support.

    Parameters
    ----------
    node : (c,) int
        The nodes; one beside the edge of a footing has a firm seat and one that springs.
    gap : (c,) float
        How far each may come down, mm.
    spring : (c,) float
        Stiffness over modulus with which the seat gives, mm; infinite where it is firm.
    """

    node: IntArray
    gap: FloatArray
    spring: FloatArray

    @property
    def firm(self) -> Mask:
        """Seats (c,) that do not give."""
        return np.isinf(self.spring)


def firm_seats(node: IntArray, gap: FloatArray) -> Seats:
    """Seats that do not give, under nodes (c,), each ``gap`` (c,) mm below its node's surface."""
    return Seats(node, gap, np.full(len(node), np.inf))


@dataclass(frozen=True)
class Standing:
    """How the part stands once it has come to rest.

    Parameters
    ----------
    rest : Rest
        Its displacement.
    seats : Seats
        The nodes that might have touched.
    touching : (c,) bool
        Those that do.
    stood : (c,) bool
        Those that did before it sagged.
    rounds : int
        Contact rounds.
    settled : bool
        Whether the last round changed nothing.
    """

    rest: Rest
    seats: Seats
    touching: Mask
    stood: Mask
    rounds: int
    settled: bool


def plate_seats(bricks: Bricks, grid: Grid, filling: Filling) -> Seats:
    """Find the nodes over the plate, with the gap below the part at each.

    Parameters
    ----------
    bricks : Bricks
        The bricks.
    grid : Grid
        Their grid; the plate is its floor.
    filling : Filling
        The filling, with the part's underside.
    """
    under = filling.underside
    column = bricks.nodes[:, 0] * (grid.counts[1] + 1) + bricks.nodes[:, 1]
    lowest = np.unique(column, return_index=True)[1]  # nodes run upward in each column
    place = tuple(bricks.nodes[lowest, :2].T)
    bottom = bricks.nodes[lowest, 2] * grid.size[2]
    footing, share = under.footing[place], under.share[place]
    # A node that only a far corner of its bricks reaches comes down with that corner.
    near = under.height[place] <= bottom + grid.size[2]
    whole = (share >= _WHOLE) | ~near
    gap = np.where(whole, footing, under.height[place])
    leaning = ~whole & (share > _LEAST_SHARE)
    lean = (share[leaning] - _LEAST_SHARE) / (_WHOLE - _LEAST_SHARE)
    spring = _EDGE_STIFFNESS * float(grid.size.mean()) * lean / (1.0 - lean)
    known = np.isfinite(gap)
    # Slivers too thin for a brick must not pass for the underside of what is above them.
    return Seats(
        node=np.concatenate([lowest[known], lowest[leaning]]),
        gap=np.concatenate([np.maximum(gap, bottom)[known], np.maximum(footing, bottom)[leaning]]),
        spring=np.concatenate([np.full(int(known.sum()), np.inf), spring]),
    )


def underside_nodes(bricks: Bricks) -> IntArray:
    """Nodes with bricks above them and none below, (u,)."""
    above = np.zeros(len(bricks.nodes), dtype=bool)
    below = np.zeros(len(bricks.nodes), dtype=bool)
    above[bricks.corners[:, 0::2]] = True
    below[bricks.corners[:, 1::2]] = True
    return np.flatnonzero(above & ~below)


def add_seats(seats: Seats, held: IntArray) -> Seats:
    """Add nodes that a support holds up where they are."""
    others = ~np.isin(seats.node, held)
    return Seats(
        np.concatenate([seats.node[others], held]),
        np.concatenate([seats.gap[others], np.zeros(len(held))]),
        np.concatenate([seats.spring[others], np.full(len(held), np.inf)]),
    )


def overhang(points: FloatArray, centre: FloatArray) -> float:
    """How far a centre of mass lies outside what its body stands on, mm; under 0 if it stands.

    Parameters
    ----------
    points : (n, 2) float
        Where the body is held up, mm.
    centre : (2,) float
        Its centre of mass in plan, mm.
    """
    if not len(points):
        return np.inf
    try:
        hull = ConvexHull(points)
    except QhullError:
        # On a line or a point: it balances if the centre is over it.
        middle = points.mean(axis=0)
        along = points[np.argmax(np.linalg.norm(points - middle, axis=1))] - middle
        length = float(np.linalg.norm(along))
        unit = along / length if length > 0.0 else np.zeros(2)
        offset = centre - middle
        place = (points - middle) @ unit
        ahead = float(np.clip(offset @ unit, place.min(), place.max()))
        return float(np.linalg.norm(offset - ahead * unit))
    return float((hull.equations[:, :2] @ centre + hull.equations[:, 2]).max())


def _overhangs(bricks: Bricks, bodies: Bodies, nodes: IntArray) -> FloatArray:
    """How far each body's centre of mass lies outside the given nodes, (b,) mm."""
    plan = bricks.nodes[:, :2] * bricks.brick.size[:2]
    return np.array(
        [
            overhang(plan[nodes[bodies.label[nodes] == body]], bodies.centre[body, :2])
            for body in range(len(bodies.volume))
        ]
    )


def _tips(bricks: Bricks, bodies: Bodies, nodes: IntArray, reach: float) -> bool:
    """Whether any body tips over on the given nodes, but for ``reach`` mm that still balance."""
    return bool(np.any(_overhangs(bricks, bodies, nodes) > reach))


def first_touch(bricks: Bricks, bodies: Bodies, seats: Seats) -> Mask:
    """Seats (c,) that are touched before anything sags.

    Raises
    ------
    MeshError
        If a body would tip over or hangs in the air.
    """
    height = float(bricks.brick.size[2])
    reach = 0.05 * float(bricks.brick.size[:2].mean())
    for share in _WIDER:
        touched = seats.gap <= share * height
        outside = _overhangs(bricks, bodies, seats.node[touched])
        if np.all(outside <= reach):
            return touched
    body = int(np.argmax(outside > reach))
    name = "the part" if len(bodies.volume) == 1 else f"body {body + 1} of {len(bodies.volume)}"
    if np.isinf(outside[body]):
        raise MeshError(f"{name} does not reach the setter plate", mend=ANOTHER_STANCE)
    raise MeshError(
        f"{name} tips over when set down this way up: its centre of mass is not over "
        "what it stands on",
        mend=ANOTHER_STANCE,
    )


@dataclass(frozen=True)
class Guess:
    """Where to begin: how a similar part, or the same on a coarser grid, came to rest.

    Parameters
    ----------
    displacement : (n, 3) float
        At the nodes, in the grid's frame, mm.
    touching : (c,) bool
        Which seats touched.
    """

    displacement: FloatArray
    touching: Mask


def come_to_rest(
    problem: Equilibrium,
    seats: Seats,
    friction: Friction,
    guess: Guess | None = None,
    tick: Callable[[float], None] | None = None,
) -> Standing:
    """Find the displacement at rest on the plate.

    Parameters
    ----------
    problem : Equilibrium
        The bricks under their weight.
    seats : Seats
        Nodes that may touch.
    friction : Friction
        Free sliding or stuck where it touches.
    guess : Guess or None
        Where to begin; None begins with the part as it stands before it sags.
    tick : callable or None
        Told the share done, 0 to 1.

    Raises
    ------
    MeshError
        If a body would tip over or hangs in the air.
    """
    bricks, bodies = problem.bricks, problem.bodies
    stood = first_touch(bricks, bodies, seats)
    reach = float(bricks.brick.size[:2].max())
    touching = stood.copy()
    displacement = np.zeros_like(problem.load)
    if guess is not None and not _tips(bricks, bodies, seats.node[guess.touching], reach):
        touching = guess.touching.copy()
        displacement[:, :3] = guess.displacement
    seen, tolerance, iterations = set[bytes](), ROUGH, 0
    for contact_round in range(1, MAX_CONTACT_ROUNDS + 1):
        free, displacement = _hold(displacement, seats, touching, friction)
        done = 1.0 - 0.7 ** (contact_round - 1)
        report = None if tick is None else _within(tick, done, 0.3 * (1.0 - done))
        rest = problem.rest(free, displacement, tolerance, report, _springs(seats, touching))
        displacement, iterations = rest.displacement, iterations + rest.iterations
        push = _pushes(problem, displacement, seats, touching)
        sunk = displacement[seats.node, 2] + seats.gap
        mean_push = -problem.load[:, 2].sum() / max(1, int(touching.sum()))
        release = touching & (push < -_PULL * mean_push)
        depth = _SINK * tolerance * float(np.abs(displacement[:, 2]).max())
        caught = ~touching & (sunk < -depth)
        seen.add(np.packbits(touching).tobytes())
        following = _next(touching, release, caught, push, seen)
        if _tips(bricks, bodies, seats.node[following], reach):
            following = (touching & ~_strongest(release, push)) | caught
        settled = np.array_equal(following, touching)
        if settled and tolerance == FINE:
            break
        if settled:
            tolerance = FINE
        touching = following
    return Standing(
        replace(rest, iterations=iterations), seats, touching, stood, contact_round, settled
    )


def _hold(
    displacement: FloatArray, seats: Seats, touching: Mask, friction: Friction
) -> tuple[FloatArray, FloatArray]:
    """Directions that may move, and the displacement with the touching nodes on their seats."""
    free = np.ones_like(displacement)
    free[:, 3] = 0.0
    firm = touching & seats.firm
    held = seats.node[firm]
    free[held, 2] = 0.0
    start = displacement.copy()
    start[held, 2] = -seats.gap[firm]
    if friction is Friction.DRAG:
        free[held, :2] = 0.0
        start[held, :2] = 0.0
    return free, start


def _springs(seats: Seats, touching: Mask) -> Springs:
    giving = touching & ~seats.firm
    return Springs(seats.node[giving], seats.spring[giving], -seats.gap[giving])


def _pushes(
    problem: Equilibrium, displacement: FloatArray, seats: Seats, touching: Mask
) -> FloatArray:
    """Force over modulus (c,) with which each seat pushes up, mm2."""
    springs = _springs(seats, touching)
    giving = springs.stiffness * (springs.place - displacement[springs.node, 2])
    push: FloatArray = problem.reactions(displacement)[:, 2]
    push[springs.node] -= giving
    pushes = push[seats.node]
    pushes[touching & ~seats.firm] = giving
    return pushes


def _next(
    touching: Mask,
    release: Mask,
    caught: Mask,
    push: FloatArray,
    seen: set[bytes],
) -> Mask:
    """Seats of the next round; where that has been tried before, only the worst change."""
    following = (touching & ~release) | caught
    if np.packbits(following).tobytes() not in seen:
        return following
    return (touching & ~_strongest(release, push)) | caught


def _strongest(release: Mask, push: FloatArray) -> Mask:
    """The tenth of the releases that pull hardest."""
    wanted = np.flatnonzero(release)
    strongest = wanted[np.argsort(push[wanted], kind="stable")[: max(1, len(wanted) // 10)]]
    fewer = np.zeros_like(release)
    fewer[strongest] = bool(len(wanted))
    return fewer


def _within(tick: Callable[[float], None], start: float, span: float) -> Callable[[float], None]:
    return lambda share: tick(start + span * share)


def lifted(standing: Standing) -> FloatArray:
    """Height (l,) by which the seats that stood and lifted have risen, mm."""
    gone = standing.stood & ~standing.touching
    heights: FloatArray = standing.rest.displacement[standing.seats.node[gone], 2]
    return heights
