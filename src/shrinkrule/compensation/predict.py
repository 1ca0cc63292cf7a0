"""What will come out of the furnace: sizes, volume and masses, each with its 95 % interval.

Expected sizes follow a length through the printer (its axis errors, its whole layers, its first
layer) and through the furnace; the interval about each is the one promise for the next part
(:mod:`shrinkrule.physics.interval`).
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from typing import Final

import numpy as np

from shrinkrule.calibration import AXES, Axis, CalibrationRow, Feature, Interval
from shrinkrule.compensation.masses import expected_masses, fired_volume
from shrinkrule.compensation.scale import GreenPart, ScaleFactors
from shrinkrule.compensation.tolerance import iso286_grade, iso2768_class
from shrinkrule.numerics.arrays import Floats
from shrinkrule.printer import LayerHeights

LENGTHS_MM: Final = (5.0, 20.0, 60.0)
"""Wanted lengths that are predicted for every kind of feature, whatever the part's own are."""


@dataclass(frozen=True)
class SizePrediction:
    """One side of the part's box, in mm: wanted, green as sliced, and fired with its interval.

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
class LengthPrediction:
    """What a wanted length of any place of the part comes out at, mm."""

    axis: str
    feature: Feature
    wanted_mm: float
    fired_mm: Interval


@dataclass(frozen=True)
class LayerPrediction:
    """What the rounding to whole layers does to the part's height.

    Parameters
    ----------
    layers : float
        Green height as sliced, in layers with its fraction.
    count : int
        Layers that are printed.
    off_mm : float
        Fired mm that the rounding adds to the height.
    whole_mm : tuple of float
        Wanted heights about this one that come out whole, lowest first.
    """

    layers: float
    count: int
    off_mm: float
    whole_mm: tuple[float, ...]


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
    lengths: tuple[LengthPrediction, ...] = ()
    layers: LayerPrediction | None = None

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON."""
        return asdict(self)


@dataclass(frozen=True)
class Print:
    """How the green part is made of its mesh.

    Parameters
    ----------
    heights : LayerHeights or None
        Layers that heights are rounded to; None leaves them as they are.
    plate_mm : float
        Height added to the mesh at the faces on the plate, against the first layer.
    """

    heights: LayerHeights | None = None
    plate_mm: float = 0.0

    def sliced_mm(self, height_mm: float) -> float:
        """Height that is printed of a height of the scaled part."""
        height = height_mm + self.plate_mm
        return height if self.heights is None else self.heights.printed_mm(height)


AS_DRAWN: Final = Print()
"""A print without layers."""


@dataclass(frozen=True)
class Bent:
    """What pre-curving against sag does to the sides of the part's box.

    Parameters
    ----------
    green_mm : (3,) float
        Sides of the box that is printed, mm.
    volume_mm3 : float
        Volume that is printed.
    left_mm : (3,) float64
        What the sag that is left adds to the fired sides, mm; nan where they cannot be known.
    half95_mm : (3,) float
        What the sag leaves unsure of the fired sides (95 %), mm; nan where that is not known.
    """

    green_mm: Floats
    volume_mm3: float
    left_mm: Floats
    half95_mm: Floats


def predict_fired(
    green: GreenPart,
    row: CalibrationRow | None,
    wanted_volume_mm3: float | None,
    made: Print = AS_DRAWN,
    bent: Bent | None = None,
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
    made : Print
        Layers, and what was added against the first one.
    bent : Bent or None
        What pre-curving does to the box, where the part was pre-curved.

    Returns
    -------
    Prediction
        Sizes with their intervals, and masses at each stage.
    """
    vertices = np.asarray(green.mesh.vertices)
    box = vertices.max(axis=0) - vertices.min(axis=0)
    factors = green.factors.per_axis
    curved = np.zeros(3) if bent is None else bent.green_mm - box
    sizes = tuple(
        _size(axis, float(box[i]), float(factors[i]), row, made, float(curved[i]))
        for i, axis in enumerate(AXES)
    )
    if bent is not None and row is not None:
        sizes = tuple(
            _of_bent(size, float(green_mm), float(left_mm), float(half95_mm), row)
            for size, green_mm, left_mm, half95_mm in zip(
                sizes, bent.green_mm, bent.left_mm, bent.half95_mm, strict=True
            )
        )
    wanted = math.nan if wanted_volume_mm3 is None else wanted_volume_mm3
    green_volume = wanted * green.factors.volume if bent is None else bent.volume_mm3
    masses = (None, None, None) if row is None else expected_masses(green_volume, row)
    lengths: tuple[LengthPrediction, ...] = ()
    if row is not None and (bent is None or np.isfinite(bent.left_mm).all()):
        lengths = _lengths(row, green.factors, made)
    return Prediction(
        sizes,
        wanted,
        green_volume,
        fired_volume(green_volume, green.factors, row),
        *masses,
        _notes(row, sizes),
        lengths,
        _layers(float(box[2]), float(factors[2]), row, made, float(curved[2])),
    )


def expected_mm(
    row: CalibrationRow,
    axis: Axis,
    model_mm: float,
    feature: Feature = Feature.OUTSIDE,
    made: Print = AS_DRAWN,
) -> float:
    """Fired length that is expected of a length of the scaled part.

    Parameters
    ----------
    row : CalibrationRow
        The batch, and the printer its coupons were made on.
    axis : str
        ``x``, ``y`` or ``z`` of the print frame.
    model_mm : float
        Length in the scaled mesh, bead spread taken off by outline offset.
    feature : Feature
        What it lies between; along Z an outside length is a height from the plate.
    made : Print
        Layers, and what was added against the first one.

    Returns
    -------
    float
        The length, mm.
    """
    along = row.along(axis)
    if axis == "z" and feature is Feature.OUTSIDE:
        model_mm = made.sliced_mm(model_mm)
    return along.fired_mm(along.printed * model_mm) + row.offset(axis, feature, model_mm).value


def _size(
    axis: Axis,
    model_mm: float,
    factor: float,
    row: CalibrationRow | None,
    made: Print,
    curved_mm: float,
) -> SizePrediction:
    """Size of a side; ``curved_mm`` is what pre-curving adds to it, which layers round too."""
    wanted = model_mm / factor
    sliced = model_mm + (made.plate_mm if axis == "z" else 0.0)
    if row is None:
        fired = Interval(made.sliced_mm(model_mm) / factor if axis == "z" else wanted)
        return SizePrediction(axis.upper(), wanted, sliced, fired, "", "", False)
    printed = model_mm
    if axis == "z":
        printed = made.sliced_mm(model_mm + curved_mm) - curved_mm
    size = row.promise(axis, expected_mm(row, axis, printed))
    longest = row.longest_z_mm if axis == "z" else row.longest_xy_mm
    named = _classes(wanted, size, row)
    return SizePrediction(axis.upper(), wanted, sliced, size, *named, sliced > longest)


def _of_bent(
    size: SizePrediction, green_mm: float, left_mm: float, half95_mm: float, row: CalibrationRow
) -> SizePrediction:
    """Size of a pre-curved part: its box as printed, and what is left and unsure of the sag."""
    half = size.fired_mm.half95
    unsure = None if half is None or math.isnan(half95_mm) else math.hypot(half, half95_mm)
    fired = Interval(size.fired_mm.value + left_mm, unsure)
    iso286, iso2768 = _classes(size.wanted_mm, fired, row)
    return replace(size, green_mm=green_mm, fired_mm=fired, iso286=iso286, iso2768=iso2768)


def _classes(wanted: float, size: Interval, row: CalibrationRow) -> tuple[str, str]:
    """Finest classes that hold the error from the wanted size, not only the spread about a mean."""
    if size.half95 is None or not row.holds_classes:
        return "", ""
    reach = size.half95 + abs(size.value - wanted)
    return iso286_grade(wanted, reach), iso2768_class(wanted, reach)


def _lengths(
    row: CalibrationRow, factors: ScaleFactors, made: Print
) -> tuple[LengthPrediction, ...]:
    """Usual lengths of every kind that a coupon can show."""
    found = []
    for axis, factor in zip(AXES, factors.per_axis.tolist(), strict=True):
        for feature in (Feature.OUTSIDE, Feature.SLOT, Feature.BORE):
            if not row.knows(axis, feature):
                continue
            for wanted in LENGTHS_MM:
                size = expected_mm(row, axis, wanted * factor, feature, made)
                found.append(
                    LengthPrediction(
                        axis.upper(), feature, wanted, row.promise(axis, size, feature)
                    )
                )
    return tuple(found)


def _layers(
    model_mm: float,
    factor: float,
    row: CalibrationRow | None,
    made: Print,
    curved_mm: float,
) -> LayerPrediction | None:
    """What whole layers do to the part's height; no other one is known to come out if curved."""
    heights = made.heights
    if heights is None:
        return None
    model_mm += curved_mm
    count = heights.count(model_mm + made.plate_mm)
    per_mm = 1.0 / factor if row is None else row.along("z").printed * _slope(row)
    off = (heights.height_mm(count) - model_mm - made.plate_mm) * per_mm
    wanted = [
        (heights.height_mm(n) - made.plate_mm) / factor for n in range(max(count - 1, 1), count + 2)
    ]
    whole = () if curved_mm else tuple(wanted)
    return LayerPrediction(heights.layers_in(model_mm + made.plate_mm), count, off, whole)


def _slope(row: CalibrationRow) -> float:
    """Fired mm along Z that one green mm more makes."""
    along = row.along("z")
    return along.fired_mm(1.0) - along.fired_mm(0.0)


def _notes(row: CalibrationRow | None, sizes: tuple[SizePrediction, ...]) -> tuple[str, ...]:
    if row is None:
        return ("factors given by hand: how sure they are is not known, so there is no interval",)
    said = []
    if not row.firing_scatter_known:
        said.append(
            "the row stands on one firing, so it cannot know how firings differ: sizes are "
            "expected ones, and how far the next part may be off is not known"
        )
    elif not row.holds_classes:
        said.append(
            "the row does not know how single lengths scatter: parts differ by more than the "
            "intervals say, and no class can be named"
        )
    for name, effect in (("XY", row.length_effect_xy), ("Z", row.length_effect_z)):
        if effect is not None and effect.intercept_mm.value != 0.0:
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
