"""A calibration table as CSV text."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

from shrinkrule.calibration.table.columns import COLUMNS
from shrinkrule.calibration.table.evidence import evidence_text
from shrinkrule.calibration.table.ladder import Ladder
from shrinkrule.calibration.table.row import CalibrationRow
from shrinkrule.cells import cell_text
from shrinkrule.physics.estimate import Estimate
from shrinkrule.physics.interval import LengthEffect, Scatter


def table_csv(rows: tuple[CalibrationRow, ...]) -> str:
    """CSV text of a table, in the layout that :func:`read_table` reads.

    Columns after the note are written only if a row has a value in them.

    Parameters
    ----------
    rows : tuple of CalibrationRow
        The table.

    Returns
    -------
    str
        The CSV text.
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
    """Values of a row in the units of the table's header.

    Parameters
    ----------
    row : CalibrationRow
        The row.

    Returns
    -------
    dict
        Value of each column; columns without a value may be missing.
    """

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

    def scatter(axis: str, parts: Scatter | None) -> dict[str, Any]:
        if parts is None:
            return {}
        return {
            f"mean_u_{axis}_pct": 100.0 * parts.mean_u,
            f"between_{axis}_pct": 100.0 * parts.between,
            f"within_{axis}_pct": 100.0 * parts.within,
            f"line_{axis}_pct": 100.0 * parts.line or None,
            "scatter_dof": _known(parts.dof),
        }

    def ladder(what: str, steps: Ladder | None) -> dict[str, Any]:
        if steps is None:
            return {}
        return {
            f"thinnest_{what}_mm": steps.thinnest_mm,
            f"missing_{what}_mm": steps.missing_mm,
            f"{what}_coupons": steps.coupons or None,
        }

    share = row.metal_mass_share
    return {
        "name": row.name,
        "material": row.material,
        "process": row.process,
        **estimate("relative_density", "pct", row.relative_density, 100.0),
        **estimate("shrinkage_xy", "pct", row.shrinkage_xy, 100.0),
        **estimate("shrinkage_z", "pct", row.shrinkage_z, 100.0),
        "scatter_xy_pct": 100.0 * row.scatter_xy,
        "scatter_z_pct": 100.0 * row.scatter_z,
        "degrees_of_freedom": _known(row.degrees_of_freedom),
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
        **estimate("shrinkage_x", "pct", row.shrinkage_x, 100.0),
        **estimate("shrinkage_y", "pct", row.shrinkage_y, 100.0),
        **estimate("print_scale_x", "pct", row.print_scale_x, 100.0),
        **estimate("print_scale_y", "pct", row.print_scale_y, 100.0),
        **estimate("print_scale_z", "pct", row.print_scale_z, 100.0),
        **scatter("x", row.parts_x),
        **scatter("y", row.parts_y),
        **scatter("z", row.parts_z),
        "residual_dof": _known(row.residual_dof),
        **estimate("first_layer", "mm", row.first_layer_mm, 1.0),
        "first_layer_dof": None if row.first_layer_mm is None else _known(row.first_layer_mm.dof),
        **estimate("bore_offset", "mm", row.bore_offset_mm, 1.0),
        "bore_offset_dof": None if row.bore_offset_mm is None else _known(row.bore_offset_mm.dof),
        **estimate("bore_curve", "mm", row.bore_curve_mm, 1.0),
        "bore_curve_dof": None if row.bore_curve_mm is None else _known(row.bore_curve_mm.dof),
        "bore_at_mm": row.bore_at_mm,
        "sag_modulus_dof": None if row.sag_modulus_kpa is None else _known(row.sag_modulus_kpa.dof),
        "thickest_section_mm": row.thickest_section_mm,
        "nozzle_mm": row.nozzle_mm,
        "bead_width_mm": row.bead_width_mm,
        "layer_height_mm": row.layer_height_mm,
        "first_layer_height_mm": row.first_layer_height_mm,
        **ladder("wall", row.walls),
        **ladder("floor", row.floors),
        "evidence": evidence_text(row.evidence),
        "left_out": "; ".join(row.left_out),
        "replaced": row.replaced,
    }


def _known(dof: float) -> float | None:
    """Degrees of freedom, blank where they are infinite."""
    return None if math.isinf(dof) else dof


def _cell(value: object) -> object:
    """A value as a cell of the table."""
    if value is None:
        return ""
    if isinstance(value, str):
        return cell_text(value)
    return f"{value:.9g}" if isinstance(value, float) else value
