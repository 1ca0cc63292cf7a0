"""A part as it came from a file: its mesh in mm, and how far that mesh can be trusted.

STL carries no unit, so the caller states one (millimetre unless given),
and a warning is given when the size is absurd for a printed part.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import trimesh

from shrinkrule.errors import FileError, MeshError, Option
from shrinkrule.files.models import read_model_file
from shrinkrule.mesh.bodies import overlapping_bodies, united
from shrinkrule.mesh.defects import Code, Defect, defects_left
from shrinkrule.mesh.repair import (
    close_cracks,
    drop_degenerate,
    drop_doubled,
    merge_equal_vertices,
    turn_outward,
)
from shrinkrule.mesh.soundness import Soundness, inspect_mesh, soundness_of
from shrinkrule.numerics.arrays import Floats, Ints, box_of
from shrinkrule.numerics.edges import edge_table
from shrinkrule.units import MM_PER_UNIT, unit_in_mm

SMALLEST_PLAUSIBLE_MM: Final = 2.0
LARGEST_PLAUSIBLE_MM: Final = 400.0
"""Longest side of a part printed and sintered in a small shop (common practice, no source)."""

SMALLEST_MM: Final = 0.05
LARGEST_MM: Final = 1e5
FARTHEST_MM: Final = 1e6
"""Beyond these a part is refused: less than a nozzle prints, more than a coordinate resolves."""

LONGEST_DRAWN_INCHES: Final = 10.0
"""Longest side, as a number, of a part that may have been drawn in inches: in inches it would be
254 mm, about what a bed takes, and in mm it is a very small part."""

INCHES_ROUNDED: Final = 5.0e-4
"""What a number in inches may have been rounded by: to three decimals."""


def _why_not_closed(found: Soundness) -> str:
    """What keeps a surface from being closed: open edges, or facets that face opposite ways."""
    if found.open_edges:
        return f"the surface is not closed ({found.open_edges} open edges, {found.facets} facets)"
    if found.crowded_edges:
        return f"facets do not pair up on the {found.crowded_edges} edges that more than two share"
    return f"neighbouring facets face opposite ways (of {found.facets} facets)"


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
    overlaps : tuple of (int, int)
        Pairs of bodies (numbered from 1) that share space; volume counts that space twice.
    is_green : bool
        Whether the file says that it is a green part made here: it has its oversize already.
    defects : tuple of Defect
        What was wrong with the mesh, mended or not, by its code.
    sha256 : str
        Checksum of the file; empty for a mesh in memory.
    """

    mesh: trimesh.Trimesh
    source: Path
    file_format: str
    unit: str
    soundness: Soundness
    mends: tuple[str, ...]
    warnings: tuple[str, ...]
    overlaps: tuple[tuple[int, int], ...]
    is_green: bool = False
    defects: tuple[Defect, ...] = ()
    sha256: str = ""

    @property
    def trusted(self) -> bool:
        """Whether volume, mass and wall thickness mean what they say."""
        return self.soundness.closed and not self.overlaps

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

    def require_solid(self) -> None:
        """Refuse a part whose volume cannot be trusted.

        Raises
        ------
        MeshError
            For an open or one-sided surface, or bodies that overlap; with a hint.
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
        if self.overlaps:
            first, second = self.overlaps[0]
            raise MeshError(
                f"bodies {first} and {second} share space, so volume and walls would be wrong",
                where=self.source.name,
                hint="unite them in the modelling program, or have them united here",
                options=(Option.UNITE,),
            )
        if found.volume_mm3 <= 0.0:
            raise MeshError(
                "the surface encloses no volume", where=self.source.name, hint="check the model"
            )

    def _first_open_edge(self) -> str:
        table = edge_table(np.asarray(self.mesh.faces, dtype=np.int64))
        edge = int(np.argmax(table.balance != 0))
        x, y, z = np.asarray(self.mesh.vertices)[table.ends[edge]].mean(axis=0)
        return f"x {x:z.2f}, y {y:z.2f}, z {z:z.2f} mm"

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
            mends=(*self.mends, f"united {self.soundness.bodies} bodies, some of which overlapped"),
        )


def read_part(path: str | Path, unit: str | None = None) -> Part:
    """Read a part from STL (binary or ASCII) or 3MF and repair what can be repaired without loss.

    Parameters
    ----------
    path : str or Path
        File to read; it is never written to.
    unit : str, optional
        Unit of the numbers in an STL: mm (default), cm, m, um, in, ft. A 3MF states its own.

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
    return replace(_inspected(vertices, facets, path, about), is_green=about.green)


@dataclass(frozen=True)
class _About:
    """What a file was, without its facets."""

    file_format: str
    unit: str = "mm"
    notes: tuple[str, ...] = ()
    green: bool = False
    sha256: str = ""


def _read(path: Path, unit: str | None) -> tuple[_About, Floats, Ints]:
    """What a file is, and its vertices in mm and facets.

    A function of its own, so that the file's bytes and corners are gone when it returns.
    """
    factor = unit_in_mm("mm" if unit is None else unit)
    model = read_model_file(path)
    notes = model.notes
    if model.unit and unit is not None:
        notes += (f"the unit {unit} was not used: the {model.file_format} states {model.unit}",)
    about = _About(model.file_format, model.unit or unit or "mm", notes, model.green, model.sha256)
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
    _require_size(vertices, path, unit)
    facets, dropped = drop_degenerate(facets)
    if len(facets) == 0:
        raise FileError("no facet has an area", where=path.name, hint="export the model again")
    table, cracks, doubled = edge_table(facets), "", ""
    if (table.uses > 2).any():
        # Only where edges are crowded can facets be doubled.
        facets, doubled = drop_doubled(facets)
        table = edge_table(facets) if doubled else table
    if (table.uses == 1).any():
        vertices, facets, cracks = close_cracks(vertices, facets, table)
        table = edge_table(facets) if cracks else table
    facets, turned = turn_outward(vertices, facets, table, path.name)
    if turned:
        table = edge_table(facets)
    mesh = trimesh.Trimesh(vertices, facets, process=False, validate=False)
    soundness = soundness_of(vertices, facets, table)
    several = soundness.closed and soundness.bodies > 1
    overlaps, all_seen = overlapping_bodies(vertices, facets, table) if several else ((), True)
    warnings = (*about.notes, *_size_warning(mesh, unit), *_surface_warnings(soundness, overlaps))
    if not all_seen:
        warnings += (
            f"of its {soundness.bodies} bodies too many lie close together to be compared: some "
            "may share space, and volume and walls be wrong there",
        )
    mended = (
        (Code.CRACK, cracks),
        (Code.DOUBLED, doubled),
        (Code.NO_AREA, dropped),
        *((Code.NESTED if "same way" in note else Code.TURNED, note) for note in turned),
    )
    mends = tuple(note for _, note in mended if note)
    defects = (
        *(Defect(code, code is not Code.NESTED, note) for code, note in mended if note),
        *defects_left(soundness, len(overlaps)),
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
        sha256=about.sha256,
    )


def _require_size(vertices: Floats, path: Path, unit: str) -> None:
    """Refuse a size that no wall or sag can be worked out for, in any unit of the workshop."""
    low, high = box_of(vertices)
    # Two halves, since the whole may be more than float64 holds.
    longest = 2.0 * float((0.5 * high - 0.5 * low).max())
    farthest = float(np.abs(vertices).max())
    if SMALLEST_MM <= longest <= LARGEST_MM and farthest <= FARTHEST_MM:
        return
    if longest < SMALLEST_MM or longest > LARGEST_MM:
        what = f"the longest side is {longest:.3g} mm, which nobody prints"
        hint = "check the model and its unit"
        if unit in MM_PER_UNIT and (better := _better_units(longest, unit)):
            hint = f"state its unit; those that would make sense: {', '.join(better)}"
    else:
        what = f"the part lies {farthest:.3g} mm away from the origin of its axes"
        hint = "move it to the origin and export it again"
    raise FileError(what, where=path.name, hint=hint)


def _better_units(longest: float, unit: str, *, inches: bool = True) -> list[str]:
    """Units in which a length would be that of a printed part, with the length."""
    in_file = longest / MM_PER_UNIT.get(unit, 1.0)
    return [
        f"{name} ({in_file * factor:.3g} mm)"
        for name, factor in MM_PER_UNIT.items()
        if SMALLEST_PLAUSIBLE_MM <= in_file * factor <= LARGEST_PLAUSIBLE_MM
        and name != "ft"
        and (name != "in" or inches)
    ]


def _size_warning(mesh: trimesh.Trimesh, unit: str) -> tuple[str, ...]:
    low, high = box_of(np.asarray(mesh.vertices))
    sides = (high - low) / MM_PER_UNIT.get(unit, 1.0)
    longest, in_file = float((high - low).max()), float(sides.max())
    inches = unit == "mm" and _round_in_inches(sides)
    if SMALLEST_PLAUSIBLE_MM <= longest <= LARGEST_PLAUSIBLE_MM:
        if not (inches and longest < LONGEST_DRAWN_INCHES):
            return ()
        numbers = ", ".join(f"{side:g}" for side in np.round(sides, 3))
        return (
            f"its sides ({numbers}) are round in inches and not in mm: drawn in inches, it would "
            f"be {in_file * MM_PER_UNIT['in']:.3g} mm long",
        )
    better = _better_units(longest, unit, inches=inches)
    advice = f"; units that would make sense: {', '.join(better)}" if better else ""
    return (f"the longest side is {longest:.3g} mm, odd for a printed part{advice}",)


def _round_in_inches(sides: Floats) -> bool:
    """Whether the sides (3,) of a file's box are 64ths, and not all of them tenths."""
    in_64ths, in_tenths = 64.0 * sides, 10.0 * sides
    slack = 64.0 * INCHES_ROUNDED  # drawings write 2 21/32 as 2.656
    round_in_inches = np.abs(in_64ths - np.round(in_64ths)) <= slack
    round_in_mm = np.abs(in_tenths - np.round(in_tenths)) <= 10.0 * INCHES_ROUNDED
    return bool(round_in_inches.all() and not round_in_mm.all())


def _surface_warnings(found: Soundness, overlaps: tuple[tuple[int, int], ...]) -> tuple[str, ...]:
    said = []
    if not found.closed:
        said.append(f"{_why_not_closed(found)}: volume, mass and walls cannot be trusted")
    if not found.winding_consistent:
        said.append("neighbouring facets face opposite ways")
    if found.crowded_edges:
        said.append(f"{found.crowded_edges} edges belong to more than two facets")
    if overlaps:
        pairs = ", ".join(f"{a} and {b}" for a, b in overlaps[:3])
        said.append(f"bodies share space ({pairs}): volume counts it twice")
    return tuple(said)
