"""A table in use takes a new row without losing anything, in the dialect of its spreadsheet."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from old_rows import old_row
from shrinkrule import CalibrationRow, Estimate, demo_table, find_row, read_table, row_at_density
from shrinkrule import table_csv as csv_of
from shrinkrule.calibration.table.update import (
    row_that_stands,
    table_bytes,
    updated_table,
    with_row,
)
from shrinkrule.calibration.table.write import row_cells
from shrinkrule.errors import TableError
from shrinkrule.physics.interval import LengthEffect

TODAY = "2026-11-20"
OLD = old_row(demo_table()[1])
NEW = replace(
    OLD,
    shrinkage_xy=Estimate(0.1462, 0.0011),
    date="2026-11-19",
    residual_z_mm=0.021,
    length_effect_z=LengthEffect(Estimate(0.11, 0.02), 13.5),
    print_scale_x=Estimate(-0.002, 0.0004),
    shrinkage_x=Estimate(0.146, 0.001),
    shrinkage_y=Estimate(0.1464, 0.0012),
)


def close(found: CalibrationRow, expected: CalibrationRow) -> None:
    """Equal to the nine digits of the file."""
    cells = row_cells(found)
    for column, value in row_cells(expected).items():
        told = pytest.approx(value, rel=1e-8) if isinstance(value, float) else value
        assert cells[column] == told, column


def test_a_folder_is_no_table(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="this is a folder"):
        table_bytes(tmp_path)


def test_a_new_table_begins_with_the_row(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes(updated_table(table_bytes(path), path.name, NEW, TODAY))
    (row,) = read_table(path)
    close(row, NEW)


def test_what_is_replaced_is_kept_with_its_date(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_text(csv_of(demo_table()), newline="")
    assert row_that_stands(path, OLD.name) is not None
    path.write_bytes(updated_table(table_bytes(path), path.name, NEW, TODAY))
    rows = read_table(path)
    assert len(rows) == len(demo_table()) + 1
    close(find_row(rows, NEW.name, "table"), NEW)
    kept = find_row(rows, f"{OLD.name}, {OLD.date}", "table")
    assert kept.replaced == TODAY
    assert kept.shrinkage_xy.value == pytest.approx(OLD.shrinkage_xy.value)


def test_a_row_replaced_twice_on_a_day_keeps_both() -> None:
    rows = with_row(with_row((OLD,), replace(OLD, note="second"), TODAY), NEW, TODAY)
    assert len({row.name for row in rows}) == 3
    assert [bool(row.replaced) for row in rows] == [True, True, False]


def test_a_replaced_row_is_not_interpolated_from() -> None:
    """Two rows of nearly one density would make a slope of their difference alone."""
    moved = replace(NEW, relative_density=Estimate(0.901, 0.005))
    rows = with_row(demo_table(), moved, TODAY)
    between = row_at_density(rows, moved, 0.9005)
    assert "90 %" not in between.note
    assert 0.1297 < between.shrinkage_xy.value < 0.1602


def test_the_only_row_that_holds_needs_no_name() -> None:
    rows = with_row((OLD,), NEW, TODAY)
    assert find_row(rows, None, "table") == NEW


def test_the_spreadsheet_s_dialect_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    text = csv_of((replace(OLD, process="bench furnace", note=""),))
    german = "# our own table; bronze\r\n" + text.replace(",", ";").replace(".", ",")
    path.write_bytes(german.encode("utf-8-sig"))
    path.write_bytes(
        updated_table(table_bytes(path), path.name, replace(NEW, name="bronze 2"), TODAY)
    )
    data = path.read_bytes()
    assert data.startswith(b"\xef\xbb\xbf# our own table; bronze\r\n")
    assert b";14,62;" in data
    first, second = read_table(path)
    assert first.shrinkage_xy.value == pytest.approx(OLD.shrinkage_xy.value)
    close(second, replace(NEW, name="bronze 2"))


def test_columns_that_say_nothing_are_not_written() -> None:
    assert "intercept_z_mm" not in csv_of((OLD,))
    assert "intercept_z_mm" in csv_of((OLD, NEW))
    assert "intercept_xy_mm" not in csv_of((OLD, NEW))
