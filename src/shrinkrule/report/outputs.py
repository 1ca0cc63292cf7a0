"""Files of the main job and of the wall check, written together or not at all."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

from shrinkrule.errors import FileError, SettingError
from shrinkrule.files import (
    OutputSet,
    glb_bytes,
    ply_bytes,
    require_place,
    stl_bytes,
    threemf_bytes,
)
from shrinkrule.files.checksum import checksum_of
from shrinkrule.files.models import GREEN_MARK
from shrinkrule.files.plain import plain_bytes
from shrinkrule.history.made import LARGEST_MB
from shrinkrule.job import JobResult, Recipe, WallLook, look_at_bodies
from shrinkrule.job.bodies import object_names
from shrinkrule.report.foundation import green_of
from shrinkrule.report.plain import job_dict, recipe_dict
from shrinkrule.version import VERSION
from shrinkrule.walls import ThicknessMap

FORMATS: Final = ("stl", "3mf")
"""Formats of a green part."""


def job_paths(folder: Path, stem: str, green_format: str = "stl") -> dict[str, Path]:
    """Names of the files of a job, by kind.

    Parameters
    ----------
    folder : Path
        Where they go.
    stem : str
        What their names begin with.
    green_format : str
        Format of the green part: ``stl`` or ``3mf``.

    Returns
    -------
    dict
        Path of each file, by kind.

    Raises
    ------
    SettingError
        For another format.
    """
    if green_format not in FORMATS:
        raise SettingError(
            f"the green part is not written as {green_format!r}",
            hint=f"choose {' or '.join(FORMATS)}",
        )
    return {
        f"green_{green_format}": folder / f"{stem}.green.{green_format}",
        "json": folder / f"{stem}.report.json",
        "html": folder / f"{stem}.report.html",
    }


def what_is_replaced(files: dict[str, Path], model: Path, recipe: Recipe) -> str:
    """Say in words which other result stands under these names, empty if none does.

    Parameters
    ----------
    files : dict
        As from :func:`job_paths`.
    model : Path
        The model.
    recipe : Recipe
        What the maker decided now.

    Returns
    -------
    str
        In what the result that is there differs; empty if it is of the same recipe.
    """
    if not any(path.exists() for path in files.values()):
        return ""
    try:
        before = dict(json.loads(plain_bytes(files["json"], LARGEST_MB, "report"))["recipe"])
    except (FileError, ValueError, KeyError, TypeError, RecursionError):
        return "a result whose recipe is not known"
    now = recipe_dict(model.name, checksum_of(model), recipe, files)
    other = [f"{key}: {str(before.get(key))[:60]}" for key in now if before.get(key) != now[key]]
    return "the result of another recipe (" + "; ".join(other) + ")" if other else ""


def what_does_not_match(files: dict[str, Path]) -> str:
    """Say that a green part is not the one its report is about, empty if it is or none is there.

    Parameters
    ----------
    files : dict
        As from :func:`job_paths`.

    Returns
    -------
    str
        One sentence.
    """
    green = green_of(files)
    try:
        report = json.loads(plain_bytes(files["json"], LARGEST_MB, "report"))
        named, about = report.get("green_sha256"), report["files"].values()
    except (FileError, ValueError, AttributeError, KeyError, TypeError, RecursionError):
        return ""
    # One of another format that is about to be written is not what the report speaks of.
    if green.name not in about or not isinstance(named, str) or checksum_of(green) == named:
        return ""
    state = "does not belong to" if green.exists() else "is missing beside"
    return (
        f"{green.name} {state} the report there: a run was stopped between the two, or the "
        "file was changed since"
    )


def job_outputs(
    result: JobResult,
    folder: Path,
    inputs: Iterable[Path] = (),
    name: str | None = None,
    command: str = "",
    green_format: str = "stl",
) -> dict[str, Path]:
    """Write the green part and both reports; return their paths by kind.

    The green part comes last, and both reports hold its checksum: a run that is killed between
    leaves new reports beside an older green part, and the next one says so.

    Parameters
    ----------
    result : JobResult
        What to write.
    folder : Path
        Where to; it is made if it is not there.
    inputs : iterable of Path
        Files that must not be overwritten.
    name : str, optional
        What the files' names begin with; the model's name if it is not given.
    command : str
        The command line, for the reports, if there was one.
    green_format : str
        ``stl`` or ``3mf``.

    Returns
    -------
    dict
        Path of each file, by kind.

    Raises
    ------
    FileError
        If a file cannot be written; then none is changed.
    """
    from shrinkrule.report.html import job_html

    require_place(folder)
    stem = result.part.source.stem
    files = job_paths(folder, name or stem, green_format)
    outputs = OutputSet(inputs)
    factors = result.green.factors
    scales = f"X {factors.x:.5f} Y {factors.y:.5f} Z {factors.z:.5f}"
    bent = "pre-curved, " if result.sag is not None and result.sag.rounds else ""
    bodies = look_at_bodies(result)
    if green_format == "3mf":
        about = f"{GREEN_MARK}{bent}{stem}, mm, {scales}"
        about_it = _metadata(job_dict(result, files, bodies=bodies), stem, about)
        green = threemf_bytes(result.to_slice, f"{stem} green", about_it, object_names(result))
    else:
        header = f"{GREEN_MARK}{bent}{stem[: 18 - len(bent)]}, mm, {scales}"
        green = stl_bytes(result.to_slice, header)
    checksum = hashlib.sha256(green).hexdigest()
    values = job_dict(result, files, command, checksum, bodies)
    outputs.add(files["json"], f"{json.dumps(values, indent=2, allow_nan=False)}\n".encode())
    outputs.add(files["html"], job_html(result, files, command, checksum, bodies).encode())
    outputs.add(green_of(files), green)
    outputs.write()
    return files


def _metadata(whole: dict[str, Any], stem: str, about: str) -> dict[str, str]:
    """What a 3MF says of itself: what it is, and the calibration behind it as JSON."""
    keys = ("recipe", "calibration", "oversize", "outline_offset", "print_up")
    return {
        "Title": f"{stem} green",
        "Description": about,
        "Application": f"shrinkrule {VERSION}",
        "calibration": json.dumps({key: whole[key] for key in keys}, allow_nan=False),
    }


def walls_outputs(
    look: WallLook, mapped: ThicknessMap, folder: Path, inputs: Iterable[Path] = ()
) -> dict[str, Path]:
    """Write the part coloured by its wall thickness, PLY and GLB; return their paths by kind.

    The part lies in the model's own axes and has the model's size, so that places named by the
    wall check are found there; the thickness at each vertex is that of the GREEN part.

    Parameters
    ----------
    look : WallLook
        What was found.
    mapped : ThicknessMap
        Wall thickness at the vertices of its surface.
    folder : Path
        Where to; it is made if it is not there.
    inputs : iterable of Path
        Files that must not be overwritten.

    Returns
    -------
    dict
        Path of each file, by kind.

    Raises
    ------
    FileError
        If a file cannot be written; then none is changed.
    """
    require_place(folder)
    stem = look.part.source.stem
    files = {"ply": folder / f"{stem}.walls.ply", "glb": folder / f"{stem}.walls.glb"}
    vertices = look.green.in_model(mapped.vertices)
    colours = look.scale.colours_of(mapped.band)
    comments = (
        "mm; thickness_mm is the wall thickness of the green part, nan where not measured",
        *(f"{entry.css} {entry.text}" for entry in look.scale.legend),
    )
    outputs = OutputSet(inputs)
    outputs.add(
        files["ply"],
        ply_bytes(vertices, mapped.faces, colours, "thickness_mm", mapped.thickness, comments),
    )
    outputs.add(
        files["glb"], glb_bytes(vertices, mapped.faces, colours, "thickness_mm", mapped.thickness)
    )
    outputs.write()
    return files
