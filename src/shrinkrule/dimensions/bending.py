"""What the sag does to a dimension: the difference of the displacements of its two ends.

It is known where the sag was solved and the part pre-curved. Pre-curving changes the printed
length, the sag that remains changes the fired one, and the change by the whole sag is as uncertain
as the sag modulus.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from shrinkrule.dimensions.dimension import Dimension, Kind
from shrinkrule.dimensions.marks import ends_of
from shrinkrule.numerics.arrays import Floats


@dataclass(frozen=True)
class Change:
    """What pre-curving and sag do to a length.

    Parameters
    ----------
    printed_mm : float
        What the allowance adds to it, before scaling, mm.
    fired_mm : float
        What is left of the sag in it, mm.
    half95_mm : float
        What modulus and grid leave unsure of it (95 %), mm; nan where that is not known.
    """

    printed_mm: float
    fired_mm: float
    half95_mm: float


@dataclass(frozen=True)
class Bending:
    """The sag of a part that was pre-curved against it, on points of its surface.

    Parameters
    ----------
    points : (n, 3) float64
        Of the wanted part, in the model's axes, mm.
    sag : (n, 3) float64
        Where they go without an allowance, mm.
    allowance : (n, 3) float64
        Where the allowance puts them, mm.
    left : (n, 3) float64
        How far from their places they come to lie with it, mm.
    unsure_share : float
        Half width (95 %) of the sag over the sag, from its modulus; nan where that is not known.
    numerical_mm : float
        Uncertainty (95 %) of the largest displacement from the grid, mm.
    """

    points: Floats
    sag: Floats
    allowance: Floats
    left: Floats
    unsure_share: float
    numerical_mm: float

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self.points)

    @cached_property
    def _largest(self) -> float:
        return float(np.linalg.norm(self.sag, axis=1).max(initial=0.0))

    def change(self, one: Dimension, way: Floats) -> Change:
        """Change of a dimension along a direction.

        Parameters
        ----------
        one : Dimension
            Of the wanted part.
        way : (3,) float64
            Unit vector in the model's axes: across a round, the direction of its reading.

        Returns
        -------
        Change
            Of the overall sizes as of the part's box; the grid's error goes with how far the two
            ends move against each other.
        """
        numerical = float(np.nan_to_num(self.numerical_mm))
        nearest = self._tree.query(places_of_ends(one, way))[1]
        printed, fired, sag = (
            length_change(one, way, self.points, moved, moved[nearest])
            for moved in (self.allowance, self.left, self.sag)
        )
        if one.kind is not Kind.OVERALL:
            first, last = self.sag[nearest]
            apart = float(np.linalg.norm(last - first))
            numerical *= apart / self._largest if self._largest > 0.0 else 0.0
        return Change(printed, fired, math.hypot(self.unsure_share * sag, numerical))


def places_of_ends(one: Dimension, way: Floats) -> Floats:
    """Places of the two ends of a dimension: of a round without a level, on either side of it.

    Parameters
    ----------
    one : Dimension
        Of the wanted part.
    way : (3,) float64
        Unit vector in the model's axes along which it is read.

    Returns
    -------
    (2, 3) float64
        The places, mm.
    """
    if one.is_round and one.level_mm is None:
        across: Floats = np.array(one.place) + 0.5 * one.size_mm * np.array([-way, way])
        return across
    return ends_of(one)


def length_change(
    one: Dimension, way: Floats, points: Floats, moved: Floats, ends_moved: Floats
) -> float:
    """Change of a length by the displacement of the part, the one rule for every report of it.

    Parameters
    ----------
    one : Dimension
        Of the wanted part.
    way : (3,) float64
        Unit vector in the model's axes along which it is read.
    points : (n, 3) float64
        Of the part's surface, mm.
    moved : (n, 3) float64
        Their displacement, mm.
    ends_moved : (2, 3) float64
        Displacement of its two ends, mm.

    Returns
    -------
    float
        Positive where it becomes longer, mm: of an overall size what the box of the whole surface
        does, of any other the difference of the displacements of its ends along it.
    """
    if one.kind is Kind.OVERALL:
        return float(np.ptp((points + moved) @ way) - np.ptp(points @ way))
    first, last = places_of_ends(one, way)
    return float((ends_moved[1] - ends_moved[0]) @ (last - first)) / one.size_mm
