"""One calibrated batch: how much it shrinks, how sure that is, and what it weighs.

A row is what a fitted coupon leaves behind and what compensation draws on. Shrinkage
is referred to the green size, ``s = 1 - L_sintered / L_green``, so the green part must
be larger by ``1 / (1 - s)``.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Final, Literal

from shrinkrule.calibration.table.evidence import Evidence
from shrinkrule.calibration.table.ladder import Ladder
from shrinkrule.physics.estimate import CONFIDENCE, Estimate, t_quantile
from shrinkrule.physics.interval import (
    NOTHING,
    AxisFacts,
    Feature,
    Interval,
    LengthEffect,
    Scatter,
    next_part,
)
from shrinkrule.physics.metal_balance import kept_volume, metal_balance

Axis = Literal["x", "y", "z"]
AXES: Final[tuple[Axis, ...]] = ("x", "y", "z")
"""Axes of the print frame."""


UNEVEN: Final = 4.0
"""Ratio of uncertainties from which one axis counts as far less sure than another (engineering
judgement: two axes of three firings each are so far apart in one row of eight by chance)."""


@dataclass(frozen=True)
class CalibrationRow:
    """Shrinkage and what belongs to it, for one batch of material in one process.

    Fractions are fractions. ``None`` means not known, and whatever needs it is not
    predicted.

    Parameters
    ----------
    name, material, process : str
        What it is called, and of what.
    shrinkage_xy, shrinkage_z : Estimate
        Mean linear shrinkage of the batch, on green size.
    scatter_xy, scatter_z : float
        Standard deviation of one part's shrinkage about that mean.
    degrees_of_freedom : float
        Of the uncertainties above; infinite when they are taken as exactly known.
    firing_scatter_known : bool
        Whether several firings went into the scatter. After one firing, an interval for
        the next is a lower bound.
    longest_xy_mm, longest_z_mm : float
        Longest green length that was measured.
    relative_density : Estimate or None
        Sintered density over that of solid metal.
    metal_fraction : Estimate or None
        Metal volume in the green part as printed, voids included.
    metal_density_g_cm3 : float or None
        Of solid metal.
    metal_mass_share : float or None
        Metal mass in the filament over the filament's mass.
    bead_offset_mm : Estimate or None
        How far upright surfaces print outside the model, per surface.
    sag_modulus_kpa : Estimate or None
        Effective modulus of the hot part under its own weight, over one firing.
    coupons, firings : int
        How many went into the row.
    date, note : str
        When, and what else is worth knowing.
    residual_xy_mm, residual_z_mm : float
        Standard deviation of one fired length about what shrinkage and spread make of its model.
    length_effect_xy, length_effect_z : LengthEffect or None
        Where long parts shrink otherwise than short ones.
    shrinkage_x, shrinkage_y : Estimate or None
        Shrinkage along X and along Y; ``shrinkage_xy`` is that of both together.
    print_scale_x, print_scale_y, print_scale_z : Estimate or None
        Green length over model length, less 1: error of the printer's axis.
    parts_x, parts_y, parts_z : Scatter or None
        How parts differ along each axis, from model to fired.
    residual_dof : float
        Degrees of freedom of the residuals.
    first_layer_mm : Estimate or None
        Green mm by which a height from the plate is off what its layers make.
    bore_offset_mm : Estimate or None
        Green mm by which the diameter of an upright round hole is off that of a slot.
    bore_curve_mm : Estimate or None
        Green mm that are added to this, times ``bore_at_mm`` over the hole's diameter, less 1.
    bore_at_mm : float or None
        Diameter in the scaled model for which the offset is stated.
    thickest_section_mm : float or None
        Thickest section of the green coupon, mm: binder has left that one.
    nozzle_mm, bead_width_mm, layer_height_mm, first_layer_height_mm : float or None
        What the coupons were printed with; the last where it is not that of the others.
    walls, floors : Ladder or None
        What the coupons' ladders showed.
    evidence : tuple of Evidence
        Sheets that it was fitted from.
    left_out : tuple of str
        Lengths and beams of theirs that were not used.
    replaced : str
        Day on which another row took this one's place; empty while it holds.
    extrapolated : bool
        Whether it was computed for a density outside the calibrated ones.
    """

    name: str
    material: str
    process: str
    shrinkage_xy: Estimate
    shrinkage_z: Estimate
    scatter_xy: float
    scatter_z: float
    degrees_of_freedom: float
    firing_scatter_known: bool
    longest_xy_mm: float
    longest_z_mm: float
    relative_density: Estimate | None = None
    metal_fraction: Estimate | None = None
    metal_density_g_cm3: float | None = None
    metal_mass_share: float | None = None
    bead_offset_mm: Estimate | None = None
    sag_modulus_kpa: Estimate | None = None
    coupons: int = 0
    firings: int = 0
    date: str = ""
    note: str = ""
    residual_xy_mm: float = 0.0
    residual_z_mm: float = 0.0
    length_effect_xy: LengthEffect | None = None
    length_effect_z: LengthEffect | None = None
    shrinkage_x: Estimate | None = None
    shrinkage_y: Estimate | None = None
    print_scale_x: Estimate | None = None
    print_scale_y: Estimate | None = None
    print_scale_z: Estimate | None = None
    parts_x: Scatter | None = None
    parts_y: Scatter | None = None
    parts_z: Scatter | None = None
    residual_dof: float = math.inf
    first_layer_mm: Estimate | None = None
    bore_offset_mm: Estimate | None = None
    bore_curve_mm: Estimate | None = None
    bore_at_mm: float | None = None
    thickest_section_mm: float | None = None
    nozzle_mm: float | None = None
    bead_width_mm: float | None = None
    layer_height_mm: float | None = None
    first_layer_height_mm: float | None = None
    walls: Ladder | None = None
    floors: Ladder | None = None
    evidence: tuple[Evidence, ...] = ()
    left_out: tuple[str, ...] = ()
    replaced: str = ""
    extrapolated: bool = False

    @property
    def coverage_factor(self) -> float:
        """Student's factor for a two-sided 95 % interval at this row's degrees of freedom."""
        return float(t_quantile(self.degrees_of_freedom))

    def along(self, axis: Axis) -> AxisFacts:
        """All that the row knows of lengths along one axis.

        In a row from before each axis had its own columns, X and Y are both as XY.
        """
        return self._facts[axis]

    @cached_property
    def _facts(self) -> dict[Axis, AxisFacts]:
        """As :meth:`along`, which is asked for with every length of a part."""
        return {axis: self._known(axis) for axis in AXES}

    def _known(self, axis: Axis) -> AxisFacts:
        own, scale, parts = (
            getattr(self, f"{name}_{axis}") for name in ("shrinkage", "print_scale", "parts")
        )
        upright = axis == "z"
        both = self.shrinkage_z if upright else self.shrinkage_xy
        scatter = self.scatter_z if upright else self.scatter_xy
        spread = math.hypot(both.u, 0.0 if scale is None else scale.u)
        return AxisFacts(
            shrinkage=own or both,
            print_scale=scale,
            scatter=parts or Scatter(spread, scatter, 0.0, self.degrees_of_freedom),
            residual_mm=self.residual_z_mm if upright else self.residual_xy_mm,
            residual_dof=self.residual_dof,
            length_effect=self.length_effect_z if upright else self.length_effect_xy,
            knows_firings=self.firing_scatter_known,
        )

    def offset(
        self, axis: Axis, feature: Feature = Feature.OUTSIDE, model_mm: float | None = None
    ) -> Estimate:
        """What the printer adds to a length beyond scale and bead spread, mm of the fired part.

        ``model_mm`` is the diameter of a bore in the scaled model; small ones print tighter.
        """
        kept = 1.0 - self.along(axis).shrinkage.value
        if feature is Feature.OUTSIDE and axis == "z" and self.first_layer_mm is not None:
            return self.first_layer_mm.times(kept)
        if feature is Feature.BORE and self.bore_offset_mm is not None:
            return self._bore_offset(model_mm).times(kept)
        return NOTHING

    def _bore_offset(self, model_mm: float | None) -> Estimate:
        offset, curve, at = self.bore_offset_mm or NOTHING, self.bore_curve_mm, self.bore_at_mm
        if curve is None or at is None or model_mm is None:
            return offset
        return offset.plus(curve.times(at / model_mm - 1.0))

    def knows(self, axis: Axis, feature: Feature) -> bool:
        """Whether a coupon has shown what such a length does."""
        if axis == "z":
            return feature in {Feature.OUTSIDE, Feature.STEP}
        return feature is not Feature.BORE or self.bore_offset_mm is not None

    def promise(
        self,
        axis: Axis,
        fired_mm: float,
        feature: Feature = Feature.OUTSIDE,
        confidence: float = CONFIDENCE,
    ) -> Interval:
        """Promise a length of the next part that is expected at ``fired_mm``.

        Parameters
        ----------
        axis : str
            ``x``, ``y`` or ``z`` of the print frame.
        fired_mm : float
            Length of the finished part, mm.
        feature : Feature
            What it lies between; along Z an outside length is a height from the plate.
        confidence : float
            Coverage of the interval, where it is not to be 95 %.

        Returns
        -------
        Interval
            The length, with the half width where the row knows it.
        """
        if not self.knows(axis, feature):
            return Interval(fired_mm)
        facts = self.along(axis)
        # What a bore's own offset does to its diameter is of the second order here.
        offset = self.offset(axis, feature, fired_mm * facts.factor)
        return next_part(facts, fired_mm, offset, confidence)

    @property
    def does_not_know(self) -> tuple[str, ...]:
        """What an interval of this row leaves out, in words."""
        unknown = (
            (not self.firing_scatter_known, "how firings differ"),
            (self.residual_xy_mm == 0.0 or self.residual_z_mm == 0.0, "how single lengths scatter"),
            (
                self.firing_scatter_known and self.parts_x is None,
                "X apart from Y and the errors of the printer's axes",
            ),
            (self.first_layer_mm is None, "what the first layer does to heights"),
            (self.bore_offset_mm is None, "what round holes do"),
        )
        return tuple(words for missing, words in unknown if missing)

    @property
    def holds_classes(self) -> bool:
        """Whether intervals hold all that makes lengths differ, so that a class may be named."""
        return self.firing_scatter_known and self.residual_xy_mm > 0.0 and self.residual_z_mm > 0.0

    @property
    def uneven(self) -> str | None:
        """That one axis is several times as unsure as another, in words; None where it is not."""
        return uneven_axes({axis.upper(): self.along(axis).shrinkage for axis in AXES})

    def on_a_true_printer(self) -> CalibrationRow:
        """Row for the same printer after its axes were corrected by what this row says.

        The correction is as unsure as the errors were, so intervals stay as they are.
        """

        def corrected(scale: Estimate | None) -> Estimate | None:
            return None if scale is None else replace(scale, value=0.0)

        return replace(
            self,
            print_scale_x=corrected(self.print_scale_x),
            print_scale_y=corrected(self.print_scale_y),
            print_scale_z=corrected(self.print_scale_z),
        )

    def at_lengths(self, xy_mm: float, z_mm: float) -> CalibrationRow:
        """Row for a part of these fired lengths: its shrinkages hold for that part's length.

        The same lines are stated about other centres; a row whose shrinkage does not depend on
        length stays as it is.
        """
        before_x, before_y, before_z = (self.along(axis) for axis in AXES)
        x, y, z = before_x.about(xy_mm), before_y.about(xy_mm), before_z.about(z_mm)
        row = self
        if x != before_x or y != before_y:
            both = self.shrinkage_xy.value - before_x.shrinkage.value
            row = replace(
                row,
                shrinkage_xy=replace(x.shrinkage, value=x.shrinkage.value + both),
                shrinkage_x=None if self.shrinkage_x is None else x.shrinkage,
                shrinkage_y=None if self.shrinkage_y is None else y.shrinkage,
                parts_x=None if self.parts_x is None else x.scatter,
                parts_y=None if self.parts_y is None else y.scatter,
                length_effect_xy=x.length_effect,
            )
        if z != before_z:
            row = replace(
                row,
                shrinkage_z=z.shrinkage,
                parts_z=None if self.parts_z is None else z.scatter,
                length_effect_z=z.length_effect,
            )
        return row

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON, fractions as fractions; what is infinite or not known is None."""
        plain = asdict(self)
        del plain["extrapolated"]  # the note says so, in words
        return {key: _finite(value) for key, value in plain.items()}


def uneven_axes(shrinkages: dict[str, Estimate]) -> str | None:
    """Say that the shrinkage of one axis is several times as unsure as that of another.

    Axes share printer, furnace and caliper, so that an interval far narrower than the others is
    narrow by chance.

    Parameters
    ----------
    shrinkages : dict
        Shrinkage by the name of the axis.

    Returns
    -------
    str or None
        A sentence without its full stop; None where the axes are about as unsure.
    """
    known = {name: estimate.u for name, estimate in shrinkages.items() if estimate.u > 0.0}
    if len(known) < 2:
        return None
    wide, narrow = max(known, key=known.__getitem__), min(known, key=known.__getitem__)
    times = known[wide] / known[narrow]
    if times < UNEVEN:
        return None
    return (
        f"the shrinkage of {wide} is {times:.0f} times as unsure as that of {narrow}: with few "
        f"readings that may be chance; take ± of {wide} for {narrow} too, or fire another coupon"
    )


def _finite(value: object) -> object:
    """Value without infinite numbers."""
    if isinstance(value, dict):
        return {key: _finite(inner) for key, inner in value.items()}
    return None if isinstance(value, float) and math.isinf(value) else value


@dataclass(frozen=True)
class BalanceCheck:
    """Whether shrinkage, density and metal fraction of a row agree on the same metal.

    ``shrunk`` is (1 - s_x)(1 - s_y)(1 - s_z), ``expected`` is metal fraction over relative
    density; they are equal when no metal is lost. ``misfit_sigmas`` is their relative
    difference in its standard uncertainty.
    """

    shrunk: float
    expected: float
    misfit_sigmas: float
    implied_density: float
    warning: str


def check_balance(row: CalibrationRow) -> BalanceCheck | None:
    """Check a row for conservation of metal; ``None`` if it knows too little.

    Parameters
    ----------
    row : CalibrationRow
        The row to check.

    Returns
    -------
    BalanceCheck or None
        The comparison, with a warning if it does not hold.

    Source: :mod:`shrinkrule.physics.metal_balance`.
    """
    if row.metal_fraction is None or row.relative_density is None:
        return None
    kept = kept_volume([row.along(axis).shrinkage for axis in AXES])
    found = metal_balance(kept, row.metal_fraction, row.relative_density)
    difference = found.kept / found.expected - 1.0
    implied = 100.0 * found.implied_density
    warning = ""
    if found.denser_than_solid:
        warning = (
            f"row {row.name!r}: its shrinkage would make the metal {implied:.1f} % dense, "
            "denser than solid; a measurement behind it is wrong"
        )
    elif not found.good:
        warning = (
            f"row {row.name!r}: shrinkage and density disagree by {100 * difference:+.1f} % of "
            f"volume ({abs(found.misfit_sigmas):.1f} standard uncertainties); shrinkage implies "
            f"{implied:.1f} % density, the row says {100 * row.relative_density.value:.1f} %"
        )
    return BalanceCheck(
        found.kept, found.expected, found.misfit_sigmas, found.implied_density, warning
    )
