"""The calibration table: a CSV that opens in any spreadsheet, one row per batch.

Percent and units stand in the column names; inside, fractions are fractions. Each
cell is validated, and a bad one is refused with its line and column.
"""

from __future__ import annotations

import csv
import io
import math
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Final, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)

from shrinkrule.calibration.table.row import CalibrationRow, Estimate, LengthEffect
from shrinkrule.errors import TableError
from shrinkrule.files.csv_dialect import CsvGrid, CsvRow, number_text, read_grid


def _number(value: object) -> object:
    return number_text(value) if isinstance(value, str) else value


def _yes(value: object) -> object:
    words = {"yes": True, "no": False, "": False}
    return words.get(value.strip().lower(), value) if isinstance(value, str) else value


_Number = BeforeValidator(_number)
Percent = Annotated[float, _Number, Field(gt=0, lt=100, allow_inf_nan=False)]
Shrinkage = Annotated[float, _Number, Field(ge=0, lt=50, allow_inf_nan=False)]
Positive = Annotated[float, _Number, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, _Number, Field(ge=0, allow_inf_nan=False)]
Finite = Annotated[float, _Number, Field(allow_inf_nan=False)]
Count = Annotated[int, _Number, Field(ge=0)]
Name = Annotated[str, Field(min_length=1)]


class RowCells(BaseModel):
    """The cells of one row, in the units of the header. Field names are the columns."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Name
    material: Name
    process: str = ""
    relative_density_pct: Annotated[float, _Number, Field(gt=0, le=100)] | None = None
    relative_density_u_pct: NotNegative = 0.0
    shrinkage_xy_pct: Shrinkage
    shrinkage_xy_u_pct: NotNegative
    shrinkage_z_pct: Shrinkage
    shrinkage_z_u_pct: NotNegative
    scatter_xy_pct: NotNegative
    scatter_z_pct: NotNegative
    degrees_of_freedom: Positive | None = None
    firing_scatter_known: Annotated[bool, BeforeValidator(_yes)] = False
    longest_xy_mm: Positive
    longest_z_mm: Positive
    bead_offset_mm: Finite | None = None
    bead_offset_u_mm: NotNegative = 0.0
    sag_modulus_kpa: Positive | None = None
    sag_modulus_u_kpa: NotNegative = 0.0
    metal_fraction_pct: Percent | None = None
    metal_fraction_u_pct: NotNegative = 0.0
    metal_density_g_cm3: Positive | None = None
    metal_mass_share_pct: Percent | None = None
    coupons: Count = 0
    firings: Count = 0
    date: str = ""
    note: str = ""
    residual_xy_mm: NotNegative = 0.0
    residual_z_mm: NotNegative = 0.0
    intercept_xy_mm: Finite | None = None
    intercept_xy_u_mm: NotNegative = 0.0
    centre_xy_mm: Positive | None = None
    intercept_z_mm: Finite | None = None
    intercept_z_u_mm: NotNegative = 0.0
    centre_z_mm: Positive | None = None
    shrinkage_x_pct: Shrinkage | None = None
    shrinkage_y_pct: Shrinkage | None = None
    print_scale_xy_pct: Finite | None = None
    print_scale_xy_u_pct: NotNegative = 0.0
    print_scale_z_pct: Finite | None = None
    print_scale_z_u_pct: NotNegative = 0.0
    thickest_section_mm: Positive | None = None
    replaced: str = ""

    @model_validator(mode="after")
    def _intercept_with_centre(self) -> Self:
        for axis in ("xy", "z"):
            intercept = getattr(self, f"intercept_{axis}_mm")
            if (intercept is None) != (getattr(self, f"centre_{axis}_mm") is None):
                raise ValueError(f"intercept_{axis}_mm and centre_{axis}_mm stand together or not")
        return self


COLUMNS: Final = tuple(RowCells.model_fields)
REQUIRED: Final = tuple(n for n, f in RowCells.model_fields.items() if f.is_required())


def read_table(path: str | Path) -> tuple[CalibrationRow, ...]:
    """Read a calibration table.

    Raises
    ------
    TableError
        For a missing file, a missing column, a bad cell (line and column named), or a
        name that stands twice.
    """
    return rows_from_grid(read_grid(Path(path)))


def demo_table() -> tuple[CalibrationRow, ...]:
    """Rows of the bundled table. Its materials are invented: to try with, never to print from."""
    with resources.as_file(resources.files("shrinkrule") / "data" / "demo_table.csv") as path:
        return read_table(path)


def rows_from_grid(grid: CsvGrid) -> tuple[CalibrationRow, ...]:
    """Rows out of a CSV grid.

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
            mend="the columns are listed in docs/file-formats.md",
        )
    unknown = [column for column in grid.columns if column and column not in COLUMNS]
    if unknown:
        raise TableError(
            f"unknown column {unknown[0]!r}", where=grid.where, mend="rename or delete it"
        )
    seen: dict[str, int] = {}
    rows = []
    for row in grid.rows:
        read = _row(row, grid.where)
        if read.name in seen:
            raise TableError(
                f"line {row.line}: the name {read.name!r} already stands on line {seen[read.name]}",
                where=grid.where,
                mend="give each row a name of its own",
            )
        seen[read.name] = row.line
        rows.append(read)
    return tuple(rows)


def find_row(rows: tuple[CalibrationRow, ...], name: str | None, where: str) -> CalibrationRow:
    """Row of that name; without a name, the only row that has not been replaced.

    Raises
    ------
    TableError
        If no row has the name, or several could be meant; the names are listed.
    """
    standing = [row for row in rows if not row.replaced]
    names = ", ".join(repr(row.name) for row in standing)
    if name is None:
        if len(standing) == 1:
            return standing[0]
        raise TableError(
            f"the table has {len(standing)} rows", where=where, mend=f"choose with --row: {names}"
        )
    for row in rows:
        if row.name == name:
            return row
    raise TableError(f"no row is named {name!r}", where=where, mend=f"the rows are {names}")


def table_csv(rows: tuple[CalibrationRow, ...]) -> str:
    """CSV text of a table, in the layout that :func:`read_table` reads.

    Columns behind the note stand only where a row has something to say in them.
    """
    out = io.StringIO(newline="")
    cells = [{key: _cell(value) for key, value in row_cells(row).items()} for row in rows]
    usual = COLUMNS.index("note") + 1
    columns = [
        *COLUMNS[:usual],
        *(column for column in COLUMNS[usual:] if any(row.get(column, "") != "" for row in cells)),
    ]
    writer = csv.DictWriter(out, columns, restval="", extrasaction="ignore", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(cells)
    return out.getvalue()


def row_cells(row: CalibrationRow) -> dict[str, Any]:
    """Values of a row in the units of the table's header."""

    def estimate(name: str, unit: str, value: Estimate | None, factor: float) -> dict[str, Any]:
        if value is None:
            return {}
        return {f"{name}_{unit}": value.value * factor, f"{name}_u_{unit}": value.u * factor}

    def length_effect(axis: str, effect: LengthEffect | None) -> dict[str, Any]:
        if effect is None:
            return {}
        return {
            **estimate(f"intercept_{axis}", "mm", effect.intercept_mm, 1.0),
            f"centre_{axis}_mm": effect.centre_mm,
        }

    share = row.metal_mass_share
    dof = row.degrees_of_freedom
    return {
        "name": row.name,
        "material": row.material,
        "process": row.process,
        **estimate("relative_density", "pct", row.relative_density, 100.0),
        **estimate("shrinkage_xy", "pct", row.shrinkage_xy, 100.0),
        **estimate("shrinkage_z", "pct", row.shrinkage_z, 100.0),
        "scatter_xy_pct": 100.0 * row.scatter_xy,
        "scatter_z_pct": 100.0 * row.scatter_z,
        "degrees_of_freedom": None if math.isinf(dof) else dof,
        "firing_scatter_known": "yes" if row.firing_scatter_known else "no",
        "longest_xy_mm": row.longest_xy_mm,
        "longest_z_mm": row.longest_z_mm,
        **estimate("bead_offset", "mm", row.bead_offset_mm, 1.0),
        **estimate("sag_modulus", "kpa", row.sag_modulus_kpa, 1.0),
        **estimate("metal_fraction", "pct", row.metal_fraction, 100.0),
        "metal_density_g_cm3": row.metal_density_g_cm3,
        "metal_mass_share_pct": None if share is None else 100.0 * share,
        "coupons": row.coupons,
        "firings": row.firings,
        "date": row.date,
        "note": row.note,
        "residual_xy_mm": row.residual_xy_mm or None,
        "residual_z_mm": row.residual_z_mm or None,
        **length_effect("xy", row.length_effect_xy),
        **length_effect("z", row.length_effect_z),
        "shrinkage_x_pct": None if row.shrinkage_x is None else 100.0 * row.shrinkage_x,
        "shrinkage_y_pct": None if row.shrinkage_y is None else 100.0 * row.shrinkage_y,
        **estimate("print_scale_xy", "pct", row.print_scale_xy, 100.0),
        **estimate("print_scale_z", "pct", row.print_scale_z, 100.0),
        "thickest_section_mm": row.thickest_section_mm,
        "replaced": row.replaced,
    }


def _row(row: CsvRow, where: str) -> CalibrationRow:
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
            mend="correct that cell",
        ) from error
    share = cells.metal_mass_share_pct
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
        sag_modulus_kpa=_optional(cells.sag_modulus_kpa, cells.sag_modulus_u_kpa, 1.0),
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
        shrinkage_x=None if cells.shrinkage_x_pct is None else 0.01 * cells.shrinkage_x_pct,
        shrinkage_y=None if cells.shrinkage_y_pct is None else 0.01 * cells.shrinkage_y_pct,
        print_scale_xy=_optional(cells.print_scale_xy_pct, cells.print_scale_xy_u_pct, 0.01),
        print_scale_z=_optional(cells.print_scale_z_pct, cells.print_scale_z_u_pct, 0.01),
        thickest_section_mm=cells.thickest_section_mm,
        replaced=cells.replaced,
    )


def _effect(intercept: float | None, u: float, centre: float | None) -> LengthEffect | None:
    if intercept is None or centre is None:
        return None
    return LengthEffect(Estimate(intercept, u), centre)


def _required(value: float, u: float, factor: float) -> Estimate:
    return Estimate(value * factor, u * factor)


def _optional(value: float | None, u: float, factor: float) -> Estimate | None:
    return None if value is None else _required(value, u, factor)


def _cell(value: object) -> object:
    if value is None:
        return ""
    return f"{value:.9g}" if isinstance(value, float) else value
