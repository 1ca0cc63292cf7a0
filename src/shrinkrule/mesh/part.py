"""A part as it came from a file: its mesh in mm, and how far that mesh can be trusted.

STL carries no unit, so the caller states one (millimetre unless given),
and a warning is given when the size is absurd for a printed part.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import trimesh

from shrinkrule.errors import FileError, MeshError, Option
from shrinkrule.files.checksum import checksum_of
from shrinkrule.files.models import read_model_file
from shrinkrule.mesh.bodies import Overlap, overlapping_bodies, united
from shrinkrule.mesh.closing import close_cracks, drop_without_area
from shrinkrule.mesh.defects import Code, Defect, defects_left
from shrinkrule.mesh.repair import (
    drop_degenerate,
    drop_doubled,
    loose_pairs,
    merge_equal_vertices,
    turn_outward,
)
from shrinkrule.mesh.size import require_extent, require_size, size_warning
from shrinkrule.mesh.soundness import Soundness, inspect_mesh, soundness_of
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.edges import EdgeTable, edge_table
from shrinkrule.units import unit_in_mm


def _why_not_closed(found: Soundness) -> str:
    """What keeps a surface from being closed: open edges, or facets that face opposite ways."""
    if found.open_edges:
        return f"the surface is not closed ({found.open_edges} open edges, {found.facets} facets)"
    if found.crowded_edges:
        return f"facets do not pair up on the {found.crowded_edges} edges that more than two share"
    return f"neighbouring facets face opposite ways (of {found.facets} facets)"


def _words(point: Floats | tuple[float, float, float]) -> str:
    """A place in words."""
    x, y, z = point
    return f"x {x:z.2f}, y {y:z.2f}, z {z:z.2f} mm"


@dataclass(frozen=True)
class Part:
    """A part read from a file, in mm, in the file's axes.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        Merged and wound outward where that was possible without loss.
    source : Path
        File it came from.
    file_format, unit : str
        What the file was, and the unit its numbers were taken in.
    soundness : Soundness
        What was found after repair.
    mends : tuple of str
        What was repaired.
    warnings : tuple of str
        What the maker should look at.
    overlaps : tuple of Overlap
        Pairs of bodies (numbered from 1) that share space; volume counts that space twice.
    is_green : bool
        Whether the file says that it is a green part made here: it has its oversize already.
    defects : tuple of Defect
        What was wrong with the mesh, mended or not, by its code.
    sha256 : str
        Checksum of the file that was read, empty for a mesh out of memory.
    objects : tuple of str
        Names of the objects that the file places, where it has any.
    object_boxes : tuple of tuple of 6 float
        Box of each of those as it is placed, lowest corner first, mm.
    """

    mesh: trimesh.Trimesh
    source: Path
    file_format: str
    unit: str
    soundness: Soundness
    mends: tuple[str, ...]
    warnings: tuple[str, ...]
    overlaps: tuple[Overlap, ...]
    is_green: bool = False
    defects: tuple[Defect, ...] = ()
    sha256: str = ""
    objects: tuple[str, ...] = ()
    object_boxes: tuple[tuple[float, ...], ...] = ()

    @property
    def trusted(self) -> bool:
        """Whether volume, mass and wall thickness mean what they say."""
        return self.soundness.closed and not self.overlaps

    @property
    def why_not_trusted(self) -> str:
        """What keeps volume, mass and wall thickness from meaning that, in words."""
        if self.trusted:
            return ""
        return "bodies share space" if self.overlaps else "the surface is not closed"

    def require_wanted(self) -> None:
        """Refuse a green part made here, which would be enlarged twice.

        Raises
        ------
        MeshError
            For such a part.
        """
        if self.is_green:
            raise MeshError(
                "this is a green part already, as its header says: it would be enlarged twice",
                where=self.source.name,
                hint="give the wanted part, or have it enlarged once more",
                options=(Option.AGAIN,),
            )

    def require_extent(self) -> None:
        """Refuse a part that is thinner than anything printed: a sheet or a line.

        Raises
        ------
        MeshError
            For such a part.
        """
        require_extent(np.asarray(self.mesh.vertices, dtype=np.float64), self.source.name)

    def require_solid(self) -> None:
        """Refuse a part whose volume cannot be trusted.

        Raises
        ------
        MeshError
            As :meth:`require_closed` and :meth:`require_apart`.
        """
        self.require_closed()
        self.require_apart()

    def require_closed(self) -> None:
        """Refuse a surface that encloses nothing.

        Raises
        ------
        MeshError
            For an open surface, or one without volume; with a place and a hint.
        """
        found = self.soundness
        if not found.closed:
            raise MeshError(
                f"{_why_not_closed(found)}, first near {self._first_open_edge()}, so it has no "
                "volume, mass or wall",
                where=self.source.name,
                hint="close it in the modelling program, or have it scaled as it is",
                options=(Option.OPEN,),
            )
        if found.volume_mm3 <= 0.0:
            raise MeshError(
                "the surface encloses no volume", where=self.source.name, hint="check the model"
            )

    def require_apart(self) -> None:
        """Refuse bodies that share space.

        Raises
        ------
        MeshError
            For such bodies; with a place and a hint.
        """
        if not self.overlaps:
            return
        first = self.overlaps[0]
        one, other = first.pair
        raise MeshError(
            f"bodies {one} and {other} share space ({first.volume_mm3:.4g} mm3 about "
            f"{_words(first.at_mm)}), so volume and walls would be wrong",
            where=self.source.name,
            hint="unite them in the modelling program or here, or keep them as they are",
            options=(Option.UNITE, Option.KEEP),
        )

    def _first_open_edge(self) -> str:
        table = edge_table(np.asarray(self.mesh.faces, dtype=np.int64))
        edge = int(np.argmax(table.balance != 0))
        return _words(np.asarray(self.mesh.vertices)[table.ends[edge]].mean(axis=0))

    def united(self) -> Part:
        """Return the part with its overlapping bodies made one.

        Raises
        ------
        MeshError
            If the bodies are not sound enough to be united.
        """
        if not self.overlaps:
            return self
        mesh = united(self.mesh, self.source.name)
        soundness = inspect_mesh(mesh)
        before = _surface_warnings(self.soundness, self.overlaps)
        others = (text for text in self.warnings if text not in before)
        return replace(
            self,
            mesh=mesh,
            soundness=soundness,
            overlaps=(),
            defects=(
                *(defect for defect in self.defects if defect.mended),
                *defects_left(soundness, 0),
            ),
            warnings=(*others, *_surface_warnings(soundness, ())),
            mends=(
                *self.mends,
                f"united {self.soundness.bodies} bodies, some of which overlapped: volume from "
                f"{self.soundness.volume_mm3:.1f} to {soundness.volume_mm3:.1f} mm3",
            ),
        )


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
    facets, turned = turn_outward(vertices, facets, table, path.name)
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
        *_surface_warnings(soundness, overlaps),
        *(text for text in (not_compared, thickless) if text),
    )
    mended = (
        (Code.CRACK, cracks),
        (Code.T_JOINT, joints),
        (Code.DOUBLED, doubled),
        (Code.NO_AREA, dropped),
        (Code.NO_AREA, flat),
        *((Code.NESTED if "same way" in note else Code.TURNED, note) for note in turned),
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
    at = _words(vertices[facets[pairs[0]]].mean(axis=0))
    return (
        f"{len(pairs)} facet{'s' * (len(pairs) > 1)} with another back to back: a wall without "
        f"thickness, which does not print, first at {at}"
    )


def _surface_warnings(found: Soundness, overlaps: tuple[Overlap, ...]) -> tuple[str, ...]:
    said = []
    if not found.closed:
        said.append(f"{_why_not_closed(found)}: volume, mass and walls cannot be trusted")
    if not found.winding_consistent:
        said.append("neighbouring facets face opposite ways")
    if found.crowded_edges:
        said.append(f"{found.crowded_edges} edges belong to more than two facets")
    if overlaps:
        pairs = ", ".join("{} and {}".format(*overlap.pair) for overlap in overlaps[:3])
        said.append(f"bodies share space ({pairs}): volume counts it twice")
    return tuple(said)
