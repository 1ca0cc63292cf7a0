"""Files of the main job and of the wall check, written together or not at all."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from shrinkrule.files import OutputSet, glb_bytes, ply_bytes, require_place, stl_bytes
from shrinkrule.files.models import GREEN_MARK
from shrinkrule.job import JobResult, Recipe, WallLook
from shrinkrule.report.plain import job_dict
from shrinkrule.walls import ThicknessMap


def job_paths(folder: Path, stem: str) -> dict[str, Path]:
    """Names of the files of a job, by kind.

    Parameters
    ----------
    folder : Path
        Where they go.
    stem : str
        What their names begin with.

    Returns
    -------
    dict
        Path of each file, by kind.
    """
    return {
        "green_stl": folder / f"{stem}.green.stl",
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
        before = dict(json.loads(files["json"].read_bytes())["recipe"])
    except (OSError, ValueError, KeyError, TypeError):
        return "a result whose recipe is not known"
    now = {"model": model.name, **recipe.choices}
    other = [f"{key}: {str(before.get(key))[:60]}" for key in now if before.get(key) != now[key]]
    return "the result of another recipe (" + "; ".join(other) + ")" if other else ""


def job_outputs(
    result: JobResult,
    folder: Path,
    inputs: Iterable[Path] = (),
    name: str | None = None,
    command: str = "",
) -> dict[str, Path]:
    """Write the green STL and both reports; return their paths by kind.

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
    files = job_paths(folder, name or stem)
    outputs = OutputSet(inputs)
    factors = result.green.factors
    scales = f"X {factors.x:.5f} Y {factors.y:.5f} Z {factors.z:.5f}"
    bent = "pre-curved, " if result.sag is not None and result.sag.rounds else ""
    header = f"{GREEN_MARK}{bent}{stem[: 18 - len(bent)]}, mm, {scales}"
    outputs.add(files["green_stl"], stl_bytes(result.to_slice, header))
    plain = json.dumps(job_dict(result, files, command), indent=2, allow_nan=False) + "\n"
    outputs.add(files["json"], plain.encode())
    outputs.add(files["html"], job_html(result, files, command).encode())
    outputs.write()
    return files


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
