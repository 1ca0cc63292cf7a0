"""What pictures and coloured meshes show at each sample: the thickness and the class of its wall.

A sample that belongs to a finding has the colour of the finding's weight, and no other sample has
it: pictures, findings and verdict come from one classification. Beside an edge that prints fine the
ball does not measure a wall, so such a sample shows the thickness of the nearest wall.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.walls.findings import Finding, FindingKind, Weight
from shrinkrule.walls.regions.grouping import NUMBER
from shrinkrule.walls.regions.thin import NONE
from shrinkrule.walls.thickness.local import LocalWalls
from shrinkrule.walls.thickness.spheres import Status, ThicknessSamples
from shrinkrule.walls.thickness_scale import FIRST_SOUND, ThicknessScale

UNKNOWN: Final = -1


@dataclass(frozen=True)
class ShownWalls:
    """Thickness and colour at points of the surface.

    Parameters
    ----------
    points, normals : (n, 3) float64
        Where, mm, print frame, and which way the surface faces.
    thickness : (n,) float64
        Of the wall there, mm; nan where nothing was measured.
    band : (n,) int64
        Which colour of the thickness scale it has, -1 where nothing was measured.
    spacing_mm : float
        Distance between neighbours where nothing thin is near.
    """

    points: Floats
    normals: Floats
    thickness: Floats
    band: Ints
    spacing_mm: float


def shown_walls(
    samples: ThicknessSamples,
    walls: LocalWalls,
    findings: tuple[Finding, ...],
    of_sample: Ints,
    scale: ThicknessScale,
    spacing_mm: float,
) -> ShownWalls:
    """Choose what is shown at each sample.

    Parameters
    ----------
    samples : ThicknessSamples
        Measured samples.
    walls : LocalWalls
        The wall that each belongs to.
    findings : tuple of Finding
        Thin places by the balls.
    of_sample : (n,) int64
        Which of them each sample belongs to, -1 for none.
    scale : ThicknessScale
        The colours.
    spacing_mm : float
        Spacing of the samples.

    Returns
    -------
    ShownWalls
        One value and one colour for each sample.
    """
    in_finding = of_sample != NONE
    kinds = np.array([NUMBER[finding.kind] for finding in findings] + [NONE])[of_sample]
    flaw = kinds == NUMBER[FindingKind.MESH_FLAW]
    thin = np.isfinite(walls.thickness) & (walls.thickness < scale.bounds_mm[FIRST_SOUND - 1])
    measured = samples.is_wall & (walls.own | (samples.thickness >= walls.edge_limit))
    thickness = np.where(measured | in_finding, samples.thickness, np.nan)
    thickness = np.where(thin, walls.thickness, thickness)
    thickness[flaw] = np.nan
    known = ~np.isnan(thickness)
    without_wall = (samples.status == Status.OPEN) | (samples.status == Status.CROSSED)
    asking = np.flatnonzero(~known & ~without_wall)
    if known.any() and len(asking):
        _, nearest = cKDTree(samples.points[known]).query(samples.points[asking], workers=-1)
        thickness[asking] = thickness[known][nearest]
    band = scale.band(thickness)
    # Only samples of a finding are shown as thin.
    band = np.where(band == UNKNOWN, UNKNOWN, np.maximum(band, FIRST_SOUND))
    for colour, weight in enumerate((Weight.STOP, Weight.LOOK)):
        of_weight = [number for kind, number in NUMBER.items() if kind.weight is weight]
        band[in_finding & np.isin(kinds, of_weight)] = colour
    return ShownWalls(samples.points, samples.normals, thickness, band, spacing_mm)
