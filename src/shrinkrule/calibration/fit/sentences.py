"""The fit in plain sentences: what the next part will measure, and what more coupons would buy."""

from __future__ import annotations

from math import floor
from typing import Final

from shrinkrule.calibration.fit.result import FitResult
from shrinkrule.calibration.fit.to_row import measured_row
from shrinkrule.calibration.table.row import Axis, CalibrationRow
from shrinkrule.defaults import STATED_LENGTH_MM
from shrinkrule.units import rounded_up

MORE: Final = 2
"""Further coupons that the sentence proposes."""


def stated_length_mm(row: CalibrationRow, axis: Axis) -> float:
    """Fired length of the sentence: 40 mm, or as far as the coupons reach in whole mm.

    Parameters
    ----------
    row : CalibrationRow
        What the fit knows.
    axis : str
        ``x``, ``y`` or ``z``.

    Returns
    -------
    float
        The length, mm.
    """
    longest = row.along(axis).fired_mm(row.longest_z_mm if axis == "z" else row.longest_xy_mm)
    # A coupon of 42 mm green is fired 36; 40 mm lies a little beyond, and is what people ask.
    return STATED_LENGTH_MM if longest >= 0.85 * STATED_LENGTH_MM else float(max(floor(longest), 1))


def next_part(fit: FitResult, axes: tuple[Axis, ...]) -> str:
    """Say what the next part will measure along an axis, or along X and Y.

    As: "Your next 40 mm will come out 40.00 ± 0.12 mm along X, ± 0.13 along Y (95 %); measuring
    two more coupons would make that 0.09."

    Parameters
    ----------
    fit : FitResult
        The fit.
    axes : tuple of str
        The axes to speak of.

    Returns
    -------
    str
        The sentence.
    """
    row = measured_row(fit)
    length = stated_length_mm(row, axes[0])
    if not fit.knows_firings:
        *others, last = (axis.upper() for axis in axes)
        names = " and ".join(filter(None, (", ".join(others), last)))
        return (
            f"Along {names} a scale is known, but not how far the next part may be off: one firing "
            "does not show how firings differ. Two more coupons, each in a firing of its own, "
            "would."
        )
    more = measured_row(fit, MORE)
    halves = [row.promise(axis, length).half95 or 0.0 for axis in axes]
    better = max(more.promise(axis, length).half95 or 0.0 for axis in axes)
    first, *rest = (
        f"± {rounded_up(half)}{{}} along {axis.upper()}"
        for half, axis in zip(halves, axes, strict=True)
    )
    each = ", ".join([first.format(" mm"), *(text.format("") for text in rest)])
    said = f"Your next {length:g} mm will come out {length:.2f} {each} (95 %)"
    if rounded_up(better) == rounded_up(max(halves)):
        return f"{said}; measuring two more coupons would hardly narrow that."
    return f"{said}; measuring two more coupons would make that {rounded_up(better)}."


def plain_sentences(fit: FitResult) -> tuple[str, ...]:
    """Sentences for X and Y, and for Z; one for all after one firing, which knows neither.

    Parameters
    ----------
    fit : FitResult
        The fit.

    Returns
    -------
    tuple of str
        The sentences.
    """
    if not fit.knows_firings:
        return (next_part(fit, ("x", "y", "z")),)
    return next_part(fit, ("x", "y")), next_part(fit, ("z",))
