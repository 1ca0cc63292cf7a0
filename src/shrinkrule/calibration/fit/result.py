"""What a fit of measured coupons found, whole, with what it noticed on the way."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final

import numpy as np

from shrinkrule.calibration.fit.axis import AxisFit
from shrinkrule.calibration.fit.balance import Balance
from shrinkrule.calibration.fit.lengths import Caliper, Lengths
from shrinkrule.calibration.fit.outliers import SlipSearch
from shrinkrule.calibration.fit.printing import PrintingFit
from shrinkrule.calibration.fit.sag import SagFit
from shrinkrule.calibration.sheets.sheet import Sheet
from shrinkrule.calibration.statistics.drift import Drift
from shrinkrule.calibration.statistics.few_firings import informed
from shrinkrule.calibration.statistics.firings import FiringScatter, firing_scatter
from shrinkrule.calibration.table.ladder import Ladder
from shrinkrule.calibration.table.row import uneven_axes
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.physics.estimate import Estimate, Estimates
from shrinkrule.units import rounded_up

HARMLESS_SLIP_MM: Final = 0.3
"""Slip that moves a length of 40 mm by less than 1 %, as firings do too (engineering judgement)."""


class NoteWeight(StrEnum):
    """How much a note matters."""

    FACT = "fact"
    LOOK = "look"
    WRONG = "wrong"


@dataclass(frozen=True)
class Note:
    """Something noticed, and how much it matters."""

    weight: NoteWeight
    text: str


@dataclass(frozen=True)
class NamedOutlier:
    """A reading that is an outlier from its coupon's line.

    Parameters
    ----------
    where, line, id : str, int, str
        File, line in it, and mark of the length.
    residual_mm, sigmas : float
        How far off it is, in mm and in standard deviations of such a reading.
    stage : str
        ``green`` or ``fired`` where it is known which of the two readings is off; else empty.
    """

    where: str
    line: int
    id: str
    residual_mm: float
    sigmas: float
    stage: str = ""

    def __str__(self) -> str:
        others = (
            f"what all others say of it {self.stage}" if self.stage else "the line of the others"
        )
        return (
            f"{self.where}, line {self.line}: {self.id} is {self.residual_mm:+.3f} mm off "
            f"{others}, {self.sigmas:.1f} sigmas"
        )


@dataclass(frozen=True)
class AxisResult:
    """One axis (or X and Y together): the data and the lines.

    Parameters
    ----------
    name : str
        ``X``, ``Y``, ``XY`` or ``Z``.
    lengths : Lengths
        The readings.
    fit : AxisFit
        Fired against green.
    half_difference : float
        Half of the difference in shrinkage between X and Y where it is significant; else 0.
    known_scatter : FiringScatter or None
        What is known of the scatter with the other axes; None: what the axis shows by itself.
    """

    name: str
    lengths: Lengths
    fit: AxisFit
    half_difference: float = 0.0
    known_scatter: FiringScatter | None = None

    @property
    def own_scatter(self) -> FiringScatter:
        """What the axis by itself shows of how coupons differ, as shares of the green length."""
        at = self.fit.centre_mm
        return firing_scatter(self.fit.lines.at(at) / at, self.fit.firing)

    @property
    def scatter(self) -> FiringScatter:
        """How coupons differ, as shares of the green length, by all that is known."""
        return self.known_scatter or self.own_scatter

    @property
    def shrinkage(self) -> Estimate:
        """Shrinkage at the centre length, with the standard uncertainty of its mean."""
        at = self.fit.centre_mm
        u = float(self.fit.mean_u_mm(at)) / at
        if self.scatter.coupons > 1:
            u = float(np.sqrt(self.scatter.mean_variance))
        return Estimate(float(self.fit.shrinkage_at(at)), u)

    @property
    def line_variance(self) -> float:
        """Variance of one coupon's shrinkage by the residuals of its line."""
        at = self.fit.centre_mm
        unit = float(self.fit.lines.unit_variance_at(at).mean())
        return float(self.fit.residual_variance) * unit / at**2

    @property
    def shrinkage_by_coupon(self) -> Floats:
        """Shrinkage of each coupon at the centre length; ``(c,)``."""
        return 1.0 - self.fit.lines.at(self.fit.centre_mm) / self.fit.centre_mm

    @property
    def residuals_mm(self) -> Floats:
        """Fired lengths less their coupon's line, nan where not measured; ``(c, m)``."""
        expected = self.fit.lines.at(self.lengths.green.T).T
        off = self.lengths.fired - expected
        return np.where(self.lengths.weight > 0.0, off, np.nan)


def judged_together(axes: tuple[AxisResult, ...]) -> tuple[AxisResult, ...]:
    """Axes of the same coupons, each with what all of them show of how firings differ.

    Parameters
    ----------
    axes : tuple of AxisResult
        The axes.

    Returns
    -------
    tuple of AxisResult
        The same with their scatter.
    """
    known = informed(
        [axis.own_scatter for axis in axes],
        [axis.line_variance for axis in axes],
        sum(float(axis.fit.residual_dof) for axis in axes),
    )
    return tuple(
        replace(axis, known_scatter=scatter) for axis, scatter in zip(axes, known, strict=True)
    )


@dataclass(frozen=True)
class FitResult:
    """The fit of a set of sheets.

    Parameters
    ----------
    sheets : tuple of Sheet
        What was measured, as it was used.
    firings : tuple of str
        Names of the firings.
    firing : (c,) int
        Number of each coupon's firing.
    x, y, xy, z : AxisResult
        Axis by axis; ``xy`` is X and Y pooled, or their middle where they differ.
    printing, from_model : PrintingFit
        Green lengths against the model; fired ones against it, which tells what one length of a
        part scatters by from model to fired.
    xy_difference : Estimates
        Shrinkage along Y less that along X.
    axes_differ : bool
        Whether that difference is significant.
    caliper : Caliper
        What one reading is worth.
    outliers : tuple of NamedOutlier
        Readings far from their line; they are in the fit.
    slip_search : SlipSearch or None
        What can be told of slips where an axis has few lengths; None where lines tell it.
    left_out : tuple of str
        Readings the maker left out.
    balances : (c,) tuple of Balance
        What the weights say, coupon by coupon.
    relative_density, metal_fraction : Estimate or None
        Means over the coupons.
    sag : SagFit or None
        Sag modulus.
    walls, floors : Ladder or None
        What the coupons' ladders showed.
    zero_taken_off : Estimate or None
        The caliper's zero that was taken off every length, mm.
    axes_or_zero : tuple of str
        Axes whose error may as well be a zero of the caliper.
    drifts : dict
        Drift of the shrinkage by the name of the axis, where there is one.
    notes : tuple of Note
        What else is worth knowing.
    """

    sheets: tuple[Sheet, ...]
    firings: tuple[str, ...]
    firing: Ints
    x: AxisResult
    y: AxisResult
    xy: AxisResult
    z: AxisResult
    printing: PrintingFit
    from_model: PrintingFit
    xy_difference: Estimates
    axes_differ: bool
    caliper: Caliper
    outliers: tuple[NamedOutlier, ...]
    left_out: tuple[str, ...]
    balances: tuple[Balance, ...]
    relative_density: Estimate | None
    metal_fraction: Estimate | None
    sag: SagFit | None
    walls: Ladder | None
    floors: Ladder | None
    zero_taken_off: Estimate | None = None
    axes_or_zero: tuple[str, ...] = ()
    slip_search: SlipSearch | None = None
    drifts: dict[str, Drift] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()

    @property
    def coupons(self) -> int:
        """How many coupons."""
        return len(self.sheets)

    @property
    def knows_firings(self) -> bool:
        """Whether there are several firings to compare; else intervals are lower bounds."""
        return len(self.firings) > 1

    @property
    def slips_weigh(self) -> bool:
        """Whether a slip that is not named could be larger than is harmless."""
        return self.slip_search is not None and self.slip_search.named_from_mm > HARMLESS_SLIP_MM

    @property
    def slips_not_told(self) -> str | None:
        """From which size on a slip of the pen is named, in words; None where lines tell it."""
        search = self.slip_search
        if search is None:
            return None
        axes = (self.x, self.y, self.z)
        marks = dict.fromkeys(
            line[feature].id
            for axis, feature in search.weakest
            for line in axes[axis].lengths.readings
            if feature < len(line)
        )
        where = ", ".join(marks)
        if not np.isfinite(search.named_from_mm):
            return (
                f"with so few readings no slip of the pen can be told in {where}: read them twice"
            )
        return (
            "with so few readings a slip of the pen is named from about "
            f"{rounded_up(search.named_from_mm, 1)} mm on (in {where}; elsewhere sooner); a "
            "smaller one cannot be told"
            + (": read these twice, or fire another coupon" if self.slips_weigh else "")
        )

    @property
    def uneven(self) -> str | None:
        """That one axis is several times as unsure as another, in words; None where not."""
        return uneven_axes({axis.name: axis.shrinkage for axis in (self.x, self.y, self.z)})
