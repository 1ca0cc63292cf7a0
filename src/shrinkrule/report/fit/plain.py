"""A fit as plain values, for JSON. The layout is documented in docs/file-formats.md."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict
from math import isfinite
from pathlib import Path
from typing import Any, Final

from shrinkrule.calibration import (
    AXES,
    AxisResult,
    CalibrationRow,
    FitResult,
    SagFit,
    plain_sentences,
)
from shrinkrule.calibration.fit.balance import Balance
from shrinkrule.calibration.fit.printing import PrintingFit
from shrinkrule.physics.estimate import Estimate, Estimates
from shrinkrule.report.foundation import program, without_nan

FIT_SCHEMA: Final = "shrinkrule.fit"
FIT_VERSION: Final = 1
LENGTHS_MM: Final = (5.0, 10.0, 20.0, 40.0, 80.0)
"""Fired lengths whose intervals are listed."""


def fit_dict(fit: FitResult, row: CalibrationRow, files: dict[str, Path]) -> dict[str, Any]:
    """Everything the fit found, as JSON values. Lengths mm, kPa, g/cm3, fractions as fractions.

    Parameters
    ----------
    fit : FitResult
        The fit.
    row : CalibrationRow
        Row that the fit makes.
    files : dict
        Path of each file that was written, by kind.

    Returns
    -------
    dict
        JSON values by name.
    """
    values = {
        "schema": FIT_SCHEMA,
        "version": FIT_VERSION,
        "program": program(),
        "created": dt.datetime.now(dt.UTC).isoformat(timespec="seconds"),
        "sentences": list(plain_sentences(fit)),
        "notes": [{"weight": n.weight.value, "text": n.text} for n in fit.notes],
        "row": row.as_dict(),
        "sheets": [
            {
                "file": sheet.where,
                "coupon": sheet.settings.coupon,
                "firing": sheet.settings.firing,
                "date": sheet.settings.date,
                "mended": list(sheet.notes),
            }
            for sheet in fit.sheets
        ],
        "interval_is_lower_bound": not fit.knows_firings,
        "axes": {
            axis.name.lower(): _axis(fit, axis, row) for axis in (fit.x, fit.y, fit.xy, fit.z)
        },
        "printing": _printing(fit.printing),
        "x_y_difference": {**_departure(fit.xy_difference), "real": fit.axes_differ},
        "caliper": asdict(fit.caliper),
        "outliers": [asdict(outlier) for outlier in fit.outliers],
        "slip_named_from_mm": _slip_mm(fit),
        "left_out": list(fit.left_out),
        "balances": [_balance(balance) for balance in fit.balances],
        "sag": None if fit.sag is None else _sag(fit.sag),
        "thinnest_wall_mm": None if fit.walls is None else fit.walls.thinnest_mm,
        "thinnest_floor_mm": None if fit.floors is None else fit.floors.thinnest_mm,
        "files": {kind: path.name for kind, path in files.items()},
    }
    plain = without_nan(values)
    return dict(plain)


def _slip_mm(fit: FitResult) -> float | None:
    """Slip that is named wherever it is, mm; None where lines tell it, or where none ever is."""
    search = fit.slip_search
    return search.named_from_mm if search and isfinite(search.named_from_mm) else None


def _axis(fit: FitResult, axis: AxisResult, row: CalibrationRow) -> dict[str, Any]:
    name = axis.name.lower()
    at = axis.fit.centre_mm
    scatter = axis.fit.scatter_at(at)
    measured = axis.lengths.weight > 0.0
    return {
        "shrinkage": asdict(axis.shrinkage),
        "at_green_mm": at,
        "by_coupon": (1.0 - axis.fit.lines.at(at) / at).tolist(),
        "scatter_within_firings": float(scatter.part_variance) ** 0.5 / at,
        "scatter_between_firings": float(scatter.firing_variance) ** 0.5 / at
        if fit.knows_firings
        else None,
        "intercept_mm": {
            **_departure(axis.fit.intercept),
            "kept": bool(axis.fit.has_intercept),
        },
        "residual_sd_mm": float(axis.fit.residual_variance) ** 0.5,
        "residual_dof": float(axis.fit.residual_dof),
        "next_part": [
            {
                "fired_mm": length,
                "green_mm": float(row.along(along).green_mm(length)),
                "half95_mm": row.promise(along, length).half95,
            }
            for along in AXES
            if along == name
            for length in LENGTHS_MM
        ],
        "readings": [
            {
                "coupon": fit.sheets[number].settings.coupon,
                "id": reading.id,
                "model_mm": float(axis.lengths.model[number, column]),
                "green_mm": float(axis.lengths.green[number, column]),
                "fired_mm": float(axis.lengths.fired[number, column]),
                "residual_mm": float(axis.residuals_mm[number, column]),
            }
            for number, line in enumerate(axis.lengths.readings)
            for column, reading in enumerate(line)
            if measured[number, column]
        ],
    }


def _balance(balance: Balance) -> dict[str, Any]:
    plain = asdict(balance)
    plain["verdicts"] = plain.pop("comparisons")
    return plain


def _printing(printing: PrintingFit) -> dict[str, Any]:
    def plain(estimate: Estimate | None) -> dict[str, Any] | None:
        return None if estimate is None else asdict(estimate)

    return {
        "print_scale": {
            axis: plain(scale) for axis, scale in zip(AXES, printing.scales, strict=True)
        },
        "bead_offset_mm": plain(printing.bead),
        "bore_offset_mm": plain(printing.bore),
        "bore_curve_mm": plain(printing.bore_curve),
        "bore_at_mm": printing.bore_at_mm,
        "first_layer_mm": plain(printing.first_layer),
        "caliper_zero_mm": plain(printing.zero),
        "green_sd_xy_mm": printing.residual_sd[0],
        "green_sd_z_mm": printing.residual_sd[1],
    }


def _departure(departure: Estimates) -> dict[str, float]:
    return {
        "value": float(departure.value),
        "u": float(departure.u),
        "dof": float(departure.dof),
    }


def bars_dict(bars: SagFit) -> dict[str, Any]:
    """Modulus of bars without a block as plain values.

    Parameters
    ----------
    bars : SagFit
        The fit.

    Returns
    -------
    dict
        Values by name, as under ``sag`` in the JSON of a fit.
    """
    return {"sag": _sag(bars)}


def _sag(sag: SagFit) -> dict[str, Any]:
    def power(which: str) -> dict[str, Any] | None:
        found = getattr(sag, which)
        return None if found is None else {**asdict(found), "agrees": found.agrees}

    return {
        "modulus_kpa": sag.modulus_kpa,
        "mean_u_kpa": sag.mean_u_kpa,
        "next_firing_u_kpa": sag.next_u_kpa,
        "next_firing_dof": sag.next_dof if isfinite(sag.next_dof) else None,
        "by_coupon_kpa": sag.by_coupon_kpa.tolist(),
        "span_power": power("span_power"),
        "depth_power": power("depth_power"),
        "beams": [
            {
                **asdict(beam),
                "support": beam.support.value,
                "modulus_kpa": beam.modulus_kpa if beam.drop_mm > 0.0 else None,
            }
            for beam in sag.beams
        ],
    }
