"""From a fit to the row of the table that compensation draws on."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

import numpy as np

from shrinkrule.calibration.fit.axis import DIFFERENCE_CONFIDENCE
from shrinkrule.calibration.fit.result import AxisResult, FitResult
from shrinkrule.calibration.statistics.departure import Departure
from shrinkrule.calibration.table.row import CalibrationRow, Estimate, LengthEffect
from shrinkrule.errors import SheetError


@dataclass(frozen=True)
class _Axis:
    """One axis in the terms of a row: fractions of the green size, and mm."""

    shrinkage: Estimate
    scatter: float
    residual_mm: float
    effect: LengthEffect | None
    dof: float


def row_from_fit(fit: FitResult, name: str, note: str = "") -> CalibrationRow:
    """Build the table's row of a fit.

    Parameters
    ----------
    fit : FitResult
        The fit of the coupons.
    name : str
        What the row is to be called.
    note : str
        A word of the maker's own.

    Returns
    -------
    CalibrationRow
        The row.

    Raises
    ------
    SheetError
        If the sheets name no material, or the fired metal would be denser than solid.
    """
    settings = [sheet.settings for sheet in fit.sheets]
    material = next((s.material for s in settings if s.material), "")
    if not material:
        raise SheetError(
            "no material is given", where=fit.sheets[0].where, hint="write it in line S4"
        )
    density = fit.relative_density
    if density is not None and density.value > 1.0:
        raise SheetError(
            f"the fired metal would be {100 * density.value:.1f} % dense, denser than solid",
            where=fit.sheets[0].where,
            hint="check the weights, the volume in S16 and the metal's density in S6",
        )
    xy, z = _axis(fit.xy), _axis(fit.z)
    bead = fit.xy.printed.offset
    sag = fit.sag
    return CalibrationRow(
        name=name,
        material=material,
        process=next((s.process for s in settings if s.process), ""),
        shrinkage_xy=xy.shrinkage,
        shrinkage_z=z.shrinkage,
        scatter_xy=xy.scatter,
        scatter_z=z.scatter,
        degrees_of_freedom=min(xy.dof, z.dof),
        firing_scatter_known=fit.knows_firings,
        longest_xy_mm=fit.xy.lengths.longest_mm,
        longest_z_mm=fit.z.lengths.longest_mm,
        relative_density=density,
        metal_fraction=fit.metal_fraction,
        metal_density_g_cm3=next((s.metal_density for s in settings if s.metal_density), None),
        metal_mass_share=next((s.metal_mass_share for s in settings if s.metal_mass_share), None),
        bead_offset_mm=Estimate(float(bead.value), float(bead.u)),
        sag_modulus_kpa=None if sag is None else Estimate(sag.modulus_kpa, sag.next_u_kpa),
        coupons=fit.coupons,
        firings=len(fit.firings),
        date=max(s.date for s in settings),
        note=_note(fit, note),
        residual_xy_mm=xy.residual_mm,
        residual_z_mm=z.residual_mm,
        length_effect_xy=xy.effect,
        length_effect_z=z.effect,
        shrinkage_x=fit.x.shrinkage.value if fit.axes_differ else None,
        shrinkage_y=fit.y.shrinkage.value if fit.axes_differ else None,
        print_scale_xy=_if_significant(fit.xy.printed.scale),
        print_scale_z=_if_significant(fit.z.printed.scale),
        thickest_section_mm=_thickest(fit),
    )


def _thickest(fit: FitResult) -> float | None:
    """Thickest section known to debind: the row rests on coupons that lost their binder."""
    sections = [sheet.settings.thickest_section for sheet in fit.sheets]
    return max((section for section in sections if section is not None), default=None)


def _axis(axis: AxisResult) -> _Axis:
    """One axis of a fit in the terms of a row."""
    fit, at = axis.fit, axis.fit.centre_mm
    scatter = fit.scatter_at(at)
    # The reading errors of the coupons' lines stay in it: without them, two coupons that happen to
    # agree would promise parts that never differ.
    own = float(scatter.next_part_variance)
    shrinkage = Estimate(axis.shrinkage.value, hypot(axis.shrinkage.u, axis.half_difference))
    bead_u = 2.0 * float(axis.printed.offset.u)
    printing = (1.0 - shrinkage.value) * hypot(float(axis.printed.residual_sd), bead_u)
    return _Axis(
        shrinkage=shrinkage,
        scatter=float(np.sqrt(own)) / at,
        residual_mm=hypot(float(np.sqrt(fit.residual_variance)), printing),
        effect=_effect(axis),
        dof=scatter.equivalent_dof if scatter.coupons > 1 else float(fit.residual_dof),
    )


def _effect(axis: AxisResult) -> LengthEffect | None:
    """Length effect of an axis, if its intercept is significant."""
    if not bool(axis.fit.has_intercept):
        return None
    intercept = Estimate(float(axis.fit.fired_mm(0.0)), float(axis.fit.intercept.u))
    return LengthEffect(intercept, axis.fit.centre_mm)


def _if_significant(departure: Departure) -> Estimate | None:
    """A departure from zero as an estimate, if it is significant."""
    if not bool(departure.is_significant(DIFFERENCE_CONFIDENCE)):
        return None
    return Estimate(float(departure.value), float(departure.u))


def _note(fit: FitResult, own: str) -> str:
    """The row's note: the maker's own words, and what a reader of the row must know."""
    said = [own]
    if fit.axes_differ:
        said.append("X and Y differ, shrinkage XY is their middle")
    if fit.left_out:
        said.append(f"left out: {', '.join(fit.left_out)}")
    if fit.outliers:
        said.append(f"{len(fit.outliers)} outliers kept, see the fit's report")
    return "; ".join(filter(None, said))
