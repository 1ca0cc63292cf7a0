"""The part as numbers for a turning picture: its surface, two shadings, and where it sags to."""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import trimesh
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from shrinkrule.job import JobResult
from shrinkrule.numerics.arrays import Floats, Ints, Mask
from shrinkrule.numerics.triangles import normals_and_areas
from shrinkrule.report.turning.three import three_js
from shrinkrule.walls import band_map

if TYPE_CHECKING:
    from shrinkrule.job import SagLook

MOST_FACETS: Final = 60_000
"""Facets drawn at most: about 2 MB of page, and smooth on a telephone."""

LABEL_SHARES: Final = np.array([0.5, 0.35, 0.65, 0.2, 0.8])
"""Where on its line the number of a dimension may stand, the best first."""

LABELS_APART: Final = 0.09
"""Distance of numbers, over the part's longest side, from which they are clear of each other."""
_MOST_SPLIT: Final = 20_000
"""Edges that are split to show where thickness changes, at most: about as many facets as drawn."""

_COUNTED: Final = 200_000
"""Facets that are counted before all are, about."""

_FACINGS: Final = 2.0  # steps in each direction of the normal that are kept apart when thinned


def turning_scene(result: JobResult, lines: Sequence[tuple[int, Floats]] = ()) -> str:
    """The turning part of a job as JSON, in the model's axes, mm.

    Parameters
    ----------
    result : JobResult
        What was found.
    lines : sequence of (int, (2, 3) float64)
        Number and ends of each dimension that can be shown, mm.

    Returns
    -------
    str
        Empty where there is nothing to draw it with.
    """
    if not three_js():
        return ""
    shown = result.walls.report.shown
    points, facets, band = band_map(_fewer(result.green.mesh), shown, _MOST_SPLIT)
    points, facets, band = thinned(result.green.in_model(points), facets, band)
    colours = np.round(255.0 * result.walls.scale.colours_of(band)[:, :3]).astype(np.uint8)
    moved = _displacement(result.sag_look, points)
    up = (0.0, 0.0, 1.0) if result.recipe.lies is None else result.recipe.lies.furnace_up
    scene: dict[str, Any] = {
        "points": _packed(points.astype("<f4")),
        "facets": _packed(facets.astype("<u4")),
        "thickness": _packed(colours),
        "moved": None if moved is None else _packed(moved.astype("<f4")),
        "most": 0.0 if moved is None else float(np.linalg.norm(moved, axis=1).max()),
        "matters": result.sag_look.limit_mm,
        "up": [float(x) for x in up],
        "dimensions": _numbered(lines, float(np.ptp(points, axis=0).max())),
    }
    # No "<" in a script block: a name could end it.
    return json.dumps(scene).replace("<", "\\u003c")


def _fewer(mesh: trimesh.Trimesh) -> trimesh.Trimesh:
    """A mesh with no more facets than are drawn, in which edges stay as vertices there face apart.

    It is coloured afterwards, as a fine mesh has many times as many vertices.
    """
    if len(mesh.faces) <= MOST_FACETS:
        return mesh
    points, facets = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    kept, fewer = _clustered(points, facets, np.zeros(len(points), np.int64), MOST_FACETS)
    return trimesh.Trimesh(points[kept], fewer, process=False)


def _packed(values: NDArray[Any]) -> str:
    """Numbers as base64 of their bytes, least significant first."""
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode("ascii")


def _numbered(lines: Sequence[tuple[int, Floats]], span_mm: float) -> list[dict[str, Any]]:
    """Lines with their numbers, each at a place of its line that is clear of the others."""
    shown: list[dict[str, Any]] = []
    taken = np.full((1, 3), np.inf)
    for number, ends in lines:
        places = ends[0] + LABEL_SHARES[:, None] * (ends[1] - ends[0])
        clear = np.linalg.norm(places[:, None] - taken, axis=2).min(axis=1)
        at = places[np.argmax(np.minimum(clear, LABELS_APART * span_mm))]
        taken = np.vstack([taken, at])
        corners = (*ends, at)
        shown.append({"number": number, "points": [np.round(p, 4).tolist() for p in corners]})
    return shown


def _displacement(look: SagLook, points: Floats) -> Floats | None:
    """Where points (n, 3) of the wanted part go in the furnace, mm; None where it is not known."""
    if look.taken_off is not None:
        wanted = np.asarray(look.taken_off.wanted.vertices, dtype=np.float64)
        _, nearest = cKDTree(wanted).query(points)
        moved: Floats = look.taken_off.before.displacement[nearest]
        return moved
    if look.estimate is None or look.estimate.field is None:
        return None
    return look.estimate.field.at(points)


def thinned(
    points: Floats, facets: Ints, band: Ints, most: int = MOST_FACETS
) -> tuple[Floats, Ints, Ints]:
    """Surface with at most so many facets: vertices of one cube, facing and colour become one.

    Parameters
    ----------
    points : (n, 3) float64
        Vertices, once for each smooth face they lie on.
    facets : (m, 3) int64
        Facets.
    band : (n,) int64
        Colour of each vertex.
    most : int
        Facets wanted at most.

    Returns
    -------
    points, facets, band
        The same where there are few enough; else fewer, within a cube's side of where they were.

    Source: vertex clustering (J. Rossignac, P. Borrel, Modeling in Computer Graphics (1993)
    455-465).
    """
    if len(facets) <= most:
        return points, facets, band
    kept, fewer = _clustered(points, facets, band, most)
    return points[kept], fewer, band[kept]


def _clustered(points: Floats, facets: Ints, band: Ints, most: int) -> tuple[Ints, Ints]:
    """First vertex (n,) of each cluster, and facets (m, 3) between clusters."""
    own, areas = normals_and_areas(points, facets)
    normals = np.zeros_like(points)
    for corners in facets.T:
        for axis in range(3):
            normals[:, axis] += np.bincount(corners, areas * own[axis], len(points))
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    # Which way a vertex faces, and its colour, side by side in one whole number.
    steps = round(2.0 * _FACINGS) + 1
    kind = band - band.min()
    for along in normals.T:
        kind = kind * steps + np.round(_FACINGS * (1.0 + along)).astype(np.int64)
    low = points.min(axis=0)
    span = float(np.ptp(points, axis=0).max())
    # A cube of the surface holds a facet or two: a finer one has too many for certain.
    side = max(span / 400.0, np.sqrt(areas.sum() / most))
    few = facets[:: max(1, len(facets) // _COUNTED)]
    while True:
        key, cubes = kind, int(span / side) + 1
        for along, least in zip(points.T, low, strict=True):
            key = key * cubes + ((along - least) / side).astype(np.int64)
        # A part of the facets shows where there are far too many.
        if _stay(key[few]).mean() * len(facets) <= 1.1 * most or side > span:
            stay = _stay(key[facets])
            if stay.sum() <= most or side > span:
                _, first, group = np.unique(key, return_index=True, return_inverse=True)
                return first, group[facets[stay]]
        side *= 1.25


def _stay(keys: Ints) -> Mask:
    """Facets (m,) whose corners, with these keys (m, 3), come into three clusters."""
    one, two, three = keys.T
    stay: Mask = (one != two) & (two != three) & (three != one)
    return stay
