"""The caliper's zero: what every length has alike, green and fired, taken off before all else.

An outside length grows by bead spread, an inside length shrinks by it and a step keeps clear of
it; a caliper that does not close on zero adds the same to all three, and to the fired ones what
it added to the green ones. An error of an axis grows with the length. Where the readings
cannot tell two of these apart, both are named.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from shrinkrule.calibration.fit.axis import DIFFERENCE_CONFIDENCE
from shrinkrule.calibration.fit.printing import PrintingFit
from shrinkrule.calibration.sheets.sheet import LENGTH_KINDS, Reading, Sheet
from shrinkrule.physics.estimate import Estimate

AXES: Final = ("X", "Y", "Z")


def caliper_zero(green: PrintingFit, fired: PrintingFit) -> Estimate | None:
    """Zero of the caliper that green and fired lengths share, if they show one.

    Parameters
    ----------
    green, fired : PrintingFit
        Green and fired lengths against their model.

    Returns
    -------
    Estimate or None
        The zero, mm; None where it cannot be told apart, is not shown, or where green and fired
        lengths disagree on it.

    Source: the mean weighted by variances; its degrees of freedom after B. L. Welch,
    *Biometrika* 34 (1947) 28.
    """
    one, two = green.zero, fired.zero
    if one is None or two is None:
        return None
    apart = Estimate(one.value - two.value, float(np.hypot(one.u, two.u)), min(one.dof, two.dof))
    if apart.is_significant(DIFFERENCE_CONFIDENCE):
        return None
    shares = np.array([two.u**2, one.u**2]) / (one.u**2 + two.u**2)
    own = (shares * np.array([one.u, two.u])) ** 2
    dof = float(own.sum()) ** 2 / float((own**2 / np.array([one.dof, two.dof])).sum())
    # What a print strays by is in green and fired lengths alike, so their mean is no surer.
    zero = Estimate(float(shares @ [one.value, two.value]), float(shares @ [one.u, two.u]), dof)
    return zero if zero.is_significant(DIFFERENCE_CONFIDENCE) else None


def without_zero(sheets: tuple[Sheet, ...], zero_mm: float) -> tuple[Sheet, ...]:
    """Sheets with the caliper's zero taken off every length.

    Parameters
    ----------
    sheets : tuple of Sheet
        The measured sheets.
    zero_mm : float
        What the caliper reads when it is closed, mm.

    Returns
    -------
    tuple of Sheet
        The sheets as another caliper would have measured them.
    """

    def measured(reading: Reading) -> Reading:
        if reading.kind not in LENGTH_KINDS:
            return reading
        return replace(
            reading,
            green=tuple(value - zero_mm for value in reading.green),
            fired=tuple(value - zero_mm for value in reading.fired),
        )

    return tuple(replace(sheet, readings=tuple(map(measured, sheet.readings))) for sheet in sheets)


def axes_or_zero(full: PrintingFit, without: PrintingFit) -> tuple[str, ...]:
    """Axes whose error may as well be a zero of the caliper.

    Parameters
    ----------
    full : PrintingFit
        Green lengths with the caliper's zero left free.
    without : PrintingFit
        The same without a zero.

    Returns
    -------
    tuple of str
        Axes that are off the model only if the caliper's zero is right.
    """
    if full.zero is None or full.zero.is_significant(DIFFERENCE_CONFIDENCE):
        return ()
    return tuple(
        name
        for name, free, bound in zip(AXES, full.scales, without.scales, strict=True)
        if bound.is_significant(DIFFERENCE_CONFIDENCE)
        and not free.is_significant(DIFFERENCE_CONFIDENCE)
    )
