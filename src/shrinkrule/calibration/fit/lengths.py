"""Lengths of several sheets as arrays: one row for each coupon, one column for each feature."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

import numpy as np

from shrinkrule.calibration.sheets.load import MOVED, as_coupon, read_load
from shrinkrule.calibration.sheets.parse import parse_sheet
from shrinkrule.calibration.sheets.read import read_sheet
from shrinkrule.calibration.sheets.sheet import Reading, Sheet, SheetSettings
from shrinkrule.calibration.statistics.regression import fit_ray
from shrinkrule.errors import SheetError
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.printer import LayerHeights
from shrinkrule.sheet import Kind

SIDE: Final = {Kind.OUTSIDE: 1.0, Kind.INSIDE: -1.0, Kind.BORE: -1.0, Kind.STEP: 0.0}
"""Surfaces that bead spread makes a length longer by, in pairs."""

FEWEST: Final = 3
"""Lengths along an axis that a coupon needs: two make a line, a third judges it."""

LIMIT_STEPS: Final = 2.0
"""Limits of error of a caliper and of the hand that reads it once, in last steps."""

WHOLE_LAYERS: Final = 0.02
"""A step of so nearly a whole number of layers is one: sheets give six digits."""

LEAST_RANGE: Final = 1.5
"""Longest over shortest length along an axis, at least: else slope and intercept are one."""


@dataclass(frozen=True)
class Lengths:
    """Lengths along one axis or two, mm; places without a reading have the weight 0.

    Parameters
    ----------
    readings : (c,) tuple of tuple of Reading
        The lines behind the arrays.
    model, green, fired : (c, m) float
        Nominal, and means of the repeats.
    drawn : (c, m) float
        What the printer makes of the nominal lengths by its layers alone: heights are whole ones.
    side : (c, m) float
        +1 outside, -1 inside and bore, 0 step.
    bore : (c, m) float
        1 for the diameter of a round hole, 0 elsewhere.
    weight : (c, m) float
        1 where measured both times, 0 elsewhere.
    """

    readings: tuple[tuple[Reading, ...], ...]
    model: Floats
    drawn: Floats
    green: Floats
    fired: Floats
    side: Floats
    bore: Floats
    weight: Floats

    @property
    def longest_mm(self) -> float:
        """Longest green length measured."""
        return float((self.green * self.weight).max())

    def reading_variance(self, caliper_variance: float) -> float:
        """Variance of one fired length about a line that the caliper alone gives, mm2."""
        slope = float(fit_ray(self.green, self.fired, self.weight).slope.mean())
        rows = [reading for row in self.readings for reading in row]
        shares = [1.0 / len(r.fired) + slope**2 / len(r.green) for r in rows]
        return caliper_variance * float(np.mean(shares))

    def fired_variance(self, caliper_variance: float) -> float:
        """Variance of one fired length that the caliper alone gives, mm2."""
        rows = [reading for row in self.readings for reading in row]
        return caliper_variance * float(np.mean([1.0 / len(r.fired) for r in rows]))

    def green_variance(self, caliper_variance: float) -> float:
        """Variance of one green length that the caliper alone gives, mm2."""
        rows = [reading for row in self.readings for reading in row]
        return caliper_variance * float(np.mean([1.0 / len(r.green) for r in rows]))


def lengths_along(sheets: Sequence[Sheet], axes: str) -> Lengths:
    """Collect the lengths along ``axes`` (``x``, ``xy``, ``z``) from all sheets.

    Parameters
    ----------
    sheets : sequence of Sheet
        The measured sheets.
    axes : str
        Which axes to collect.

    Returns
    -------
    Lengths
        The lengths as arrays.

    Raises
    ------
    SheetError
        If a sheet has fewer than three lengths along them, or all of nearly one size.
    """
    rows = tuple(
        tuple(r for r in sheet.readings if r.is_length and r.axis in axes) for sheet in sheets
    )
    for sheet, row in zip(sheets, rows, strict=True):
        _require_spread(sheet, row, axes.upper())
    widest = max(map(len, rows))

    def table(value: Callable[[Reading], float]) -> Floats:
        padded = [[value(r) for r in row] + [0.0] * (widest - len(row)) for row in rows]
        return np.array(padded, dtype=np.float64)

    return Lengths(
        readings=rows,
        model=table(lambda r: r.nominal or 0.0),
        drawn=np.array(
            [
                [_drawn_mm(r, sheet.settings) for r in row] + [0.0] * (widest - len(row))
                for sheet, row in zip(sheets, rows, strict=True)
            ]
        ),
        green=table(lambda r: float(np.mean(r.green))),
        fired=table(lambda r: float(np.mean(r.fired))),
        side=table(lambda r: SIDE[r.kind]),
        bore=table(lambda r: float(r.kind is Kind.BORE)),
        weight=table(lambda r: 1.0),
    )


def _drawn_mm(reading: Reading, settings: SheetSettings) -> float:
    """What layers make of a nominal length; a height is a whole number of them.

    Both ends of a step are rounded, and which way depends on heights that its line does not state:
    of the two whole numbers of layers about it, the one that was read is taken.
    """
    nominal, layer_mm = reading.nominal or 0.0, settings.layer_height
    if reading.axis != "z" or layer_mm is None:
        return nominal
    if reading.kind is not Kind.STEP:
        return LayerHeights(layer_mm, settings.first_layer or layer_mm).printed_mm(nominal)
    low = math.floor(nominal / layer_mm + WHOLE_LAYERS)
    if nominal / layer_mm - low < WHOLE_LAYERS:
        return low * layer_mm
    read = float(np.mean(reading.green))
    return min((low * layer_mm, (low + 1) * layer_mm), key=lambda height: abs(height - read))


def _require_spread(sheet: Sheet, row: tuple[Reading, ...], axes: str) -> None:
    """Refuse lengths of a sheet from which slope and spread cannot be separated."""
    if len(row) < FEWEST:
        raise SheetError(
            f"{FEWEST} lengths are needed along {axes}; {len(row)} "
            f"{'is' if len(row) == 1 else 'are'} measured both green and fired",
            where=sheet.where,
            hint=f"measure {FEWEST - len(row)} more along {axes} too, of different size",
        )
    if all(r.kind is Kind.STEP for r in row):
        raise SheetError(
            f"only steps are measured along {axes}",
            where=sheet.where,
            hint="measure an outside or inside length too, or bead spread cannot be known",
        )
    sizes = [float(np.mean(r.green)) for r in row]
    if max(sizes) < LEAST_RANGE * min(sizes):
        raise SheetError(
            f"the lengths along {axes} are all between {min(sizes):.1f} and {max(sizes):.1f} mm",
            where=sheet.where,
            hint=f"one must be {LEAST_RANGE:g} times another: else scale and spread are one",
        )


@dataclass(frozen=True)
class Caliper:
    """What one reading of the caliper is worth.

    Parameters
    ----------
    variance : float
        Of one reading, mm2.
    repeats_sd_mm : float or None
        Standard deviation of repeats of one length; ``None`` without repeats.
    repeats_dof : int
        Its degrees of freedom.
    least_variance : float
        Below which no residual variance is believed, mm2: of one reading, and without repeats of
        what a caliper and the hand that holds it may be off.
    """

    variance: float
    repeats_sd_mm: float | None
    repeats_dof: int
    least_variance: float = 0.0


def caliper_of(sheets: Sequence[Sheet]) -> Caliper:
    """Judge the caliper by its repeats, and never better than its last step.

    Parameters
    ----------
    sheets : sequence of Sheet
        The measured sheets.

    Returns
    -------
    Caliper
        Variance of one reading.

    Source: JCGM 100:2008, F.2.2.1: a step ``d`` has the standard uncertainty ``d / sqrt(12)``;
    4.3.7: limits of error of ``2 d`` without repeats, as of a caliper's 0.02 mm at a step of 0.01
    (ISO 13385-1, from memory), taken as a rectangle.
    """
    groups = [
        np.array(values)
        for sheet in sheets
        for reading in sheet.readings
        if reading.is_length
        for values in (reading.green, reading.fired)
        if len(values) > 1
    ]
    step = max(sheet.settings.caliper_resolution for sheet in sheets)
    floor = step**2 / 12.0
    dof = sum(group.size - 1 for group in groups)
    if dof == 0:
        return Caliper(floor, None, 0, floor + (LIMIT_STEPS * step) ** 2 / 3.0)
    variance = sum(float(((group - group.mean()) ** 2).sum()) for group in groups) / dof
    variance_of_one = max(variance, floor)
    return Caliper(variance_of_one, float(np.sqrt(variance)), dof, variance_of_one)


def firing_numbers(sheets: Sequence[Sheet]) -> tuple[tuple[str, ...], Ints]:
    """Names of the firings in order, and the number of each sheet's.

    Parameters
    ----------
    sheets : sequence of Sheet
        The measured sheets.

    Returns
    -------
    tuple of (tuple of str, (c,) int)
        Names of the firings, and the number of each sheet's firing.

    Raises
    ------
    SheetError
        If one of several sheets does not name its firing, or a coupon comes twice.
    """
    seen: dict[tuple[str, str], str] = {}
    for sheet in sheets:
        settings = sheet.settings
        if len(sheets) > 1 and not settings.firing:
            raise SheetError(
                "the firing is not given, line S2",
                where=sheet.where,
                hint="number it: coupons fired together share the number",
            )
        key = (settings.firing, settings.coupon)
        if key in seen:
            raise SheetError(
                f"coupon {settings.coupon!r} of firing {settings.firing!r} is in {seen[key]} "
                "already",
                where=sheet.where,
                hint="give each coupon its own number in line S1, each firing its own in S2",
            )
        seen[key] = sheet.where
    names = tuple(dict.fromkeys(sheet.settings.firing for sheet in sheets))
    numbers = [names.index(sheet.settings.firing) for sheet in sheets]
    return names, np.array(numbers, dtype=np.int64)


def firing_order(sheets: tuple[Sheet, ...], names: tuple[str, ...], firing: Ints) -> Floats | None:
    """Place of each firing in time, by its date or else by its number.

    Parameters
    ----------
    sheets : tuple of Sheet
        The measured sheets.
    names : (k,) tuple of str
        Names of the firings.
    firing : (c,) int
        Number of each sheet's firing.

    Returns
    -------
    (k,) float or None
        0 for the first; None where neither dates nor numbers tell the order.
    """
    try:
        keys = [
            min(
                date.fromisoformat(s.settings.date)
                for s, n in zip(sheets, firing, strict=True)
                if n == number
            ).toordinal()
            for number in range(len(names))
        ]
    except ValueError:
        keys = []
    if len(set(keys)) < len(names):
        if not all(name.isdigit() for name in names):
            return None
        keys = [int(name) for name in names]
    return np.argsort(np.argsort(keys)).astype(np.float64)


def read_witnesses(path: str | Path) -> tuple[Sheet, ...]:
    """Read a filled sheet of a coupon, or of a load, whose parts come as coupons of odd lengths.

    Parameters
    ----------
    path : str or Path
        The CSV file.

    Returns
    -------
    tuple of Sheet
        One of a coupon; of a load, one for each part that can be fitted.

    Raises
    ------
    SheetError
        As :func:`read_sheet` and :func:`read_load`.
    """
    if not parse_sheet(path).parts:
        return (read_sheet(path),)
    coupons = [as_coupon(part) for part in read_load(path)]
    return tuple(coupon for coupon in coupons if not why_no_witness(coupon))


def why_no_witness(sheet: Sheet) -> str:
    """Say why a part cannot join a fit; empty where it can.

    Parameters
    ----------
    sheet : Sheet
        As from :func:`as_coupon`.

    Returns
    -------
    str
        A reason without its full stop.
    """
    if not sheet.settings.firing:
        return "line S2 does not name its firing"
    try:
        for axis in "xyz":
            lengths_along([sheet], axis)
    except SheetError as refusal:
        moved = next((note for note in sheet.notes if note.startswith(MOVED)), "")
        if moved:
            return f"{refusal.what}; {moved}; fire it the way up that sags least"
        return f"{refusal.what}; {refusal.hint}"
    return ""
