"""Volumes and masses from stage to stage: what the balance shows green, debound and fired."""

from __future__ import annotations

import math

import numpy as np

from shrinkrule.calibration import AXES, CalibrationRow, Interval
from shrinkrule.compensation.scale import ScaleFactors
from shrinkrule.units import mass_g


def fired_volume(
    green_volume: float, factors: ScaleFactors, row: CalibrationRow | None
) -> Interval:
    """Volume that is left of a green volume.

    Parameters
    ----------
    green_volume : float
        Of the scaled mesh, mm3.
    factors : ScaleFactors
        By which it was enlarged; without a row the furnace takes back as much.
    row : CalibrationRow or None
        The batch.

    Returns
    -------
    Interval
        mm3; without a half width where the row does not know how firings differ.
    """
    if row is None:
        return Interval(green_volume / float(np.prod(factors.per_axis)))
    fired = green_volume / math.prod(row.along(axis).factor for axis in AXES)
    relative = row.coverage_factor * _relative_volume_sd(row) if row.firing_scatter_known else None
    return _interval(fired, relative)


def _relative_volume_sd(row: CalibrationRow) -> float:
    x, y, z = (
        along.scatter.next_sd / (1.0 - along.shrinkage.value)
        for along in (row.along(axis) for axis in AXES)
    )
    # A hotter firing shrinks X and Y together; how far Z goes with them is not known.
    return math.hypot(x + y, z)


def expected_masses(
    green_volume: float, row: CalibrationRow
) -> tuple[Interval | None, Interval | None, Interval | None]:
    """Green, debound and fired mass.

    All metal of the green part stays: its mass is metal fraction x green volume x metal
    density. The green part weighs that over the metal's share of the filament's mass.

    Parameters
    ----------
    green_volume : float
        Of the scaled mesh, mm3.
    row : CalibrationRow
        The batch.

    Returns
    -------
    tuple of (Interval or None)
        g; None where the row does not know it.
    """
    if row.metal_fraction is None or row.metal_density_g_cm3 is None:
        return None, None, None
    printed = green_volume * math.prod(row.along(axis).printed for axis in AXES)
    metal = mass_g(printed * row.metal_fraction.value, row.metal_density_g_cm3)
    relative = None
    if row.firing_scatter_known:
        relative = row.coverage_factor * row.metal_fraction.u / row.metal_fraction.value
    share = row.metal_mass_share
    green = None if share is None else _interval(metal / share, relative)
    return green, _interval(metal, relative), _interval(metal, relative)


def _interval(value: float, relative: float | None) -> Interval:
    return Interval(value, None if relative is None else abs(value) * relative)
