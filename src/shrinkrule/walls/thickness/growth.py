"""Balls that grow inside a part until their contacts lie nearly opposite.

Beside a convex edge, on a rim or on a bevel the largest ball that touches a point is small and does
not measure the wall. A ball that moves away from all its contacts grows: in a thick part to any
size, in a wall, a pin or a tip until two sides touch it nearly opposite. That last ball measures
the wall. The centre at which the ball had a given size shows how much of the edge a ball of that
size does not reach.

The centre follows the steepest ascent of the distance to the surface. The ascent points away from
the point nearest to zero in the convex hull of the unit vectors to all contacts, and that point's
distance from zero is how fast the radius grows.

Source: J. Giesen, M. John, "The flow complex: a data structure for geometric modeling", SODA
(2003) 285-294; the nearest point of a hull by shifting weight between its two extreme corners:
B. F. Mitchell, V. F. Dem'yanov, V. N. Malozemov, SIAM J. Control 12 (1974) 19-26.
"""

from __future__ import annotations

from typing import Any, Final, NamedTuple

import numpy as np

from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.jit import compiled, inner, wait_for_compiled
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.walls.thickness.inscribed import DEPTH
from shrinkrule.walls.thickness.nearest import nearest_on_facet, next_leaf
from shrinkrule.walls.thickness.spanning import REACH_IN
from shrinkrule.walls.thickness.tree import Tree

OPPOSITE_DEGREES: Final = 10.0
"""Faces that meet at less are a wall: contacts nearly opposite. At more they are an edge."""

OPPOSITE_RATE: Final = float(np.sin(np.radians(OPPOSITE_DEGREES) / 2.0))
"""How fast the radius grows per distance between two such faces."""

BAND: Final = 0.02
"""A point counts as a contact when it is further away than the nearest by less than this share."""

CONTACTS: Final = 24
"""Contacts kept at most: more on a smooth surface add nothing."""

ALIKE_COSINE: Final = float(np.cos(np.radians(6.0)))
"""Contacts closer together than this, as seen from the centre, are one."""

MOST_STEPS: Final = 240
"""Steps at most: a rim takes a few, a slender wedge of fine facets a hundred."""

OVERLAP: Final = 1.8
"""How far a ball moves in a step, in its own radius and half of what it grows."""

ROOMY: Final = 1.5
"""How much larger than expected a ball may turn out: contacts beyond that are not searched for."""

WORTH: Final = 0.5
"""A step counts when the ball grows by this share of what its contacts let expect."""

HALVINGS: Final = 12
"""Shorter steps tried at most, where another facet blocks a step."""

AHEAD: Final = 0.15
"""Distance of the move, in radii, for which contacts further than the nearest are weighed."""

CENTRED: Final = 1e-4
"""A ball is centred between its contacts when none is further off by more than this share."""

SETTLED: Final = 1e-3
"""A ball has settled when its contacts are equally far but for this share of its radius."""

MOST_SETTLING: Final = 24
"""Moves to settle at most."""

SHIFTS: Final = 60
"""Iterations for the nearest point of a hull, at most."""

AT_REST: Final = 2e-3
"""A step shorter than this share of the radius is none: what blocks it is a contact."""

CHUNK: Final = 1024
"""Balls that one thread grows at a time."""


class Grown(NamedTuple):
    """Balls that have grown.

    Parameters
    ----------
    centres : (n, 3) float64
        Where they ended.
    radius : (n,) float64
        Radius there, mm; the largest that was asked for, where nothing stopped them.
    ends : (n, 2, 3) float64
        Two contacts there, as far apart as can be.
    passed : (n, k, 3) float64
        Centre of the ball when it had the radius asked for; nan where it never had.
    """

    centres: Floats
    radius: Floats
    ends: Floats
    passed: Floats


@inner
def _gather(
    tree: Tree, c: Floats, bound: float, toward: Floats, contacts: Floats, room: Any
) -> tuple[float, int]:
    """Distance from ``c`` to the surface, at most ``bound``, and how many contacts there are.

    All within ``BAND`` beyond the nearest are contacts: unit vectors to them go into ``toward``,
    the points into ``contacts``, in no order.
    """
    stack, trial, far = room
    near, found = bound, 0
    leaves, pieces = len(tree.boxes) // 2, len(tree.items)
    stack[0] = 1
    waiting: Any = np.int64(1)
    while True:
        reach = min(bound, near * (1.0 + BAND))
        waiting, leaf = next_leaf(tree, stack, waiting, c[0], c[1], c[2], reach)
        if leaf < 0:
            break
        for place in range(leaf * pieces // leaves, (leaf + 1) * pieces // leaves):
            away = np.sqrt(
                nearest_on_facet(tree.items[place], tree.corners, c[0], c[1], c[2], trial)
            )
            if away >= min(bound, near * (1.0 + BAND)) or away == 0.0:
                continue
            near = min(near, away)
            wx, wy, wz = (
                (trial[0] - c[0]) / away,
                (trial[1] - c[1]) / away,
                (trial[2] - c[2]) / away,
            )
            at = found
            for k in range(found):
                if toward[k, 0] * wx + toward[k, 1] * wy + toward[k, 2] * wz > ALIKE_COSINE:
                    at = k
                    break
            if at == found:
                if found < CONTACTS:
                    found += 1
                else:
                    at = 0
                    for k in range(1, found):
                        if far[k] > far[at]:
                            at = k
                    if far[at] <= away:
                        continue
            elif far[at] <= away:
                continue
            far[at] = away
            toward[at, 0], toward[at, 1], toward[at, 2] = wx, wy, wz
            contacts[at, 0], contacts[at, 1], contacts[at, 2] = trial[0], trial[1], trial[2]
    kept = 0
    for k in range(found):
        if far[k] <= near * (1.0 + BAND):
            far[kept] = far[k]
            for a in range(3):
                toward[kept, a], contacts[kept, a] = toward[k, a], contacts[k, a]
            kept += 1
    return near, kept


@inner
def _away_from_all(
    toward: Floats, far: Floats, near: float, count: int, weight: Floats, x: Floats
) -> float:
    """Point ``x`` nearest to zero in the hull of unit vectors, and its distance from zero.

    A contact further away than the nearest counts less: by how near it is after a move of
    ``AHEAD`` radii.
    """
    for k in range(count):
        weight[k] = 0.0
    first = 0
    for k in range(1, count):
        if far[k] < far[first]:
            first = k
    weight[first] = 1.0
    x[0], x[1], x[2] = toward[first, 0], toward[first, 1], toward[first, 2]
    for _ in range(SHIFTS):
        least, most, low, high = np.inf, -np.inf, 0, 0
        for k in range(count):
            along = toward[k, 0] * x[0] + toward[k, 1] * x[1] + toward[k, 2] * x[2]
            along += max(0.0, far[k] - near) / (AHEAD * near)
            if along < least:
                least, low = along, k
            if weight[k] > 0.0 and along > most:
                most, high = along, k
        if most - least < 1e-5:
            break
        square = 0.0
        for a in range(3):
            square += (toward[high, a] - toward[low, a]) ** 2
        share = min(weight[high], (most - least) / square)
        weight[high] -= share
        weight[low] += share
        for a in range(3):
            x[a] += share * (toward[low, a] - toward[high, a])
    rate: float = np.sqrt(x[0] * x[0] + x[1] * x[1] + x[2] * x[2])
    return rate


@inner
def _touching_step(c: Floats, heading: Floats, q: Floats, radius: float, rate: float) -> float:
    """How far a growing ball moves along ``heading`` until it touches the point ``q``."""
    along, square = 0.0, 0.0
    for a in range(3):
        along += heading[a] * (c[a] - q[a])
        square += (c[a] - q[a]) ** 2
    # |c + s way - q| = radius + s rate
    lead = 1.0 - rate * rate
    middle = along - radius * rate
    last = square - radius * radius
    root = middle * middle - lead * last
    if last <= 0.0 or root < 0.0:
        return 0.0
    step: float = max(0.0, last / (-middle + np.sqrt(root))) if middle < 0.0 else 0.0
    return step


@inner
def _with_contact(
    c: Floats, contact: Floats, toward: Floats, contacts: Floats, far: Floats, count: int
) -> int:
    """Add a point to the contacts of the ball about ``c``; gives how many there are then."""
    away = 0.0
    for a in range(3):
        away += (contact[a] - c[a]) ** 2
    away = np.sqrt(away)
    at = min(count, CONTACTS - 1)
    far[at] = away
    for a in range(3):
        contacts[at, a] = contact[a]
        toward[at, a] = (contact[a] - c[a]) / away
    return at + 1


@compiled
def grow(
    tree: Tree,
    starts: Floats,
    sizes: Any,
    goals: Any,
    centres: Any,
    radius: Any,
    ends: Any,
    passed: Any,
) -> None:
    """Loop of `grown_balls` over the balls; fills the last four."""
    toward, contacts = np.empty((CONTACTS, 3)), np.empty((CONTACTS, 3))
    new_toward, new_contacts = np.empty((CONTACTS, 3)), np.empty((CONTACTS, 3))
    stack, trial = np.empty(DEPTH, np.int64), np.empty(3)
    far, new_far = np.empty(CONTACTS), np.empty(CONTACTS)
    weight, heading, c, there = np.empty(CONTACTS), np.empty(3), np.empty(3), np.empty(3)
    for i in range(len(starts)):
        for a in range(3):
            c[a] = starts[i, a]
        size, count = _gather(tree, c, ROOMY * sizes[i], toward, contacts, (stack, trial, far))
        goal, blocked, settling = 0, 0, 0
        for _ in range(MOST_STEPS):
            while goal < len(goals) and size >= goals[goal] * (1.0 - REACH_IN):
                for a in range(3):
                    passed[i, goal, a] = c[a]
                goal += 1
            if goal == len(goals) or count == 0:
                break
            rate = _away_from_all(toward, far, size, count, weight, heading)
            slack = 0.0
            for k in range(count):
                if weight[k] > 0.0:
                    slack = max(slack, far[k] - size)
            # Held nearly opposite, the ball still goes to the middle between its contacts.
            held = rate <= OPPOSITE_RATE
            if held and (slack <= SETTLED * size or settling == MOST_SETTLING or rate < SETTLED):
                break
            settling += held
            for a in range(3):
                heading[a] /= -rate
            # Two empty balls that share space lie on one side of the surface.
            step = min((goals[goal] - size) / rate, OVERLAP * size / (1.0 - 0.5 * OVERLAP * rate))
            # First centre the ball between its contacts, then move as far as it goes.
            if held or (slack > CENTRED * size and blocked == 0):
                step = min(step, AHEAD * size * rate)
            moved, near, many, wanted = False, 0.0, 0, size
            for _ in range(HALVINGS):
                wanted = size + step * rate
                for a in range(3):
                    there[a] = c[a] + step * heading[a]
                near, many = _gather(
                    tree, there, ROOMY * wanted, new_toward, new_contacts, (stack, trial, new_far)
                )
                # A ball that shares no space with this one may lie beyond the surface.
                if near >= size + WORTH * (wanted - size) and near + size > step:
                    moved = True
                    break
                nearest = 0
                for k in range(1, many):
                    if new_far[k] < new_far[nearest]:
                        nearest = k
                touching = _touching_step(c, heading, new_contacts[nearest], size, rate)
                if touching < AT_REST * size:
                    # A point that stops the ball at once is a contact.
                    count = _with_contact(c, new_contacts[nearest], toward, contacts, far, count)
                    break
                step = min(touching, 0.9 * step)
            if not moved:
                blocked += 1
                if held or blocked == CONTACTS:
                    break
                continue
            blocked = 0
            size, count = near, many
            for a in range(3):
                c[a] = there[a]
            toward, new_toward = new_toward, toward
            contacts, new_contacts = new_contacts, contacts
            far, new_far = new_far, far
        one, other, apart = 0, 0, 2.0
        for j in range(count):
            for k in range(j):
                cosine = (
                    toward[j, 0] * toward[k, 0]
                    + toward[j, 1] * toward[k, 1]
                    + toward[j, 2] * toward[k, 2]
                )
                if cosine < apart:
                    one, other, apart = k, j, cosine
        radius[i] = size
        for a in range(3):
            centres[i, a] = c[a]
            ends[i, 0, a] = contacts[one, a] if count else c[a] + size * (a == 2)
            # With a single contact the other end lies straight opposite.
            ends[i, 1, a] = contacts[other, a] if count > 1 else 2.0 * c[a] - ends[i, 0, a]


def grown_balls(tree: Tree, centres: Floats, radius: Floats, goals: Floats) -> Grown:
    """Let balls grow until their contacts are nearly opposite or they have the largest size.

    Parameters
    ----------
    tree : Tree
        The surface, closed.
    centres : (n, 3) float64
        Centres of empty balls inside the part, as the tree has them.
    radius : (n,) float64
        Their radius, mm.
    goals : (k,) float64
        Radii asked for, rising, mm.

    Returns
    -------
    Grown
        One row for each ball.
    """
    count = len(centres)
    made = Grown(
        np.empty((count, 3)),
        np.empty(count),
        np.empty((count, 2, 3)),
        np.full((count, len(goals), 3), np.nan),
    )

    def work(part: slice) -> None:
        grow(tree, centres[part], radius[part], goals, *(values[part] for values in made))

    wait_for_compiled(grow)
    in_chunks(work, count, CHUNK)
    return made
