"""Approved: the main job whole, with traveler, review and what a row learns."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from three_firings import fill_sheet

from approved.sags import settings
from approved.small import PARTS, PRINTER, SHEETS, part, row, soft_row
from shrinkrule import (
    BoxFurnace,
    CalibrationRow,
    CrucibleFurnace,
    JobResult,
    Part,
    Recipe,
    ScaleFactors,
    WallLimits,
    compensate,
    fit_sheets,
    job_dict,
    read_part,
    read_sheet,
    row_from_fit,
    stl_bytes,
    table_csv,
)
from shrinkrule.calibration import evidence_of
from shrinkrule.calibration.sheets.load import read_load
from shrinkrule.files.checksum import sha256_of
from shrinkrule.job import Outline
from shrinkrule.physics.filament import Spool
from shrinkrule.report.parts.review import firing_dict, lesson_rows, review_dict
from shrinkrule.review.firing import review_firings
from shrinkrule.review.judge import review_part
from shrinkrule.review.learn import learn
from shrinkrule.sheet import LOAD_COLUMNS, sheet_csv
from shrinkrule.traveler.lines import sheet_lines
from shrinkrule.traveler.load import load_of


def _job(of: Part, recipe: Recipe) -> dict[str, Any]:
    result = compensate(of, recipe)
    return {"report": job_dict(result, {}), "green": result.green.mesh, "sliced": result.to_slice}


def _plain() -> Any:
    limits = WallLimits(thick_mm=4.0)
    furnace = CrucibleFurnace(60.0, 40.0)
    recipe = Recipe(PRINTER, row(), limits=limits, furnace=furnace, bed_mm=(120.0, 120.0, 100.0))
    return _job(part("bracket"), replace(recipe, spool=Spool(1.75, 5.1, 90.0, "EUR")))


def _turned() -> Any:
    fitted = row_from_fit(
        fit_sheets([read_sheet(path) for path in sorted(SHEETS.glob("*.csv"))]), "f"
    )
    recipe = Recipe(
        PRINTER,
        fitted,
        print_up="-x",
        turn_deg=90,
        outline=Outline.IN_MESH,
        first_layer_mm=0.2,
        whole_layers=True,
        coupon_section_mm=5.0,
        furnace=BoxFurnace(60.0, 50.0, 45.0, ballast_below_mm=3.0),
        printer_corrected=True,
        look_at_sag=False,
    )
    return _job(part("bracket"), recipe)


def _bent() -> Any:
    recipe = Recipe(
        PRINTER, soft_row(5.0), sag=settings(max_rounds=1), furnace=BoxFurnace(50.0, 40.0, 30.0)
    )
    return _job(part("bridge"), recipe)


def _by_hand() -> Any:
    recipe = Recipe(PRINTER, factors=ScaleFactors(1.19, 1.17, 1.21), print_up="y")
    return _job(part("two"), recipe)


def _steel() -> Any:
    of = read_part(PARTS / "made4.stl", "mm")
    return _job(of, Recipe(PRINTER, row(4), look_at_sag=False, bed_mm=(200.0, 150.0, 100.0)))


def _made(name: str, recipe: Recipe) -> Path:
    """A report and its green part, as the command writes them."""
    folder = Path.cwd()
    files = {"green_stl": folder / f"{name}.green.stl", "json": folder / f"{name}.report.json"}
    result: JobResult = compensate(part(name), recipe)
    files["green_stl"].write_bytes(stl_bytes(result.to_slice, name))
    report = job_dict(result, files, "", sha256_of(files["green_stl"]))
    files["json"].write_text(json.dumps(report), encoding="utf-8")
    return files["json"]


def _fitted() -> tuple[CalibrationRow, Path]:
    """A row of the sample sheets, in a table beside copies of them."""
    sheets = []
    for path in sorted(SHEETS.glob("*.csv")):
        copy = Path.cwd() / path.name
        copy.write_bytes(path.read_bytes())
        sheets.append(copy)
    fit = fit_sheets([read_sheet(path) for path in sheets])
    made = row_from_fit(fit, "bronze", "", evidence_of(sheets, Path.cwd()))
    table = Path.cwd() / "table.csv"
    table.write_text(table_csv((made,)), encoding="utf-8")
    return made, table


def _load() -> Any:
    """A load of two parts: its sheet, its review sound and faulty, and what the row learns."""
    made, table = _fitted()
    recipe = Recipe(PRINTER, made, row_source="table.csv", look_at_sag=False)
    load = load_of([_made("bracket", recipe), _made("two", replace(recipe, print_up="z"))])
    lines = sheet_lines(load)
    found: dict[str, Any] = {"parts": [one.lengths for one in load.parts]}
    found["missing"] = [one.not_measured for one in load.parts]
    found["lines"] = [replace(line, note=line.note.split(" sha256")[0]) for line in lines]
    others = [replace(row(number), name=f"other {number}") for number in (0, 2)]
    for name, kept in (("sound", 1.0), ("hotter", 0.988)):
        sheet = Path.cwd() / f"{name}.load.csv"
        sheet.write_text(sheet_csv(lines, LOAD_COLUMNS), encoding="utf-8", newline="")
        fill_sheet(sheet, 7, 11)
        if kept != 1.0:
            _shrink(sheet, kept)
        reviews = [review_part(one, made, others) for one in read_load(sheet)]
        firings = review_firings(reviews, made)
        found[name] = {
            "parts": [review_dict(one, made) for one in reviews],
            "firings": [firing_dict(one) for one in firings],
        }
        if kept == 1.0:
            lesson = learn(made, table, [sheet], reviews, firings, None)
            found["learned"] = {"rows": lesson_rows(lesson), "row": lesson.row.as_dict()}
            found["taught"] = [lesson.taught, lesson.not_taught, lesson.doubtful]
    return found


def _shrink(sheet: Path, kept: float) -> None:
    """Multiply the fired lengths of a filled sheet."""
    names, *rows = csv.reader(io.StringIO(sheet.read_text(encoding="utf-8")))
    fired = [number for number, name in enumerate(names) if name.startswith("fired")]
    for cells in rows:
        if cells and cells[names.index("axis")]:
            for number in fired:
                if cells[number]:
                    cells[number] = f"{kept * float(cells[number]):.2f}"
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows([names, *rows])
    sheet.write_text(out.getvalue(), encoding="utf-8", newline="")


JOBS: Final[dict[str, Callable[[], Any]]] = {
    "compensate bracket": _plain,
    "compensate turned": _turned,
    "compensate bent": _bent,
    "compensate by hand": _by_hand,
    "compensate steel": _steel,
    "traveler, review and lesson": _load,
}
