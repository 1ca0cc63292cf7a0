"""The HTML report: one file, no network, what matters first."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from shrinkrule.cautions import CAUTIONS
from shrinkrule.files.templates import environment
from shrinkrule.job import JobResult, Row
from shrinkrule.report import words
from shrinkrule.report.foundation import program
from shrinkrule.report.pictures.walls import Picture, legend, thickness_colouring, wall_pictures
from shrinkrule.report.printer_words import print_facts
from shrinkrule.report.sag_report import sag_figures, sag_pictures, sag_text
from shrinkrule.report.verdict import LEVEL_CLASSES, STATE_CLASSES, verdict_rows


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
    verdict = result.verdict
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
                (STATE_CLASSES[reason.state], reason.state.value, reason.text)
                for reason in verdict.reasons
            ],
            checks=verdict_rows(verdict),
            read=words.what_was_read(result),
            offset=words.outline_offset(result),
            masses=words.masses(result),
            sizes=[_size(size) for size in result.prediction.sizes],
            places=[
                _row(n, row, pictures, result.part.unit)
                for n, row in enumerate(result.walls.rows, start=1)
            ],
            swatches=legend(result.walls.scale),
            pictures=pictures,
            sag=_sag(result),
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
    }
