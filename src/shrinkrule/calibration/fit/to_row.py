"""From a fit to the row of the table that compensation draws on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import hypot, inf
from typing import Final

import numpy as np

from shrinkrule.calibration.fit.result import AxisResult, FitResult
from shrinkrule.calibration.statistics.few_firings import informed
from shrinkrule.calibration.statistics.firings import FiringScatter, firing_scatter
from shrinkrule.calibration.table.evidence import Evidence
from shrinkrule.calibration.table.row import CalibrationRow
from shrinkrule.errors import SheetError
from shrinkrule.physics.estimate import Estimate
from shrinkrule.physics.interval import LengthEffect, Scatter

LEAST_OWN_SHARE: Final = 0.5
"""Share of the residual variance that is the part's own at least, however coarse the caliper: a
difference of two estimates, neither of them sure."""


@dataclass(frozen=True)
class _Axis:
    """One axis in the terms of a row: fractions of the green size, and mm."""

    shrinkage: Estimate
    scatter: float
    effect: LengthEffect
    dof: float


def row_from_fit(
    fit: FitResult, name: str, note: str = "", evidence: tuple[Evidence, ...] = ()
) -> CalibrationRow:
    """Build the table's row of a fit.

    Parameters
    ----------
    fit : FitResult
        The fit of the coupons.
    name : str
        What the row is to be called.
    note : str
        A word of the maker's own.
    evidence : tuple of Evidence
        The sheets, as :func:`~shrinkrule.calibration.evidence_of` names them.

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
    if not any(s.material for s in settings):
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
    return replace(
        measured_row(fit),
        name=name,
        note=_note(fit, note),
        evidence=evidence,
        left_out=fit.left_out,
    )


def measured_row(fit: FitResult, more_firings: int = 0) -> CalibrationRow:
    """Row of all that a fit knows, without a name of its own.

    Parameters
    ----------
    fit : FitResult
        The fit of the coupons.
    more_firings : int
        Further coupons, each in a firing of its own, that are to scatter like these.

    Returns
    -------
    CalibrationRow
        The row.
    """
    settings = [sheet.settings for sheet in fit.sheets]
    xy, z = _axis(fit.xy), _axis(fit.z)
    parts = _parts(fit, more_firings)
    sag, printing = fit.sag, fit.printing
    spread = 2.0 * printing.next_bead.u * (1.0 - xy.shrinkage.value)
    return CalibrationRow(
        name="",
        material=next((s.material for s in settings if s.material), ""),
        process=next((s.process for s in settings if s.process), ""),
        shrinkage_xy=xy.shrinkage,
        shrinkage_z=z.shrinkage,
        scatter_xy=xy.scatter,
        scatter_z=z.scatter,
        degrees_of_freedom=min(xy.dof, z.dof),
        firing_scatter_known=fit.knows_firings,
        longest_xy_mm=fit.xy.lengths.longest_mm,
        longest_z_mm=fit.z.lengths.longest_mm,
        relative_density=fit.relative_density,
        metal_fraction=fit.metal_fraction,
        metal_density_g_cm3=next((s.metal_density for s in settings if s.metal_density), None),
        metal_mass_share=next((s.metal_mass_share for s in settings if s.metal_mass_share), None),
        bead_offset_mm=replace(printing.bead, dof=inf),
        sag_modulus_kpa=None
        if sag is None
        else Estimate(sag.modulus_kpa, sag.next_u_kpa, sag.next_dof),
        coupons=fit.coupons,
        firings=len(fit.firings),
        date=max(s.date for s in settings),
        residual_xy_mm=hypot(_of_the_part(fit, fit.xy, 0), spread),
        residual_z_mm=_of_the_part(fit, fit.z, 1),
        residual_dof=fit.from_model.residual_dof,
        length_effect_xy=xy.effect,
        length_effect_z=z.effect,
        shrinkage_x=fit.x.shrinkage,
        shrinkage_y=fit.y.shrinkage,
        print_scale_x=replace(printing.scales[0], dof=inf),
        print_scale_y=replace(printing.scales[1], dof=inf),
        print_scale_z=replace(printing.scales[2], dof=inf),
        parts_x=parts[0],
        parts_y=parts[1],
        parts_z=parts[2],
        first_layer_mm=printing.next_first_layer,
        bore_offset_mm=printing.next_bore,
        bore_curve_mm=printing.next_bore_curve,
        bore_at_mm=None if printing.next_bore_curve is None else printing.bore_at_mm,
        thickest_section_mm=_thickest(fit),
        nozzle_mm=_common(s.nozzle for s in settings),
        bead_width_mm=_common(s.bead_width for s in settings),
        layer_height_mm=_common(s.layer_height for s in settings),
        first_layer_height_mm=_common(s.first_layer for s in settings),
        walls=fit.walls,
        floors=fit.floors,
    )


def _thickest(fit: FitResult) -> float | None:
    """Thickest section known to debind: the row rests on coupons that lost their binder."""
    sections = [sheet.settings.thickest_section for sheet in fit.sheets]
    return max((section for section in sections if section is not None), default=None)


def _common(sizes: Iterable[float | None]) -> float | None:
    """What all coupons were printed with, where the sheets that state it agree."""
    stated = {size for size in sizes if size is not None}
    return stated.pop() if len(stated) == 1 else None


def _of_the_part(fit: FitResult, axis: AxisResult, number: int) -> float:
    """What one fired length strays by itself, without the errors of reading it, mm."""
    variance = fit.from_model.residual_sd[number] ** 2
    reading = axis.lengths.fired_variance(fit.caliper.variance)
    return float(np.sqrt(max(variance - reading, LEAST_OWN_SHARE * variance)))


def _axis(axis: AxisResult) -> _Axis:
    """One axis of a fit in the terms of a row."""
    fit, at = axis.fit, axis.fit.centre_mm
    scatter = axis.scatter
    # The reading errors of the coupons' lines stay in it: without them, two coupons that happen to
    # agree would promise parts that never differ.
    own = float(scatter.next_part_variance)
    shrinkage = Estimate(axis.shrinkage.value, hypot(axis.shrinkage.u, axis.half_difference))
    # An intercept that the data do not show is left out of the line, and what may be there of it
    # stays in the interval.
    kept = float(fit.fired_mm(0.0)) if bool(fit.has_intercept) else 0.0
    return _Axis(
        shrinkage=shrinkage,
        scatter=float(np.sqrt(own)),
        effect=LengthEffect(Estimate(kept, float(fit.intercept.u)), at),
        dof=scatter.equivalent_dof if scatter.coupons > 1 else float(fit.residual_dof),
    )


def _parts(fit: FitResult, more_firings: int) -> tuple[Scatter, ...]:
    """How parts differ along each axis from model to fired, as shares of the green length.

    Fired over green of each coupon times its green over model: reading errors of green lengths
    are in both and cancel, and so the product scatters by less than its two factors do.
    """
    axes, line_u = (fit.x, fit.y, fit.z), fit.from_model.coupon_scale_u
    scatters = []
    for number, axis in enumerate(axes):
        at = axis.fit.centre_mm
        printed = 1.0 + fit.printing.scale_by_coupon[:, number]
        values = axis.fit.lines.at(at) / at * printed / printed.mean()
        scatter = firing_scatter(values, fit.firing)
        scatters.append(scatter.with_more_firings(more_firings) if more_firings else scatter)
    known = informed(scatters, [u**2 for u in line_u], fit.from_model.residual_dof)
    return tuple(
        _scatter(scatter, axis.shrinkage.u, line)
        for scatter, axis, line in zip(known, axes, line_u, strict=True)
    )


def _scatter(scatter: FiringScatter, mean_u: float, line: float) -> Scatter:
    """Scatter of one axis in the terms of a row; ``mean_u`` where a single coupon tells none."""
    within = float(scatter.part_mean_square)
    if scatter.firings > 1:
        within *= 1.0 - 1.0 / scatter.coupons_per_firing
    return Scatter(
        mean_u=float(np.sqrt(scatter.mean_variance)) if scatter.coupons > 1 else mean_u,
        between=float(np.sqrt(scatter.firing_mean_square)),
        within=float(np.sqrt(within)),
        dof=max(float(scatter.mean_dof), 1.0),
        line=line if scatter.firings > 1 else 0.0,
    )


def _note(fit: FitResult, own: str) -> str:
    """The row's note: the maker's own words, and what a reader of the row must know."""
    said = [own]
    if fit.left_out:
        said.append(f"left out: {', '.join(fit.left_out)}")
    if fit.outliers:
        said.append(f"{len(fit.outliers)} outliers kept, see the fit's report")
    if fit.slips_weigh:
        said.append(fit.slips_not_told or "")
    return "; ".join(filter(None, said))
