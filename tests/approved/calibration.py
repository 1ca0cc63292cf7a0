"""Approved: fits of sheets, rows of other densities, and what is promised by them."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from approved.small import SHEETS
from shrinkrule import (
    Beyond,
    CalibrationRow,
    Sheet,
    check_balance,
    demo_table,
    fit_dict,
    fit_sheets,
    read_sheet,
    row_at_density,
    row_from_fit,
)
from shrinkrule.calibration import AXES, fit_bars
from shrinkrule.physics.interval import Feature
from shrinkrule.report import bars_dict

FILES: Final = tuple(sorted(SHEETS.glob("*.csv")))
Cells = dict[str, str]


def _edited(path: Path, change: Callable[[Cells], Cells | None], name: str = "") -> Sheet:
    """A sample sheet with some cells changed, or lines left out."""
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    kept = [changed for one in rows if (changed := change(dict(one))) is not None]
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(kept)
    made = Path(name or path.name)
    made.write_text(out.getvalue(), encoding="utf-8", newline="")
    return read_sheet(made)


def _scaled(cells: Cells, columns: str, factor: float) -> Cells:
    for name, cell in cells.items():
        if name.startswith(columns) and cell:
            cells[name] = f"{factor * float(cell):.3f}"
    return cells


def _fit(sheets: list[Sheet], leave_out: tuple[str, ...] = ()) -> dict[str, Any]:
    fit = fit_sheets(sheets, leave_out)
    made = row_from_fit(fit, "approved")
    return {"fit": fit_dict(fit, made, {}), "promised": _promised(made)}


def _promised(row: CalibrationRow) -> dict[str, Any]:
    """What is promised of lengths along each axis, of each kind."""
    return {
        f"{axis} {length} {feature.value}": (
            row.promise(axis, length, feature),
            row.promise(axis, length, feature, 0.5).half95,
        )
        for axis in AXES
        for feature in Feature
        for length in (3.0, 40.0)
        if not (axis == "z" and feature is Feature.BORE)
    }


def _read(*numbers: int) -> list[Sheet]:
    return [read_sheet(FILES[number]) for number in numbers]


def _apart() -> dict[str, Any]:
    """X shrinks otherwise than Y, and one green and one fired reading are slips."""

    def change(cells: Cells) -> Cells:
        if cells["axis"] == "x" and cells["kind"] != "wall":
            _scaled(cells, "fired", 1.006)
        if cells["id"] == "Y3":
            cells["green_1"] = cells["green_2"] = "16.94"
        if cells["id"] == "Z5":
            cells["fired_1"] = cells["fired_2"] = "14.43"
        return cells

    return _fit([_edited(path, change) for path in FILES])


def _drifting() -> dict[str, Any]:
    """Each firing shrinks more than the one before, and long lengths more than short ones."""
    made = []
    for number, path in enumerate(FILES):

        def change(cells: Cells, number: int = number) -> Cells:
            long = 1.0 - 0.0001 * float(cells["nominal"] or 0) if cells["axis"] else 1.0
            return (
                _scaled(cells, "fired", long * (1.0 - 0.004 * number)) if cells["axis"] else cells
            )

        made.append(_edited(path, change))
    return _fit(made)


def _few() -> dict[str, Any]:
    """Three lengths along each axis, one weight, one bridge, coarse caliper."""
    kept = {"X1", "X4", "X6", "Y1", "Y4", "Y6", "Z1", "Z6", "Z9", "M1", "B2", "T1"}

    def change(cells: Cells) -> Cells | None:
        if cells["id"] == "S9":
            cells["nominal"] = "0.02"
        return cells if cells["id"] in kept or cells["id"].startswith("S") else None

    return _fit([_edited(path, change) for path in FILES[:3]])


def _bars() -> dict[str, Any]:
    def change(cells: Cells) -> Cells | None:
        if cells["id"] in {"B1", "T1", "B4", "T2"} or cells["id"].startswith("S"):
            return cells
        return None

    return bars_dict(fit_bars([_edited(path, change) for path in FILES[:2]]))


def _densities() -> dict[str, Any]:
    rows = demo_table()
    steel = rows[4]
    found = {
        "bronze 88": row_at_density(rows, rows[0], 0.88),
        "bronze 93.3": row_at_density(rows, rows[0], 0.933),
        "steel 90": row_at_density(rows, steel, 0.90),
        "steel beyond": row_at_density(rows, steel, 0.975, Beyond.EXTRAPOLATE),
    }
    return {
        name: {"row": one.as_dict(), "balance": check_balance(one), "promised": _promised(one)}
        for name, one in found.items()
    }


def _balances() -> list[Any]:
    rows = demo_table()
    assert rows[1].relative_density is not None
    off = replace(rows[1], relative_density=rows[1].relative_density.times(0.97))
    return [check_balance(one) for one in (*rows, off)]


JOBS: Final[dict[str, Callable[[], Any]]] = {
    "fit of four": lambda: _fit(_read(0, 1, 2, 3)),
    "fit of one": lambda: _fit(_read(0)),
    "fit of one firing": lambda: _fit(_read(0, 1)),
    "fit with lines left out": lambda: _fit(_read(0, 2, 3), ("X3", "Z4", "B3")),
    "fit of axes apart": _apart,
    "fit of a drift": _drifting,
    "fit of few readings": _few,
    "fit of bars": _bars,
    "rows of densities": _densities,
    "balances": _balances,
}
