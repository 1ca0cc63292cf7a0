"""A part as it came from a file: its mesh in mm, and how far that mesh can be trusted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import trimesh

from shrinkrule.errors import MeshError, Option
from shrinkrule.mesh.bodies import Overlap, united
from shrinkrule.mesh.closing import LEAST_UM, crack_width
from shrinkrule.mesh.defects import Defect, defects_left
from shrinkrule.mesh.size import require_extent
from shrinkrule.mesh.soundness import Soundness, inspect_mesh
from shrinkrule.numerics.arrays import Floats
from shrinkrule.numerics.edges import EdgeTable, edge_table
from shrinkrule.units import plain


def _why_not_closed(found: Soundness) -> str:
    """What keeps a surface from being closed: open edges, or facets that face opposite ways."""
    if found.open_edges:
        return f"the surface is not closed ({found.open_edges} open edges, {found.facets} facets)"
    if found.crowded_edges:
        return f"facets do not pair up on the {found.crowded_edges} edges that more than two share"
    return f"neighbouring facets face opposite ways (of {found.facets} facets)"


def place_in_words(point: Floats | tuple[float, float, float]) -> str:
    """Where a point (3,) is, in mm, as text for messages."""
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
            table = edge_table(np.asarray(self.mesh.faces, dtype=np.int64))
            raise MeshError(
                f"{_why_not_closed(found)}, first near {self._first_open_edge(table)}"
                f"{self._crack(table)}, so it has no volume, mass or wall",
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
            f"{place_in_words(first.at_mm)}), so volume and walls would be wrong",
            where=self.source.name,
            hint="unite them in the modelling program or here, or keep them as they are",
            options=(Option.UNITE, Option.KEEP),
        )

    def _crack(self, table: EdgeTable) -> str:
        """How wide a crack is that was not closed; empty for a hole."""
        width = crack_width(np.asarray(self.mesh.vertices, dtype=np.float64), table)
        if width is None or width < 1e-3 * LEAST_UM:
            return ""
        return f" (a crack up to {plain(1000.0 * width)} µm wide, too wide to be rounding)"

    def _first_open_edge(self, table: EdgeTable) -> str:
        edge = int(np.argmax(table.balance != 0))
        return place_in_words(np.asarray(self.mesh.vertices)[table.ends[edge]].mean(axis=0))

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
        before = surface_warnings(self.soundness, self.overlaps)
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
            warnings=(*others, *surface_warnings(soundness, ())),
            mends=(
                *self.mends,
                f"united {self.soundness.bodies} bodies, some of which overlapped: volume from "
                f"{self.soundness.volume_mm3:.1f} to {soundness.volume_mm3:.1f} mm3",
            ),
        )


def surface_warnings(found: Soundness, overlaps: tuple[Overlap, ...]) -> tuple[str, ...]:
    """What of a surface cannot be trusted, one text for each reason.

    Parameters
    ----------
    found : Soundness
        How sound the surface is.
    overlaps : tuple of Overlap
        Bodies that share space.

    Returns
    -------
    tuple of str
        Empty for a sound part.
    """
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
