"""Our own wall check on the coupon: only the ladder is thin, and thin where it is meant to be."""

from __future__ import annotations

from functools import cache

import pytest

from shrinkrule.coupon import Coupon, CouponPlan, design_coupon
from shrinkrule.furnace import BoxFurnace, CrucibleFurnace, Furnace
from shrinkrule.printer import Printer
from shrinkrule.sheet import Setting
from shrinkrule.walls import FindingKind, WallReport, check_walls

THIN = {FindingKind.THIN_WALL, FindingKind.SINGLE_BEAD, FindingKind.THIN_FLOOR}


FINE = (Printer.from_nozzle(0.4), CrucibleFurnace(60.0, 22.0))
COARSE = (Printer.from_nozzle(0.8), BoxFurnace(120.0, 120.0, 80.0))


@cache
def checked(printer: Printer, furnace: Furnace) -> tuple[Coupon, dict[str, WallReport]]:
    """A coupon, and what the wall check says of each of its pieces."""
    coupon = design_coupon(CouponPlan(printer, furnace))
    return coupon, {piece.name: check_walls(piece.mesh, printer) for piece in coupon.pieces}


@pytest.mark.parametrize(("printer", "furnace"), [FINE, COARSE], ids=["0.4", "0.8"])
def test_only_the_ladder_is_thin_and_nothing_is_thick(printer: Printer, furnace: Furnace) -> None:
    _, reports = checked(printer, furnace)
    assert "ladder" in reports
    for name, report in reports.items():
        assert report.trusted
        assert report.thickest_mm < 8.0  # a section that binder leaves as it leaves a part's
        found = [finding for finding in report.findings if finding.kind in THIN]
        if name != "ladder":
            assert found == []
            continue
        walls = [f.smallest_mm for f in found if f.kind is FindingKind.THIN_WALL]
        floors = [f.smallest_mm for f in found if f.kind is FindingKind.THIN_FLOOR]
        # The thinnest wall of the sheet, rounded to 0.01 mm there; the ball is a lower bound.
        assert min(walls) == pytest.approx(0.75 * printer.bead_width_mm, abs=0.011)
        assert min(floors) == pytest.approx(2.0 * printer.layer_height_mm, abs=0.011)


@pytest.mark.parametrize(
    ("printer", "furnace"),
    [
        (Printer.from_nozzle(0.6), CrucibleFurnace(100.0, 60.0)),
        FINE,
        COARSE,
        (Printer.from_nozzle(0.6, 0.72, 0.35), BoxFurnace(80.0, 60.0, 24.0)),
    ],
)
def test_the_sheet_tells_the_thickest_section(printer: Printer, furnace: Furnace) -> None:
    """The design's closed form against the largest ball that our check finds in the mesh.

    Samples lie half a bead apart, so the largest one seen is a little smaller than the largest
    there is.
    """
    coupon, reports = checked(printer, furnace)
    measured = max(report.thickest_mm for report in reports.values())
    (told,) = [line.nominal for line in coupon.lines if line.id == Setting.THICKEST_SECTION]
    assert told == pytest.approx(measured, rel=0.01)
