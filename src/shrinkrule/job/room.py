"""Room that a part takes in the furnace, as it lies there: green as it is printed, and fired."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import ConvexHull

from shrinkrule.compensation import GreenPart, turn_up
from shrinkrule.furnace import FurnaceFit, fit_in_furnace
from shrinkrule.job.recipe import Recipe
from shrinkrule.job.result import JobResult
from shrinkrule.job.sag_look import SagLook
from shrinkrule.loads import Footprint, footprint
from shrinkrule.mesh import Part
from shrinkrule.numerics.arrays import Floats


def room_of(result: JobResult) -> Footprint:
    """Room that a part takes in the furnace: the larger of what it takes green and fired.

    Parameters
    ----------
    result : JobResult
        The job; without a way up in the furnace the part is fired as it was printed.

    Returns
    -------
    Footprint
        Its outline on the floor, and its height, mm.
    """
    printed = result.printed or result.green
    room = footprint(_green_points(printed, result.recipe))
    fired = _fired_points(printed, result.part, result.recipe, result.sag_look)
    if fired is None:
        return room
    then = footprint(fired)
    return Footprint(np.maximum(room.reach_mm, then.reach_mm), max(room.height_mm, then.height_mm))


def furnace_fit(part: Part, recipe: Recipe, printed: GreenPart, sag: SagLook) -> FurnaceFit | None:
    """See how a part stands in the furnace, green as it is printed and fired as it sags.

    Parameters
    ----------
    part : Part
        The wanted part.
    recipe : Recipe
        The furnace, and how the part lies in it.
    printed : GreenPart
        The green part, pre-curved where it is.
    sag : SagLook
        What is known of the sag.

    Returns
    -------
    FurnaceFit or None
        The tighter of the two; None where no furnace was stated.
    """
    furnace = recipe.furnace
    if furnace is None:
        return None
    green = fit_in_furnace(hull_of(_green_points(printed, recipe)), furnace)
    points = _fired_points(printed, part, recipe, sag)
    if points is None:
        return green
    fired = replace(fit_in_furnace(hull_of(points), furnace), stage="fired")
    return min(green, fired, key=lambda fit: fit.spare_mm)


def hull_of(points: Floats) -> Floats:
    """Points that alone decide how much room a part takes.

    Parameters
    ----------
    points : (n, 3) float64
        Points of the part, mm.

    Returns
    -------
    (n, 3) float64
        Corners of its outline seen from above, and its lowest and highest point, mm.
    """
    # Joggled, so that a part whose outline is a line is no error.
    corners = ConvexHull(points[:, :2], qhull_options="QJ").vertices
    extremes = [points[:, 2].argmin(), points[:, 2].argmax()]
    deciding: Floats = points[np.concatenate([corners, extremes])]
    return deciding


def _turns(printed: GreenPart, recipe: Recipe) -> tuple[Floats, Floats]:
    """Rotations (3, 3) from the model's frame to the print's, and to the furnace's."""
    # Rows of the matrix are the print's axes in the model, each times its oversize factor.
    rows = printed.from_model[:3, :3]
    to_print = rows / np.linalg.norm(rows, axis=1, keepdims=True)
    lies = recipe.sag or recipe.lies
    if lies is None:
        return to_print, to_print
    return to_print, turn_up(np.array(lies.furnace_up, dtype=np.float64))


def _green_points(printed: GreenPart, recipe: Recipe) -> Floats:
    """Vertices (n, 3) of the green part in the furnace's frame, mm."""
    to_print, to_furnace = _turns(printed, recipe)
    points: Floats = np.asarray(printed.mesh.vertices) @ (to_print @ to_furnace.T)
    return points


def _fired_points(printed: GreenPart, part: Part, recipe: Recipe, sag: SagLook) -> Floats | None:
    """Points (n, 3) of the fired part in the furnace's frame, mm; None where no sag is known."""
    if sag.taken_off is not None:
        fired = sag.taken_off.fired
    elif sag.estimate is not None and sag.estimate.field is not None:
        wanted = np.asarray(part.mesh.vertices, dtype=np.float64)
        fired = wanted + sag.estimate.field.at(wanted)
    else:
        return None
    turned: Floats = fired @ _turns(printed, recipe)[1].T
    return turned
