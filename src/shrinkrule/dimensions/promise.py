"""How each dimension will come out: printed size, fired size with its interval, and its class.

A length goes through the printer and the furnace as the part's own sides do
(:func:`shrinkrule.compensation.expected_mm`), and its interval is the row's one promise. A slanting
length is made of the three axes by the squares of its direction's components: the elongation of a
fibre in a strain of three principal directions. Heights begin and end at whole layers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from shrinkrule.calibration import AXES, Axis, CalibrationRow, Feature, Interval
from shrinkrule.compensation import (
    AS_DRAWN,
    Print,
    ScaleFactors,
    expected_mm,
    iso286_grade,
    iso2768_class,
    turn_up,
    turned_about_z,
    way_up,
)
from shrinkrule.dimensions.bending import Bending
from shrinkrule.dimensions.dimension import Dimension, Kind
from shrinkrule.mesh import Part
from shrinkrule.numerics.arrays import Floats
from shrinkrule.physics.estimate import CONFIDENCE, t_quantile

OF_SIZE: Final = frozenset(
    {Kind.OVERALL, Kind.BORE, Kind.BOSS, Kind.WALL, Kind.OUTSIDE, Kind.INSIDE}
)
"""Features of size: two surfaces that face each other or away, to which ISO 286 grades apply."""

ON_AXIS: Final = 1.0 - 1e-6
"""Cosine from which a length lies along an axis of the print."""

ON_PLATE_MM: Final = 1e-3
"""Height up to which a face lies on the plate."""


@dataclass(frozen=True)
class Reading:
    """A dimension as it is measured along one direction of the print.

    Parameters
    ----------
    along : str
        ``X``, ``Y``, ``Z`` or ``slanting``, in the print frame.
    green_mm : float
        As it will measure on the printed part, mm.
    fired_mm : Interval
        Of the next part, mm; without a half width where no coupon shows what such a length does.
    model_mm : float
        In the scaled mesh, heights at whole layers, mm: what a printer without errors prints.
    feature : Feature
        What it lies between in the print: along Z an outside length is a height from the plate.
    """

    along: str
    green_mm: float
    fired_mm: Interval
    model_mm: float
    feature: Feature

    def off_mm(self, wanted_mm: float) -> float:
        """Farthest that the size may be off, mm: expected error and half width together."""
        return abs(self.fired_mm.value - wanted_mm) + (self.fired_mm.half95 or 0.0)


@dataclass(frozen=True)
class PromisedDimension:
    """A dimension and how it will come out.

    Parameters
    ----------
    dimension : Dimension
        Of the wanted part.
    readings : tuple of Reading
        One; three of a ball; two across the axis of a round, which is scaled and spread by two axes
        of the print.
    iso286, iso2768 : str
        Finest grade and class that hold all readings, or empty. The grade is given for features
        of size alone.
    """

    dimension: Dimension
    readings: tuple[Reading, ...]
    iso286: str
    iso2768: str

    @property
    def worst(self) -> Reading:
        """The reading that may be farthest off; one without an interval before all others."""
        size = self.dimension.size_mm
        return max(self.readings, key=lambda one: (one.fired_mm.half95 is None, one.off_mm(size)))


@dataclass(frozen=True)
class Making:
    """How a part is printed and fired.

    Parameters
    ----------
    row : CalibrationRow
        For this part: at its own length and height.
    factors : ScaleFactors
        That the wanted part is scaled by.
    turn : (3, 3) float64
        From the model's frame to the print's, before scaling.
    plate_mm : float
        Height of the plate in the turned model's axes, mm.
    made : Print
        Layers, and what is added below.
    bending : Bending or None
        The sag that was taken off, where it was solved.
    """

    row: CalibrationRow
    factors: ScaleFactors
    turn: Floats
    plate_mm: float
    made: Print = AS_DRAWN
    bending: Bending | None = None


def making_of(
    part: Part,
    row: CalibrationRow,
    factors: ScaleFactors | None = None,
    print_up: str = "z",
    turn_deg: int = 0,
    made: Print = AS_DRAWN,
    bending: Bending | None = None,
) -> Making:
    """State how a part is made.

    Parameters
    ----------
    part : Part
        Wanted part.
    row : CalibrationRow
        The batch. It is stated for the part's own length and height here.
    factors : ScaleFactors, optional
        Oversize factors; without them those of the row.
    print_up : str
        Model axis that points up in the printer.
    turn_deg : int
        Turn about Z on the bed, degrees.
    made : Print
        Layers, and what is added below.
    bending : Bending, optional
        The sag that was taken off, where it was solved.

    Returns
    -------
    Making
        All that a promise needs.

    Raises
    ------
    SettingError
        For an axis or a turn that there is not.
    """
    turn = turned_about_z(turn_deg) @ turn_up(way_up(print_up))
    low, high = np.asarray(part.mesh.bounds, dtype=np.float64)
    x, y, z = (np.abs(turn) @ (high - low)).tolist()
    row = row.at_lengths(max(x, y), z)
    factors = factors or ScaleFactors(*(row.along(axis).factor for axis in AXES))
    corners = np.stack([low, high]) @ turn[2]
    # A quarter turn maps the box to a box: the plate is at the lower of its two heights.
    return Making(row, factors, turn, float(corners.min()), made, bending)


def other_ways_up(part: Part, row: CalibrationRow, print_up: str, made: Print) -> dict[str, Making]:
    """How the part would be made with each of its other axes up.

    Parameters
    ----------
    part : Part
        Wanted part.
    row : CalibrationRow
        The batch.
    print_up : str
        Model axis that points up in the printer now.
    made : Print
        Layers, and what is added below.

    Returns
    -------
    dict of str to Making
        By the name of the axis.
    """
    return {
        name: making_of(part, row, None, name, 0, made)
        for name in ("x", "-x", "y", "-y", "z", "-z")
        if name != print_up.lower().removeprefix("+")
    }


def promise_dimensions(
    dimensions: Sequence[Dimension], making: Making
) -> tuple[PromisedDimension, ...]:
    """Promise dimensions of the next part.

    Parameters
    ----------
    dimensions : sequence of Dimension
        Of the wanted part.
    making : Making
        How it is made.

    Returns
    -------
    tuple of PromisedDimension
        In the same order.
    """
    return tuple(_promised(one, making) for one in dimensions)


def _promised(one: Dimension, making: Making) -> PromisedDimension:
    readings = readings_of(one, making)
    grade = class_ = ""
    if making.row.holds_classes and all(r.fired_mm.half95 is not None for r in readings):
        off = max(reading.off_mm(one.size_mm) for reading in readings)
        grade = iso286_grade(one.size_mm, off) if one.kind in OF_SIZE else ""
        class_ = iso2768_class(one.size_mm, off)
    return PromisedDimension(one, readings, grade, class_)


def readings_of(
    one: Dimension, making: Making, confidence: float = CONFIDENCE
) -> tuple[Reading, ...]:
    """Readings of a dimension: one along a length, two across a round.

    Parameters
    ----------
    one : Dimension
        Of the wanted part.
    making : Making
        How the part is made.
    confidence : float
        Coverage of the intervals, where it is not to be 95 %.

    Returns
    -------
    tuple of Reading
        The readings.
    """
    direction = making.turn @ np.array(one.direction)
    if one.kind is Kind.BALL:
        # No coupon shows what becomes of a ball.
        every = (_reading(one, axis, making, confidence) for axis in np.eye(3))
        return tuple(_expected_alone(reading) for reading in every)
    if not one.is_round:
        return (_reading(one, direction, making, confidence),)
    if abs(direction[2]) > ON_AXIS:
        return tuple(_reading(one, axis, making, confidence) for axis in np.eye(3)[:2])
    # No coupon shows what becomes of a round that lies: it is expected, not promised.
    level = np.array([-direction[1], direction[0], 0.0]) / np.hypot(*direction[:2])
    across = (level, np.cross(direction, level))
    return tuple(_expected_alone(_reading(one, axis, making, confidence)) for axis in across)


def _expected_alone(reading: Reading) -> Reading:
    return replace(reading, fired_mm=Interval(reading.fired_mm.value))


def _reading(one: Dimension, direction: Floats, making: Making, confidence: float) -> Reading:
    """Reading of a dimension along a direction of the print, (3,)."""
    name = next(
        (axis.upper() for axis, c in zip(AXES, direction, strict=True) if abs(c) > ON_AXIS),
        "slanting",
    )
    green = fired = half = printed_model = 0.0
    known, feature = True, one.feature
    bending, change, curved = making.bending, None, 0.0
    if bending is not None:
        change = bending.change(one, making.turn.T @ direction)
        curved = change.printed_mm * float((direction**2) @ making.factors.per_axis)
    for axis, share, factor in zip(
        AXES, (direction**2).tolist(), making.factors.per_axis.tolist(), strict=True
    ):
        if share <= 1.0 - ON_AXIS:
            continue
        upright = name == "Z" and not one.is_round
        feature = (
            _feature(one, axis, float(direction[2]), making)
            if upright
            else (Feature.STEP if axis == "z" else one.feature)
        )
        model = one.size_mm * factor
        if upright:
            model = _sliced(one, float(direction[2]), feature, factor, making)
            if curved and one.kind is Kind.OVERALL:
                model = making.made.sliced_mm(one.size_mm * factor + curved) - curved
        size = _fired(making, axis, model, feature)
        interval = making.row.promise(axis, size, feature, confidence)
        kept = 1.0 - making.row.along(axis).shrinkage.value
        printed = making.row.along(axis).printed * model
        green += share * (printed + making.row.offset(axis, feature, model).value / kept)
        fired += share * size
        printed_model += share * model
        known &= interval.half95 is not None
        half += share * (interval.half95 or 0.0)
    if change is not None:
        green += curved
        fired += change.fired_mm
        # Twice a standard uncertainty at 95 %, as of a normal distribution.
        reach = float(t_quantile(math.inf, confidence) / t_quantile(math.inf, CONFIDENCE))
        half = math.hypot(half, reach * change.half95_mm)
        known &= not math.isnan(half)
    return Reading(name, green, Interval(fired, half if known else None), printed_model, feature)


def _fired(making: Making, axis: Axis, model_mm: float, feature: Feature) -> float:
    """Fired length of a length of the scaled part that has its whole layers already."""
    return expected_mm(making.row, axis, model_mm, feature)


def _ends(one: Dimension, side: float, making: Making) -> tuple[float, float] | None:
    """Heights of a length's two ends over the plate in the wanted part, mm."""
    if one.level_mm is None:
        return None
    first = side * one.level_mm - making.plate_mm
    second = side * (one.level_mm + one.size_mm) - making.plate_mm
    return min(first, second), max(first, second)


def _feature(one: Dimension, axis: Axis, side: float, making: Making) -> Feature:
    """What a height lies between: the plate and a face, or two faces above it."""
    if one.feature is Feature.SLOT:
        return Feature.SLOT
    ends = _ends(one, side, making)
    return Feature.OUTSIDE if ends is not None and ends[0] <= ON_PLATE_MM else Feature.STEP


def _sliced(one: Dimension, side: float, feature: Feature, factor: float, making: Making) -> float:
    """Height that is printed of a height, mm: faces at whole layers, an axis where it is drawn."""
    ends = _ends(one, side, making)
    if ends is None or one.kind is Kind.OVER_KEYWAY:
        return one.size_mm * factor
    axis = math.inf
    if one.kind is Kind.TO_FACE:
        axis = side * float(np.dot(one.place, one.direction)) - making.plate_mm
    bottom, top = (
        height * factor + making.made.plate_mm
        if abs(height - axis) < ON_PLATE_MM
        else making.made.sliced_mm(height * factor)
        for height in ends
    )
    return top if feature is Feature.OUTSIDE else top - bottom
