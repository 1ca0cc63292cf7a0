"""The HTML report: one file, no network, what matters first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Any, Final

import numpy as np
from markupsafe import Markup

from shrinkrule.cautions import CAUTIONS
from shrinkrule.cells import printable
from shrinkrule.compensation import way_up
from shrinkrule.dimensions import numbered_dozen
from shrinkrule.files.templates import environment
from shrinkrule.job import BodyLook, JobResult, Level, Outline, Row, look_at_bodies
from shrinkrule.numerics.arrays import Floats
from shrinkrule.printing import PrintFinding
from shrinkrule.report import place_words, words
from shrinkrule.report.dimensions import dimension_rows
from shrinkrule.report.filament import filament_text
from shrinkrule.report.foundation import green_of, program
from shrinkrule.report.pictures.details import detail_pictures
from shrinkrule.report.pictures.dimensions import dimension_stills
from shrinkrule.report.pictures.marks import LETTERS, MOST_MARKS, print_marks
from shrinkrule.report.pictures.walls import (
    Picture,
    legend,
    thickness_colouring,
    wall_pictures,
    wall_views,
)
from shrinkrule.report.printer_words import print_facts
from shrinkrule.report.sag.pictures import estimate_map, sag_maps
from shrinkrule.report.sag.words import estimate_text, sag_figures, sag_text
from shrinkrule.report.turning.scene import turning_scene
from shrinkrule.report.turning.three import three_js
from shrinkrule.report.verdict import LEVEL_CLASSES, STATE_CLASSES, verdict_rows
from shrinkrule.settings import Settings, Source
from shrinkrule.units import plain, small_mm

MOST_ROWS: Final = 30
"""Rows of what prints badly on the page; the JSON has all."""


def job_html(
    result: JobResult,
    files: dict[str, Path],
    command: str = "",
    green_sha256: str = "",
    bodies: Sequence[BodyLook] | None = None,
) -> str:
    """HTML report of the main job, with its pictures inside.

    Parameters
    ----------
    result : JobResult
        What to report.
    files : dict of str to Path
        Files written beside the report, by kind.
    command : str
        The command line, if there was one.
    green_sha256 : str
        Checksum of the green part that the report is about, if that is written.
    bodies : sequence of BodyLook, optional
        As :func:`look_at_bodies` gives them, where they were looked at already.

    Returns
    -------
    str
        One page without links to other files.
    """
    badly = _badly_rows(result)
    dozen = () if result.dimensions is None else numbered_dozen(result.dimensions)
    colouring = thickness_colouring(result.walls)
    views = wall_views(result.walls, colouring, print_marks(badly), plain=bool(dozen))
    pictures = wall_pictures(views)
    stills = dimension_stills(views.stage, dozen, result.green.from_model, views.drawings)
    verdict = result.verdict
    scene = turning_scene(result, stills.lines)
    return (
        environment("shrinkrule.report")
        .get_template("job.html.j2")
        .render(
            result=result,
            row=result.recipe.row,
            files={kind: path.name for kind, path in files.items()},
            green_file=green_of(files).name,
            offset_in_mesh=result.recipe.outline is Outline.IN_MESH,
            green_sha256=green_sha256,
            headline=verdict.headline,
            make=verdict.level is not Level.STOP,
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
            details=detail_pictures(views),
            sag=_sag(result),
            dimensions=dimension_rows(result.dimensions, result.promised, stills.pictures),
            dimension_stills=stills.pictures,
            estimate=_estimate(result),
            badly=_badly(result, badly, pictures),
            scene=Markup(scene),
            most=_most(result),
            three=Markup(three_js()),
            turning=Markup(_turning_script()),
            bodies=_bodies(look_at_bodies(result) if bodies is None else bodies),
            origin=_origin(result, command),
            words=words,
            print_facts=print_facts,
            cautions=CAUTIONS,
            program=program(),
        )
    )


def _sag(result: JobResult) -> dict[str, Any] | None:
    if result.sag is None or result.recipe.sag is None:
        return None
    maps = sag_maps(result.sag, result.recipe.sag.furnace_up, result.sag_look.limit_mm)
    return {"text": sag_text(result.sag), "figures": sag_figures(result.sag), "maps": maps}


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
        return plain(max(look.taken_off.before.largest_sag_mm, look.limit_mm))
    if look.estimate is not None and look.estimate.field is not None:
        return plain(max(look.estimate.sag_mm, look.limit_mm))
    return ""


def _badly_rows(result: JobResult) -> list[list[PrintFinding]]:
    """What prints badly, those that read alike together."""
    found = () if result.printing is None else result.printing.findings
    alike: dict[tuple[str, str], list[PrintFinding]] = {}
    for finding in found:
        alike.setdefault((finding.kind.value, finding.text), []).append(finding)
    return list(alike.values())


def _badly(
    result: JobResult, alike: Sequence[Sequence[PrintFinding]], pictures: Sequence[Picture]
) -> list[dict[str, str]]:
    """Rows of what prints badly, the first of many."""
    rows = []
    for number, places in enumerate(alike[:MOST_ROWS]):
        x, y, z = result.green.in_model(np.array([places[0].position]))[0]
        label = LETTERS[number] if number < MOST_MARKS else ""
        kind = places[0].kind.value
        rows.append(
            {
                "label": label,
                "kind": kind if len(places) == 1 else f"{len(places)} × {kind}",
                "text": places[0].text,
                "where": f"{x:z.1f}, {y:z.1f}, {z:z.1f}",
                "seen": _seen(label, pictures),
                "at": _at((x, y, z)),
            }
        )
    if more := sum(map(len, alike[MOST_ROWS:])):
        rows.append({"kind": f"and {more} more", "text": "in the JSON"})
    return rows


def _seen(label: str, pictures: Sequence[Picture]) -> str:
    """Letters of the pictures on which a place is marked."""
    return ", ".join(picture.letter for picture in pictures if label in picture.marked)


def _estimate(result: JobResult) -> dict[str, Any] | None:
    """The quick estimate, with the six ways up where it matters."""
    look = result.sag_look
    if look.estimate is None:
        return None
    return {
        "text": estimate_text(look.estimate),
        "limit": f"{look.limit_mm:.2f}",
        "matters": look.matters and not look.unclear,
        "map": estimate_map(result.part.mesh, look.estimate, _furnace_up(result), look.limit_mm)
        if look.matters
        else None,
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


def _furnace_up(result: JobResult) -> tuple[float, float, float]:
    """The model's direction that points up in the furnace."""
    if result.recipe.lies is not None:
        return result.recipe.lies.furnace_up
    x, y, z = way_up(result.recipe.print_up)
    return float(x), float(y), float(z)


def _bodies(bodies: Sequence[BodyLook]) -> list[dict[str, str]]:
    """Rows of the bodies, where there are several."""
    rows = []
    for body in bodies:
        x, y, z = body.high_mm - body.low_mm
        a, b, c = 0.5 * (body.high_mm + body.low_mm)
        found = ", ".join(f"{n} × {kind}" if n > 1 else kind for kind, n in body.found)
        rows.append(
            {
                "name": printable(body.name),
                "size": f"{x:.1f} × {y:.1f} × {z:.1f}",
                "where": f"{a:z.1f}, {b:z.1f}, {c:z.1f}",
                "at": _at((a, b, c)),
                "green": words.known_digits(body.green_mass_g, "g"),
                "fired": words.known_digits(body.fired_mass_g, "g"),
                "found": found or "nothing",
                "level": body.level.value,
                "css": LEVEL_CLASSES[body.level],
            }
        )
    if len(rows) <= MOST_ROWS:
        return rows
    # The worst stay.
    order = list(LEVEL_CLASSES.values())
    kept = sorted(rows, key=lambda row: -order.index(row["css"]))[:MOST_ROWS]
    more = {"name": f"and {len(rows) - MOST_ROWS} more", "found": "in the JSON"}
    return [*kept, {**dict.fromkeys(rows[0], ""), **more}]


def _origin(result: JobResult, command: str) -> list[tuple[str, str]]:
    """What tells in two weeks which print this was: when, by which command, of which file."""
    part, recipe = result.part, result.recipe
    made = dt.datetime.now().astimezone().strftime("%Y-%m-%d %H:%M %z")
    facts = [("made", f"{made} by {program()}")]
    if command:
        facts.append(("command", command))
    if part.sha256:
        facts.append(("model", f"{part.source.name}, SHA-256 {part.sha256}"))
    if recipe.settings is not None:
        facts.extend(_settings(recipe.settings))
        facts.extend(("settings, look", remark) for remark in recipe.settings.remarks)
    return facts


def _settings(settings: Settings) -> list[tuple[str, str]]:
    """What holds, by where it is stated: each file and row is named once."""
    groups: dict[tuple[str, str], list[str]] = {}
    for setting in settings.all():
        if setting.value is None:
            continue
        place, _, line = setting.place.partition(", line ")
        name = setting.key.name.replace(".", " ").replace("_", " ")
        if setting.source is Source.BUILT_IN:
            place, line = "", place
        elif line:
            line = f"line {line}"
        said = f"{name} {setting.shown}" + (f" ({line})" if line else "")
        groups.setdefault((setting.source.value, place), []).append(said)
    return [
        (f"settings, {source}", f"{place}: {'; '.join(said)}" if place else "; ".join(said))
        for (source, place), said in groups.items()
    ]


def _size(size: Any) -> dict[str, str]:
    return {
        "axis": size.axis,
        "wanted": f"{size.wanted_mm:.2f}",
        "green": f"{size.green_mm:.2f}",
        "fired": words.fired_text(size.fired_mm),
        "holds": words.tolerance_class(size),
    }


def _row(number: int, row: Row, pictures: tuple[Picture, ...], unit: str) -> dict[str, str]:
    place, finding = row.worst, row.worst.finding
    return {
        "number": str(number),
        "kind": place_words.kind_text(row),
        "rule": {"ball": "ball thickness", "layers": "layer section"}.get(
            finding.rule.value, "ball and layers"
        ),
        "smallest": f"{finding.smallest_mm:.2f}",
        "limit": f"{finding.limit_mm:.2f}",
        "area": words.rough(finding.area_mm2),
        "volume": "" if finding.volume_mm3 is None else words.rough(finding.volume_mm3),
        "where": place_words.place_text(place, unit),
        "span": place_words.span_text(place),
        "seen": _seen(str(number), pictures),
        "mend": place_words.mend_text(place, unit),
        "at": _at(place.in_model),
    }
