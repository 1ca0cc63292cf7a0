"""One calibrated batch: how much it shrinks, how sure that is, and what it weighs.

A row is what a fitted coupon leaves behind and what compensation draws on. Shrinkage
is referred to the green size, ``s = 1 - L_sintered / L_green``, so the green part must
be larger by ``1 / (1 - s)``.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace

from scipy import special

from shrinkrule.calibration.statistics.regression import blended_factor


@dataclass(frozen=True)
class Estimate:
    """A value with its standard uncertainty (JCGM 100), both in one unit."""

    value: float
    u: float

    def __str__(self) -> str:
        return f"{self.value:g} +- {self.u:g}"


@dataclass(frozen=True)
class LengthEffect:
    """Shrinkage that depends on length: fired = (1 - s) green + intercept (1 - green / centre).

    Parameters
    ----------
    intercept_mm : Estimate
        Fired length at a green length of nought, by the fitted line; uncorrelated with ``s``.
    centre_mm : float
        Green length for which the row's shrinkage ``s`` holds.
    """

    intercept_mm: Estimate
    centre_mm: float


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
    shrinkage_x, shrinkage_y : float or None
        Shrinkage along X and Y where they differ; ``shrinkage_xy`` is their middle then.
    print_scale_xy, print_scale_z : Estimate or None
        Green length over model length, less 1, where the printer's scale is off.
    thickest_section_mm : float or None
        Thickest section of the green coupon, mm: binder has left that one.
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
    shrinkage_x: float | None = None
    shrinkage_y: float | None = None
    print_scale_xy: Estimate | None = None
    print_scale_z: Estimate | None = None
    thickest_section_mm: float | None = None
    replaced: str = ""
    extrapolated: bool = False

    @property
    def coverage_factor(self) -> float:
        """Student's factor for a two-sided 95 % interval at this row's degrees of freedom."""
        if math.isinf(self.degrees_of_freedom):
            return float(special.ndtri(0.975))
        return float(special.stdtrit(self.degrees_of_freedom, 0.975))

    def spread(self, axis: str) -> float:
        """Give the standard deviation of the next part's shrinkage, axis ``xy`` or ``z``.

        Uncertainty of the row's mean and scatter of single parts, added in squares.
        """
        if axis == "xy":
            return math.hypot(self.shrinkage_xy.u, self.scatter_xy)
        return math.hypot(self.shrinkage_z.u, self.scatter_z)

    def fired_mm(self, axis: str, green_mm: float) -> float:
        """Give the fired length of a green length, axis ``xy`` or ``z``."""
        shrinkage, effect, _ = self._along(axis)
        bend = 0.0 if effect is None else effect.intercept_mm.value
        centre = math.inf if effect is None else effect.centre_mm
        return (1.0 - shrinkage.value) * green_mm + bend * (1.0 - green_mm / centre)

    def green_mm(self, axis: str, fired_mm: float) -> float:
        """Give the green length that comes out at a fired length, axis ``xy`` or ``z``."""
        start = self.fired_mm(axis, 0.0)
        return (fired_mm - start) / (self.fired_mm(axis, 1.0) - start)

    def half95_mm(self, axis: str, green_mm: float) -> float:
        """Half width of the 95 % interval for a fired length, axis ``xy`` or ``z``.

        The row's few degrees of freedom weigh by the share that shrinkage has in the variance;
        what single lengths add is known much better.
        """
        _, effect, residual = self._along(axis)
        bend = 0.0
        if effect is not None:
            bend = effect.intercept_mm.u * (1.0 - green_mm / effect.centre_mm)
        shrinking = math.hypot(self.spread(axis) * green_mm, bend)
        total = math.hypot(shrinking, residual)
        if total == 0.0:
            return 0.0
        share = (shrinking / total) ** 2
        return float(blended_factor(self.degrees_of_freedom, share)) * total

    def at_lengths(self, xy_mm: float, z_mm: float) -> CalibrationRow:
        """Row for a part of these fired lengths: its shrinkages hold for that part's length.

        The same line is stated about another centre; a row whose shrinkage does not depend on
        length stays as it is.
        """
        xy, effect_xy = self._centred("xy", xy_mm)
        z, effect_z = self._centred("z", z_mm)
        return replace(
            self,
            shrinkage_xy=xy,
            shrinkage_z=z,
            length_effect_xy=effect_xy,
            length_effect_z=effect_z,
        )

    def _centred(self, axis: str, fired_mm: float) -> tuple[Estimate, LengthEffect | None]:
        """Shrinkage and length effect of an axis, about the length that fires to ``fired_mm``."""
        shrinkage, effect, _ = self._along(axis)
        if effect is None:
            return shrinkage, None
        green = self.green_mm(axis, fired_mm)
        bend = effect.intercept_mm.u * (1.0 / green - 1.0 / effect.centre_mm)
        there = Estimate(1.0 - fired_mm / green, math.hypot(shrinkage.u, bend))
        return there, LengthEffect(effect.intercept_mm, green)

    def _along(self, axis: str) -> tuple[Estimate, LengthEffect | None, float]:
        """Shrinkage, length effect and residual of an axis."""
        if axis == "xy":
            return self.shrinkage_xy, self.length_effect_xy, self.residual_xy_mm
        return self.shrinkage_z, self.length_effect_z, self.residual_z_mm

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON, fractions as fractions."""
        plain = asdict(self)
        del plain["extrapolated"]  # the note says so, in words
        if math.isinf(self.degrees_of_freedom):
            plain["degrees_of_freedom"] = None
        return plain


@dataclass(frozen=True)
class BalanceCheck:
    """Whether shrinkage, density and metal fraction of a row agree on the same metal.

    ``shrunk`` is (1 - s_xy)^2 (1 - s_z), ``expected`` is metal fraction over relative
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

    Source: conservation of mass; for equal axes it is the usual shrinkage formula of
    R. M. German, *Powder Injection Molding* (MPIF, 1990).
    """
    if row.metal_fraction is None or row.relative_density is None:
        return None
    shrunk = (1 - row.shrinkage_xy.value) ** 2 * (1 - row.shrinkage_z.value)
    expected = row.metal_fraction.value / row.relative_density.value
    relative_u = math.sqrt(
        (2 * row.shrinkage_xy.u / (1 - row.shrinkage_xy.value)) ** 2
        + (row.shrinkage_z.u / (1 - row.shrinkage_z.value)) ** 2
        + (row.metal_fraction.u / row.metal_fraction.value) ** 2
        + (row.relative_density.u / row.relative_density.value) ** 2
    )
    difference = shrunk / expected - 1.0
    # A row of exact numbers still carries the rounding of its cells.
    sigmas = difference / max(relative_u, 1e-4)
    implied = row.metal_fraction.value / shrunk
    warning = ""
    if implied > 1.0 + 2.0 * max(relative_u, 1e-4):
        warning = (
            f"row {row.name!r}: its shrinkage would make the metal {100 * implied:.1f} % dense, "
            "denser than solid; a measurement behind it is wrong"
        )
    elif abs(sigmas) > 2.0:
        warning = (
            f"row {row.name!r}: shrinkage and density disagree by {100 * difference:+.1f} % of "
            f"volume ({abs(sigmas):.1f} standard uncertainties); shrinkage implies "
            f"{100 * implied:.1f} % density, the row says {100 * row.relative_density.value:.1f} %"
        )
    return BalanceCheck(shrunk, expected, sigmas, implied, warning)
