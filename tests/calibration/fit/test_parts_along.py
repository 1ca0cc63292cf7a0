"""Parts that were fired along are fitted with the coupons' offsets, and teach what they can."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from make_sheets import Truth, filled_sheets

from shrinkrule import fit_sheets, read_sheet, row_from_fit
from shrinkrule.calibration.fit.lengths import why_no_witness
from shrinkrule.calibration.sheets.sheet import PartLine, Sheet
from shrinkrule.sheet import Kind

EXACT = Truth(
    firing_sd=0.0, part_sd=0.0, print_sd_mm=0.0, fired_sd_mm=0.0, caliper_sd_mm=0.0, bead_mm=0.06
)
SPREAD = Truth(firing_sd=0.002, bead_mm=0.06)


def as_part(sheet: Sheet) -> Sheet:
    """Four lengths along each axis of a coupon, no bore among them, as if of a part."""
    kept = [r for r in sheet.readings if r.is_length and r.kind is not Kind.BORE]
    some = [r for axis in "xyz" for r in [one for one in kept if one.axis == axis][:4]]
    settings = replace(sheet.settings, coupon="lever A", layer_height=None)
    line = PartLine("A", "lever", 5000.0, "")
    return replace(sheet, readings=tuple(some), settings=settings, parts=(line,))


def sheets(truth: Truth, folder: Path) -> list[Sheet]:
    """Sheets of four coupons in four firings."""
    found = []
    for (firing, coupon), text in filled_sheets(truth, (1, 1, 1, 1)).items():
        path = folder / f"{firing}-{coupon}.csv"
        path.write_text(text, encoding="utf-8", newline="")
        found.append(read_sheet(path))
    return found


def test_a_parts_axes_are_free_of_the_beads_spread(tmp_path: Path) -> None:
    """Without noise every print has the same axes; spread left in would show as 0.3 % on 40 mm."""
    *coupons, last = sheets(EXACT, tmp_path)
    fit = fit_sheets([*coupons, as_part(last)])
    part, others = fit.printing.scale_by_coupon[-1], fit.printing.scale_by_coupon[:-1]
    assert np.abs(part - others.mean(axis=0)).max() < 4e-4  # readings to 0.01 mm
    assert fit.printing.bead.value == pytest.approx(0.06, abs=0.001)


def test_offsets_are_the_coupons_and_firings_are_all(tmp_path: Path) -> None:
    *coupons, last = sheets(SPREAD, tmp_path)
    alone, together = fit_sheets(coupons), fit_sheets([*coupons, as_part(last)])
    for name in ("bead", "first_layer"):
        before, after = getattr(alone.printing, name), getattr(together.printing, name)
        assert after.value == pytest.approx(before.value, abs=1e-12), name
    row, before_row = row_from_fit(together, "with"), row_from_fit(alone, "alone")
    assert (row.firings, before_row.firings) == (4, 3)
    assert row.parts_x is not None
    assert together.x.own_scatter.mean_dof == 3.0
    assert before_row.parts_x is not None
    assert row.parts_x.dof > before_row.parts_x.dof
    # The mean is of all four: the part counts as a coupon does.
    by_coupon = together.xy.shrinkage_by_coupon
    assert row.shrinkage_xy.value == pytest.approx(float(by_coupon.mean()), abs=1e-9)


def test_a_coupon_of_one_firing_is_left_out_as_a_whole(tmp_path: Path) -> None:
    read = sheets(SPREAD, tmp_path)
    last = read[-1].settings
    without = fit_sheets(read, (f"{last.coupon}@{last.firing}",))
    assert without.xy.shrinkage_by_coupon == pytest.approx(
        fit_sheets(read[:-1]).xy.shrinkage_by_coupon
    )


def test_what_keeps_a_part_from_a_fit_is_said(tmp_path: Path) -> None:
    (coupon, *_) = sheets(EXACT, tmp_path)
    part = as_part(coupon)
    assert why_no_witness(part) == ""
    flat = replace(part, readings=tuple(r for r in part.readings if r.axis != "z"))
    assert "needed along Z; 0 are measured both green and fired; measure 3 more" in why_no_witness(
        flat
    )
    nameless = replace(part, settings=replace(part.settings, firing=""))
    assert "S2" in why_no_witness(nameless)
