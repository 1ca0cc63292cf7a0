"""The weights of one part: what the row expects of them, and what they give away.

Green weight tells gaps in the print, weight after debinding tells binder that stayed. Both are
weighed as the lengths are: plain scatter against a fault of an unknown size that would matter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Final

from shrinkrule.calibration import AXES, CalibrationRow, Feature, Interval
from shrinkrule.calibration.fit.balance import SHARE_U
from shrinkrule.calibration.sheets.load import LoadedPart
from shrinkrule.compensation import expected_masses
from shrinkrule.review.causes import Cause
from shrinkrule.review.readings import Length

FILLING_U: Final = 0.006
"""Relative standard deviation of the filling of one print about its row's mean (a rule of the
trade): a row has the uncertainty of the mean alone."""

GAPS_SHARE: Final = 0.03
"""Gaps that matter, as a share of the green weight."""

BINDER_SHARE: Final = 0.3
"""Binder left that matters, as a share of the binder."""


@dataclass(frozen=True)
class Weight:
    """One weight of a part.

    Parameters
    ----------
    stage : str
        ``green``, ``debound`` or ``fired``.
    expected_g : Interval or None
        What the row expects; None where it does not know.
    read_g : float or None
        What was read.
    """

    stage: str
    expected_g: Interval | None
    read_g: float | None


@dataclass(frozen=True)
class WeightFault:
    """A fault that weights show.

    Parameters
    ----------
    cause : Cause
        Gaps, or binder left.
    ratio : float
        Natural logarithm of its likelihood ratio over plain scatter.
    share : float
        How large: of the green weight, or of the binder.
    """

    cause: Cause
    ratio: float
    share: float


def weights_of(part: LoadedPart, row: CalibrationRow) -> tuple[Weight, ...]:
    """Weights of a part beside what the row expects.

    Parameters
    ----------
    part : LoadedPart
        One part of a filled sheet.
    row : CalibrationRow
        The row that it was made by.

    Returns
    -------
    tuple of Weight
        Green, debound, fired.
    """
    volume, line = part.line.volume_mm3, part.weights
    expected = (None,) * 3 if volume is None else expected_masses(volume, row)
    read: tuple[float | None, float | None, float | None] = (None, None, None)
    if line is not None:
        read = (_mean(line.green), line.debound, _mean(line.fired))
    return tuple(
        Weight(stage, mass, value)
        for stage, mass, value in zip(("green", "debound", "fired"), expected, read, strict=True)
    )


def printed_larger(lengths: Sequence[Length]) -> float:
    """Share by which a print holds more than the model says, by its green lengths.

    Parameters
    ----------
    lengths : sequence of Length
        As from :func:`shrinkrule.review.readings.lengths_of`.

    Returns
    -------
    float
        Product of the axes' mean ratios of read and expected over outsides and steps, less one; an
        axis without one counts as printed rightly.
    """
    whole = 1.0
    for axis in AXES:
        both = [
            (one.read_green_mm, one.green_mm.value)
            for one in lengths
            if one.axis == axis and one.feature in (Feature.OUTSIDE, Feature.STEP)
        ]
        read = [(size, expected) for size, expected in both if size is not None]
        if read:
            # Ratio of sums: long lengths tell a scale, short ones the bead.
            whole *= sum(size for size, _ in read) / sum(expected for _, expected in read)
    return whole - 1.0


def weight_faults(
    weights: tuple[Weight, ...], row: CalibrationRow, balance_step_g: float, larger: float = 0.0
) -> tuple[WeightFault, ...]:
    """Weigh gaps and binder left against plain scatter.

    Parameters
    ----------
    weights : tuple of Weight
        As from :func:`weights_of`.
    row : CalibrationRow
        The row.
    balance_step_g : float
        Last step of the balance.
    larger : float, optional
        Share by which the print holds more than the model says, as from :func:`printed_larger`: a
        print at a smaller scale has no gaps for that.

    Returns
    -------
    tuple of WeightFault
        Those that the weights can show, however likely.
    """
    green, debound, fired = weights
    step_u, faults = balance_step_g / math.sqrt(12.0), []
    if green.read_g and green.expected_g is not None and row.metal_fraction is not None:
        unsure = math.hypot(FILLING_U, row.metal_fraction.u / row.metal_fraction.value)
        missing = 1.0 - green.read_g / (green.expected_g.value * (1.0 + larger))
        sd = math.hypot(unsure, step_u / green.expected_g.value)
        faults.append(WeightFault(Cause.GAPS, _log_ratio(missing, sd, GAPS_SHARE), missing))
    after = debound.read_g if debound.read_g is not None else fired.read_g
    share = row.metal_mass_share
    if green.read_g and after is not None and share is not None:
        left = after / green.read_g - share
        sd = math.hypot(SHARE_U, math.sqrt(2.0) * step_u / green.read_g)
        binder = 1.0 - share
        ratio = _log_ratio(left, sd, BINDER_SHARE * binder)
        faults.append(WeightFault(Cause.BINDER_LEFT, ratio, left / binder))
    return tuple(faults)


def _log_ratio(off: float, sd: float, usual: float) -> float:
    """Logarithm of the likelihood ratio of a fault of one sign; nought for the other sign.

    Normal with variance sd^2 + usual^2 against sd^2.
    """
    if off <= 0.0:
        return 0.0
    whole = 1.0 + (usual / sd) ** 2
    return 0.5 * ((off / sd) ** 2 * (1.0 - 1.0 / whole) - math.log(whole))


def _mean(values: tuple[float, ...]) -> float | None:
    return fmean(values) if values else None
