"""Room that the green part of a job takes in the furnace, as it lies there."""

from __future__ import annotations

import numpy as np

from shrinkrule.compensation import turn_up
from shrinkrule.job.result import JobResult
from shrinkrule.loads import Footprint, footprint


def room_of(result: JobResult) -> Footprint:
    """Room that the green part takes in the furnace.

    Parameters
    ----------
    result : JobResult
        The job; without a way up in the furnace the part is fired as it was printed.

    Returns
    -------
    Footprint
        Its outline on the floor, and its height, mm.
    """
    points = np.asarray(result.green.mesh.vertices, dtype=np.float64)
    lies = result.recipe.sag or result.recipe.lies
    if lies is not None:
        # Rows of the matrix are the print's axes in the model, each times its oversize factor.
        rows = result.green.from_model[:3, :3]
        to_print = rows / np.linalg.norm(rows, axis=1, keepdims=True)
        up = np.array(lies.furnace_up, dtype=np.float64)
        points = points @ to_print @ turn_up(up).T
    return footprint(points)
