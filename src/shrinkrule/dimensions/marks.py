"""The dozen with their numbers and where each is drawn: alike in tables, stills, turning view."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shrinkrule.dimensions.dimension import Dimension, Kind
from shrinkrule.dimensions.find import FoundDimensions
from shrinkrule.dimensions.recognition.planes import across
from shrinkrule.numerics.arrays import Floats

BESIDE: Final = 0.05
"""How far beside the part overall sizes are drawn, over its longest side."""


@dataclass(frozen=True)
class Numbered:
    """A dimension of the dozen.

    Parameters
    ----------
    number : int
        Its number everywhere, from 1.
    dimension : Dimension
        The dimension.
    ends : (2, 3) float64
        Ends of the line that shows it, in the model's axes, mm; as far apart as it is long.
    """

    number: int
    dimension: Dimension
    ends: Floats


def numbered_dozen(found: FoundDimensions) -> tuple[Numbered, ...]:
    """Number what a maker would measure first.

    Parameters
    ----------
    found : FoundDimensions
        Dimensions of a part.

    Returns
    -------
    tuple of Numbered
        The dozen in its order; numbers are those of the full list, its CSV and JSON.
    """
    box = _box(found)
    return tuple(
        Numbered(number, one, ends_of(one) if one.kind is not Kind.OVERALL else _beside(one, box))
        for number, one in enumerate(found.dozen, start=1)
    )


def ends_of(one: Dimension) -> Floats:
    """Points between which a dimension is measured.

    Parameters
    ----------
    one : Dimension
        Any dimension; of an overall size, two points of a line through the part's middle.

    Returns
    -------
    (2, 3) float64
        In the model's axes, mm; of a round, across its axis.
    """
    way, start = np.array(one.direction), np.array(one.place)
    if one.is_round:
        way = across(way)[0]
        start = start + (-0.5 * one.size_mm if one.level_mm is None else one.level_mm) * way
    elif one.level_mm is None:
        start = start - 0.5 * one.size_mm * way
    else:
        start = start + (one.level_mm - start @ way) * way
    return np.stack([start, start + one.size_mm * way])


def _box(found: FoundDimensions) -> Floats:
    """Lowest and highest corner (2, 3) of the part."""
    overall = [one for one in found.dozen if one.kind is Kind.OVERALL]
    low = np.array([one.level_mm or 0.0 for one in overall])
    return np.stack([low, low + [one.size_mm for one in overall]])


def _beside(one: Dimension, box: Floats) -> Floats:
    """Ends of an overall size at an edge of the box, a little beside the part."""
    apart = BESIDE * float((box[1] - box[0]).max())
    axis = int(np.argmax(np.abs(one.direction)))
    # Edges that show from the front right, above: X at the front, Y at the right, Z at the left.
    corner = {
        0: (box[0][0], box[0][1] - apart, box[0][2]),
        1: (box[1][0] + apart, box[0][1], box[0][2]),
        2: (box[0][0] - apart, box[0][1] - apart, box[0][2]),
    }[axis]
    ends = np.tile(np.array(corner), (2, 1))
    ends[:, axis] = box[:, axis]
    return ends
