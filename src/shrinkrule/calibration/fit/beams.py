"""Beams of a measured coupon as they were when fired: span, depth, drop and density.

Bars fired without their block give a modulus too: their own thicknesses tell spread and
shrinkage, and the filament's metal, which stays, tells the density.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from statistics import fmean, stdev
from typing import Final

import numpy as np

from shrinkrule.calibration.fit.balance import volume_fraction
from shrinkrule.calibration.fit.sag import Beam, SagFit, fit_sag
from shrinkrule.calibration.sheets.sheet import BEAM_KINDS, Reading, Sheet
from shrinkrule.errors import SheetError
from shrinkrule.physics.beam import Support
from shrinkrule.physics.estimate import Estimate
from shrinkrule.sheet import Kind

SAME_MM: Final = 0.011
"""A length measures a beam's depth if its nominal is the beam's: both are rounded to 0.01 mm."""


BAR_LENGTH_SD_MM: Final = 0.02
"""Standard deviation of one fired length where no block shows it (common practice, no source)."""


@dataclass(frozen=True)
class FiredCoupon:
    """What the lengths and weights of a coupon say about its beams.

    Parameters
    ----------
    number : int
        Number of the coupon.
    kept : float
        Fired over green length in XY.
    bead : Estimate
        Bead spread per surface, mm.
    length_sd_mm : float
        Standard deviation of one fired length about its line.
    density_g_cm3 : float
        Fired density.
    """

    number: int
    kept: float
    bead: Estimate
    length_sd_mm: float
    density_g_cm3: float


def beams_of(sheet: Sheet, coupon: FiredCoupon) -> tuple[Beam, ...]:
    """Beams of one sheet; those that were not measured or are remarked on come refused.

    Parameters
    ----------
    sheet : Sheet
        The measured sheet.
    coupon : FiredCoupon
        What its lengths and weights say.

    Returns
    -------
    tuple of Beam
        The beams as fired.
    """
    lines = sheet.of_kind(*BEAM_KINDS)
    return tuple(_beam(sheet, line, coupon) for line in lines if line.fired or line.remark)


def _beam(sheet: Sheet, line: Reading, coupon: FiredCoupon) -> Beam:
    """One beam of a sheet as it was fired."""
    spread = 2.0 * coupon.bead.value
    is_bridge = line.kind is Kind.BRIDGE
    # Both ends of a bridge print into its span; an arm's post and its tip move alike.
    span = ((line.nominal or 0.0) - (spread if is_bridge else 0.0)) * coupon.kept
    depth, depth_u = _depth(sheet, line, coupon)
    drop, drop_u, refused = 0.0, 0.0, line.remark
    if not refused:
        drop, drop_u = _drop(sheet, line)
        if drop <= 0.0:
            refused = "it did not drop"
    if not line.nominal or not line.thickness:
        refused = refused or "its span or thickness is missing on the sheet"
    return Beam(
        id=line.id,
        coupon=coupon.number,
        support=Support.BOTH_BUILT_IN if is_bridge else Support.ONE_BUILT_IN,
        span_mm=span,
        depth_mm=depth,
        drop_mm=drop,
        drop_u_mm=drop_u,
        depth_u_mm=depth_u,
        density_g_cm3=coupon.density_g_cm3,
        refused=refused,
    )


def _depth(sheet: Sheet, line: Reading, coupon: FiredCoupon) -> tuple[float, float]:
    """Fired depth and its uncertainty: measured where a line of that size is, else computed."""
    thickness = line.thickness or 0.0
    for other in sheet.of_kind(Kind.OUTSIDE):
        same = other.nominal is not None and abs(other.nominal - thickness) < SAME_MM
        if same and other.fired:
            return fmean(other.fired), coupon.length_sd_mm
    computed = (thickness + 2.0 * coupon.bead.value) * coupon.kept
    return computed, hypot(2.0 * coupon.bead.u, 2.0 * coupon.length_sd_mm)


def _drop(sheet: Sheet, line: Reading) -> tuple[float, float]:
    """Drop from before to after firing, and its uncertainty."""
    step = sheet.settings.gauge_resolution / sqrt(12.0)
    variance = 0.0
    for values in filter(None, (line.green, line.fired)):
        repeat = stdev(values) / sqrt(len(values)) if len(values) > 1 else 0.0
        variance += max(step, repeat) ** 2
    before = fmean(line.green) if line.green else 0.0
    return fmean(line.fired) - before, sqrt(variance)


def fit_bars(sheets: Sequence[Sheet]) -> SagFit:
    """Fit the sag modulus of bars whose block was not fired or not measured.

    Parameters
    ----------
    sheets : sequence of Sheet
        Sheets without lengths of a block, one for each coupon.

    Returns
    -------
    SagFit
        The modulus.

    Raises
    ------
    SheetError
        If thicknesses or the filament's densities are missing, so that the weight of the beams
        is not known, or no drop can be used.

    Source: conservation of metal, ``density = filament density of metal / kept volume``; Z is
    taken to shrink as the thicknesses do.
    """
    beams: list[Beam] = []
    for number, sheet in enumerate(sheets):
        beams += beams_of(sheet, _bars_coupon(sheet, number))
    names = [sheet.settings.firing for sheet in sheets]
    known = list(dict.fromkeys(names))
    fit = fit_sag(tuple(beams), np.array([known.index(name) for name in names], dtype=np.int64))
    if fit is None:
        raise SheetError(
            "neither lengths of a block nor drops that can be used are on it",
            where=sheets[0].where,
            hint="measure the block's lengths, or the drops of the bars",
        )
    return fit


def _bars_coupon(sheet: Sheet, number: int) -> FiredCoupon:
    """What the bars' own thicknesses and the filament say about them."""
    thick = [r for r in sheet.of_kind(Kind.OUTSIDE) if r.is_length and r.nominal]
    settings = sheet.settings
    share, metal, binder = (
        settings.metal_mass_share,
        settings.metal_density,
        settings.binder_density,
    )
    if not thick:
        raise SheetError(
            "no length of a block and no thickness of a beam is measured both times",
            where=sheet.where,
            hint="measure the block's lengths, or T1 and T2 green and fired",
        )
    if share is None or metal is None or binder is None:
        raise SheetError(
            "bars without a block have no density: lines S6, S7 and S8 are not all filled in",
            where=sheet.where,
            hint="write the densities of metal and binder and the metal's share by mass",
        )
    kept = fmean(fmean(r.fired) / fmean(r.green) for r in thick)
    spread = fmean(fmean(r.green) - (r.nominal or 0.0) for r in thick) / 2.0
    step = settings.caliper_resolution / sqrt(12.0)
    return FiredCoupon(
        number=number,
        kept=kept,
        bead=Estimate(spread, step / 2.0),
        length_sd_mm=max(step, BAR_LENGTH_SD_MM),
        density_g_cm3=metal * volume_fraction(share, metal, binder) / kept**3,
    )
