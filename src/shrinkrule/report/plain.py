"""Results as plain values, for JSON. The layout is documented in docs/file-formats.md.

``version`` rises when a key changes its meaning or goes; new keys do not raise it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from shrinkrule.calibration import BalanceCheck, CalibrationRow
from shrinkrule.compensation import ScaleFactors, way_up
from shrinkrule.dimensions import numbered_dozen
from shrinkrule.files.output import green_kind
from shrinkrule.job import (
    BodyLook,
    JobResult,
    Place,
    Recipe,
    WallLook,
    dimension_sags,
    look_at_bodies,
    room_of,
)
from shrinkrule.mesh import Part
from shrinkrule.printer import Printer
from shrinkrule.report.dimension_list import dimension_dicts
from shrinkrule.report.filament import filament_dict
from shrinkrule.report.foundation import finite, program
from shrinkrule.report.sag.values import estimate_dict, sag_dict
from shrinkrule.report.verdict import verdict_dict

REPORT_SCHEMA: Final = "shrinkrule.report"
REPORT_VERSION: Final = 1


def job_dict(
    result: JobResult,
    files: dict[str, Path],
    command: str = "",
    green_sha256: str = "",
    bodies: Sequence[BodyLook] | None = None,
) -> dict[str, Any]:
    """Everything the job found, as JSON values. Lengths mm, masses g, fractions as fractions.

    Parameters
    ----------
    result : JobResult
        What was found.
    files : dict
        Path of each file that was written, by kind.
    command : str
        The command line, if there was one.
    green_sha256 : str
        Checksum of the green part, if that is written.
    bodies : sequence of BodyLook, optional
        As :func:`look_at_bodies` gives them, where they were looked at already.

    Returns
    -------
    dict
        JSON values by name.
    """
    row = result.recipe.row
    return finite(
        {
            "schema": REPORT_SCHEMA,
            "version": REPORT_VERSION,
            "program": program(),
            "created": dt.datetime.now(dt.UTC).isoformat(timespec="seconds"),
            "command": command or None,
            "verdict": verdict_dict(result.verdict),
            "recipe": recipe_dict(
                result.part.source.name, result.part.sha256, result.recipe, files
            ),
            "green_sha256": green_sha256 or None,
            "model": part_dict(result.part),
            "calibration": None
            if row is None
            else {
                "source": result.recipe.row_source,
                "row": row.as_dict(),
                "mass_balance": None if result.balance is None else vars(result.balance),
            },
            "settings": _printer_settings(result.recipe)
            if result.recipe.settings is None
            else result.recipe.settings.as_dicts(),
            "settings_remarks": []
            if result.recipe.settings is None
            else list(result.recipe.settings.remarks),
            "print_up": result.recipe.print_up,
            "turned_about_z_deg": result.recipe.turn_deg,
            "printer_corrected": result.recipe.printer_corrected,
            "oversize": _oversize(result.green.factors),
            "outline_offset": result.recipe.outline.value,
            "green_from_model": result.green.from_model.tolist(),
            "prediction": result.prediction.as_dict(),
            "dimensions": _dimensions(result),
            "filament": filament_dict(result),
            "bodies": _bodies(look_at_bodies(result) if bodies is None else bodies),
            "walls": _walls(result.walls),
            "printing": _printing(result),
            "furnace": None
            if result.furnace_fit is None
            else {"inside": str(result.recipe.furnace), **vars(result.furnace_fit)},
            "room_in_furnace": _room(result),
            "furnace_up": _furnace_up(result),
            "sag": None
            if result.sag is None or result.recipe.sag is None
            else sag_dict(result.sag, result.recipe.sag),
            "sag_estimate": estimate_dict(result.sag_look),
            "files": {kind: path.name for kind, path in files.items()},
        }
    )


def _printer_settings(recipe: Recipe) -> list[dict[str, Any]]:
    """What a recipe that names no settings says of the printer, as settings."""
    known = {
        "printer.nozzle": recipe.printer.nozzle_mm,
        "printer.bead_width": recipe.printer.bead_width_mm,
        "printer.layer_height": recipe.printer.layer_height_mm,
    }
    return [
        {"key": key, "value": value, "unit": "mm", "source": "recipe", "place": ""}
        for key, value in known.items()
    ]


def recipe_dict(
    model: str, checksum: str, recipe: Recipe, files: dict[str, Path]
) -> dict[str, str]:
    """What decides about the files of a job, in words by name.

    Parameters
    ----------
    model, checksum : str
        Name and SHA-256 of the model.
    recipe : Recipe
        What the maker decided.
    files : dict
        Path of each file, by kind.

    Returns
    -------
    dict
        The same here, the same files.
    """
    return {
        "model": model,
        "SHA-256 of the model": checksum,
        "format": green_kind(files),
        **recipe.choices,
    }


def _dimensions(result: JobResult) -> list[dict[str, Any]] | None:
    """Dimensions of the wanted part; of the first, their ends and what the estimated sag does."""
    if result.dimensions is None:
        return None
    listed = dimension_dicts(result.dimensions, result.promised)
    sags = dimension_sags(result.part, result.dimensions, result.sag_look)
    for plain, sag in zip(listed, sags, strict=False):
        plain["sag_mm"] = sag
    for plain, one in zip(listed, numbered_dozen(result.dimensions), strict=False):
        plain["ends_mm"] = one.ends.tolist()
    return listed


def _room(result: JobResult) -> dict[str, Any]:
    room = room_of(result)
    return {"reach_mm": room.reach_mm.tolist(), "height_mm": room.height_mm}


def _furnace_up(result: JobResult) -> list[float]:
    """Direction of the model's axes that points up in the furnace; as printed if not stated."""
    lies = result.recipe.sag or result.recipe.lies
    if lies is not None:
        return [float(value) for value in lies.furnace_up]
    up: list[float] = way_up(result.recipe.print_up).tolist()
    return up


def walls_dict(look: WallLook, files: dict[str, Path]) -> dict[str, Any]:
    """Result of the wall check alone, as JSON values, with the files that were written.

    Parameters
    ----------
    look : WallLook
        What was found.
    files : dict
        Path of each file that was written, by kind.

    Returns
    -------
    dict
        JSON values by name.
    """
    return finite(
        {
            "schema": "shrinkrule.walls",
            "version": REPORT_VERSION,
            "program": program(),
            "model": part_dict(look.part),
            "oversize": _oversize(look.green.factors),
            "walls": _walls(look),
            "files": {kind: path.name for kind, path in files.items()},
        }
    )


def rows_dicts(
    rows: Sequence[tuple[CalibrationRow, BalanceCheck | None]],
) -> list[dict[str, Any]]:
    """Rows of a table with their mass balance, as JSON values.

    Parameters
    ----------
    rows : sequence of (CalibrationRow, BalanceCheck or None)
        Rows of a table, each with its mass balance.

    Returns
    -------
    list of dict
        JSON values of each row.
    """
    listed = []
    for row, balance in rows:
        listed.append({**row.as_dict(), "mass_balance": None if balance is None else vars(balance)})
    return listed


def _oversize(factors: ScaleFactors) -> dict[str, float]:
    """Factors of each axis, and one for X and Y together for programs that know no other."""
    both = float(np.sqrt(factors.x * factors.y))
    return {"x": factors.x, "y": factors.y, "xy": both, "z": factors.z}


def part_dict(part: Part) -> dict[str, Any]:
    """A part as it was read, as JSON values."""
    return {
        "file": part.source.name,
        "sha256": part.sha256 or None,
        "format": part.file_format,
        "unit": part.unit,
        "objects": list(part.objects),
        "soundness": part.soundness.as_dict(),
        "trusted": part.trusted,
        "mends": list(part.mends),
        "warnings": list(part.warnings),
        "defects": [defect.as_dict() for defect in part.defects],
    }


def _bodies(bodies: Sequence[BodyLook]) -> list[dict[str, Any]]:
    """Every body of several; none for a single one."""
    return [
        {
            "name": body.name,
            "low_mm": body.low_mm.tolist(),
            "high_mm": body.high_mm.tolist(),
            "share_of_volume": body.share,
            "green_mass_g": None if body.green_mass_g is None else body.green_mass_g.as_dict(),
            "sintered_mass_g": None if body.fired_mass_g is None else body.fired_mass_g.as_dict(),
            "found": [{"kind": kind, "places": count} for kind, count in body.found],
            "level": body.level.value,
        }
        for body in bodies
    ]


def _printing(result: JobResult) -> dict[str, Any] | None:
    """What prints badly; places in the model's axes too, None where it was not looked at."""
    look, green = result.printing, result.green
    if look is None:
        return None
    return {
        "not_looked_at_because": look.skipped or None,
        "findings": [
            {
                "kind": finding.kind.value,
                "measure": finding.measure,
                "limit": finding.limit,
                "text": finding.text,
                "area_mm2": finding.area_mm2,
                "position_mm": list(finding.position),
                "box_mm": [list(corner) for corner in finding.box],
                "model_position_mm": green.in_model(np.array([finding.position]))[0].tolist(),
            }
            for finding in look.findings
        ],
    }


def _walls(look: WallLook) -> dict[str, Any]:
    report = look.report
    return {
        "printer": _printer(look.printer),
        "trusted": report.trusted,
        "notes": list(report.notes),
        "samples": report.status_counts,
        "measured_fraction": report.measured_fraction,
        "sample_spacing_mm": report.spacing_mm,
        "thickest_mm": report.thickest_mm,
        "thickest_at_mm": list(report.thickest_at),
        "thickest_at_model_mm": look.thickest_in_model.tolist(),
        "coupon_section_mm": look.coupon_section_mm,
        "binder_time_over_coupon": look.binder_time(report.thickest_mm),
        "layers": {
            "cut": report.layers.layers,
            "lost_mm3": report.layers.lost_mm3,
            "single_bead_mm3": report.layers.single_bead_mm3,
        },
        "findings": [
            {**_place(place), "row": number}
            for number, row in enumerate(look.rows, start=1)
            for place in row.places
        ],
    }


def _place(place: Place) -> dict[str, Any]:
    return {
        **place.finding.as_dict(),
        "model_position_mm": place.in_model.tolist(),
        "model_box_mm": place.box_in_model.tolist(),
        "wanted_mm": place.wanted_mm,
        "needed_wanted_mm": place.needed_mm,
        "sound_wanted_mm": place.sound_mm,
        "binder_time_over_coupon": place.binder_time,
    }


def _printer(printer: Printer) -> dict[str, float]:
    return {
        "nozzle_mm": printer.nozzle_mm,
        "bead_width_mm": printer.bead_width_mm,
        "layer_height_mm": printer.layer_height_mm,
    }
