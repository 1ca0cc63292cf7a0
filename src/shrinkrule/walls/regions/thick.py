"""Sections so thick that binder leaves them slowly: balls that share space are one section."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.numerics.arrays import Ints, connected_components
from shrinkrule.walls.findings import Finding, FindingKind
from shrinkrule.walls.limits import MARGIN_MM, WallLimits
from shrinkrule.walls.regions.grouping import groups_of
from shrinkrule.walls.regions.measured import contact_directions, finding_at
from shrinkrule.walls.thickness.spheres import ThicknessSamples

OVERSIZE: Final = 1e-3
"""A ball may be measured too large by this share: the surface may reach so far into it."""


def thick_findings(samples: ThicknessSamples, limits: WallLimits) -> list[Finding]:
    """Find sections thicker than the limit.

    Parameters
    ----------
    samples : ThicknessSamples
        Measured samples of the green part.
    limits : WallLimits
        The limit for thick sections.

    Returns
    -------
    list of Finding
        One for each section, by rule BALL.
    """
    directions = contact_directions(samples)
    passes = limits.thick_mm * (1.0 + OVERSIZE) + MARGIN_MM
    thick = np.flatnonzero(samples.is_wall & (samples.thickness > passes))
    found = []
    kind = FindingKind.THICK_SECTION
    for place in _sections(samples, thick, limits.thick_mm):
        extreme = int(place[np.argmax(samples.thickness[place])])
        found.append(finding_at(samples, place, kind, limits.thick_mm, extreme, directions))
    return found


def _sections(samples: ThicknessSamples, index: Ints, thick_mm: float) -> list[Ints]:
    """Split thick samples into sections, each as indices of its samples.

    Every ball is larger than ``thick_mm``, so two share space when their centres are nearer
    than that; centres are first gathered in cells of a quarter of it.
    """
    if len(index) == 0:
        return []
    half = 0.5 * samples.thickness[index]
    centres = samples.points[index] - half[:, None] * samples.normals[index]
    cells, cell_of = np.unique(np.round(centres / (0.25 * thick_mm)), axis=0, return_inverse=True)
    links = cKDTree(cells).query_pairs(4.0, output_type="ndarray")
    label = connected_components(len(cells), links)
    return [index[group] for group in groups_of(label[cell_of.ravel()])]
