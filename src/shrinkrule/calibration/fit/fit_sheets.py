"""The fit: from measured coupons to shrinkage, spread, scatter, densities and sag modulus."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import fmean
from typing import Final

import numpy as np

from shrinkrule.calibration.fit.axis import (
    DIFFERENCE_CONFIDENCE,
    axis_difference,
    fit_axis,
    mean_of_axes,
)
from shrinkrule.calibration.fit.balance import VOLUME_U, Balance, Weights, weigh
from shrinkrule.calibration.fit.beams import FiredCoupon, beams_of
from shrinkrule.calibration.fit.lengths import (
    Caliper,
    caliper_of,
    firing_numbers,
    firing_order,
    lengths_along,
)
from shrinkrule.calibration.fit.notes import fit_notes
from shrinkrule.calibration.fit.outliers import (
    FEW,
    SlipSearch,
    find_outliers,
    find_slips,
    has_few,
)
from shrinkrule.calibration.fit.printing import PrintingFit, fit_printing
from shrinkrule.calibration.fit.result import (
    AxisResult,
    FitResult,
    NamedOutlier,
    judged_together,
)
from shrinkrule.calibration.fit.sag import Beam, SagFit, fit_sag
from shrinkrule.calibration.fit.zero import axes_or_zero, caliper_zero, without_zero
from shrinkrule.calibration.sheets.join import joined
from shrinkrule.calibration.sheets.sheet import Sheet
from shrinkrule.calibration.statistics.drift import drift_of
from shrinkrule.calibration.table.ladder import Ladder
from shrinkrule.errors import Option, SheetError
from shrinkrule.numerics.arrays import Ints, Mask
from shrinkrule.physics.estimate import Estimate
from shrinkrule.sheet import Kind

SIDE_PER_VOLUME: Final = (0.4, 0.15)
"""Side surface over volume, per mm, and its uncertainty, for a sheet that does not state it."""


def fit_sheets(
    sheets: Sequence[Sheet], leave_out: Sequence[str] = (), pool_printers: bool = False
) -> FitResult:
    """Fit the sheets of one material in one process.

    Parameters
    ----------
    sheets : sequence of Sheet
        One for each coupon in each firing; sheets of one coupon's other loads join its block's.
    leave_out : sequence of str
        Lengths or beams not to use: ``X3`` on every coupon, ``2:X3`` on coupon 2;
        ``2@7`` all of coupon 2 of firing 7.
    pool_printers : bool
        Fit coupons of different nozzles, beads or layers together.

    Returns
    -------
    FitResult
        The fit, with its notes.

    Raises
    ------
    SheetError
        If there is no sheet, the materials or the nozzles, beads and layers differ, firings are
        not named, something left out is not there, or an axis of a coupon has too few lengths.
    """
    used = joined(_without(tuple(sheets), leave_out))
    _require_one_material(used)
    if not pool_printers:
        _require_one_printer(used)
    result = _fitted(used, tuple(leave_out))
    zero = caliper_zero(result.printing, result.from_model)
    if zero is not None:
        result = replace(
            _fitted(without_zero(used, zero.value), tuple(leave_out)), zero_taken_off=zero
        )
    return replace(result, notes=fit_notes(result))


def _fitted(used: tuple[Sheet, ...], leave_out: tuple[str, ...]) -> FitResult:
    """The fit of sheets as they are, without its notes."""
    firings, firing = firing_numbers(used)
    caliper = caliper_of(used)
    together, z = (_axis(used, axes, firing, caliper) for axes in ("xy", "z"))
    bent = together.fit.has_intercept
    x, y = (_axis(used, axes, firing, caliper, bent) for axes in ("x", "y"))
    lengths = x.lengths, y.lengths, z.lengths
    green_variance = together.lengths.green_variance(caliper.least_variance)
    parts = _parts_of(used)
    printing = fit_printing(lengths, reading_variance=green_variance, parts=parts)
    without = fit_printing(
        lengths, reading_variance=green_variance, zero_is_right=True, parts=parts
    )
    fired_variance = together.lengths.fired_variance(caliper.least_variance)
    from_model = fit_printing(lengths, fired=True, reading_variance=fired_variance, parts=parts)
    difference = axis_difference(x.fit, y.fit)
    differ = bool(difference.is_significant(DIFFERENCE_CONFIDENCE))
    xy = together
    if differ:
        half = 0.5 * abs(float(difference.value))
        xy = replace(together, fit=mean_of_axes(x.fit, y.fit), half_difference=half)
    (x, y, z), (xy, _) = judged_together((x, y, z)), judged_together((xy, z))
    search = find_slips(lengths) if has_few(lengths) else None
    balances = tuple(
        weigh(_weights(sheet, number, (x, y, z), printing)) for number, sheet in enumerate(used)
    )
    order = firing_order(used, firings, firing)
    drifts = {
        axis.name: drift_of(axis.shrinkage_by_coupon, firing, order, DIFFERENCE_CONFIDENCE)
        for axis in (xy, z)
    }
    return FitResult(
        sheets=used,
        firings=firings,
        firing=firing,
        x=x,
        y=y,
        xy=xy,
        z=z,
        printing=printing,
        from_model=from_model,
        xy_difference=difference,
        axes_differ=differ,
        caliper=caliper,
        # Each axis by its own line: coupons whose X and Y differ would make the longest lengths
        # look like slips against a line of both.
        outliers=_outliers(used, (x, y, z), firing, search),
        slip_search=search,
        left_out=leave_out,
        balances=balances,
        relative_density=_mean([balance.relative_density for balance in balances]),
        metal_fraction=_mean([balance.metal_fraction for balance in balances]),
        sag=_sag(used, xy, printing.bead, balances),
        walls=_ladder(used, Kind.WALL),
        floors=_ladder(used, Kind.FLOOR),
        axes_or_zero=axes_or_zero(printing, without),
        drifts={name: drift for name, drift in drifts.items() if drift is not None},
    )


def _parts_of(sheets: tuple[Sheet, ...]) -> Mask | None:
    """Which sheets are of parts that were fired along; None where all are or none is."""
    parts = np.array([bool(sheet.parts) for sheet in sheets])
    return parts if parts.any() and not parts.all() else None


def _without(sheets: tuple[Sheet, ...], leave_out: Sequence[str]) -> tuple[Sheet, ...]:
    """The sheets without the lengths and beams to leave out."""
    unused = {name.upper() for name in leave_out}
    kept = []
    for sheet in sheets:
        coupon = sheet.settings.coupon.upper()
        whole = f"{coupon}@{sheet.settings.firing}".upper()
        if whole in {name.upper() for name in leave_out}:
            unused.discard(whole)
            continue
        marks = {r.id: {r.id, f"{coupon}:{r.id}"} for r in sheet.readings}
        wanted = {name.upper() for name in leave_out}
        kept.append(
            replace(sheet, readings=tuple(r for r in sheet.readings if not marks[r.id] & wanted))
        )
        unused -= set().union(*marks.values())
    if unused:
        raise SheetError(
            f"{sorted(unused)[0]} is on no sheet, so it cannot be left out",
            hint="name a line by its id as X3, or of one coupon as 2:X3",
        )
    return tuple(kept)


def _require_one_material(sheets: tuple[Sheet, ...]) -> None:
    """Refuse sheets of different materials or processes."""
    if not sheets:
        raise SheetError("there is no sheet", hint="name at least one filled measuring sheet")
    for what in ("material", "process"):
        named = {getattr(s.settings, what) for s in sheets} - {""}
        if len(named) > 1:
            raise SheetError(
                f"the sheets are of different {what}: {', '.join(sorted(named))}",
                hint="fit each on its own: a row is for one material in one process",
            )


def _require_one_printer(sheets: tuple[Sheet, ...]) -> None:
    """Refuse sheets of coupons that were printed with different nozzles, beads or layers."""
    for what, words in (
        ("nozzle", "nozzles"),
        ("bead_width", "beads"),
        ("layer_height", "layers"),
        ("first_layer", "first layers"),
    ):
        sizes = {getattr(sheet.settings, what) for sheet in sheets} - {None}
        if len(sizes) > 1:
            shown = ", ".join(f"{size:g}" for size in sorted(sizes))
            raise SheetError(
                f"the coupons were printed with {words} of {shown} mm",
                where=sheets[0].where,
                hint="fit each on its own, or all together if you want a row of no one printer",
                options=(Option.POOL,),
            )


def _axis(
    sheets: tuple[Sheet, ...],
    axes: str,
    firing: Ints,
    caliper: Caliper,
    bent: Mask | None = None,
) -> AxisResult:
    """Lengths along one axis or two, and their lines; X and Y are bent where both together are."""
    lengths = lengths_along(sheets, axes)
    fit = fit_axis(
        lengths.green,
        lengths.fired,
        firing,
        lengths.weight,
        lengths.reading_variance(caliper.least_variance),
        bent,
    )
    return AxisResult(axes.upper(), lengths, fit)


def _outliers(
    sheets: tuple[Sheet, ...],
    axes: tuple[AxisResult, ...],
    firing: Ints,
    search: SlipSearch | None,
) -> tuple[NamedOutlier, ...]:
    """Outliers of all axes, largest first, named by file and line."""
    named: dict[tuple[str, str], NamedOutlier] = {}

    def add(
        axis: AxisResult, place: tuple[int, int], off: float, sigmas: float, stage: str = ""
    ) -> None:
        coupon, feature = place
        reading = axis.lengths.readings[coupon][feature]
        where = reading.where or sheets[coupon].where
        outlier = NamedOutlier(where, reading.line, reading.id, off, sigmas, stage)
        named.setdefault((where, reading.id), outlier)

    for slip in () if search is None else search.slips:
        add(axes[slip.axis], (slip.coupon, slip.feature), slip.off_mm, slip.sigmas, slip.stage)
    for axis in axes:
        lengths = axis.lengths
        # What three lengths say against their own line, all coupons together say better.
        if search is not None and float(lengths.weight.sum(axis=1).min()) <= FEW:
            continue
        bent = axis.fit.has_intercept
        for found in find_outliers(lengths.green, lengths.fired, firing, lengths.weight, bent):
            add(axis, (found.coupon, found.feature), found.residual_mm, found.sigmas)
    return tuple(sorted(named.values(), key=lambda outlier: -outlier.sigmas))


def _weights(
    sheet: Sheet,
    number: int,
    axes: tuple[AxisResult, AxisResult, AxisResult],
    printing: PrintingFit,
) -> Weights:
    """Weights of one coupon, with the volume that its lengths give."""
    settings = sheet.settings
    mass = next(iter(sheet.of_kind(Kind.MASS)), None)
    water = next(iter(sheet.of_kind(Kind.MASS_IN_WATER)), None)
    kept, relative = 1.0, 0.0
    for axis in axes:
        at = axis.fit.centre_mm
        ratio = float(axis.fit.lines.at(at)[number]) / at
        unit = float(axis.fit.lines.unit_variance_at(at)[number])
        kept *= ratio
        relative += float(axis.fit.residual_variance) * unit / (ratio * at) ** 2
    return Weights(
        green_g=_first(mass.green if mass else ()),
        debound_g=mass.debound if mass else None,
        fired_g=_first(mass.fired if mass else ()),
        in_water_g=_first(water.fired if water else ()),
        resolution_g=settings.balance_resolution,
        green_volume=_green_volume(sheet, printing, axes[2]),
        kept_volume=Estimate(kept, kept * float(np.sqrt(relative))),
        metal_density=settings.metal_density,
        binder_density=settings.binder_density,
        metal_mass_share=settings.metal_mass_share,
        water_density=settings.water_density,
    )


def _first(values: tuple[float, ...]) -> float | None:
    """Mean of repeated readings, if there are any."""
    return fmean(values) if values else None


def _green_volume(sheet: Sheet, printing: PrintingFit, z: AxisResult) -> Estimate | None:
    """Volume of the weighed piece as printed: the model's, the printer's scale, and the spread."""
    model = sheet.settings.weighed_volume
    if model is None:
        return None
    surface, surface_u = sheet.settings.weighed_surface, 0.0
    if surface is None:
        surface, surface_u = (share * model for share in SIDE_PER_VOLUME)
    spread, high = printing.bead, _height_excess(z)
    wide = (1.0 + printing.scales[0].value) * (1.0 + printing.scales[1].value)
    volume = model * wide * (1.0 + high) + surface * spread.value
    u = np.hypot(surface * spread.u, surface_u * spread.value)
    # Half of what the first layer takes or gives: it acts on the footprint, which is not known.
    return Estimate(volume, float(np.hypot(np.hypot(u, VOLUME_U * volume), 0.5 * high * model)))


def _height_excess(z: AxisResult) -> float:
    """Relative excess of the middle outside height over its model, first layer included."""
    outside = (z.lengths.side > 0.0) & (z.lengths.weight > 0.0)
    if not outside.any():
        return 0.0
    return float(np.median(z.lengths.green[outside] / z.lengths.model[outside])) - 1.0


def _mean(estimates: Sequence[Estimate | None]) -> Estimate | None:
    """Mean over coupons; what they have in common (balance, water, volume) does not average out."""
    known = [estimate for estimate in estimates if estimate is not None]
    if not known:
        return None
    values = np.array([estimate.value for estimate in known])
    common = float(np.sqrt(np.mean([estimate.u**2 for estimate in known])))
    scatter = float(values.std(ddof=1)) / values.size**0.5 if values.size > 1 else 0.0
    return Estimate(float(values.mean()), float(np.hypot(common, scatter)))


def _sag(
    sheets: tuple[Sheet, ...],
    xy: AxisResult,
    spread: Estimate,
    balances: tuple[Balance, ...],
) -> SagFit | None:
    """Sag modulus from the beams of all coupons whose density is known."""
    at = xy.fit.centre_mm
    beams: list[Beam] = []
    for number, (sheet, balance) in enumerate(zip(sheets, balances, strict=True)):
        if balance.density is None:
            continue
        coupon = FiredCoupon(
            number=number,
            kept=float(xy.fit.lines.at(at)[number]) / at,
            bead=spread,
            length_sd_mm=float(np.sqrt(xy.fit.residual_variance)),
            density_g_cm3=balance.density.value,
        )
        beams += beams_of(sheet, coupon)
    return fit_sag(tuple(beams), _beam_firings(sheets))


def _beam_firings(sheets: tuple[Sheet, ...]) -> Ints:
    """Number of the firing of each sheet's bars, which may have been another load."""
    names = [sheet.beam_firing or sheet.settings.firing for sheet in sheets]
    known = list(dict.fromkeys(names))
    return np.array([known.index(name) for name in names], dtype=np.int64)


def _ladder(sheets: tuple[Sheet, ...], kind: Kind) -> Ladder | None:
    """Thinnest step that came out on every coupon, with all thicker ones."""
    came_out: dict[float, list[bool]] = {}
    for sheet in sheets:
        for reading in sheet.of_kind(kind):
            readings = (*reading.green, *reading.fired)
            if reading.nominal is not None and readings:
                came_out.setdefault(reading.nominal, []).append(min(readings) > 0.0)
    if not came_out:
        return None
    missing = max((step for step, seen in came_out.items() if not all(seen)), default=None)
    thinnest = min((step for step in came_out if missing is None or step > missing), default=None)
    return Ladder(thinnest, missing, len(came_out[thinnest]) if thinnest is not None else 0)
