"""The calibration table: a CSV that opens in any spreadsheet, one row per batch.

Percent and units stand in the column names; inside, fractions are fractions. Each
cell is validated, and a bad one is refused with its line and column.
"""

from __future__ import annotations

import math
from importlib import resources
from pathlib import Path

from pydantic import ValidationError

from shrinkrule.calibration.table.columns import COLUMNS, REQUIRED, RowCells
from shrinkrule.calibration.table.evidence import parsed_evidence
from shrinkrule.calibration.table.ladder import Ladder
from shrinkrule.calibration.table.row import CalibrationRow
from shrinkrule.errors import Option, TableError
from shrinkrule.files.csv_dialect import CsvGrid, CsvRow, read_grid
from shrinkrule.physics.estimate import Estimate
from shrinkrule.physics.interval import LengthEffect, Scatter


def read_table(path: str | Path) -> tuple[CalibrationRow, ...]:
    """Read a calibration table.

    Parameters
    ----------
    path : str or Path
        The CSV file.

    Returns
    -------
    tuple of CalibrationRow
        The rows, in the file's order.

    Raises
    ------
    TableError
        For a missing file, a missing column, a bad cell (line and column named), or a
        name that comes twice.
    """
    return rows_from_grid(read_grid(Path(path)))


def demo_table() -> tuple[CalibrationRow, ...]:
    """Rows of the bundled table. Its materials are invented: to try with, never to print from.

    Returns
    -------
    tuple of CalibrationRow
        The rows.
    """
    with resources.as_file(resources.files("shrinkrule") / "data" / "demo_table.csv") as path:
        return read_table(path)


def rows_from_grid(grid: CsvGrid) -> tuple[CalibrationRow, ...]:
    """Rows out of a CSV grid.

    Parameters
    ----------
    grid : CsvGrid
        The cells.

    Returns
    -------
    tuple of CalibrationRow
        The rows, in the grid's order.

    Raises
    ------
    TableError
        As :func:`read_table`.
    """
    missing = [column for column in REQUIRED if column not in grid.columns]
    if missing:
        raise TableError(
            f"column {missing[0]!r} is missing",
            where=grid.where,
            hint="the columns are listed in docs/file-formats.md",
        )
    unknown = [column for column in grid.columns if column and column not in COLUMNS]
    if unknown:
        raise TableError(
            f"unknown column {unknown[0]!r}", where=grid.where, hint="rename or delete it"
        )
    seen: dict[str, int] = {}
    rows = []
    for row in grid.rows:
        read = _row(row, grid.where)
        if read.name in seen:
            raise TableError(
                f"line {row.line}: the name {read.name!r} already stands on line {seen[read.name]}",
                where=grid.where,
                hint="give each row a name of its own",
            )
        seen[read.name] = row.line
        rows.append(read)
    return tuple(rows)


def find_row(rows: tuple[CalibrationRow, ...], name: str | None, where: str) -> CalibrationRow:
    """Row of that name; without a name, the only row that has not been replaced.

    Parameters
    ----------
    rows : tuple of CalibrationRow
        The table.
    name : str or None
        Name of the row.
    where : str
        Name of the table, for messages.

    Returns
    -------
    CalibrationRow
        The row.

    Raises
    ------
    TableError
        If no row has the name, or several could be meant; the names are listed.
    """
    current = [row for row in rows if not row.replaced]
    names = ", ".join(repr(row.name) for row in current)
    if name is None:
        if len(current) == 1:
            return current[0]
        raise TableError(
            f"the table has {len(current)} rows",
            where=where,
            hint=f"choose one of {names}",
            options=(Option.ROW,),
        )
    for row in rows:
        if row.name == name:
            return row
    raise TableError(f"no row is named {name!r}", where=where, hint=f"the rows are {names}")


def _row(row: CsvRow, where: str) -> CalibrationRow:
    """One row of the table from its cells."""
    # A blank cell is a value not known; the model's own defaults say what that means.
    filled = {column: cell for column, cell in row.cells.items() if column and cell}
    try:
        cells = RowCells.model_validate(filled)
    except ValidationError as error:
        first = error.errors()[0]
        column = str(first["loc"][0]) if first["loc"] else "intercept"
        given = filled.get(column, "")
        what = "is empty" if first["type"] == "missing" else f"holds {given!r}"
        why = "" if first["type"] == "missing" else f" ({first['msg'].lower()})"
        raise TableError(
            f"line {row.line}, column {column!r} {what}{why}",
            where=where,
            hint="correct that cell",
        ) from error
    share = cells.metal_mass_share_pct
    both = _optional(cells.print_scale_xy_pct, cells.print_scale_xy_u_pct, 0.01)
    dof = cells.offsets_dof or math.inf
    return CalibrationRow(
        name=cells.name,
        material=cells.material,
        process=cells.process,
        shrinkage_xy=_required(cells.shrinkage_xy_pct, cells.shrinkage_xy_u_pct, 0.01),
        shrinkage_z=_required(cells.shrinkage_z_pct, cells.shrinkage_z_u_pct, 0.01),
        scatter_xy=0.01 * cells.scatter_xy_pct,
        scatter_z=0.01 * cells.scatter_z_pct,
        degrees_of_freedom=cells.degrees_of_freedom or math.inf,
        firing_scatter_known=cells.firing_scatter_known,
        longest_xy_mm=cells.longest_xy_mm,
        longest_z_mm=cells.longest_z_mm,
        relative_density=_optional(cells.relative_density_pct, cells.relative_density_u_pct, 0.01),
        metal_fraction=_optional(cells.metal_fraction_pct, cells.metal_fraction_u_pct, 0.01),
        metal_density_g_cm3=cells.metal_density_g_cm3,
        metal_mass_share=None if share is None else 0.01 * share,
        bead_offset_mm=_optional(cells.bead_offset_mm, cells.bead_offset_u_mm, 1.0),
        sag_modulus_kpa=_optional(
            cells.sag_modulus_kpa,
            cells.sag_modulus_u_kpa,
            1.0,
            cells.sag_modulus_dof or math.inf,
        ),
        coupons=cells.coupons,
        firings=cells.firings,
        date=cells.date,
        note=cells.note,
        residual_xy_mm=cells.residual_xy_mm,
        residual_z_mm=cells.residual_z_mm,
        length_effect_xy=_effect(
            cells.intercept_xy_mm, cells.intercept_xy_u_mm, cells.centre_xy_mm
        ),
        length_effect_z=_effect(cells.intercept_z_mm, cells.intercept_z_u_mm, cells.centre_z_mm),
        shrinkage_x=_either(cells.shrinkage_x_pct, cells.shrinkage_x_u_pct, cells),
        shrinkage_y=_either(cells.shrinkage_y_pct, cells.shrinkage_y_u_pct, cells),
        print_scale_x=_optional(cells.print_scale_x_pct, cells.print_scale_x_u_pct, 0.01) or both,
        print_scale_y=_optional(cells.print_scale_y_pct, cells.print_scale_y_u_pct, 0.01) or both,
        print_scale_z=_optional(cells.print_scale_z_pct, cells.print_scale_z_u_pct, 0.01),
        parts_x=_scatter(
            cells.mean_u_x_pct,
            cells.between_x_pct,
            cells.within_x_pct,
            cells.scatter_dof,
            cells.line_x_pct,
        ),
        parts_y=_scatter(
            cells.mean_u_y_pct,
            cells.between_y_pct,
            cells.within_y_pct,
            cells.scatter_dof,
            cells.line_y_pct,
        ),
        parts_z=_scatter(
            cells.mean_u_z_pct,
            cells.between_z_pct,
            cells.within_z_pct,
            cells.scatter_dof,
            cells.line_z_pct,
        ),
        residual_dof=cells.residual_dof or math.inf,
        first_layer_mm=_optional(
            cells.first_layer_mm, cells.first_layer_u_mm, 1.0, cells.first_layer_dof or dof
        ),
        bore_offset_mm=_optional(
            cells.bore_offset_mm, cells.bore_offset_u_mm, 1.0, cells.bore_offset_dof or dof
        ),
        bore_curve_mm=_optional(
            cells.bore_curve_mm, cells.bore_curve_u_mm, 1.0, cells.bore_curve_dof or math.inf
        ),
        bore_at_mm=cells.bore_at_mm,
        thickest_section_mm=cells.thickest_section_mm,
        nozzle_mm=cells.nozzle_mm,
        bead_width_mm=cells.bead_width_mm,
        layer_height_mm=cells.layer_height_mm,
        first_layer_height_mm=cells.first_layer_height_mm,
        walls=_ladder(cells.thinnest_wall_mm, cells.missing_wall_mm, cells.wall_coupons),
        floors=_ladder(cells.thinnest_floor_mm, cells.missing_floor_mm, cells.floor_coupons),
        evidence=parsed_evidence(cells.evidence),
        left_out=tuple(filter(None, cells.left_out.split("; "))),
        replaced=cells.replaced,
    )


def _effect(intercept: float | None, u: float, centre: float | None) -> LengthEffect | None:
    """Length effect of a row's cells, if they state one."""
    if intercept is None or centre is None:
        return None
    return LengthEffect(Estimate(intercept, u), centre)


def _ladder(thinnest: float | None, missing: float | None, coupons: int) -> Ladder | None:
    """What ladders showed, if a row's cells state it."""
    if thinnest is None and missing is None:
        return None
    return Ladder(thinnest, missing, coupons)


def _either(value: float | None, u: float | None, cells: RowCells) -> Estimate | None:
    """Shrinkage along X or Y; tables from before it had an uncertainty give that of XY."""
    if value is None:
        return None
    return _required(value, cells.shrinkage_xy_u_pct if u is None else u, 0.01)


def _scatter(
    mean_u: float | None,
    between: float | None,
    within: float | None,
    dof: float | None,
    line: float,
) -> Scatter | None:
    """How parts differ along an axis, if a row's cells state it."""
    if mean_u is None or between is None or within is None or dof is None:
        return None
    return Scatter(0.01 * mean_u, 0.01 * between, 0.01 * within, dof, 0.01 * line)


def _required(value: float, u: float, factor: float, dof: float = math.inf) -> Estimate:
    """Estimate of a row's cells, in the unit that ``factor`` converts to."""
    return Estimate(value * factor, u * factor, dof)


def _optional(
    value: float | None, u: float, factor: float, dof: float = math.inf
) -> Estimate | None:
    """Estimate of a row's cells, if they state one."""
    return None if value is None else _required(value, u, factor, dof)
