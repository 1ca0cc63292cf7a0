"""Bead spread: how far upright surfaces print outside the model, from green against model.

A length between two outward surfaces is twice the spread too long, a slot twice too short, and a
step true; so ``green = (1 + e) model + 2 b side`` with side +1, -1, 0 separates the spread ``b``
from an error ``e`` of the printer's scale (belts, or a filament that shrinks as it cools).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from shrinkrule.calibration.statistics.departure import Departure, departure
from shrinkrule.numerics.arrays import Floats
from shrinkrule.sheet import Kind

SIDE: Final = {Kind.OUTSIDE: 1.0, Kind.INSIDE: -1.0, Kind.STEP: 0.0}
"""Surfaces that spread makes a length longer by, in pairs."""


@dataclass(frozen=True)
class BeadFit:
    """How the printer departs from the model.

    Parameters
    ----------
    offset : Departure
        Bead spread per surface, mm, outward positive.
    scale : Departure
        Green length over model length, less 1, beyond what the spread explains.
    residual_sd : (...) float
        Standard deviation of one green length about all this, mm.
    """

    offset: Departure
    scale: Departure
    residual_sd: Floats


def fit_bead(
    model_mm: ArrayLike,
    green_mm: ArrayLike,
    side: ArrayLike,
    weight: ArrayLike | None = None,
    reading_variance: float = 0.0,
) -> BeadFit:
    """Fit spread and scale to green lengths.

    Parameters
    ----------
    model_mm, green_mm : (..., c, m) float
        Lengths of ``m`` features on ``c`` coupons.
    side : (..., c, m) float
        +1 for an outside length, -1 for an inside one, 0 for a step.
    weight : (..., c, m) float, optional
        1 for a measured feature, 0 for a missing one.
    reading_variance : float
        Variance in mm2 that the caliper alone gives; the residual variance is at least this.

    Returns
    -------
    BeadFit
        Spread and scale of the printer.
    """
    model = np.asarray(model_mm, dtype=np.float64)
    w = np.ones_like(model) if weight is None else np.asarray(weight, dtype=np.float64)
    model = np.where(w > 0.0, model, 0.0)
    excess = np.where(w > 0.0, np.asarray(green_mm, dtype=np.float64) - model, 0.0)
    design = np.stack(np.broadcast_arrays(model, 2.0 * np.asarray(side)), axis=-1) * w[..., None]
    inverse = np.linalg.inv(design.swapaxes(-1, -2) @ design)
    solved = (inverse @ design.swapaxes(-1, -2) @ excess[..., None])[..., 0]
    residual = excess - (design @ solved[..., None])[..., 0]
    dof = (w > 0.0).sum(axis=(-1, -2)) - 2.0 * w.shape[-2]
    variance = np.maximum((residual**2).sum(axis=(-1, -2)) / dof, reading_variance)
    own = np.diagonal(inverse, axis1=-2, axis2=-1) * variance[..., None, None]
    return BeadFit(
        offset=departure(solved[..., 1], own[..., 1], dof),
        scale=departure(solved[..., 0], own[..., 0], dof),
        residual_sd=np.sqrt(variance),
    )
