"""Filament that the part of a job takes, by the row's masses and what is known of the spool."""

from __future__ import annotations

import math

from shrinkrule.calibration import AXES
from shrinkrule.job.result import JobResult
from shrinkrule.physics.filament import FilamentNeed, filament_need


def filament_of(result: JobResult) -> FilamentNeed | None:
    """Filament that the green part takes; None where nothing is known of its mass.

    Parameters
    ----------
    result : JobResult
        The job.

    Returns
    -------
    FilamentNeed or None
        Mass, length and price, without brim and purge line.
    """
    row, prediction = result.recipe.row, result.prediction
    volume, density = prediction.green_volume_mm3, None
    if row is not None:
        volume *= math.prod(row.along(axis).printed for axis in AXES)
        if row.metal_fraction and row.metal_density_g_cm3 and row.metal_mass_share:
            density = row.metal_fraction.value * row.metal_density_g_cm3 / row.metal_mass_share
    return filament_need(volume, result.recipe.spool, prediction.green_mass_g, density)
