"""Narrow air: slots that the bead will fuse shut and holes that it will close.

Balls measure the air as they measure walls, on the other side of the surface.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.mesh import Rays
from shrinkrule.numerics.arrays import Floats, connected_components
from shrinkrule.printer import Printer
from shrinkrule.walls.findings import Finding, FindingKind
from shrinkrule.walls.limits import MARGIN_MM, WallLimits
from shrinkrule.walls.regions.grouping import REACH, groups_of, links_between
from shrinkrule.walls.regions.measured import contact_directions, finding_at, is_mesh_flaw
from shrinkrule.walls.regions.thin import NONE, Regions
from shrinkrule.walls.thickness.spheres import ThicknessSamples

WEDGE_SHARE: Final = np.sin(np.radians(170.0) / 2.0)
"""Chord over diameter of a ball in a groove whose flanks meet at 10 degrees; blunter: less."""

MOUTH: Final = 2.0
"""Air is measured up to this many limits, to see whether a groove widens beyond one."""

BLUNT_SHARE: Final = np.cos(np.radians(40.0) / 2.0)
"""Chord over diameter of a ball in a groove whose flanks meet at 40 degrees."""

ROUND_A_CORNER: Final = -0.5
"""Least cosine between normals of neighbours in one hole: its corners have 60 degrees or more."""

ROUND: Final = 0.25
"""In a hole, the directions across spread in two dimensions: least ratio of the second largest to
the largest eigenvalue of their scatter. It is 0 in a slot and 1 in a round hole."""

STRAIGHT: Final = 0.75
"""How far, in diameters, the centres of a hole's balls may lie from one line."""


def gap_findings(
    rays: Rays,
    samples: ThicknessSamples,
    printer: Printer,
    limits: WallLimits,
    spacing_mm: float,
) -> Regions:
    """Narrow gaps and closing holes.

    Parameters
    ----------
    rays : Rays
        Of the green part.
    samples : ThicknessSamples
        Width of the air in front of samples of the green part, up to ``MOUTH`` limits.
    printer : Printer
        Bead.
    limits : WallLimits
        How many beads a gap needs.
    spacing_mm : float
        Spacing of the samples.

    Returns
    -------
    Regions
        One finding for each gap and hole, by rule BALL.
    """
    limit = limits.gap_mm(printer)
    width = np.where(samples.is_wall, samples.thickness, np.inf)
    directions = contact_directions(samples)
    share = np.linalg.norm(samples.points - samples.contacts, axis=1) / samples.thickness
    found: list[Finding] = []
    of_sample = np.full(len(width), NONE, dtype=np.int64)
    wider = samples.points[(width >= limit) & np.isfinite(width)]
    open_air = cKDTree(wider) if len(wider) else None
    # Of a blunt groove, or one that widens beyond the limit, only the root fuses: no finding.
    narrow = np.flatnonzero(width < limit - MARGIN_MM)
    if not len(narrow):
        return Regions((), of_sample)
    ends = np.stack([samples.points[narrow], samples.contacts[narrow]], axis=1)
    links = np.column_stack(links_between(rays, samples, narrow, ends, spacing_mm, ROUND_A_CORNER))
    groups = groups_of(connected_components(len(narrow), links))
    for place in (narrow[group] for group in groups):
        chord_share = float(np.median(share[place]))
        if chord_share < BLUNT_SHARE:
            continue
        if chord_share < WEDGE_SHARE and open_air is not None:
            away, _ = open_air.query(samples.points[place])
            if float(away.min()) < REACH * spacing_mm:
                continue
        extreme = int(place[np.argmin(width[place])])
        middles = 0.5 * (samples.points[place] + samples.contacts[place])
        is_hole = _goes_round(directions[place], middles, float(width[extreme]))
        kind = FindingKind.CLOSING_HOLE if is_hole else FindingKind.NARROW_GAP
        size = float(np.linalg.norm(np.ptp(samples.points[place], axis=0)))
        area, bead = float(samples.area[place].sum()), printer.bead_width_mm
        if is_mesh_flaw(area, size, float(width[extreme]), bead):
            kind = FindingKind.MESH_FLAW
        of_sample[place] = len(found)
        found.append(finding_at(samples, place, kind, limit, extreme, directions))
    return Regions(tuple(found), of_sample)


def _goes_round(directions: Floats, middles: Floats, width_mm: float) -> bool:
    """Whether air is a hole, not a slot, by the directions across it and its middles, (k, 3)."""
    spread = np.linalg.eigvalsh(directions.T @ directions)
    if spread[1] < ROUND * spread[2]:
        return False
    offsets = middles - middles.mean(axis=0)
    _, _, axes = np.linalg.svd(offsets, full_matrices=False)
    beside = offsets - np.outer(offsets @ axes[0], axes[0])
    return bool(np.linalg.norm(beside, axis=1).max() < STRAIGHT * width_mm)
