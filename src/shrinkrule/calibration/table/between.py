"""Shrinkage at a density between calibrated ones.

Between two rows of one material and process, ``log(1 - s)`` runs straight against
``log(relative density)``. Conservation of metal reads
``2 log(1 - s_xy) + log(1 - s_z) = log(metal fraction) - log(relative density)``,
which is linear in the same terms, so a row between two balanced rows is balanced.
"""

from __future__ import annotations

import math
from dataclasses import replace
from enum import StrEnum

from shrinkrule.calibration.table.row import Axis, CalibrationRow
from shrinkrule.errors import Option, TableError
from shrinkrule.physics.estimate import Estimate
from shrinkrule.physics.interval import LengthEffect, Scatter


class Beyond(StrEnum):
    """What to do with a density outside the calibrated ones."""

    REFUSE = "refuse"
    EXTRAPOLATE = "extrapolate"


def row_at_density(
    rows: tuple[CalibrationRow, ...],
    like: CalibrationRow,
    density: float,
    beyond: Beyond = Beyond.REFUSE,
) -> CalibrationRow:
    """Row for ``density``, from the rows of the same material and process as ``like``.

    Parameters
    ----------
    rows : tuple of CalibrationRow
        The table.
    like : CalibrationRow
        Says which material and process.
    density : float
        Relative sintered density aimed at, as a fraction.
    beyond : Beyond
        What to do outside the calibrated densities.

    Returns
    -------
    CalibrationRow
        The row at that density, or between its neighbours.

    Raises
    ------
    TableError
        If fewer than two densities are calibrated, or ``density`` lies outside them and
        ``beyond`` refuses.
    """
    known = {
        row.relative_density.value: row
        for row in rows
        if (row.material, row.process) == (like.material, like.process)
        and row.relative_density is not None
        and not row.replaced
    }
    what = f"{like.material} / {like.process}" if like.process else like.material
    if density in known:
        return known[density]
    if not 0.3 < density <= 1.0:
        raise TableError(
            f"{density:g} is no relative density", where=what, hint="give a fraction, as 0.90"
        )
    if len(known) < 2:
        raise TableError(
            f"{len(known)} density is calibrated, two are needed to go between",
            where=what,
            hint="fire a coupon to another density, or take a row as it is",
            options=(Option.DENSITY,),
        )
    densities = sorted(known)
    if not densities[0] <= density <= densities[-1] and beyond is Beyond.REFUSE:
        raise TableError(
            f"relative density {density:g} lies outside the calibrated "
            f"{densities[0]:g} to {densities[-1]:g}",
            where=what,
            hint="fire a coupon there, or extrapolate and see the report's warning",
            options=(Option.EXTRAPOLATE,),
        )
    upper = next((i for i, d in enumerate(densities) if d >= density), len(densities) - 1)
    upper = max(upper, 1)
    low, high = known[densities[upper - 1]], known[densities[upper]]
    return _between(low, high, densities[upper - 1], densities[upper], density)


def _between(
    low: CalibrationRow, high: CalibrationRow, at_low: float, at_high: float, density: float
) -> CalibrationRow:
    """Row at a density on the line through two rows in logarithms."""
    weight = math.log(density / at_low) / math.log(at_high / at_low)
    outside = not 0.0 <= weight <= 1.0
    origin = (
        f"{'EXTRAPOLATED' if outside else 'interpolated'} from {low.name!r} "
        f"({100 * at_low:g} %) and {high.name!r} ({100 * at_high:g} %)"
    )
    both_known = low.firing_scatter_known and high.firing_scatter_known
    bent_xy, bent_z = low.length_effect_xy, low.length_effect_z
    at = _same(low.bore_at_mm, high.bore_at_mm)
    return replace(
        low,
        extrapolated=outside,
        name=f"{low.material} at {100 * density:g} %",
        shrinkage_xy=_shrinkage(low.shrinkage_xy, high.shrinkage_xy, low, high, weight),
        shrinkage_z=_shrinkage(low.shrinkage_z, high.shrinkage_z, low, high, weight),
        # Scatter has no law to follow between densities: the larger is the honest one.
        scatter_xy=max(low.scatter_xy, high.scatter_xy),
        scatter_z=max(low.scatter_z, high.scatter_z),
        degrees_of_freedom=min(low.degrees_of_freedom, high.degrees_of_freedom),
        firing_scatter_known=both_known,
        longest_xy_mm=min(low.longest_xy_mm, high.longest_xy_mm),
        longest_z_mm=min(low.longest_z_mm, high.longest_z_mm),
        relative_density=Estimate(density, 0.0),
        metal_fraction=_positive(low.metal_fraction, high.metal_fraction, weight),
        # What single lengths scatter by has no law between densities either.
        residual_xy_mm=_larger(low.residual_xy_mm, high.residual_xy_mm),
        residual_z_mm=_larger(low.residual_z_mm, high.residual_z_mm),
        residual_dof=min(low.residual_dof, high.residual_dof),
        length_effect_xy=_effect(bent_xy, high.length_effect_xy, weight),
        length_effect_z=_effect(bent_z, high.length_effect_z, weight),
        shrinkage_x=_either(low, high, "x", weight),
        shrinkage_y=_either(low, high, "y", weight),
        print_scale_x=_plain(low.print_scale_x, high.print_scale_x, weight),
        print_scale_y=_plain(low.print_scale_y, high.print_scale_y, weight),
        print_scale_z=_plain(low.print_scale_z, high.print_scale_z, weight),
        parts_x=_parts(low, high, "x", weight),
        parts_y=_parts(low, high, "y", weight),
        parts_z=_parts(low, high, "z", weight),
        first_layer_mm=_plain(low.first_layer_mm, high.first_layer_mm, weight),
        bore_offset_mm=_plain(low.bore_offset_mm, high.bore_offset_mm, weight),
        bore_curve_mm=None if at is None else _plain(low.bore_curve_mm, high.bore_curve_mm, weight),
        bore_at_mm=at,
        thickest_section_mm=_smaller(low.thickest_section_mm, high.thickest_section_mm),
        nozzle_mm=_same(low.nozzle_mm, high.nozzle_mm),
        bead_width_mm=_same(low.bead_width_mm, high.bead_width_mm),
        layer_height_mm=_same(low.layer_height_mm, high.layer_height_mm),
        first_layer_height_mm=_same(low.first_layer_height_mm, high.first_layer_height_mm),
        walls=None if not (low.walls and high.walls) else low.walls.with_other(high.walls),
        floors=None if not (low.floors and high.floors) else low.floors.with_other(high.floors),
        # Neither row's sheets are those of a row between them.
        evidence=(),
        left_out=(),
        bead_offset_mm=_plain(low.bead_offset_mm, high.bead_offset_mm, weight),
        sag_modulus_kpa=_positive(low.sag_modulus_kpa, high.sag_modulus_kpa, weight),
        coupons=low.coupons + high.coupons,
        firings=low.firings + high.firings,
        date=max(low.date, high.date),
        note="; ".join(filter(None, (origin, _cannot(low, high), low.note))),
    )


def _cannot(low: CalibrationRow, high: CalibrationRow) -> str:
    """What only one of two rows knows, and the row between them therefore does not."""
    facts = (
        ("X apart from Y", low.shrinkage_x, high.shrinkage_x),
        ("the printer's axis errors", low.print_scale_x, high.print_scale_x),
        ("the first layer", low.first_layer_mm, high.first_layer_mm),
        ("round holes", low.bore_offset_mm, high.bore_offset_mm),
        ("a shrinkage of Z that changes with length", low.length_effect_z, high.length_effect_z),
    )
    lost = [words for words, here, there in facts if (here is None) != (there is None)]
    said = [f"only one of both rows knows {', '.join(lost)}"] if lost else []
    if None not in (low.nozzle_mm, high.nozzle_mm) and low.nozzle_mm != high.nozzle_mm:
        said.append(f"printed with nozzles of {low.nozzle_mm:g} and {high.nozzle_mm:g} mm")
    return "; ".join(said)


def _either(
    low: CalibrationRow, high: CalibrationRow, axis: Axis, weight: float
) -> Estimate | None:
    """Shrinkage along X or Y, where either row knows it; the other stands with that of XY."""
    if low.shrinkage_x is None and high.shrinkage_x is None:
        return None
    return _shrinkage(low.along(axis).shrinkage, high.along(axis).shrinkage, low, high, weight)


def _parts(low: CalibrationRow, high: CalibrationRow, axis: Axis, weight: float) -> Scatter | None:
    """How parts differ: the mean on the line through both, the rest no surer than the worse row."""
    if low.parts_x is None and high.parts_x is None:
        return None
    first, second = low.along(axis), high.along(axis)
    mean = _shrinkage(
        replace(first.shrinkage, u=first.scatter.mean_u),
        replace(second.shrinkage, u=second.scatter.mean_u),
        low,
        high,
        weight,
    )
    return Scatter(
        mean_u=mean.u,
        between=max(first.scatter.between, second.scatter.between),
        within=max(first.scatter.within, second.scatter.within),
        dof=min(first.scatter.dof, second.scatter.dof),
        # Taken off the residual, so the smaller is the honest one.
        line=min(first.scatter.line, second.scatter.line),
    )


def _effect(
    low: LengthEffect | None, high: LengthEffect | None, weight: float
) -> LengthEffect | None:
    """Length effect on the straight line between two, if both rows know theirs."""
    if low is None or high is None:
        return None
    intercept = _plain(low.intercept_mm, high.intercept_mm, weight) or low.intercept_mm
    # There is no law for it: half of what the two differ by stays unsure.
    apart = 0.5 * abs(low.intercept_mm.value - high.intercept_mm.value)
    return LengthEffect(
        replace(intercept, u=math.hypot(intercept.u, apart)),
        (1.0 - weight) * low.centre_mm + weight * high.centre_mm
        if 0.0 <= weight <= 1.0
        else low.centre_mm,
    )


def _larger(low: float, high: float) -> float:
    """The larger residual; not known where one row does not know it."""
    return max(low, high) if low > 0.0 and high > 0.0 else 0.0


def _same(low: float | None, high: float | None) -> float | None:
    """What both rows were printed with, if it is the same."""
    return low if low == high else None


def _smaller(low: float | None, high: float | None) -> float | None:
    """Section that binder left at both densities."""
    return None if low is None or high is None else min(low, high)


def _shrinkage(
    at_low: Estimate, at_high: Estimate, low: CalibrationRow, high: CalibrationRow, weight: float
) -> Estimate:
    """Between two shrinkages, with the uncertainty of both and of their densities."""
    keeps = (1 - at_low.value) ** (1 - weight) * (1 - at_high.value) ** weight
    u_low, density_low = at_low.u / (1 - at_low.value), low.relative_density
    u_high, density_high = at_high.u / (1 - at_high.value), high.relative_density
    if density_low is not None and density_high is not None:
        slope = math.log((1 - at_high.value) / (1 - at_low.value)) / math.log(
            density_high.value / density_low.value
        )
        u_low = math.hypot(u_low, slope * density_low.u / density_low.value)
        u_high = math.hypot(u_high, slope * density_high.u / density_high.value)
    return Estimate(1 - keeps, keeps * math.hypot((1 - weight) * u_low, weight * u_high))


def _positive(low: Estimate | None, high: Estimate | None, weight: float) -> Estimate | None:
    """Estimate on the line between the logarithms of two, if both are known."""
    if low is None or high is None:
        return None
    value = low.value ** (1 - weight) * high.value**weight
    relative_u = math.hypot((1 - weight) * low.u / low.value, weight * high.u / high.value)
    return Estimate(value, value * relative_u, min(low.dof, high.dof))


def _plain(low: Estimate | None, high: Estimate | None, weight: float) -> Estimate | None:
    """Estimate on the straight line between two, if both are known."""
    if low is None or high is None:
        return None
    value = (1 - weight) * low.value + weight * high.value
    u = math.hypot((1 - weight) * low.u, weight * high.u)
    return Estimate(value, u, min(low.dof, high.dof))
