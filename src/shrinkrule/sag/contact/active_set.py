"""One-sided contact: the part may lift from what it stands on, it may not penetrate it.

Each contact candidate has a gap below it. A candidate in contact carries a push; where it
would have to pull it is released, and where a node would penetrate it is added. The rounds
end when nothing changes any more.

Source: the primal-dual active set for unilateral contact (M. Hintermueller, K. Ito, K.
Kunisch, SIAM J. Optim. 13 (2002) 865-888).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Mask
from shrinkrule.numerics.progress import Tick, share_of
from shrinkrule.sag.contact.candidates import Candidates
from shrinkrule.sag.contact.edges import Inward, pushed_inward
from shrinkrule.sag.contact.stability import initial_contact, tips_over
from shrinkrule.sag.fem.pcg import Equilibrium, Solution, Springs
from shrinkrule.sag.settings import Friction

MAX_CONTACT_ROUNDS: Final = 80
"""A part peels off the plate by about one row of bricks in each round; grids begin coarse."""

ROUGH: Final = 1e-3
"""Relative error of the iteration while the contact still changes."""

FINE: Final = 1e-5
"""Relative error of the last iteration, far below every other error here."""

_PULL: Final = 1e-3  # of the mean push: below this a pull is rounding
_SINK: Final = 1.0  # of the iteration's error in the largest sag: a penetration of less is rounding

_DEEPEST: Final = (
    0.6  # of the deepest penetration: where most penetrate, only so deep ones come next
)

_MOVES: Final = 4  # so often pushes at edges are moved inward anew, at most
_MOVED: Final = 0.03  # of all pushes: less is not worth another round

_STEADY: Final = 0.1  # of a brick: a contact is begun with only if the part stands on it


@dataclass(frozen=True)
class ContactState:
    """The contact in equilibrium.

    Parameters
    ----------
    solution : Solution
        Its displacement.
    candidates : Candidates
        The nodes that might touch.
    touching : (c,) bool
        Those that do.
    initial : (c,) bool
        Those that did before the part sagged.
    rounds : int
        Contact rounds.
    settled : bool
        Whether the last round changed nothing.
    """

    solution: Solution
    candidates: Candidates
    touching: Mask
    initial: Mask
    rounds: int
    settled: bool


@dataclass(frozen=True)
class Guess:
    """Where to begin: the equilibrium of a similar part, or of the same on a coarser grid.

    Parameters
    ----------
    displacement : (n, 3) float
        At the nodes, in the grid's frame, mm.
    touching : (c,) bool
        Which candidates touch.
    """

    displacement: Floats
    touching: Mask


def solve_contact(
    problem: Equilibrium,
    candidates: Candidates,
    friction: Friction,
    guess: Guess | None = None,
    tick: Tick | None = None,
) -> ContactState:
    """Find the displacement and the contact in equilibrium.

    Parameters
    ----------
    problem : Equilibrium
        The bricks under their weight.
    candidates : Candidates
        Nodes that may touch.
    friction : Friction
        Free sliding, or stuck, where the part touches.
    guess : Guess or None
        Where to begin; None begins with the contact before the part sags.
    tick : callable or None
        Called with the share done, 0 to 1.

    Returns
    -------
    ContactState
        Displacement and contact in equilibrium.

    Raises
    ------
    MeshError
        If a body would tip over or hangs in the air.
    """
    bricks, bodies = problem.bricks, problem.bodies
    initial = initial_contact(bricks, bodies, candidates)
    reach = float(bricks.brick.size[:2].max())
    touching = initial.copy()
    displacement = np.zeros_like(problem.load)
    steady = _STEADY * reach
    if guess is not None and not tips_over(bricks, bodies, candidates.node[guess.touching], steady):
        touching = guess.touching.copy()
        displacement[:, :3] = guess.displacement
    seen, tolerance, iterations = set[bytes](), ROUGH, 0
    inward, moved = Inward.nothing(len(displacement), len(touching)), 0
    for contact_round in range(1, MAX_CONTACT_ROUNDS + 1):
        free, displacement = _hold(displacement, candidates, touching, friction, inward.sunk)
        done = 1.0 - 0.7 ** (contact_round - 1)
        report = None if tick is None else share_of(tick, done, 0.3 * (1.0 - done))
        solution = problem.solve(
            free, displacement, tolerance, report, _springs(candidates, touching), inward.forces
        )
        displacement, iterations = solution.displacement, iterations + solution.iterations
        release, penetrating, push = _changes(
            problem, displacement, candidates, touching, tolerance, inward.forces
        )
        seen.add(np.packbits(touching).tobytes())
        following = _next(touching, release, penetrating, push, seen)
        if tips_over(bricks, bodies, candidates.node[following], reach):
            following = (touching & ~_strongest(release, push)) | penetrating
        settled = np.array_equal(following, touching)
        if settled and moved < _MOVES:
            wanted = pushed_inward(bricks, candidates, touching, push, inward, displacement[:, 2])
            change = float(np.abs(wanted.handed - inward.handed).sum())
            if change > _MOVED * push.sum():
                # What is handed on tilts the foot itself: half of each change after the first.
                inward = inward.towards(wanted, 1.0 if moved == 0 else 0.5)
                moved += 1
                continue
        if settled and tolerance == FINE:
            break
        if settled:
            tolerance = FINE
        touching = following
    return ContactState(
        replace(solution, iterations=iterations),
        candidates,
        touching,
        initial,
        contact_round,
        settled,
    )


def _changes(
    problem: Equilibrium,
    displacement: Floats,
    candidates: Candidates,
    touching: Mask,
    tolerance: float,
    inward: Floats,
) -> tuple[Mask, Mask, Floats]:
    """Candidates that would have to pull, those that penetrate, and the push of each, (c,)."""
    push = _pushes(problem, displacement, candidates, touching, inward)
    mean_push = -problem.load[:, 2].sum() / max(1, int(touching.sum()))
    depth = _SINK * tolerance * float(np.abs(displacement[:, 2]).max())
    clearance = displacement[candidates.node, 2] + candidates.gap
    release = touching & (push < -_PULL * mean_push)
    penetrating = ~touching & (clearance < -depth)
    if penetrating.sum() > touching.sum():
        # Under a line or a point far more penetrates than will touch: the deepest comes first.
        deepest = penetrating & (clearance < _DEEPEST * clearance[penetrating].min())
        stands_on = candidates.node[(touching & ~release) | deepest]
        steady = _STEADY * float(problem.bricks.brick.size[:2].max())
        if not tips_over(problem.bricks, problem.bodies, stands_on, steady):
            penetrating = deepest
    return release, penetrating, push


def _hold(
    displacement: Floats,
    candidates: Candidates,
    touching: Mask,
    friction: Friction,
    sunk: Floats,
) -> tuple[Floats, Floats]:
    """Free directions (n, 4), and the displacement (n, 4) with the touching nodes in contact."""
    free = np.ones_like(displacement)
    free[:, 3] = 0.0
    rigid = touching & candidates.rigid
    held = candidates.node[rigid]
    free[held, 2] = 0.0
    start = displacement.copy()
    start[held, 2] = -candidates.gap[rigid] - sunk[rigid]
    if friction is Friction.DRAG:
        free[held, :2] = 0.0
        start[held, :2] = 0.0
    return free, start


def _springs(candidates: Candidates, touching: Mask) -> Springs:
    """Springs under the touching candidates that are not rigid."""
    giving = touching & ~candidates.rigid
    return Springs(candidates.node[giving], candidates.spring[giving], -candidates.gap[giving])


def _pushes(
    problem: Equilibrium,
    displacement: Floats,
    candidates: Candidates,
    touching: Mask,
    inward: Floats,
) -> Floats:
    """Force over modulus (c,) with which each candidate pushes up, mm2."""
    springs = _springs(candidates, touching)
    giving = springs.stiffness * (springs.place - displacement[springs.node, 2])
    push: Floats = problem.reactions(displacement)[:, 2] - inward
    push[springs.node] -= giving
    pushes = push[candidates.node]
    pushes[touching & ~candidates.rigid] = giving
    return pushes


def _next(
    touching: Mask,
    release: Mask,
    penetrating: Mask,
    push: Floats,
    seen: set[bytes],
) -> Mask:
    """Contact of the next round; if that has been tried before, release only the worst."""
    following = (touching & ~release) | penetrating
    if np.packbits(following).tobytes() not in seen:
        return following
    return (touching & ~_strongest(release, push)) | penetrating


def _strongest(release: Mask, push: Floats) -> Mask:
    """The tenth of the releases that pull hardest."""
    wanted = np.flatnonzero(release)
    strongest = wanted[np.argsort(push[wanted], kind="stable")[: max(1, len(wanted) // 10)]]
    fewer = np.zeros_like(release)
    fewer[strongest] = bool(len(wanted))
    return fewer


def lifted(state: ContactState) -> Floats:
    """Height (l,) by which the candidates that touched before and lifted have risen, mm.

    Parameters
    ----------
    state : ContactState
        The contact in equilibrium.

    Returns
    -------
    (l,) float
        Their heights, mm.
    """
    gone = state.initial & ~state.touching
    heights: Floats = state.solution.displacement[state.candidates.node[gone], 2]
    return heights
