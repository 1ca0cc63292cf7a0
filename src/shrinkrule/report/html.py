"""The HTML report: one file, no network, what matters first."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Any, Final

import numpy as np
from markupsafe import Markup

from shrinkrule.cautions import CAUTIONS
from shrinkrule.dimensions import numbered_dozen
from shrinkrule.files.templates import environment
from shrinkrule.job import JobResult, Row
from shrinkrule.numerics.arrays import Floats
from shrinkrule.report import words
from shrinkrule.report.dimensions import dimension_rows
from shrinkrule.report.filament import filament_text
from shrinkrule.report.foundation import program
from shrinkrule.report.pictures.dimensions import dimension_stills
from shrinkrule.report.pictures.walls import Picture, legend, thickness_colouring, wall_pictures
from shrinkrule.report.printer_words import print_facts
from shrinkrule.report.sag_report import estimate_text, sag_figures, sag_pictures, sag_text
from shrinkrule.report.turning.scene import turning_scene
from shrinkrule.report.turning.three import three_js
from shrinkrule.report.verdict import LEVEL_CLASSES, STATE_CLASSES, verdict_rows
from shrinkrule.units import plain, small_mm

MOST_ROWS: Final = 30
"""Rows of what prints badly on the page; the JSON has all."""

LEAST_DARK_MM: Final = 0.05
"""Sag that the darkest colour stands for at least: less is not painted dark."""


def job_html(result: JobResult, files: dict[str, Path]) -> str:
    """HTML report of the main job, with its pictures inside.

    Parameters
    ----------
    result : JobResult
        What to report.
    files : dict of str to Path
        Files written beside the report, by kind.

    Returns
    -------
    str
        One page without links to other files.
    """
    pictures = wall_pictures(result.walls, thickness_colouring(result.walls))
    dozen = () if result.dimensions is None else numbered_dozen(result.dimensions)
    stills = dimension_stills(result.green.mesh, dozen, result.green.from_model)
    verdict = result.verdict
    scene = turning_scene(result, stills.lines)
    return (
        environment("shrinkrule.report")
        .get_template("job.html.j2")
        .render(
            result=result,
            row=result.recipe.row,
            files={kind: path.name for kind, path in files.items()},
            headline=verdict.headline,
            level_class=LEVEL_CLASSES[verdict.level],
            reasons=[
                (STATE_CLASSES[reason.state], reason.state.value, reason.text, _at(reason.at_mm))
                for reason in verdict.reasons
            ],
            checks=verdict_rows(verdict),
            read=words.what_was_read(result),
            offset=words.outline_offset(result),
            masses=words.masses(result),
            filament=filament_text(result),
            sizes=[_size(size) for size in result.prediction.sizes],
            places=[
                _row(n, row, pictures, result.part.unit)
                for n, row in enumerate(result.walls.rows, start=1)
            ],
            swatches=legend(result.walls.scale),
            pictures=pictures,
            sag=_sag(result),
            dimensions=dimension_rows(result.dimensions, result.promised, stills.pictures),
            dimension_stills=stills.pictures,
            estimate=_estimate(result),
            badly=_badly(result),
            scene=Markup(scene),
            most=_most(result),
            three=Markup(three_js()),
            turning=Markup(_turning_script()),
            words=words,
            print_facts=print_facts,
            cautions=CAUTIONS,
            program=program(),
        )
    )


def _sag(result: JobResult) -> dict[str, Any] | None:
    if result.sag is None or result.recipe.sag is None:
        return None
    pictures, swatches = sag_pictures(result.sag, result.recipe.sag.furnace_up)
    return {
        "text": sag_text(result.sag),
        "figures": sag_figures(result.sag),
        "pictures": pictures,
        "swatches": swatches,
    }


def _at(place: Sequence[float] | Floats | None) -> str:
    """A place in the model for the turning part to fly to; empty where there is none."""
    return "" if place is None else ",".join(f"{float(value):.3f}" for value in place)


def _turning_script() -> str:
    """The script that turns the part."""
    script = resources.files("shrinkrule.report") / "templates" / "turning.js"
    return script.read_text(encoding="utf-8")


def _most(result: JobResult) -> str:
    """Largest sag that the darkest colour stands for, mm; empty where sag is not known."""
    look = result.sag_look
    if look.taken_off is not None:
        return plain(max(look.taken_off.before.largest_sag_mm, LEAST_DARK_MM))
    if look.estimate is not None and look.estimate.field is not None:
        return plain(max(look.estimate.sag_mm, LEAST_DARK_MM))
    return ""


def _badly(result: JobResult) -> list[dict[str, str]]:
    """Rows of what prints badly, the first of many."""
    found = () if result.printing is None else result.printing.findings
    rows = []
    for finding in found[:MOST_ROWS]:
        x, y, z = result.green.in_model(np.array([finding.position]))[0]
        rows.append(
            {
                "kind": finding.kind.value,
                "text": finding.text,
                "where": f"{x:z.1f}, {y:z.1f}, {z:z.1f}",
                "at": _at((x, y, z)),
            }
        )
    if len(found) > MOST_ROWS:
        rows.append(
            {
                "kind": f"and {len(found) - MOST_ROWS} more",
                "text": "in the JSON",
                "where": "",
                "at": "",
            }
        )
    return rows


def _estimate(result: JobResult) -> dict[str, Any] | None:
    """The quick estimate, with the six ways up where it matters."""
    look = result.sag_look
    if look.estimate is None:
        return None
    return {
        "text": estimate_text(look.estimate),
        "limit": f"{look.limit_mm:.2f}",
        "matters": look.matters,
        "ways": [
            {
                "up": way.name,
                "sag": f"{small_mm(way.sag_mm)} mm" if way.stands else way.reason,
                "sideways": f"{small_mm(way.sideways_mm)} mm" if way.stands else "",
                "height": f"{way.height_mm:.1f}",
                "footprint": f"{way.footprint_mm2:.0f}",
            }
            for way in look.ways
        ],
    }


def _size(size: Any) -> dict[str, str]:
    return {
        "axis": size.axis,
        "wanted": f"{size.wanted_mm:.2f}",
        "green": f"{size.green_mm:.2f}",
        "fired": words.with_interval(size.fired_mm),
        "holds": words.tolerance_class(size),
    }


def _row(number: int, row: Row, pictures: tuple[Picture, ...], unit: str) -> dict[str, str]:
    place, finding = row.worst, row.worst.finding
    seen = [picture.letter for picture in pictures if number in picture.marked]
    return {
        "number": str(number),
        "kind": words.kind_text(row),
        "rule": {"ball": "ball thickness", "layers": "layer section"}.get(
            finding.rule.value, "ball and layers"
        ),
        "smallest": f"{finding.smallest_mm:.2f}",
        "limit": f"{finding.limit_mm:.2f}",
        "area": f"{finding.area_mm2:.1f}",
        "volume": "" if finding.volume_mm3 is None else f"{finding.volume_mm3:.1f}",
        "where": words.place_text(place, unit),
        "span": words.span_text(place),
        "seen": ", ".join(seen),
        "mend": words.mend_text(place, unit),
        "at": _at(place.in_model),
    }
