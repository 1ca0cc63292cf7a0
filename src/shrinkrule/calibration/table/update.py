"""A row into a table that is already in use: appended, and what it replaces kept with its date.

The file keeps the dialect that the maker's spreadsheet gave it (separator, decimal comma,
byte-order mark) and the comment lines at its head.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path
from typing import Final

from shrinkrule.calibration.table.read import read_table, rows_from_grid
from shrinkrule.calibration.table.row import CalibrationRow
from shrinkrule.calibration.table.write import table_csv
from shrinkrule.errors import TableError
from shrinkrule.files.csv_dialect import LARGEST_MB, CsvGrid, grid_from
from shrinkrule.files.plain import plain_bytes

_NUMBER: Final = re.compile(r"-?\d+\.\d+(e-?\d+)?")
_DECIMAL_COMMA: Final = re.compile(r"-?\d+,\d+")


def with_row(
    rows: tuple[CalibrationRow, ...], row: CalibrationRow, today: str
) -> tuple[CalibrationRow, ...]:
    """Append a row; one of the same name is kept under its name and date, marked as replaced.

    Parameters
    ----------
    rows : tuple of CalibrationRow
        The table.
    row : CalibrationRow
        What to append.
    today : str
        Date of the change, as 2026-11-02.

    Returns
    -------
    tuple of CalibrationRow
        The new table.
    """
    names = {other.name for other in rows}
    kept = []
    for other in rows:
        if other.name == row.name:
            base = f"{other.name}, {other.date or f'before {today}'}"
            fresh = (base, *(f"{base} ({n})" for n in range(2, len(rows) + 3)))
            name = next(name for name in fresh if name not in names)
            kept.append(replace(other, name=name, replaced=today))
        else:
            kept.append(other)
    return (*kept, row)


def table_bytes(path: Path) -> bytes | None:
    """Contents of a table's file, None where there is none yet.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    bytes or None
        As they are.

    Raises
    ------
    TableError
        For what is no plain file, or cannot be read.
    """
    return plain_bytes(path, LARGEST_MB, "table", TableError) if path.exists() else None


def updated_table(before: bytes | None, where: str, row: CalibrationRow, today: str) -> bytes:
    """Contents of a table with a row added; a table that is not there yet begins with it.

    Parameters
    ----------
    before : bytes or None
        As from :func:`table_bytes`.
    where : str
        Name of the table, for messages.
    row : CalibrationRow
        The row to add.
    today : str
        Date of the change, as 2026-11-02.

    Returns
    -------
    bytes
        The new contents, in the dialect of the old.

    Raises
    ------
    TableError
        For a table that cannot be read.
    """
    if before is None:
        return table_csv((row,)).encode()
    grid = grid_from(before, where)
    text = table_csv(with_row(rows_from_grid(grid), row, today))
    head = "".join(f"{comment}\r\n" for comment in grid.comments)
    # Excess of caution with one odd letter: a file in Windows text may not hold a new name.
    encoding = "utf-8-sig" if grid.encoding == "cp1252" else grid.encoding
    return (head + _in_dialect(text, grid)).encode(encoding)


def row_that_stands(path: Path, name: str) -> CalibrationRow | None:
    """Row of that name that a new one would replace, if there is one.

    Parameters
    ----------
    path : Path
        File of the table, which need not exist.
    name : str
        Name of the new row.

    Returns
    -------
    CalibrationRow or None
        The row that would be replaced.

    Raises
    ------
    TableError
        For a folder, or a table that cannot be read.
    """
    if not path.exists():
        return None
    return next((row for row in read_table(path) if row.name == name), None)


def _in_dialect(text: str, grid: CsvGrid) -> str:
    """Rewrite our CSV with the file's separator and decimal mark."""
    # A comma between digits of a cell is a decimal comma only where it separates no cells.
    comma = grid.delimiter != "," and any(
        _DECIMAL_COMMA.fullmatch(cell) for row in grid.rows for cell in row.cells.values()
    )
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=grid.delimiter, lineterminator="\r\n")
    for cells in csv.reader(io.StringIO(text, newline="")):
        writer.writerow(
            [c.replace(".", ",") if comma and _NUMBER.fullmatch(c) else c for c in cells]
        )
    return out.getvalue()
