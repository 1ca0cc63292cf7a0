"""The causes a review knows: what each does to every reading, and from what size on it matters.

A cause is a shape (what one unit of it does to each deviation) times a size that is not known:
normal about nought with the standard deviation named here, which is a size that a maker would act
on. Each is a rule of the trade, without another source.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from shrinkrule.calibration import AXES, CalibrationRow, Feature
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.review.readings import Deviations


class Cause(StrEnum):
    """What may have gone wrong."""

    FIRED_LESS = "fired less than the row"
    FIRED_MORE = "fired more than the row"
    FIRED_Z = "Z alone shrank otherwise"
    WRONG_ROW = "another row, batch or material"
    SAG = "sag"
    PRINT_SCALE = "printed at another scale"
    PRINT_X = "the printer's X axis"
    PRINT_Y = "the printer's Y axis"
    PRINT_Z = "layers: green heights are off"
    FIRST_LAYER = "the first layer"
    BEAD = "bead or outline offset"
    BORES = "bores"
    SLIP = "a slip of one reading"
    ONE_PART = "one part shrank otherwise than the others"
    BINDER_LEFT = "binder left in it"
    GAPS = "gaps in the print"


SHRINKAGE_SHARE: Final = 0.08
"""A furnace off by this share of the shrinkage: 0.5 mm on 40."""
OTHER_SHARE: Final = 0.15
"""Another batch or material: shrinkage off by this share, each of XY and Z for itself."""
SCALE: Final = 0.01
AXIS: Final = 0.006
"""Relative errors of the whole print and of one axis."""
OFFSET_MM: Final = 0.12
"""Outline, bore and first layer: what a bead's width that is set wrongly does."""
SLIP_MM: Final = 0.5
"""A reading typed or taken wrongly."""
SAG_TIMES: Final = 1.0
"""A sag that is off by itself: none, or twice of it."""


@dataclass(frozen=True)
class Shape:
    """What a cause does.

    Parameters
    ----------
    cause : Cause
        The cause; of a furnace that did more or less, the less.
    effect : (m, k) float64
        What each of its independent components does to the deviations, mm, per standard
        deviation of its size.
    """

    cause: Cause
    effect: Floats


def shapes_of(deviations: Deviations, row: CalibrationRow) -> tuple[Shape, ...]:
    """Shapes of all causes but slips that the readings of a part can show.

    Parameters
    ----------
    deviations : Deviations
        Of one part.
    row : CalibrationRow
        The row it was made by.

    Returns
    -------
    tuple of Shape
        Causes of which no reading shows anything are left out.
    """
    length, axis = deviations.length_mm, deviations.axis
    # An error of the print is in the green reading, and in fired ones without a green one.
    print_mm = np.where(deviations.is_green, 1.0, deviations.kept * ~deviations.on_green)
    shrinkage = np.array([row.along(name).shrinkage.value for name in AXES])[axis]
    fired = ~deviations.is_green * shrinkage * length
    flat, high = axis < 2, axis == 2
    known_green = bool(deviations.is_green.any())
    green_alone = known_green * print_mm
    one: dict[Cause, Floats] = {
        Cause.FIRED_LESS: SHRINKAGE_SHARE * fired,
        Cause.FIRED_Z: SHRINKAGE_SHARE * fired * high,
        Cause.SAG: SAG_TIMES * deviations.sag_mm,
        Cause.PRINT_SCALE: SCALE * green_alone * length,
        Cause.PRINT_X: AXIS * print_mm * length * (axis == 0),
        Cause.PRINT_Y: AXIS * print_mm * length * (axis == 1),
        Cause.PRINT_Z: SCALE * green_alone * length * high,
        Cause.FIRST_LAYER: OFFSET_MM * print_mm * deviations.where(Feature.OUTSIDE, "z"),
        Cause.BEAD: OFFSET_MM * print_mm * deviations.side,
        Cause.BORES: OFFSET_MM * print_mm * deviations.where(Feature.BORE),
    }
    shapes = [Shape(cause, effect[:, None]) for cause, effect in one.items()]
    both = np.stack([fired * flat, fired * high], axis=1)
    shapes.append(Shape(Cause.WRONG_ROW, OTHER_SHARE * both))
    return tuple(shape for shape in shapes if bool(shape.effect.any()))


def part_shapes(deviations: Deviations, row: CalibrationRow) -> tuple[tuple[Shape, ...], Ints]:
    """What a part of a firing does that shrinks otherwise than the others.

    Parameters
    ----------
    deviations : Deviations
        Of parts of one firing.
    row : CalibrationRow
        The row they were made by.

    Returns
    -------
    shapes : tuple of Shape
        For each part, the furnace doing less to it, and all of it otherwise.
    part : (s,) int
        Whose each is.
    """
    shapes, parts = [], []
    for whole in shapes_of(deviations, row):
        if whole.cause in (Cause.FIRED_LESS, Cause.WRONG_ROW):
            for number in np.unique(deviations.part):
                own = whole.effect * (deviations.part == number)[:, None]
                shapes.append(Shape(Cause.ONE_PART, own))
                parts.append(number)
    return tuple(shapes), np.array(parts, dtype=np.int64)


def slip_shapes(deviations: Deviations) -> Floats:
    """What a slip of each reading does: one column for each deviation, mm.

    Parameters
    ----------
    deviations : Deviations
        Of one part.

    Returns
    -------
    (m, m) float64
        A green reading that is wrong shows in its own deviation and, by what the furnace keeps,
        the other way in the fired one that is held against it.
    """
    effect = SLIP_MM * np.eye(len(deviations))
    for number in np.flatnonzero(deviations.is_green):
        mark = deviations.lengths[number].reading.id
        for other in np.flatnonzero(deviations.on_green):
            if deviations.lengths[other].reading.id == mark:
                effect[other, number] = -SLIP_MM * deviations.kept[other]
    return effect


DECIDES: Final[dict[frozenset[Cause], str]] = {
    frozenset({Cause.FIRED_LESS, Cause.WRONG_ROW}): "fire a coupon of this filament along",
    frozenset({Cause.FIRED_MORE, Cause.WRONG_ROW}): "fire a coupon of this filament along",
    frozenset({Cause.FIRED_Z, Cause.SAG}): "fire it another way up, or read heights over the foot",
    frozenset({Cause.BORES, Cause.SLIP}): "read the bore again",
    frozenset({Cause.BEAD, Cause.BORES}): "read a slot or an outside length too",
    frozenset({Cause.FIRED_Z, Cause.FIRST_LAYER}): "read the green heights, and a step above the "
    "plate",
}
"""What would decide between two causes."""


def decides(causes: frozenset[Cause]) -> str:
    """What would decide between two causes, in words.

    Parameters
    ----------
    causes : frozenset of Cause
        Two causes.

    Returns
    -------
    str
        What to do; a general answer where none of its own is known.
    """
    if causes in DECIDES:
        return DECIDES[causes]
    if Cause.SLIP in causes:
        return "read it again"
    return "read the green lengths of the next part, and fire a coupon along"
