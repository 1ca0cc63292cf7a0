"""What the estimated sag does to each of the part's first dimensions.

A length between two places changes by the difference of their displacements along it; a side of the
box by what the whole surface does.
"""

from __future__ import annotations

import numpy as np

from shrinkrule.dimensions import Dimension, Kind
from shrinkrule.job.result import JobResult
from shrinkrule.numerics.arrays import Floats


def dimension_sags(result: JobResult) -> tuple[float | None, ...]:
    """Change of the first dimensions by the sag that is not taken off, mm.

    Parameters
    ----------
    result : JobResult
        The job.

    Returns
    -------
    tuple of float or None
        In the order of the list; positive where the length becomes longer. None for rounds and
        where no sag is known.
    """
    found, estimate = result.dimensions, result.sag_look.estimate
    if found is None:
        return ()
    field = None if estimate is None else estimate.field
    if field is None:
        return (None,) * found.first
    vertices = np.asarray(result.part.mesh.vertices, dtype=np.float64)
    box = np.ptp(vertices + field.at(vertices), axis=0) - np.ptp(vertices, axis=0)
    sags: list[float | None] = []
    for one in found.dozen:
        direction = np.array(one.direction)
        if one.kind is Kind.OVERALL:
            sags.append(float(np.abs(direction) @ box))
        elif one.is_round:
            sags.append(None)
        else:
            first, second = field.at(_ends(one, direction))
            sags.append(float((second - first) @ direction))
    return tuple(sags)


def _ends(one: Dimension, direction: Floats) -> Floats:
    """Ends (2, 3) of a length, in the model's axes, mm."""
    start = np.array(one.place)
    if one.level_mm is None:
        start = start - 0.5 * one.size_mm * direction
    else:
        start = start + (one.level_mm - start @ direction) * direction
    return np.stack([start, start + one.size_mm * direction])
