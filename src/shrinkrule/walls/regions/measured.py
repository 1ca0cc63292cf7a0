"""Findings measured by the ball at one of their samples: thick sections and narrow air."""

from __future__ import annotations

from typing import Final

import numpy as np

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.walls.findings import Finding, FindingKind, Rule, as_vector, axis_of, spread_of
from shrinkrule.walls.thickness.spheres import ThicknessSamples

FLAW_AREA: Final = 0.01
"""Area in square beads below which a region is a flaw of the mesh, unless it is long.

Also the thickness in beads below which a region under a square bead is one: no wall is so thin.
"""

FLAW_THICKNESS: Final = 0.05
"""Thickness in beads below which a longer one is a flaw too."""

FLAW_SIZE: Final = 0.25
"""Size in beads, thickness included, below which such a region is a flaw; a longer one is a thin
line of a wall."""


def contact_directions(samples: ThicknessSamples) -> Floats:
    """Directions from samples to the other contacts of their balls.

    Parameters
    ----------
    samples : ThicknessSamples
        Measured samples.

    Returns
    -------
    (n, 3) float64
        Unit vectors; against the normal where the ball has no other contact.
    """
    chord = samples.contacts - samples.points
    length = np.linalg.norm(chord, axis=1, keepdims=True)
    pointing: Floats = np.divide(chord, length, out=-samples.normals, where=length > 0.0)
    return pointing


def finding_at(
    samples: ThicknessSamples,
    place: Ints,
    kind: FindingKind,
    limit_mm: float,
    extreme: int,
    directions: Floats,
) -> Finding:
    """Make the finding of a place from its thinnest or thickest sample.

    Parameters
    ----------
    samples : ThicknessSamples
        All samples.
    place : (k,) int64
        Those of the place.
    kind : FindingKind
        What is wrong there.
    limit_mm : float
        What the thickness is compared with.
    extreme : int
        The sample whose thickness and position the finding has.
    directions : (n, 3) float64
        As from `contact_directions`.

    Returns
    -------
    Finding
        By rule BALL.
    """
    both = np.vstack([samples.points[place], samples.contacts[place]])
    return Finding(
        kind=kind,
        rule=Rule.BALL,
        axis=axis_of(directions[extreme]),
        smallest_mm=float(samples.thickness[extreme]),
        limit_mm=limit_mm,
        position=as_vector((samples.points[extreme] + samples.contacts[extreme]) / 2.0),
        direction=as_vector(directions[extreme]),
        box=(as_vector(both.min(axis=0)), as_vector(both.max(axis=0))),
        area_mm2=float(samples.area[place].sum()),
        spread_mm=spread_of(samples.points[place], samples.area[place]),
    )


def is_mesh_flaw(area_mm2: float, size_mm: float, smallest_mm: float, bead_mm: float) -> bool:
    """Whether a place is too small to be anything but a flaw of the mesh.

    Parameters
    ----------
    area_mm2, size_mm : float
        Its area, and the diagonal of its box.
    smallest_mm : float
        Its smallest measure.
    bead_mm : float
        Bead width.

    Returns
    -------
    bool
        True where area and size are specks beside the bead.
    """
    small = size_mm < FLAW_SIZE * bead_mm or smallest_mm < FLAW_THICKNESS * bead_mm
    speck = area_mm2 < FLAW_AREA * bead_mm**2 and small
    return speck or (area_mm2 < bead_mm**2 and smallest_mm < FLAW_AREA * bead_mm)
