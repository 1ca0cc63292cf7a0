"""Standing on the setter plate: the part may lift from it, it may not sink into it.

Each node that may touch has a gap below it. A node that touches pushes back; once it
would have to pull it is let go, and a node that would sink is caught. The rounds end
when nothing changes any more.

Source: the primal-dual active set for unilateral contact (M. Hintermueller, K. Ito, K.
Kunisch, SIAM J. Optim. 13 (2002) 865-888).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.numerics.progress import Tick, share_of
from shrinkrule.sag.contact.candidates import Seats
from shrinkrule.sag.contact.stability import first_touch, tips
from shrinkrule.sag.fem.pcg import Equilibrium, Rest, Springs
from shrinkrule.sag.settings import Friction

MAX_CONTACT_ROUNDS: Final = 80
"""A part peels off the plate by about one row of bricks in each round; grids begin coarse."""

ROUGH: Final = 1e-3
"""Relative error of the iteration while the contact still changes."""

FINE: Final = 1e-5
"""Relative error of the last iteration, far below every other error here."""

_PULL: Final = 1e-3  # of the mean push: below this a pull is rounding
_SINK: Final = 1.0  # of the iteration's error in the largest sag: sinking in less is rounding


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

    displacement: Floats
    touching: Mask


def come_to_rest(
    problem: Equilibrium,
    seats: Seats,
    friction: Friction,
    guess: Guess | None = None,
    tick: Tick | None = None,
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
    if guess is not None and not tips(bricks, bodies, seats.node[guess.touching], reach):
        touching = guess.touching.copy()
        displacement[:, :3] = guess.displacement
    seen, tolerance, iterations = set[bytes](), ROUGH, 0
    for contact_round in range(1, MAX_CONTACT_ROUNDS + 1):
        free, displacement = _hold(displacement, seats, touching, friction)
        done = 1.0 - 0.7 ** (contact_round - 1)
        report = None if tick is None else share_of(tick, done, 0.3 * (1.0 - done))
        rest = problem.rest(free, displacement, tolerance, report, _springs(seats, touching))
        displacement, iterations = rest.displacement, iterations + rest.iterations
        release, caught, push = _changes(problem, displacement, seats, touching, tolerance)
        seen.add(np.packbits(touching).tobytes())
        following = _next(touching, release, caught, push, seen)
        if tips(bricks, bodies, seats.node[following], reach):
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


def _changes(
    problem: Equilibrium,
    displacement: Floats,
    seats: Seats,
    touching: Mask,
    tolerance: float,
) -> tuple[Mask, Mask, Floats]:
    """Seats that would have to pull, seats that are sunk into, and what each pushes, (c,)."""
    push = _pushes(problem, displacement, seats, touching)
    mean_push = -problem.load[:, 2].sum() / max(1, int(touching.sum()))
    depth = _SINK * tolerance * float(np.abs(displacement[:, 2]).max())
    sunk = displacement[seats.node, 2] + seats.gap
    return touching & (push < -_PULL * mean_push), ~touching & (sunk < -depth), push


def _hold(
    displacement: Floats, seats: Seats, touching: Mask, friction: Friction
) -> tuple[Floats, Floats]:
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


def _pushes(problem: Equilibrium, displacement: Floats, seats: Seats, touching: Mask) -> Floats:
    """Force over modulus (c,) with which each seat pushes up, mm2."""
    springs = _springs(seats, touching)
    giving = springs.stiffness * (springs.place - displacement[springs.node, 2])
    push: Floats = problem.reactions(displacement)[:, 2]
    push[springs.node] -= giving
    pushes = push[seats.node]
    pushes[touching & ~seats.firm] = giving
    return pushes


def _next(
    touching: Mask,
    release: Mask,
    caught: Mask,
    push: Floats,
    seen: set[bytes],
) -> Mask:
    """Seats of the next round; where that has been tried before, only the worst change."""
    following = (touching & ~release) | caught
    if np.packbits(following).tobytes() not in seen:
        return following
    return (touching & ~_strongest(release, push)) | caught


def _strongest(release: Mask, push: Floats) -> Mask:
    """The tenth of the releases that pull hardest."""
    wanted = np.flatnonzero(release)
    strongest = wanted[np.argsort(push[wanted], kind="stable")[: max(1, len(wanted) // 10)]]
    fewer = np.zeros_like(release)
    fewer[strongest] = bool(len(wanted))
    return fewer


def lifted(standing: Standing) -> Floats:
    """Height (l,) by which the seats that stood and lifted have risen, mm."""
    gone = standing.stood & ~standing.touching
    heights: Floats = standing.rest.displacement[standing.seats.node[gone], 2]
    return heights
