"""Findings: places worth a maker's attention, each with its measure, its limit and its position.

A finding is a connected place, not a sample. Its thickness is that of the GREEN part; `wanted_mm`
converts it to the wanted part, which is the model the maker will edit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np

from shrinkrule.numerics.arrays import Floats

FLAT_COSINE: Final = np.cos(np.radians(30.0))
"""Walls whose normal is within 30 degrees of the build axis are floors or roofs."""

UPRIGHT_COSINE: Final = np.sin(np.radians(30.0))
"""Walls whose normal is within 30 degrees of the layer plane stand upright."""

Vector = tuple[float, float, float]


PlaceText = Callable[[Vector], str]
"""Puts a place of the print frame in words."""


def in_print(place: Vector) -> str:
    """Put a place in words where nobody knows of another frame.

    Parameters
    ----------
    place : tuple of 3 float
        Print frame, mm.

    Returns
    -------
    str
        To a hundredth of a millimetre.

    Examples
    --------
    >>> in_print((1.0, -0.001, 2.5))
    'x 1.00, y 0.00, z 2.50 of the print'
    """
    x, y, z = place
    return f"x {x:z.2f}, y {y:z.2f}, z {z:z.2f} of the print"


class Weight(StrEnum):
    """How much a finding weighs: what does not print, what needs a look, what decides nothing."""

    STOP = "stop"
    LOOK = "look"
    TELLS = "tells"


class FindingKind(StrEnum):
    """What is wrong at a place, in the order of what matters."""

    THIN_WALL = "thin wall"
    THIN_PIN = "thin pin"
    THIN_FLOOR = "thin floor"
    NARROW_GAP = "narrow gap"
    CLOSING_HOLE = "closing hole"
    SINGLE_BEAD = "single bead"
    SINGLE_BEAD_PIN = "single-bead pin"
    KNIFE_EDGE = "knife edge"
    THICK_SECTION = "thick section"
    MESH_FLAW = "flaw of the mesh"

    @property
    def weight(self) -> Weight:
        """How much a finding of this kind weighs."""
        if self in (FindingKind.THIN_WALL, FindingKind.THIN_PIN, FindingKind.THIN_FLOOR):
            return Weight.STOP
        return Weight.TELLS if self is FindingKind.MESH_FLAW else Weight.LOOK


class Axis(StrEnum):
    """Which way a wall stands in the print."""

    UPRIGHT = "upright"
    FLAT = "flat"
    OBLIQUE = "oblique"


class Rule(StrEnum):
    """Which check found a place."""

    BALL = "ball"
    LAYERS = "layers"
    BOTH = "both"


SEVERITY: Final = {kind: place for place, kind in enumerate(FindingKind)}


def axis_of(direction: Floats) -> Axis:
    """Which way a wall stands in the print.

    Parameters
    ----------
    direction : (3,) float64
        Unit vector across the wall, print frame.

    Returns
    -------
    Axis
        Upright, flat or oblique.
    """
    steep = abs(float(direction[2]))
    if steep >= FLAT_COSINE:
        return Axis.FLAT
    return Axis.UPRIGHT if steep <= UPRIGHT_COSINE else Axis.OBLIQUE


@dataclass(frozen=True)
class Finding:
    """One place of the green part that the maker should look at.

    Parameters
    ----------
    kind : FindingKind
        What is wrong.
    rule : Rule
        Which check found it.
    axis : Axis
        Which way the wall stands.
    smallest_mm : float
        The smallest measure in the place (the largest for a thick section).
    limit_mm : float
        What the measure is compared with.
    position : (3,) float
        Where the extreme is, mm, print frame.
    direction : (3,) float
        Unit vector along which the extreme is measured.
    box : ((3,), (3,)) float
        Lowest and highest corner of the place, mm.
    area_mm2 : float
        Surface affected, both sides counted.
    volume_mm3 : float or None
        Volume affected, where the layers measured it.
    height_range_mm : (2,) float or None
        Lowest and highest layer affected, where the layers measured it.
    sound_mm : float or None
        What the place needs to be sound, where its limit is what it needs to print at all.
    loss_mm : float or None
        Depth that an edge loses in the print, mm.
    spread_mm : (3,) float or None
        How far the place spreads along its own axes, the longest last: standard deviations, mm.
    """

    kind: FindingKind
    rule: Rule
    axis: Axis
    smallest_mm: float
    limit_mm: float
    position: Vector
    direction: Vector
    box: tuple[Vector, Vector]
    area_mm2: float
    volume_mm3: float | None = None
    height_range_mm: tuple[float, float] | None = None
    sound_mm: float | None = None
    loss_mm: float | None = None
    spread_mm: Vector | None = None

    @property
    def severity(self) -> int:
        """Rank of what matters: 0 is worst."""
        return SEVERITY[self.kind]

    def wanted_mm(self, green_mm: float, factors: Floats) -> float:
        """Thickness in the wanted part of a green thickness measured along `direction`.

        Two parallel planes with unit normal m, t apart in the green part, are
        ``t / |(k_x m_x, k_y m_y, k_z m_z)|`` apart before scaling.

        Parameters
        ----------
        green_mm : float
            Thickness in the green part, mm.
        factors : (3,) float
            Oversize factors of the green part along x, y, z.

        Returns
        -------
        float
            Thickness in the wanted part, mm.
        """
        return green_mm / float(np.linalg.norm(factors * np.asarray(self.direction)))

    def as_dict(self) -> dict[str, Any]:
        """Give the finding as plain values, for a report file."""
        return {
            "kind": self.kind.value,
            "weighs": self.kind.weight.value,
            "rule": self.rule.value,
            "axis": self.axis.value,
            "severity": self.severity,
            "smallest_mm": self.smallest_mm,
            "limit_mm": self.limit_mm,
            "sound_mm": self.sound_mm,
            "loss_mm": self.loss_mm,
            "position_mm": list(self.position),
            "direction": list(self.direction),
            "box_mm": [list(corner) for corner in self.box],
            "area_mm2": self.area_mm2,
            "volume_mm3": self.volume_mm3,
            "height_range_mm": None if self.height_range_mm is None else list(self.height_range_mm),
        }


def as_vector(values: Floats) -> Vector:
    """Turn an array into a tuple of plain numbers.

    Parameters
    ----------
    values : (3,) float64
        The array.

    Returns
    -------
    (3,) float
        The same numbers.
    """
    return float(values[0]), float(values[1]), float(values[2])


def spread_of(points: Floats, area: Floats) -> Vector:
    """Measure how far a place spreads along its own axes, whatever its samples' density.

    Parameters
    ----------
    points : (n, 3) float64
        Samples, mm.
    area : (n,) float64
        Area that each stands for, mm2.

    Returns
    -------
    (3,) float
        Standard deviations, rising, mm.

    Examples
    --------
    >>> [round(side, 3) for side in spread_of(np.array([[0.0, 0, 0], [2, 2, 0]]), np.ones(2))]
    [0.0, 0.0, 1.414]
    """
    share = (area + np.finfo(np.float64).tiny) / (area + np.finfo(np.float64).tiny).sum()
    offsets = points - share @ points
    variances = np.linalg.eigvalsh((offsets * share[:, None]).T @ offsets)
    return as_vector(np.sqrt(np.maximum(variances, 0.0)))


def what_matters(finding: Finding) -> tuple[int, float, Vector]:
    """Key that sorts findings: worst kind first, then the largest place.

    Parameters
    ----------
    finding : Finding
        A finding.

    Returns
    -------
    (int, float, (3,) float)
        Severity, area and position.
    """
    return finding.severity, -finding.area_mm2, finding.position
