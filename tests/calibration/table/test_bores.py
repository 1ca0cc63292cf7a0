"""A bore is predicted by its own diameter: in the promise, through the table, between rows."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from shrinkrule import Estimate, demo_table, read_table, row_at_density, table_csv
from shrinkrule.calibration import Feature
from shrinkrule.compensation import expected_mm

ROW = replace(
    demo_table()[0],
    shrinkage_x=Estimate(0.15, 0.001),
    print_scale_x=Estimate(0.01, 0.0),
    length_effect_xy=None,
    bore_offset_mm=Estimate(-0.1, 0.012, 20.0),
    bore_curve_mm=Estimate(-0.08, 0.02, 20.0),
    bore_at_mm=4.0,
)


@pytest.mark.parametrize("diameter", [2.0, 4.0, 16.0])
def test_a_small_bore_is_tighter_than_a_large_one(diameter: float) -> None:
    """Offset and curve by the formula of docs/file-formats.md, and shrunk as all green lengths."""
    off = -0.1 - 0.08 * (4.0 / diameter - 1.0)
    slot = expected_mm(ROW, "x", diameter, Feature.SLOT)
    bore = expected_mm(ROW, "x", diameter, Feature.BORE)
    assert slot == pytest.approx(0.85 * 1.01 * diameter)
    assert bore - slot == pytest.approx(0.85 * off)
    unsure = ROW.offset("x", Feature.BORE, diameter)
    assert unsure.u == pytest.approx(0.85 * math.hypot(0.012, 0.02 * (4.0 / diameter - 1.0)))
    # The promise takes the diameter from what it is to fire to.
    plain = replace(ROW, bore_offset_mm=unsure.times(1.0 / 0.85), bore_curve_mm=None)
    told, same = (row.promise("x", slot, Feature.BORE).half95 for row in (ROW, plain))
    assert told == pytest.approx(same, rel=1e-9)


def test_it_goes_through_the_table(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_text(table_csv((ROW,)), encoding="utf-8", newline="")
    (read,) = read_table(path)
    assert (read.bore_curve_mm, read.bore_at_mm) == (ROW.bore_curve_mm, 4.0)


def test_between_two_rows_it_stays_where_both_state_it_for_one_diameter() -> None:
    high = replace(
        demo_table()[1],
        bore_offset_mm=ROW.bore_offset_mm,
        bore_curve_mm=Estimate(-0.04, 0.02, 20.0),
        bore_at_mm=4.0,
    )
    between = row_at_density((ROW, high), ROW, 0.87)
    assert between.bore_at_mm == 4.0
    assert between.bore_curve_mm is not None
    assert -0.08 < between.bore_curve_mm.value < -0.04
    other = row_at_density((ROW, replace(high, bore_at_mm=5.0)), ROW, 0.87)
    assert (other.bore_at_mm, other.bore_curve_mm) == (None, None)
