"""The coupon's thickest section goes from its sheet to the row, and through the table."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from shrinkrule import (
    demo_table,
    fit_sheets,
    read_sheet,
    read_table,
    row_at_density,
    row_from_fit,
    table_csv,
)

SHEETS = sorted((Path(__file__).parents[3] / "sample_models" / "sheets").glob("*.csv"))


def without_it(path: Path, folder: Path) -> Path:
    """Copy of a sheet from before its line was there."""
    kept = [line for line in path.read_text().splitlines() if not line.startswith("S18,")]
    copy = folder / path.name
    copy.write_text("\n".join(kept))
    return copy


def test_the_row_tells_the_thickest_that_came_through(tmp_path: Path) -> None:
    """A stair of 6 mm on a plate of 4.8 mm: (9 + 4.8^2) / 4.8 = 6.675 mm."""
    sheets = [read_sheet(path) for path in SHEETS]
    row = row_from_fit(fit_sheets(sheets), "bronze")
    assert row.thickest_section_mm == pytest.approx(6.675)
    (tmp_path / "table.csv").write_text(table_csv((row,)))
    (again,) = read_table(tmp_path / "table.csv")
    assert again.thickest_section_mm == row.thickest_section_mm
    older = [read_sheet(without_it(SHEETS[0], tmp_path)), *sheets[1:]]
    assert row_from_fit(fit_sheets(older), "bronze").thickest_section_mm == pytest.approx(6.675)


def test_old_sheets_tell_none_and_the_table_has_no_column(tmp_path: Path) -> None:
    sheets = [read_sheet(without_it(path, tmp_path)) for path in SHEETS]
    row = row_from_fit(fit_sheets(sheets), "bronze")
    assert row.thickest_section_mm is None
    assert "thickest_section_mm" not in table_csv((row,))


def test_between_rows_the_smaller_one_holds() -> None:
    rows = demo_table()
    thinner = replace(rows[1], thickest_section_mm=5.0)
    unknown = replace(rows[1], thickest_section_mm=None)
    for row, expected in ((rows[1], 6.8), (thinner, 5.0), (unknown, None)):
        between = row_at_density((rows[0], row), rows[0], 0.87)
        assert between.thickest_section_mm == expected
