"""The readings of parts beside what their row expects, as arrays: how far each is off, in mm.

A fired length that was also measured green is held against what the row makes of that green length,
so that an error of the print is in its green reading alone; one that was not, against the model.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import fmean, median, stdev
from typing import Any, Final

import numpy as np

from shrinkrule.calibration import AXES, Axis, CalibrationRow, Estimate, Feature, Interval
from shrinkrule.calibration.sheets.load import LoadedPart
from shrinkrule.calibration.sheets.sheet import LENGTH_KINDS, Reading
from shrinkrule.compensation import expected_mm
from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.sheet import Kind

FEATURES: Final = {
    Kind.OUTSIDE: Feature.OUTSIDE,
    Kind.INSIDE: Feature.SLOT,
    Kind.BORE: Feature.BORE,
    Kind.STEP: Feature.STEP,
}

SIDE: Final = {Kind.OUTSIDE: 1.0, Kind.INSIDE: -1.0, Kind.BORE: -1.0, Kind.STEP: 0.0}
"""Pairs of surfaces by which the bead's spread makes a length longer."""

TORN_TIMES: Final = 6.0
"""Repeats that differ by so many of the median's standard deviations are not of one length: in
plain scatter one pair in a hundred million."""

SAG_U: Final = 0.15
"""Relative uncertainty of an estimated sag beside that of the modulus: coarse bricks, and a part
that lies a little otherwise (docs/theory-sag.md compares the quick estimate with the solve)."""


@dataclass(frozen=True)
class Length:
    """One length of a part: what was expected and what was read.

    Parameters
    ----------
    reading : Reading
        Its line on the sheet.
    axis : str
        ``x``, ``y`` or ``z``.
    feature : Feature
        What it lies between.
    green_mm, fired_mm : Interval
        Expected of the model, with half widths of 95 % intervals.
    """

    reading: Reading
    axis: Axis
    feature: Feature
    green_mm: Interval
    fired_mm: Interval

    @property
    def read_green_mm(self) -> float | None:
        """Mean of its green readings."""
        return fmean(self.reading.green) if self.reading.green else None

    @property
    def read_fired_mm(self) -> float | None:
        """Mean of its fired readings."""
        return fmean(self.reading.fired) if self.reading.fired else None


@dataclass(frozen=True)
class Deviations:
    """Deviations in one vector, of a part green ones first: all that the likelihoods look at.

    Parameters
    ----------
    lengths : tuple of Length
        The length behind each.
    off_mm : (m,) float64
        Reading less what was expected.
    is_green : (m,) bool
        Whether it is of a green reading.
    on_green : (m,) bool
        Whether it is of a fired reading that is held against a green one.
    axis : (m,) int
        0, 1 or 2.
    length_mm : (m,) float64
        Expected green length.
    kept : (m,) float64
        Fired over green length along the axis.
    reading_variance : (m,) float64
        What the caliper alone gives, mm2.
    part : (m,) int
        Number of its part.
    """

    lengths: tuple[Length, ...]
    off_mm: Floats
    is_green: Mask
    on_green: Mask
    axis: Ints
    length_mm: Floats
    kept: Floats
    reading_variance: Floats
    part: Ints

    def __len__(self) -> int:
        return len(self.lengths)

    @property
    def side(self) -> Floats:
        """Signs by which the bead's spread acts; 0 along Z."""
        side = [0.0 if one.axis == "z" else SIDE[one.reading.kind] for one in self.lengths]
        return np.array(side)

    def where(self, feature: Feature, axes: str = "xyz") -> Floats:
        """1 for lengths of a kind along some axes, 0 elsewhere."""
        return np.array(
            [float(one.feature is feature and one.axis in axes) for one in self.lengths]
        )

    @property
    def sag_mm(self) -> Floats:
        """Estimated sag of fired readings; 0 where none is known, and for green ones."""
        sags = np.array([one.reading.sag_mm or 0.0 for one in self.lengths])
        return np.where(self.is_green, 0.0, sags)


def without_torn_repeats(part: LoadedPart) -> tuple[LoadedPart, tuple[str, ...], tuple[str, ...]]:
    """A part without readings whose repeats cannot be of one length: nobody knows which is right.

    Parameters
    ----------
    part : LoadedPart
        One part of a filled sheet.

    Returns
    -------
    part : LoadedPart
        Without them, green and fired each for itself.
    marks : tuple of str
        Marks of lengths that lost a reading.
    notes : tuple of str
        What to read again, in words.
    """
    spreads = sorted(
        stdev(values)
        for one in part.sheet.readings
        if one.kind in LENGTH_KINDS
        for values in (one.green, one.fired)
        if len(values) > 1
    )
    # Without the widest: one torn pair of two says nothing of the caliper.
    usual = median(spreads[:-1]) if len(spreads) > 1 else 0.0
    limit = TORN_TIMES * max(usual, part.sheet.settings.caliper_resolution)
    readings, marks, notes = [], [], []
    for reading in part.sheet.readings:
        kept = reading
        if reading.kind in LENGTH_KINDS:
            for stage, values in (("green", reading.green), ("fired", reading.fired)):
                if len(values) > 1 and stdev(values) > limit:
                    kept = replace(kept, green=()) if stage == "green" else replace(kept, fired=())
                    marks.append(reading.id)
                    repeats = " and ".join(f"{value:.2f}" for value in values)
                    notes.append(f"read {reading.id} {stage} again: {repeats} are not one length")
        readings.append(kept)
    sheet = replace(part.sheet, readings=tuple(readings))
    return replace(part, sheet=sheet), tuple(dict.fromkeys(marks)), tuple(notes)


def lengths_of(part: LoadedPart, row: CalibrationRow) -> tuple[Length, ...]:
    """Lengths of a part that were read, with what the row expects of them.

    Parameters
    ----------
    part : LoadedPart
        One part of a filled sheet.
    row : CalibrationRow
        The row that it was made by.

    Returns
    -------
    tuple of Length
        Those of kinds that the row knows, in the order of the sheet.
    """
    found = []
    for reading in part.sheet.readings:
        if reading.kind not in LENGTH_KINDS or not (reading.green or reading.fired):
            continue
        axis = next(axis for axis in AXES if axis == reading.axis)
        feature = FEATURES[reading.kind]
        if row.knows(axis, feature):
            found.append(_length(reading, axis, feature, row))
    return tuple(found)


def _length(reading: Reading, axis: Axis, feature: Feature, row: CalibrationRow) -> Length:
    bead = 0.0 if row.bead_offset_mm is None else row.bead_offset_mm.value
    spread = 0.0 if axis == "z" else 2.0 * bead * SIDE[reading.kind]
    along = row.along(axis)
    model = (reading.nominal or 0.0) + spread
    straight = expected_mm(row, axis, model, feature)
    kept = 1.0 - along.shrinkage.value
    green = along.printed * model + row.offset(axis, feature, model).value / kept
    half = row.promise(axis, straight, feature).half95
    sag = reading.sag_mm or 0.0
    return Length(
        reading,
        axis,
        feature,
        Interval(green, None if half is None else half / kept),
        Interval(
            straight + sag,
            None
            if half is None
            else float(np.hypot(half, 2.0 * sag_share(row.sag_modulus_kpa) * sag)),
        ),
    )


def sag_share(modulus: Estimate | None) -> float:
    """Relative standard uncertainty of an estimated sag of the next firing.

    Parameters
    ----------
    modulus : Estimate or None
        Sag modulus of the row.

    Returns
    -------
    float
        That of the modulus and of the estimate together.
    """
    return SAG_U if modulus is None else float(np.hypot(SAG_U, modulus.u / modulus.value))


def deviations_of(
    lengths: tuple[Length, ...], row: CalibrationRow, caliper_variance: float
) -> Deviations:
    """Deviations of all readings of a part.

    Parameters
    ----------
    lengths : tuple of Length
        As from :func:`lengths_of`.
    row : CalibrationRow
        The row.
    caliper_variance : float
        Of one reading, mm2.

    Returns
    -------
    Deviations
        Green readings first, then fired ones.
    """
    found: list[tuple[Length, float, bool, bool, float]] = []
    for one in lengths:
        if one.read_green_mm is not None:
            variance = caliper_variance / len(one.reading.green)
            off = one.read_green_mm - one.green_mm.value
            found.append((one, off, True, False, variance))
    for one in lengths:
        if one.read_fired_mm is None:
            continue
        along = row.along(one.axis)
        kept = 1.0 - along.shrinkage.value
        variance, expected = caliper_variance / len(one.reading.fired), one.fired_mm.value
        if one.read_green_mm is not None:
            expected = along.fired_mm(one.read_green_mm) + (one.reading.sag_mm or 0.0)
            variance += kept**2 * caliper_variance / len(one.reading.green)
        off = one.read_fired_mm - expected
        found.append((one, off, False, one.read_green_mm is not None, variance))
    return Deviations(
        lengths=tuple(one for one, *_ in found),
        off_mm=np.array([off for _, off, *_ in found]),
        is_green=np.array([green for _, _, green, *_ in found], dtype=np.bool_),
        on_green=np.array([on for _, _, _, on, *_ in found], dtype=np.bool_),
        axis=np.array([AXES.index(one.axis) for one, *_ in found], dtype=np.int64),
        length_mm=np.array([one.green_mm.value for one, *_ in found]),
        kept=np.array([1.0 - row.along(one.axis).shrinkage.value for one, *_ in found]),
        reading_variance=np.array([variance for *_, variance in found]),
        part=np.zeros(len(found), dtype=np.int64),
    )


def of_one_firing(parts: Sequence[Deviations]) -> Deviations:
    """Fired deviations of parts that went through one firing, in one vector.

    Parameters
    ----------
    parts : sequence of Deviations
        Of one part each; at least one.

    Returns
    -------
    Deviations
        Theirs, the parts numbered from nought.
    """
    fired = [~one.is_green for one in parts]
    lengths = [
        length
        for one, mask in zip(parts, fired, strict=True)
        for length, keep in zip(one.lengths, mask, strict=True)
        if keep
    ]

    def joined(name: str) -> Any:
        return np.concatenate(
            [getattr(one, name)[mask] for one, mask in zip(parts, fired, strict=True)]
        )

    return Deviations(
        lengths=tuple(lengths),
        off_mm=joined("off_mm"),
        is_green=joined("is_green"),
        on_green=joined("on_green"),
        axis=joined("axis"),
        length_mm=joined("length_mm"),
        kept=joined("kept"),
        reading_variance=joined("reading_variance"),
        part=np.repeat(np.arange(len(parts)), [int(mask.sum()) for mask in fired]),
    )
