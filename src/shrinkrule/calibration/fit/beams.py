"""Beams of a measured coupon as they were when fired: span, depth, drop and density."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt
from statistics import fmean, stdev
from typing import Final

from shrinkrule.calibration.fit.sag import Beam
from shrinkrule.calibration.sheets.sheet import BEAM_KINDS, Reading, Sheet
from shrinkrule.physics.beam import Support
from shrinkrule.physics.estimate import Estimate
from shrinkrule.sheet import Kind

SAME_MM: Final = 0.011
"""A length measures a beam's depth if its nominal is the beam's: both are rounded to 0.01 mm."""


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
