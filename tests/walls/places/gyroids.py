"""Sheets about periodic surfaces: gyroid, Schwarz P and diamond, offset along exact normals."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import product

import numpy as np
import numpy.typing as npt
import trimesh
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from .part import FloatArray, IntArray
from .setting import Draft, Setting
from .sheets import bend_slack, mixed_places, mixed_thickness
from .solids import thickened

BoolArray = npt.NDArray[np.bool_]
Field = Callable[[FloatArray], tuple[FloatArray, FloatArray]]


def gyroid(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Value and gradient of the gyroid's field."""
    (sx, sy, sz), (cx, cy, cz) = np.sin(points.T), np.cos(points.T)
    value = sx * cy + sy * cz + sz * cx
    slope = np.stack((cx * cy - sz * sx, cy * cz - sx * sy, cz * cx - sy * sz), axis=-1)
    return value, slope


def schwarz_p(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Value and gradient of the field of Schwarz's P surface."""
    return np.cos(points).sum(axis=1), -np.sin(points)


def diamond(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Value and gradient of the field of Schwarz's D surface."""
    (sx, sy, sz), (cx, cy, cz) = np.sin(points.T), np.cos(points.T)
    value = cx * cy * cz - sx * sy * sz
    slope = np.stack(
        (-sx * cy * cz - cx * sy * sz, -cx * sy * cz - sx * cy * sz, -cx * cy * sz - sx * sy * cz),
        axis=-1,
    )
    return value, slope


FIELDS: dict[str, Field] = {"gyroid": gyroid, "Schwarz P": schwarz_p, "Schwarz D": diamond}


def periodic_sheet(setting: Setting) -> Draft:
    """Sheet about a periodic surface, cut out by a ball or a box."""
    setting.tumble()
    thickness = mixed_thickness(setting)
    name = setting.one_of(tuple(FIELDS))
    # The tightest bend of these surfaces is about a sixth of their period.
    period = max(setting.between(9, 15), 8 * thickness) * (1.3 if name == "Schwarz D" else 1.0)
    finer = 1.4 if name == "Schwarz D" else 1.0
    step = period / finer / (setting.whole(20, 24) if not setting.fine else setting.whole(32, 38))
    radius = setting.between(0.55, 0.8) * period
    points, faces = level_surface(
        FIELDS[name], 2 * math.pi / period, radius, step, boxy=setting.chance(0.5),
        middle=setting.rng.uniform(0, period, 3),
    )  # fmt: skip
    scaled = points * 2 * math.pi / period
    normals = FIELDS[name](scaled)[1]
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    mesh = thickened(points, normals, faces, thickness)
    middle = trimesh.Trimesh(points, faces, process=False)
    facing = normals[faces].mean(axis=1) @ setting.turn.T
    flat = np.asarray(np.abs(facing[:, 2]) > math.cos(math.radians(33)), dtype=np.bool_)
    speck = 0.3 * setting.bead**2
    pieces = (_pieces(middle, flat, speck), _pieces(middle, ~flat, speck))
    walls = float(middle.area_faces[~flat].sum())
    deep = _clear_of_rim(middle, 1.5 * thickness)
    at, across = points[deep], normals[deep]
    places = mixed_places(
        setting, thickness, at, across, (0.75 * 2 * middle.area, 0.65 * 2 * walls), pieces,
        bend_slack(points, faces, thickness),
    )  # fmt: skip
    return setting.draft(mesh, places, (), f"{name} sheet of {thickness:.2f}, period {period:.1f}")


def level_surface(
    field: Field, scale: float, radius: float, step: float, boxy: bool, middle: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Triangles on the surface where a field is nought, near a middle.

    Surface nets: one point for each cell the surface passes through, one quad for each edge of
    the grid it crosses; then evened out and brought back onto the surface.
    """
    count = 2 * math.ceil(1.15 * radius / step) + 1
    axis = (np.arange(count) - count // 2) * step
    grid = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1) + middle
    inside = (field(grid.reshape(-1, 3) * scale)[0] > 0).reshape(count, count, count)
    corners = np.zeros((count - 1,) * 3, dtype=np.int64)
    for i, j, k in product((0, 1), repeat=3):  # over the corners of a cell
        corners += inside[i : count - 1 + i, j : count - 1 + j, k : count - 1 + k]
    crossed = (corners > 0) & (corners < 8)
    number = np.full(crossed.shape, -1, dtype=np.int64)
    number[crossed] = np.arange(int(crossed.sum()))
    points = grid[:-1, :-1, :-1][crossed] + step / 2
    faces = np.vstack([_quads(inside, number, along) for along in range(3)])
    points = _onto(field, scale, points, step)
    away = points[faces].mean(axis=1) - middle
    reach = np.abs(away).max(axis=1) * 1.1 if boxy else np.linalg.norm(away, axis=1)
    faces = _tidy(faces[reach < radius], len(points))
    used, faces = np.unique(faces, return_inverse=True)
    points, faces = points[used], faces.reshape(-1, 3).astype(np.int64)
    count = len(points)
    edges = _rim_edges(faces, count)
    rim = np.zeros(count, dtype=bool)
    rim[edges.ravel()] = True
    # A point of the rim has its neighbours along the rim only, so the rim loses its teeth.
    within = _averages(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), count)
    along = _averages(edges, count)
    for _ in range(40):
        even = np.where(rim[:, None], along @ points, within @ points)
        points = _onto(field, scale, 0.5 * points + 0.5 * even, step)
    return points, faces


def _averages(edges: IntArray, count: int) -> csr_array:
    """Matrix that takes each point to the middle of its neighbours."""
    links = _links(edges, count)
    degree = np.maximum(links.sum(axis=1), 1)
    return csr_array(links.multiply(1 / degree[:, None]))


def _quads(inside: BoolArray, number: IntArray, along: int) -> IntArray:
    """Triangles about the edges of the grid that run along one axis."""
    order = [(along + shift) % 3 for shift in range(3)]
    turned, cells = np.transpose(inside, order), np.transpose(number, order)
    first, second = turned[:-1, 1:-1, 1:-1], turned[1:, 1:-1, 1:-1]
    i, j, k = np.nonzero(first != second)
    quad = np.column_stack(
        (cells[i, j, k], cells[i, j + 1, k], cells[i, j + 1, k + 1], cells[i, j, k + 1])
    )
    # The outside is where the field is negative.
    ahead = first[i, j, k]
    quad[~ahead] = quad[~ahead][:, ::-1]
    return np.vstack((quad[:, [0, 1, 2]], quad[:, [0, 2, 3]]))


def _onto(field: Field, scale: float, points: FloatArray, step: float) -> FloatArray:
    """Points brought onto the surface along the gradient."""
    for _ in range(5):
        value, slope = field(points * scale)
        size = np.maximum((slope**2).sum(axis=1), 1e-6)
        move = -(value / size)[:, None] * slope / scale
        length = np.maximum(np.linalg.norm(move, axis=1, keepdims=True), 1e-12)
        points = points + move * np.minimum(1.0, step / length)
    return points


def _links(edges: IntArray, count: int) -> csr_array:
    both = np.unique(np.vstack((edges, edges[:, ::-1])), axis=0)
    return csr_array((np.ones(len(both)), (both[:, 0], both[:, 1])), shape=(count, count))


def _rim_edges(faces: IntArray, count: int) -> IntArray:
    edges = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    return edges[~np.isin(edges[:, 0] * count + edges[:, 1], edges[:, 1] * count + edges[:, 0])]


def _tidy(faces: IntArray, count: int) -> IntArray:
    """Largest piece without corners where its rim meets itself or lone triangles hang on."""
    for _ in range(60):
        rim = _rim_edges(faces, count)
        knots = np.bincount(rim[:, 0], minlength=count) > 1
        edge = np.zeros(count, dtype=bool)
        edge[rim.ravel()] = True
        hanging = edge[faces].all(axis=1)
        # A triangle with two rim edges is an ear; it goes as well.
        codes = np.sort(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        rims = np.sort(rim, axis=1)
        on_rim = np.isin(codes[:, 0] * count + codes[:, 1], rims[:, 0] * count + rims[:, 1])
        ears = on_rim.reshape(-1, 3).sum(axis=1) >= 2
        bad = knots[faces].any(axis=1) | (hanging & ears)
        if not bad.any():
            break
        faces = faces[~bad]
    links = _links(faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), count)
    label = connected_components(links, directed=False)[1]
    of_face = label[faces[:, 0]]
    return np.asarray(faces[of_face == np.bincount(of_face).argmax()], dtype=np.int64)


def _pieces(mesh: trimesh.Trimesh, chosen: BoolArray, speck: float) -> int:
    """How many connected pieces larger than a speck the chosen facets fall into."""
    pairs = mesh.face_adjacency
    pairs = pairs[chosen[pairs].all(axis=1)]
    count = len(chosen)
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    label = connected_components(links, directed=False)[1]
    areas = np.bincount(label[chosen], weights=mesh.area_faces[chosen])
    return int((areas > speck).sum())


def _clear_of_rim(mesh: trimesh.Trimesh, distance: float) -> IntArray:
    """Numbers of the points that lie at least so far from the rim."""
    points = np.asarray(mesh.vertices)
    rim = np.unique(_rim_edges(np.asarray(mesh.faces, dtype=np.int64), len(points)))
    far = cKDTree(points[rim]).query(points)[0]
    return np.flatnonzero(far > distance)
