"""Wall thickness at the vertices of a surface fine enough to show it.

A box of twelve facets has vertices at its corners only, where no wall can be measured, so facets
are split where the thickness changes and nowhere else. A vertex on a crease belongs to several
faces and gets one value for each, so that colours do not run round the edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import trimesh
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from shrinkrule.mesh.refine import split_where
from shrinkrule.numerics.arrays import Floats, Ints, Mask, connected_components
from shrinkrule.numerics.edges import edge_table
from shrinkrule.numerics.threads import in_chunks
from shrinkrule.numerics.triangles import AT_ONCE, area_normals, areas_of, normals_of
from shrinkrule.walls.shown import ShownWalls

MOST_SPLIT: Final = 150_000
"""Edges that are split at most, the longest first: the file stays small."""

CHANGE: Final = 1.1
"""Facets are split where thickness changes by more than this ratio within ``FINEST`` spacings."""

FINEST: Final = 2.0
"""Spacings to which a change is located, and below which no edge is split: as a rule one bead."""

CREASE_COSINE: Final = np.cos(np.radians(30.0))
"""Facets that meet at less than 30 degrees are one smooth face."""

FACING_REACH: Final = 4.0
"""Weight of the normal in the distance between samples, in spacings, so that no colour runs round
an edge."""

ABOUT: Final = 8
"""Samples about a vertex from which its thickness is fitted."""

SAME_FACE: Final = 0.9
"""Cosine between normals of one smooth face."""

STEP: Final = 0.35
"""Share by which thickness may change from one sample to the next on a slope."""

LEAST_FITTED: Final = 3
"""Samples it takes for a plane through their thicknesses."""

RIDGE: Final = 1e-6
"""Ridge weight on the slopes of the fitted plane, beside squared distances in spacings."""


@dataclass(frozen=True)
class ThicknessMap:
    """A surface with its wall thickness at each vertex.

    Parameters
    ----------
    vertices : (n, 3) float64
        Where, mm, print frame; a vertex on a crease stands here once for each of its faces.
    faces : (m, 3) int64
        Facets.
    thickness : (n,) float64
        Wall thickness of the GREEN part, mm; nan where the part is open or shares
        space with another body.
    band : (n,) int64
        Colour of the thickness scale; -1 where nothing was measured.
    """

    vertices: Floats
    faces: Ints
    thickness: Floats
    band: Ints


def thickness_map(mesh: trimesh.Trimesh, shown: ShownWalls) -> ThicknessMap:
    """Compute the wall thickness at each vertex of a part, with facets split where it changes.

    Nothing is measured anew: a vertex has the value of the plane fitted to the thickness of the
    samples about it on its own smooth face, and the colour of the nearest one.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The GREEN part, print frame, mm.
    shown : ShownWalls
        What its samples show.

    Returns
    -------
    ThicknessMap
        The split surface with its values.
    """
    vertices, faces, facing = _split(mesh, shown, MOST_SPLIT)
    thickness, band = _fitted(shown, vertices, facing)
    return ThicknessMap(vertices, faces, thickness, band)


def band_map(
    mesh: trimesh.Trimesh,
    shown: ShownWalls,
    most_split: int,
) -> tuple[Floats, Ints, Ints]:
    """Colour at each vertex of a part, with facets split where the thickness changes.

    Parameters
    ----------
    mesh : trimesh.Trimesh
        The GREEN part, print frame, mm.
    shown : ShownWalls
        What its samples show.
    most_split : int
        Edges that are split at most, the longest first.

    Returns
    -------
    vertices, faces : (n, 3) float64, (m, 3) int64
        The split surface, as in `ThicknessMap`.
    band : (n,) int64
        Colour of the thickness scale; -1 where nothing was measured.
    """
    vertices, faces, facing = _split(mesh, shown, most_split)
    reach = FACING_REACH * shown.spacing_mm
    tree = cKDTree(np.hstack([shown.points, reach * shown.normals]))
    _, nearest = tree.query(np.hstack([vertices, reach * facing]), workers=-1)
    return vertices, faces, shown.band[nearest]


def _split(
    mesh: trimesh.Trimesh, shown: ShownWalls, most_split: int
) -> tuple[Floats, Ints, Floats]:
    """Vertices once for each smooth face, facets, and which way each vertex faces (n, 3)."""
    fine = _split_where_thickness_changes(mesh, shown, most_split)
    vertices, faces, facet_of = _split_at_creases(fine)
    facing = np.empty((len(facet_of), 3))
    places, facets = np.asarray(fine.vertices, dtype=np.float64), np.asarray(fine.faces)

    def work(part: slice) -> None:
        normals = area_normals(places[facets[facet_of[part]]])
        length = np.linalg.norm(normals, axis=1, keepdims=True)
        facing[part] = normals / np.maximum(length, np.finfo(np.float64).tiny)

    in_chunks(work, len(facet_of), AT_ONCE)
    return vertices, faces, facing


def _fitted(shown: ShownWalls, places: Floats, facing: Floats) -> tuple[Floats, Ints]:
    """Thickness (n,) and colour (n,) at points (n, 3) of surfaces with these normals (n, 3)."""
    reach = FACING_REACH * shown.spacing_mm
    tree = cKDTree(np.hstack([shown.points, reach * shown.normals]))
    count = min(ABOUT, len(shown.points))
    _, about = tree.query(np.hstack([places, reach * facing]), k=range(1, count + 1), workers=-1)
    values = shown.thickness[about]
    first = values[:, 0]
    # Only samples on the same face count, and only up to a step of the thickness.
    follow = np.einsum("ijk,ik->ij", shown.normals[about], facing) > SAME_FACE
    with np.errstate(invalid="ignore"):
        follow &= np.abs(values - first[:, None]) < STEP * first[:, None]
    values = np.where(follow, values, 0.0)
    offset = np.where(follow[:, :, None], shown.points[about] - places[:, None], 0.0)
    terms = np.concatenate(
        [follow[:, :, None].astype(np.float64), offset / shown.spacing_mm], axis=2
    )
    normal = np.einsum("ijk,ijl->ikl", terms, terms)
    # The ridge weight makes slopes zero that the samples do not determine, as off their plane.
    normal[:, [1, 2, 3], [1, 2, 3]] += RIDGE
    normal[:, 0, 0] += np.finfo(np.float64).tiny
    right = np.einsum("ijk,ij->ik", terms, values)
    at_place = np.linalg.solve(normal, right[:, :, None])[:, 0, 0]
    low = np.where(follow, values, np.inf).min(axis=1)
    high = np.where(follow, values, -np.inf).max(axis=1)
    some = follow.sum(axis=1) >= LEAST_FITTED
    thickness = np.where(some, np.clip(at_place, low, high), first)
    return thickness, shown.band[about[:, 0]]


def _split_where_thickness_changes(
    mesh: trimesh.Trimesh, shown: ShownWalls, most_split: int
) -> trimesh.Trimesh:
    """Mesh whose edges are no longer than two spacings or their distance to the next change."""
    vertices = np.asarray(mesh.vertices, dtype=np.float64)
    faces = np.asarray(mesh.faces, dtype=np.int64)
    finest = FINEST * shown.spacing_mm
    # An edge to be split has all its facets in this part of the mesh.
    coarse = np.empty(len(faces), dtype=np.bool_)

    def work(part: slice) -> None:
        ends = vertices[faces[part]]
        sides = np.linalg.norm(np.roll(ends, -1, axis=1) - ends, axis=2)
        coarse[part] = (sides > finest).any(axis=1)

    in_chunks(work, len(faces), AT_ONCE)
    if not coarse.any():
        return mesh
    changes = _where_thickness_changes(shown, finest)
    if len(changes) == 0:
        return mesh
    tree = cKDTree(changes)
    left = most_split

    def near_a_change(edges: Floats) -> Mask:
        nonlocal left
        length = np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1)
        long = np.flatnonzero(length > finest)
        away, _ = tree.query(edges[long].mean(axis=1), workers=-1)
        asked = long[length[long] > away]
        # Where there are too many, the longest show the most.
        asked = asked[np.argsort(-length[asked], kind="stable")[:left]]
        left -= len(asked)
        split = np.zeros(len(edges), dtype=np.bool_)
        split[asked] = True
        return split

    fine = split_where(trimesh.Trimesh(vertices, faces[coarse], process=False), near_a_change)
    whole = np.concatenate([faces[~coarse], np.asarray(fine.faces)])
    return trimesh.Trimesh(fine.vertices, whole, process=False)


def _where_thickness_changes(shown: ShownWalls, cell_mm: float) -> Floats:
    """Samples (k, 3) beside which the thickness or the colour changes.

    Samples are compared in cells in which they face one way, and again in cells moved by half,
    so that no change falls between two cells unseen.
    """
    band = shown.band
    # An unknown thickness differs from every known one.
    known = np.where(np.isnan(shown.thickness), -1.0, shown.thickness)
    changes = []
    for shift in (0.0, 0.5):
        key = _cell_keys(shown.points, shown.normals, cell_mm, shift)
        order = np.argsort(key, kind="stable")
        starts = np.flatnonzero(np.diff(key[order], prepend=-1))
        thin, thick = _least_and_most(known[order], starts)
        first, last = _least_and_most(band[order], starts)
        changed = (first < last) | (thick > CHANGE * thin)
        changes.append(shown.points[order[starts[changed & (thick > 0.0)]]])
    return np.concatenate(changes)


def _least_and_most(values: NDArray[Any], starts: Ints) -> tuple[NDArray[Any], NDArray[Any]]:
    """Least and largest value of each run that begins at ``starts``."""
    return np.minimum.reduceat(values, starts), np.maximum.reduceat(values, starts)


def _cell_keys(points: Floats, normals: Floats, cell_mm: float, shift: float = 0.0) -> Ints:
    """Key (n,) of the cube each point lies in and of the axis direction it faces most."""
    cube = np.floor((points - points.min(axis=0)) / cell_mm + shift).astype(np.int64)
    counts = cube.max(axis=0) + 1
    most = np.abs(normals).argmax(axis=1)
    facing = 2 * most + (np.take_along_axis(normals, most[:, None], axis=1)[:, 0] > 0.0)
    keys: Ints = ((cube[:, 0] * counts[1] + cube[:, 1]) * counts[2] + cube[:, 2]) * 6 + facing
    return keys


def _split_at_creases(mesh: trimesh.Trimesh) -> tuple[Floats, Ints, Ints]:
    """Vertices once for each smooth face they lie on, facets, and each vertex's largest facet."""
    faces = np.asarray(mesh.faces, dtype=np.int64)
    places = np.asarray(mesh.vertices, dtype=np.float64)
    vertex = connected_components(faces.size, _smooth_corners(places, faces))
    total = int(vertex.max()) + 1
    facet_of = np.empty(total, dtype=np.int64)
    by_size = np.argsort(areas_of(places, faces), kind="stable")
    vertex = vertex.reshape(-1, 3)
    # Where a vertex stands several times, the last and largest facet is kept.
    facet_of[vertex[by_size]] = by_size[:, None]
    vertices = np.empty((total, 3))
    for corner in range(3):
        vertices[vertex[:, corner]] = places[faces[:, corner]]
    return vertices, vertex, facet_of


def _smooth_corners(places: Floats, faces: Ints) -> Ints:
    """Pairs of corners (k, 2) of two facets that are one vertex: a smooth edge ends in both."""
    table = edge_table(faces)
    first, last = np.full((2, len(table.uses)), -1, dtype=np.int64)
    sides = np.arange(faces.size)
    first[table.edge_of[::-1]], last[table.edge_of] = sides[::-1], sides
    two = table.uses == 2
    first, last = first[two], last[two]
    normals = normals_of(places, faces)
    smooth = np.empty(len(first), dtype=np.bool_)

    def work(part: slice) -> None:
        one, other = normals[first[part] // 3], normals[last[part] // 3]
        smooth[part] = np.einsum("ij,ij->i", one, other) > CREASE_COSINE

    in_chunks(work, len(first), AT_ONCE)
    one, other = first[smooth], last[smooth]
    # A side begins at its own corner and ends at the next of its facet.
    starts_there = faces.ravel()[one] == faces.ravel()[other]
    one_after, other_after = (side - side % 3 + (side + 1) % 3 for side in (one, other))
    return np.concatenate(
        [
            np.column_stack([one, np.where(starts_there, other, other_after)]),
            np.column_stack([one_after, np.where(starts_there, other_after, other)]),
        ]
    )
