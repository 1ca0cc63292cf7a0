"""Reading a part: from the corners in a file, or a mesh in memory, to a part that was inspected.

What can be repaired without changing the solid is repaired in a fixed order; the rest is reported.
STL carries no unit, so the caller states one (millimetre without it); a size that no printed part
has brings a warning.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import trimesh

from shrinkrule.errors import FileError
from shrinkrule.files.checksum import checksum_of
from shrinkrule.files.models import read_model_file
from shrinkrule.mesh.bodies import overlapping_bodies
from shrinkrule.mesh.closing import close_cracks, drop_without_area
from shrinkrule.mesh.defects import Code, Defect, defects_left
from shrinkrule.mesh.part import Part, place_in_words, surface_warnings
from shrinkrule.mesh.repair import (
    drop_degenerate,
    drop_doubled,
    loose_pairs,
    merge_equal_vertices,
    turn_outward,
)
from shrinkrule.mesh.size import require_size, size_warning
from shrinkrule.mesh.soundness import soundness_of
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.edges import EdgeTable, edge_table
from shrinkrule.units import unit_in_mm


def read_part(path: str | Path, unit: str | None = None) -> Part:
    """Read a part from STL, 3MF, OBJ, PLY or OFF, and repair what can be repaired without loss.

    Parameters
    ----------
    path : str or Path
        File to read; it is never written to.
    unit : str, optional
        Unit of the numbers in the file: mm (default), cm, m, um, in, ft. A 3MF states its own.

    Returns
    -------
    Part
        The mesh in mm, what was repaired, and what to look at.

    Raises
    ------
    FileError
        For a file that is missing, a folder, empty, truncated or no mesh.
    MeshError
        For a surface that has no outside.
    SettingError
        For an unknown unit.
    """
    path = Path(path)
    about, vertices, facets = _read(path, unit)
    return replace(
        _inspected(vertices, facets, path, about),
        is_green=about.green,
        objects=about.objects,
        object_boxes=about.object_boxes,
        sha256=checksum_of(path),
    )


@dataclass(frozen=True)
class _About:
    """What a file was, without its facets."""

    file_format: str
    unit: str = "mm"
    notes: tuple[str, ...] = ()
    green: bool = False
    objects: tuple[str, ...] = ()
    object_boxes: tuple[tuple[float, ...], ...] = ()


def _read(path: Path, unit: str | None) -> tuple[_About, Floats, Ints]:
    """What a file is, and its vertices in mm and facets.

    A function of its own, so that the file's bytes and corners are gone when it returns.
    """
    factor = unit_in_mm("mm" if unit is None else unit)
    model = read_model_file(path)
    notes = model.notes
    if model.unit and unit is not None:
        notes += (f"the unit {unit} was not used: the {model.file_format} states {model.unit}",)
    about = _About(
        model.file_format,
        model.unit or unit or "mm",
        notes,
        model.green,
        model.objects,
        model.object_boxes,
    )
    vertices, facets = merge_equal_vertices(model.corners)
    if not model.unit:
        # Not before: float32 corners merge in half the memory, and the same ones are equal.
        vertices *= factor
    return about, vertices, facets


def part_from_mesh(mesh: trimesh.Trimesh, name: str = "mesh") -> Part:
    """Make a part of a mesh in memory, in mm, with the same checks as a file gets.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Any mesh, mm; it is not changed.
    name : str
        Name of the part, for messages.

    Returns
    -------
    Part
        As from :func:`read_part`.

    Raises
    ------
    FileError
        For a mesh without a facet, or with a coordinate that is not a finite number.
    MeshError
        For a surface that has no outside.
    """
    corners = np.array(mesh.triangles, dtype=np.float64)
    if len(corners) == 0 or not np.isfinite(corners).all():
        raise FileError(
            "the mesh is empty or has a coordinate that is not a finite number", where=name
        )
    return _inspected(*merge_equal_vertices(corners), Path(name), _About("mesh"))


def _inspected(vertices: Floats, facets: Ints, path: Path, about: _About) -> Part:
    unit = about.unit
    require_size(vertices, path.name, unit)
    facets, dropped = drop_degenerate(facets)
    if len(facets) == 0:
        raise FileError("no facet has an area", where=path.name, hint="export the model again")
    table, cracks, joints, flat, doubled = edge_table(facets), "", "", "", ""
    if (table.uses > 2).any() or (np.abs(table.balance) > 1).any():
        # Only where edges are crowded can facets be doubled.
        facets, doubled = drop_doubled(facets)
        table = edge_table(facets) if doubled else table
    if (table.uses == 1).any() and (closed := close_cracks(vertices, facets, table)):
        vertices, facets, cracks, joints = (
            closed.vertices,
            closed.facets,
            closed.cracks,
            closed.joints,
        )
        table = edge_table(facets)
    if without := drop_without_area(vertices, facets):
        (closed, flat) = without
        vertices, facets = closed.vertices, closed.facets
        table = edge_table(facets)
    facets, turned, nested = turn_outward(vertices, facets, table, path.name)
    if turned:
        table = edge_table(facets)
    mesh = trimesh.Trimesh(vertices, facets, process=False, validate=False)
    soundness = soundness_of(vertices, facets, table)
    several = soundness.closed and soundness.bodies > 1
    overlaps, not_compared = overlapping_bodies(vertices, facets, table) if several else ((), "")
    thickless = _without_thickness(vertices, facets, table)
    warnings = (
        *about.notes,
        *size_warning(vertices, unit),
        *surface_warnings(soundness, overlaps),
        *(text for text in (not_compared, thickless) if text),
    )
    mended = (
        (Code.CRACK, cracks),
        (Code.T_JOINT, joints),
        (Code.DOUBLED, doubled),
        (Code.NO_AREA, dropped),
        (Code.NO_AREA, flat),
        *((Code.TURNED, note) for note in turned),
        (Code.NESTED, nested),
    )
    mends = tuple(note for _, note in mended if note)
    defects = (
        *(Defect(code, code is not Code.NESTED, note) for code, note in mended if note),
        *defects_left(soundness, len(overlaps)),
        *((Defect(Code.NO_THICKNESS, False, thickless),) if thickless else ()),
    )
    return Part(
        mesh,
        path,
        about.file_format,
        unit,
        soundness,
        mends,
        warnings,
        overlaps,
        defects=defects,
    )


def _without_thickness(vertices: Floats, facets: Ints, table: EdgeTable) -> str:
    """Say how many facets stand back to back, and where; empty for none."""
    if not (table.uses > 2).any() and table.bodies.max() == 0:
        return ""
    pairs = loose_pairs(facets, table)
    if not len(pairs):
        return ""
    at = place_in_words(vertices[facets[pairs[0]]].mean(axis=0))
    return (
        f"{len(pairs)} facet{'s' * (len(pairs) > 1)} with another back to back: a wall without "
        f"thickness, which does not print, first at {at}"
    )
