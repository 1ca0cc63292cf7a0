"""The ball that spans a round part behind a facet.

On the facets of something round, the largest ball that touches one facet touches the next one
too, and both contacts lie close together, though the part is thick behind them. There the ball
about the middle of the chord measures the wall, and neighbours share it.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.jit import inner
from shrinkrule.walls.thickness.nearest import nearest_point
from shrinkrule.walls.thickness.tree import Tree

REACH_IN: Final = 1e-3
"""A facet that reaches into the ball by less than this share of the radius touches it.

In a round part all facets of a ring do, and looking at each of them again for the last
thousandth would take a hundred times as long.
"""

NEARLY: Final = 0.998
"""A known ball of this share of half the chord or more fills the chord: the chord is the wall."""

SPANS: Final = 0.98
"""A ball of this share of half the chord or more spans the wall, with an error under 2 %."""

ROUGHLY: Final = 0.8
"""A middle with less room than this share of half the chord is no middle of a round part."""

MEMORY: Final = 16
"""Spanning balls that are remembered: in a round part one serves many samples."""

ALIKE: Final = 2e-3
"""A remembered ball that misses a sample by this share of its radius touches it too."""

ROUND: Final = 5.0
"""Both tolerances grow by this much where the sample's own ball has shown that the part is round
there: flats lie at unlike distances from the middle, and a sample off the middle of its flat."""

SQUARE: Final = 0.06
"""Sine of the angle to the normal at which such a ball may meet the surface there."""

CENTRINGS: Final = 4
"""Moves of the centre to the middle of a round part; one or two suffice."""


@inner
def spanning_ball(
    tree: Tree,
    p: Floats,
    n: Floats,
    half: float,
    c: Floats,
    q: Floats,
    nearest: Floats,
    nowhere: Floats,
    stack: Any,
) -> float:
    """Radius of the ball about the middle of the chord behind p if it spans the chord, else 0.

    The chord along a facet's normal passes the axis of a round part by up to half a facet, so the
    centre moves away from what is nearest first.

    Parameters
    ----------
    tree : Tree
        The surface.
    p, n : (3,) float64
        Sample and its outward normal.
    half : float
        Half the chord.
    c : (3,) float64
        Takes the centre of the ball.
    q, nearest, nowhere, stack : arrays
        Scratch; ``nowhere`` is zero.

    Returns
    -------
    float
        Radius, or 0.
    """
    for a in range(3):
        c[a] = p[a] - half * n[a]
    best = 0.0
    for _ in range(CENTRINGS):
        clear, _ = nearest_point(tree, c, half, nowhere, 0.0, REACH_IN, nearest, (stack, q))
        if clear <= best:
            break
        best = clear
        if clear < half * ROUGHLY or clear >= half * (1.0 - REACH_IN):
            break
        for a in range(3):
            c[a] += (c[a] - nearest[a]) / clear * (half - clear)
    return best if best >= half * SPANS else 0.0


@inner
def remember(known: Floats, turn: int, c: Floats, radius: float) -> int:
    """Store a ball among those known.

    Parameters
    ----------
    known : (MEMORY, 4) float64
        Centres and radii.
    turn : int
        Row that takes it.
    c, radius : (3,) float64, float
        The ball.

    Returns
    -------
    int
        Row for the next one.
    """
    known[turn, 0], known[turn, 1], known[turn, 2] = c[0], c[1], c[2]
    known[turn, 3] = radius
    return (turn + 1) % len(known)


@inner
def remembered(
    known: Floats, p: Floats, n: Floats, half: float, share: float, slack: float
) -> float:
    """Find a known ball that touches at a sample and spans the chord there.

    Parameters
    ----------
    known : (MEMORY, 4) float64
        Centres and radii.
    p, n : (3,) float64
        Sample and its outward normal.
    half : float
        Half the chord.
    share : float
        Least radius, over half the chord.
    slack : float
        Factor on the tolerances: 1, or `ROUND`.

    Returns
    -------
    float
        Radius, or 0.
    """
    for k in range(len(known)):
        radius = known[k, 3]
        if radius < half * share:
            continue
        square, along = 0.0, 0.0
        for a in range(3):
            offset = p[a] - known[k, a]
            square += offset * offset
            along += offset * n[a]
        if along > 0.0 and abs(np.sqrt(square) - radius) <= slack * ALIKE * radius:
            slant = square - along * along
            if slant <= (slack * SQUARE) ** 2 * square:
                found: float = min(radius, half)
                return found
    return 0.0
