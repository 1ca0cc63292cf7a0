"""The surface prepared for cutting: sides paired, turned outward, and notes on what is doubtful.

Any surface can be cut, also one that crosses itself or is open in places: at each height the
winding number of the surface decides what is material. The notes say what cannot be trusted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import trimesh

from shrinkrule.errors import MeshError
from shrinkrule.mesh.repair import drop_degenerate, merge_equal_vertices, turn_outward
from shrinkrule.numerics.arrays import Floats, Ints
from shrinkrule.numerics.edges import edge_table
from shrinkrule.walls.findings import PlaceText, as_vector, in_print
from shrinkrule.walls.layers.loops import pair_sides, shell_volumes

OPEN_SHARE: Final = 0.1
"""With a larger share of open sides the sign of the volume does not show which side is out."""


@dataclass(frozen=True)
class Shell:
    """A surface ready to be cut.

    Parameters
    ----------
    points : (n, 3) float64
        Vertices, mm.
    facets : (m, 3) int64
        Wound outward as far as that is defined.
    twin : (3 m,) int64
        For side ``i % 3`` of facet ``i // 3`` the side that joins it; -1 where it is open.
    doubts : tuple of str
        What cannot be trusted, with a hint.
    """

    points: Floats
    facets: Ints
    twin: Ints
    doubts: tuple[str, ...]

    @property
    def corners(self) -> Floats:
        """Corners of the facets, (m, 3, 3) mm."""
        return np.ascontiguousarray(self.points[self.facets])

    @property
    def used(self) -> Floats:
        """Vertices that a facet has, (k, 3) mm."""
        has_facet = np.zeros(len(self.points), dtype=np.bool_)
        has_facet[self.facets] = True
        return self.points[has_facet]


def shell_of(mesh: trimesh.Trimesh, place_text: PlaceText = in_print) -> Shell:
    """Make a surface ready to be cut.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The green part, mm; it is not changed.
    place_text : callable
        Puts a place of the print frame in words.

    Returns
    -------
    Shell
        The surface, with equal vertices joined and bodies turned outward.

    Raises
    ------
    MeshError
        For a mesh without facets, with a coordinate that is no number, or without an inside.
    """
    points = np.array(mesh.vertices, dtype=np.float64).reshape(-1, 3)
    facets = np.array(mesh.faces, dtype=np.int64).reshape(-1, 3)
    if not len(facets):
        raise MeshError("the mesh has no facets", hint="export the model again")
    if not np.isfinite(points).all():
        raise MeshError("a coordinate is no number", hint="export the model again")
    doubts: list[str] = []
    twin = _twins(facets)
    if (twin < 0).any():
        points, facets, notes = _tidied(points, facets)
        doubts += notes
        twin = _twins(facets)
    corners = points[facets] - points.mean(axis=0)
    _, volume = shell_volumes(np.ascontiguousarray(corners), twin)
    if (twin < 0).any():
        if volume.sum() < 0.0 and (twin < 0).mean() < OPEN_SHARE:
            facets = facets[:, ::-1].copy()
            twin = _twins(facets)
            doubts.append("the surface faced inward and was turned: check it in the model")
        doubts.append(_open_words(points, facets, twin, place_text))
    elif (volume < 0.0).any():
        # Cavities are kept; what is inside out by itself is turned.
        turned, notes = _turned(points, facets)
        if not np.array_equal(turned, facets):
            facets, twin = turned, _twins(turned)
        doubts += notes
    return Shell(points, facets, twin, tuple(doubts))


def _twins(facets: Ints) -> Ints:
    start, end = facets.ravel(), facets[:, [1, 2, 0]].ravel()
    count = np.int64(facets.max() + 1)
    keys = (np.minimum(start, end) * count + np.maximum(start, end)) * 2 + (start < end)
    twin: Ints = pair_sides(keys, np.argsort(keys), len(keys))
    return twin


def _tidied(points: Floats, facets: Ints) -> tuple[Floats, Ints, list[str]]:
    """Points and facets, with equal vertices joined and doubled facets dropped; and notes."""
    notes = []
    points, facets = merge_equal_vertices(points[facets])
    facets, _ = drop_degenerate(facets)
    # The same three corners in the same turn, whichever comes first.
    first = facets.argmin(axis=1)
    turned = np.take_along_axis(facets, (first[:, None] + np.arange(3)) % 3, axis=1)
    _, once = np.unique(turned, axis=0, return_index=True)
    if len(once) < len(facets):
        notes.append(
            f"the mesh holds facets twice ({len(facets) - len(once)} of {len(facets)}), which were "
            "counted once: export the model again"
        )
        facets = facets[np.sort(once)]
    if not len(facets):
        raise MeshError("no facet of the mesh has an area", hint="export the model again")
    table = edge_table(facets)
    if (table.uses == 2).all() and table.balance.any():
        facets, turns = _turned(points, facets)
        notes += turns
    return points, facets, notes


def _turned(points: Floats, facets: Ints) -> tuple[Ints, list[str]]:
    table = edge_table(facets)
    try:
        outward, turned, nested = turn_outward(points, facets, table, "")
    except MeshError:
        return facets, [
            "the surface has no outside (it is one-sided): its walls are a guess; "
            "repair it in the modelling program"
        ]
    return outward, [*turned, *([nested] if nested else [])]


def _open_words(points: Floats, facets: Ints, twin: Ints, place_text: PlaceText) -> str:
    side = np.flatnonzero(twin < 0)
    ends = np.column_stack([facets.ravel()[side], facets[:, [1, 2, 0]].ravel()[side]])
    first = place_text(as_vector(points[ends[0]].mean(axis=0)))
    return (
        f"the surface is not closed ({len(side)} open or misfit edges, the first near {first}): "
        "layers through it were closed by straight lines, "
        "and places beside them are left out; close it in the modelling program"
    )
