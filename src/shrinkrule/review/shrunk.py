"""How much more or less a part shrank than its row says: one number for XY and one for Z.

A line through the origin, fired deviation against green length, each length weighed alike: its
slope is the difference in shrinkage. It is what the chart of firings shows, and goes from model to
fired as the row's own components do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from shrinkrule.calibration import CalibrationRow
from shrinkrule.review.judge import PartReview

AXES_OF = {"xy": "xy", "z": "z"}
"""Directions that are charted, with the axes behind each."""


@dataclass(frozen=True)
class Shrunk:
    """Difference in shrinkage of one part.

    Parameters
    ----------
    value : float
        Shrinkage less that of the row, as a fraction: positive where it shrank more.
    u : float
        Standard uncertainty by the scatter of single lengths.
    """

    value: float
    u: float


def shrunk_more(review: PartReview, row: CalibrationRow) -> dict[str, Shrunk]:
    """Difference in shrinkage of a part, by direction.

    Parameters
    ----------
    review : PartReview
        The part; a reading that is named as a slip is left out.
    row : CalibrationRow
        Its row.

    Returns
    -------
    dict of str to Shrunk
        ``xy`` and ``z``, as far as fired lengths were read.
    """
    found = {}
    for name, axes in AXES_OF.items():
        used = [
            one
            for one in review.lengths
            if one.axis in axes
            and one.read_fired_mm is not None
            and one.reading.id != review.slipped
        ]
        if not used:
            continue
        length = np.array([one.green_mm.value for one in used])
        off = np.array([(one.read_fired_mm or 0.0) - one.fired_mm.value for one in used])
        squares = float(length @ length)
        residual = row.residual_z_mm if name == "z" else row.residual_xy_mm
        found[name] = Shrunk(-float(length @ off) / squares, residual / math.sqrt(squares))
    return found
