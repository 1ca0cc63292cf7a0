"""What will come out of the furnace: sizes, volume and masses, each with its 95 % interval.

The interval is for the NEXT part: uncertainty of the row's mean shrinkage and scatter
of single parts, at Student's factor for the row's degrees of freedom (JCGM 100; the
interval for a new observation).
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass

import numpy as np

from shrinkrule.calibration import CalibrationRow
from shrinkrule.compensation.scale import GreenPart, ScaleFactors
from shrinkrule.compensation.tolerance import iso286_grade, iso2768_class
from shrinkrule.numerics.arrays import Floats
from shrinkrule.units import mass_g


@dataclass(frozen=True)
class Interval:
    """A predicted value and the half width of its 95 % interval; ``None`` where not known."""

    value: float
    half95: float | None = None

    def as_dict(self) -> dict[str, float | None]:
        """Plain values for JSON."""
        return {"value": self.value, "half95": self.half95}


@dataclass(frozen=True)
class SizePrediction:
    """One side of the part's box, in mm: wanted, green, and fired with its interval.

    ``iso286`` and ``iso2768`` name the finest class the interval can hold, or are empty.
    ``beyond_calibration`` is true where the green length exceeds the longest measured.
    """

    axis: str
    wanted_mm: float
    green_mm: float
    fired_mm: Interval
    iso286: str
    iso2768: str
    beyond_calibration: bool


@dataclass(frozen=True)
class Prediction:
    """Sizes (mm), volumes (mm3) and masses (g) at each stage."""

    sizes: tuple[SizePrediction, ...]
    wanted_volume_mm3: float
    green_volume_mm3: float
    fired_volume_mm3: Interval
    green_mass_g: Interval | None
    debound_mass_g: Interval | None
    fired_mass_g: Interval | None
    notes: tuple[str, ...]

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON."""
        return asdict(self)


def predict_fired(
    green: GreenPart,
    row: CalibrationRow | None,
    wanted_volume_mm3: float | None,
) -> Prediction:
    """Predict the fired part.

    Parameters
    ----------
    green : GreenPart
        What will be printed; its green box is fired here by the row's shrinkage.
    row : CalibrationRow or None
        Where the factors came from; without one there are no intervals and no masses.
    wanted_volume_mm3 : float or None
        Volume of the wanted part; ``None`` for an open surface, which has none.

    Returns
    -------
    Prediction
        Sizes with their intervals, and masses at each stage.
    """
    vertices = np.asarray(green.mesh.vertices)
    box = vertices.max(axis=0) - vertices.min(axis=0)
    fired = _fired_factors(row, green.factors)
    sizes = tuple(
        _size(axis, float(box[i]), float(green.factors.per_axis[i]), float(fired[i]), row)
        for i, axis in enumerate("XYZ")
    )
    wanted = math.nan if wanted_volume_mm3 is None else wanted_volume_mm3
    green_volume = wanted * green.factors.volume
    relative = None if row is None else row.coverage_factor * _relative_volume_sd(row)
    volume = _interval(green_volume * float(np.prod(fired)), relative)
    masses = (None, None, None) if row is None else _masses(green_volume, row)
    return Prediction(sizes, wanted, green_volume, volume, *masses, _notes(row, sizes))


def length_half95(row: CalibrationRow, axis: str, green_mm: float) -> float:
    """Half width in mm of the 95 % interval for a fired length, axis ``xy`` or ``z``.

    Parameters
    ----------
    row : CalibrationRow
        Row that the part is made with.
    axis : str
        ``xy`` or ``z``.
    green_mm : float
        Green length, mm.

    Returns
    -------
    float
        The half width, mm.
    """
    return row.half95_mm(axis, green_mm)


def _fired_factors(row: CalibrationRow | None, factors: ScaleFactors) -> Floats:
    if row is None:
        return 1.0 / factors.per_axis
    xy, z = 1.0 - row.shrinkage_xy.value, 1.0 - row.shrinkage_z.value
    return np.array([xy, xy, z])


def _size(
    axis: str, green_mm: float, factor: float, fired: float, row: CalibrationRow | None
) -> SizePrediction:
    wanted, size = green_mm / factor, green_mm * fired
    if row is None:
        return SizePrediction(axis, wanted, green_mm, Interval(size), "", "", False)
    kind = "z" if axis == "Z" else "xy"
    size = row.fired_mm(kind, green_mm)
    longest = row.longest_z_mm if kind == "z" else row.longest_xy_mm
    half = length_half95(row, kind, green_mm)
    # A class must hold the error from the wanted size, not only the spread about the mean.
    reach = half + abs(size - wanted)
    return SizePrediction(
        axis,
        wanted,
        green_mm,
        Interval(size, half),
        iso286_grade(wanted, reach),
        iso2768_class(wanted, reach),
        green_mm > longest,
    )


def _relative_volume_sd(row: CalibrationRow) -> float:
    return math.hypot(
        2 * row.spread("xy") / (1 - row.shrinkage_xy.value),
        row.spread("z") / (1 - row.shrinkage_z.value),
    )


def _masses(
    green_volume: float, row: CalibrationRow
) -> tuple[Interval | None, Interval | None, Interval | None]:
    """Green, debound and fired mass.

    All metal of the green part stays: its mass is metal fraction x green volume x metal
    density. The green part weighs that over the metal's share of the filament's mass.
    """
    if row.metal_fraction is None or row.metal_density_g_cm3 is None:
        return None, None, None
    metal = mass_g(green_volume * row.metal_fraction.value, row.metal_density_g_cm3)
    relative = row.coverage_factor * row.metal_fraction.u / row.metal_fraction.value
    share = row.metal_mass_share
    green = None if share is None else _interval(metal / share, relative)
    return green, _interval(metal, relative), _interval(metal, relative)


def _interval(value: float, relative: float | None) -> Interval:
    return Interval(value, None if relative is None else abs(value) * relative)


def _notes(row: CalibrationRow | None, sizes: tuple[SizePrediction, ...]) -> tuple[str, ...]:
    if row is None:
        return ("factors given by hand: how sure they are is not known, so there is no interval",)
    said = []
    if not row.firing_scatter_known:
        said.append(
            "the row stands on one firing, so it cannot know how firings differ: "
            "each interval is a lower bound"
        )
    for name, effect in (("XY", row.length_effect_xy), ("Z", row.length_effect_z)):
        if effect is not None:
            bend = effect.intercept_mm.value
            said.append(
                f"in {name} long lengths shrink otherwise than short ones: the part's own size is "
                f"met, a short length comes out up to {abs(bend):.2f} mm "
                f"{'larger' if bend > 0.0 else 'smaller'}"
            )
    long = [size.axis for size in sizes if size.beyond_calibration]
    if long:
        said.append(
            f"{' and '.join(long)} {'is' if len(long) == 1 else 'are'} longer than the longest "
            "coupon length measured: the interval there is an extrapolation"
        )
    if row.metal_fraction is None or row.metal_density_g_cm3 is None:
        said.append("the row has no metal fraction and density, so masses are not predicted")
    return tuple(said)
